#pragma once

#include "Session/Amounts.h"
#include "Session/Sources.h"

#include <optional>
#include <string>
#include <vector>

namespace spillwright {

// What follows from the spill map for the mix and for the next take. All of it is of the levels as recorded:
// preamplifier gains included, faders not.

/// Of the track's energy, what is not its own source, 0..1. nullopt: the track takes no part, there is no map, or its
/// source always plays with another one, so that it cannot be told.
std::optional<double> spillShareOf(const Measurement& measurement, int track);
/// The track may stand close to something after all, or not: then that share is another one.
bool spillShareUnsure(const Measurement& measurement, int track);

/// A track in the order of entry: the one that brings most of other instruments goes in first.
struct Entry {
    int track = 0;
    std::optional<double> spillShare; ///< See spillShareOf.
    std::optional<int> source;        ///< The one it stands close to.
    /// A source that comes in with this track, beside its own.
    struct Brought {
        int source = 0;
        double share = 0.0;            ///< Of the track's energy, 0..1.
        std::optional<Decibels> level; ///< Against the source's own close track.
    };
    std::vector<Brought> brings; ///< Of at least 1 % of the track, most first.
};
/// All usable tracks, most spill first, those of which it cannot be told last; empty where no sources are told.
std::vector<Entry> orderOfEntry(const Measurement& measurement);
/// "62 % spill: piano at -4.1 dB, ride at -9.0 dB; with it in, start low with the close tracks of piano, ride", or
/// "perhaps 62 % spill", without the track's name.
std::string entryInWords(const Measurement& measurement, const Entry& entry);
/// From here on a track brings enough of a source for its own track to stay low.
inline constexpr double enoughOfItDb = -12.0;

/// A microphone that hears a source, as a help for its close track.
struct Rescuer {
    int track = 0;
    std::optional<Decibels> level; ///< Against the close track.
    /// Of the third octaves in which the source has its sound, the part in which it is more than half of the track.
    double bandwidth = 0.0;
    /// One a SpillMap::centres: louder or fainter there than `level` says, against the close track's tone.
    std::vector<std::optional<Decibels>> tone;
    bool flip = false;            ///< Against the close track; false too where its polarity is not told.
    std::optional<Seconds> nudge; ///< That lines the two up; empty where the arrival is not told.
    Decibels gain, gainLinedUp;   ///< Of the source in the sum of both over the close track alone: as recorded, and so.
};
/// All usable tracks but the one that the source is told from, the most useful first: by the part of its bandwidth,
/// then by level. The source is one of the measurement's.
std::vector<Rescuer> rescueFor(const Measurement& measurement, int source);

/// The tone in three figures: "lows +2, mids +0, highs -4 dB" (100-315, 400-2000, 2500-8000 Hz), each the mean of what
/// is told; empty where nothing is.
std::string toneInWords(const Measurement& measurement, const Rescuer& rescuer);

/// A source that reaches a track so late that it is heard as wash, not as part of one band.
struct HeardApart {
    int source = 0;
    int track = 0;
    Seconds later;  ///< Than in its close track.
    Metres further; ///< The path, at the measurement's temperature.
    Decibels level; ///< Against its close track.
};
/// Beyond this a repetition begins to be heard on its own where the sound is short: for clicks from about 5 ms, for
/// speech from 50 ms, for music about 20 ms upwards (Haas 1951; Litovsky et al., J. Acoust. Soc. Am. 106, 1999; the
/// figure from memory).
inline constexpr Seconds heardApartFrom{0.020};
/// And it is worth a word where it is no fainter than this against its close track.
inline constexpr Decibels heardApartLevel{-20.0};
std::vector<HeardApart> heardApart(const Measurement& measurement);

/// A close microphone that hears a neighbour louder than three times the distance would let it, and enough of it to
/// matter: 5 % of the track.
struct TooNear {
    int source = 0; ///< The neighbour.
    int track = 0;  ///< The close track of another source.
    Decibels level; ///< Against the neighbour's own close track.
};
/// The rule of thumb that a second microphone stands three times as far from a source as its own does: 20 lg 3 = 9.54
/// dB of level, in the open and at equal gains.
inline constexpr Decibels threeToOne{-9.54};
std::vector<TooNear> tooNear(const Measurement& measurement);

/// Both of these in lines for people, a line a track, the loudest first.
std::vector<std::string> spacingInWords(const Measurement& measurement);

/// A track that hears the sources upside down against most of the tracks that hear them too.
struct UpsideDown {
    int track = 0;
    int against = 0; ///< Tracks that say so ...
    int tellers = 0; ///< ... of those with which it shares a sure polarity.
};
/// Which tracks, turned over, would leave the fewest polarities at odds: the lesser part of those that hear the same
/// sources, each with three tellers at least, three in four of which say so. A plug, or a microphone that hears from
/// behind: no sound tells which.
std::vector<UpsideDown> upsideDown(const Measurement& measurement);
std::vector<std::string> wiringInWords(const Measurement& measurement); ///< A line each.

/// Which tracks hold much that no source explains, in one line for people, or none: somebody plays who has no close
/// track. A fifth of a track's energy is worth the line.
std::vector<std::string> unexplainedInWords(const Measurement& measurement);

/// A source in a track, in up to three lines without their names: level, share, lateness, polarity.
std::string spillInWords(const Measurement& measurement, const SpillReading& reading,
                         DistanceUnit unit = DistanceUnit::metric);

/// Why a value is not told, for people: "always plays with another source".
const char* untoldInWords(Untold why);

} // namespace spillwright
