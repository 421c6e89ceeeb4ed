#pragma once

#include "Core/Measure/CrossSpectra.h"
#include "Core/Measure/PairReading.h"
#include "Core/Sources/Sources.h"
#include "Core/Types.h"
#include "Core/Workers.h"

#include <complex>
#include <optional>
#include <span>
#include <vector>

namespace spillwright {

/// Why a value is not told.
enum class Untold {
    told,
    alwaysTogether, ///< Two sources sound at the same moments, in one proportion.
    tooFaint,       ///< The source is lost among the others in that track.
    noLeadingPeak,  ///< No lag stands out: reverberation, or several paths alike.
    waysDisagree,   ///< The level read while the source plays alone is another one.
};

/// One source in one track.
struct SpillReading {
    int source = 0;
    int track = 0;
    /// Power of the source in the track against its own close track, direct sound and reverberation together; 100 Hz to
    /// 8 kHz, and in the low-mid band. Empty where untold; of the close track it is told from, 0 dB.
    std::optional<Decibels> level, levelLowMid;
    std::vector<std::optional<Decibels>> levelByThirdOctave; ///< One a SpillMap::centres: the tone it has there.
    Untold whyNoLevel = Untold::told;
    double shareOfTrack = 0.0;      ///< Of the track's energy, 0..1.
    std::optional<Arrival> arrival; ///< Against the close track; positive: later.
    std::optional<PolarityReading> polarity;
    Untold whyNoArrival = Untold::told;
    double coherence = 0.0; ///< Of the source in the two tracks, mean over the band of the readings, 0..1.
};

/// What every microphone hears.
struct SpillMap {
    SourcePlan plan;
    std::vector<Hertz> centres;         ///< Third octaves, 100 Hz to 8 kHz (nominal).
    std::vector<SpillReading> readings; ///< Source by source, each with every usable track in order.
    std::vector<double> spillShare;     ///< [track of the recording] Of its energy, what is not its own source: 0..1;
                                        ///< 1 of a track that has no own; NaN of one that is not usable. What the
                                        ///< parts of all sources miss of a third octave, or are more than it, is
                                        ///< shared out by those parts if there are tracks that are nobody's, else it
                                        ///< is spill; where no own source was found, all is spill.
    std::vector<double> unexplained;    ///< [track of the recording] Of its energy, what no source explains: 0..1.
    std::vector<Seconds> times;         ///< Middle of each window that presence is told of.
    std::vector<std::vector<float>> presence; ///< [source][time] dB against its own mean.
    std::vector<std::vector<double>>
        powerByThirdOctave; ///< [source][centre] In its close track, squares of full scale.
    std::vector<std::vector<double>> shareByThirdOctave; ///< [reading][centre] Of the track's energy there, 0..1.
    std::vector<std::vector<float>>
        shareOfClose; ///< [source][time] Of what its close track holds in that window, 0..1.

    /// What spectraOfSource is made from, bins firstBin..: the mean power of each source in its close track, and its
    /// response from there to each track, scaled as CrossSpectra is.
    int firstBin = 0;
    std::vector<std::vector<float>> sourcePowers;            ///< [source][bin]
    std::vector<std::vector<std::complex<float>>> responses; ///< [reading][bin]
    /// What soundOfSource is made with, besides: by how much each close track counts in what the source is in its own.
    std::vector<std::vector<std::complex<float>>> unmixing; ///< [source][bin * sources + source of the close track]
    int windowLength = 0;                                   ///< Of the windows of all these spectra, samples.

    /// Readings come source by source; nullptr of a track that is not usable.
    const SpillReading* reading(int source, int track) const;
    /// spillShare, unless it cannot be told: nullopt of a track that is not usable or not of the recording, and of one
    /// whose own source is always together with another, for nothing tells how much of that one is in it.
    std::optional<double> toldSpillShare(int track) const;
};

/// A span of the recording.
struct Moments {
    Seconds from, to;
    bool operator==(const Moments&) const = default;
};

/// Who is heard where. In each third octave of sourceBand the close tracks are told apart by independent vector
/// analysis with one power for all bins of the third octave (Kitamura et al., IEEE/ACM TASLP 24(9):1626-1641, 2016,
/// with one basis a third octave), started from the close tracks themselves, in steps of rank one (Scheibler & Ono,
/// ICASSP 2020), and scaled back to the close tracks (Matsuoka & Nakashima 2001). All tracks are regressed on what
/// comes out; what the regression leaves of a track without a source of its own is shared out by a non-negative model
/// of its third-octave powers (Fevotte & Idier, Neural Computation 23(9), 2011), each source as it sounds and as it
/// sounded a window before: reverberation. Where such tracks tell that there is any, what the others leave in a close
/// track is told by the moments in which its own source is still. A level in a third octave that is more than 12 dB
/// above the usual one of that source in that track is taken for another's sound.
///
/// A source that has no sound of its own in a third octave, where what was told apart is a sum of the others and unlike
/// how it sounds elsewhere, is none there: its powers are 0, and its close track counts as a room track. Of two that
/// are always together neither has a share in the other's close track.
///
/// An arrival is told where the response from the close track has a leading peak: nothing that comes more than 0.6 ms
/// before it has more than 0.4 of its height (0.25 where the source is more than 15 dB below the track), and nothing
/// near it has more than 0.6 of it with the other sign.
///
/// usableTracks: in the order in which the readings are wanted; tracks of the plan that are not among them are left out
/// of it. `options`: the band of the coherence, and how late an arrival may be. Spectra without single windows
/// (restrictedTo) and a plan that names no usable track give a map without readings.
/// Same bytes for any number of workers. 24 tracks and 4 minutes on two cores: 8 sources about 1 s, 18 about 4 s.
/// Faults: a stop that was asked for, too little memory.
Result<SpillMap> readSpillMap(const CrossSpectra& spectra, const SourcePlan& plan, std::span<const int> usableTracks,
                              const ReadingOptions& options, Workers& workers, const Watch& watch);

/// The cross-spectra that a recording of one source alone would have, bin by bin: each track's power is all of the
/// source in it, the rest its coherent part. 0 outside sourceBand, and of tracks that are not in the map or in which
/// the source is too faint to be told. The map must outlive it.
class SourceSpectra {
public:
    SourceSpectra(const CrossSpectra& whole, const SpillMap& of, int source);

    /// S_ij of a bin, tracks of the recording; 0 where nothing is told.
    std::complex<float> at(int bin, int i, int j) const;
    const std::vector<int>& tracks() const { return heard; } ///< In which it is told, ascending.
    int binCount() const;                                    ///< From the map's firstBin on.

private:
    const SpillMap& map;
    std::vector<float> powers; // [bin]
    std::vector<int> heard;
    std::vector<const std::vector<std::complex<float>>*> responses; // [track]; nullptr where it is not told
    std::vector<std::vector<float>> beside;                         // [track][bin] power that is not coherent
};

/// The same as spectra to be read like those of a recording. No stretches.
CrossSpectra spectraOfSource(const CrossSpectra& spectra, const SpillMap& map, int source);

/// Where a source plays loud enough and nearly alone in its close track, the best first, none over another; at most
/// `most`. At least a second each: around a short stroke its better neighbours are heard too.
std::vector<Moments> leadingMoments(const SpillMap& map, int source, int most = 8);

} // namespace spillwright
