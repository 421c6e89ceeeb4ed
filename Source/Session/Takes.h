#pragma once

#include "Core/Measure/MainsHum.h"
#include "Core/Sources/TrackChange.h"
#include "Session/Measurement.h"
#include "Session/Sources.h"

#include <nlohmann/json_fwd.hpp>

#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace spillwright {

/// A figure and one standard uncertainty of it, from how the stretches of a take differ (jackknife); empty where fewer
/// than four stretches are kept.
struct Uncertain {
    double value = 0.0;
    std::optional<double> uncertainty;
};

/// What two takes differ by. `stands`: beyond what the playing alone should let two takes differ by, all figures of a
/// comparison asked together (Tests/Bench/Takes.md says how often that was wrong).
struct Difference {
    double value = 0.0;
    std::optional<double> uncertainty;
    bool stands = false;
    /// From this size on it would stand; empty where other things than its size decide.
    std::optional<double> standsFrom = std::nullopt;
};

enum class MatchedBy { name, order, hand };

/// A track as the takes have it.
struct ComparedTrack {
    std::string name;        ///< Of the first take that has it.
    std::vector<int> tracks; ///< [take] Track of that recording; -1: it has none.
    MatchedBy by = MatchedBy::name;
    bool standingUnsure = false; ///< It could as well stand close to something as not: its spill is told with doubt.
};

/// A pair of compared tracks in one take; empty where one of them does not sound there.
struct ComparedPair {
    PairReading reading; ///< Tracks of that recording, in the order of the comparison.
    Uncertain coherence;
    Uncertain summationGain; ///< dB, as recorded.
    Decibels best;           ///< Flipped or not, whichever is more.
    /// The deepest dip of the pair's sum within the band; empty where there is none below shallowestNotchDb.
    std::optional<Hertz> notchAt;
    Uncertain notch; ///< dB, as P(f)/P0(f): what is lowest within the band, a notch or not.
};

struct ComparedTake {
    std::string name;      ///< "A", "B" ...; with microphones, theirs.
    Measurement recording; ///< With sources, where they can be told; with microphones, the others left out.
    Measurement read;      ///< What pairs and sums are read from: the same, or one source alone.
    std::vector<std::optional<ComparedPair>> pairs; ///< [pair], see Comparison::pairOf.
    std::vector<std::optional<Uncertain>> levels;   ///< [compared track] dBFS, rms; empty: it does not sound.
    std::vector<std::optional<double>> spillShares; ///< [compared track] 0..1, of the take as it was played.
    std::vector<std::optional<SteadyHum>> hums;     ///< [compared track]
    std::optional<Uncertain> sum;  ///< Summation gain, dB, of the tracks that sound in every take, as recorded.
    std::optional<Uncertain> best; ///< The same with the flips that are best for it.
    std::vector<int> flips;        ///< Compared tracks that are then flipped.
};

/// What is said of one track of a later take against the first.
struct TakeChange {
    enum class Kind {
        silent,      ///< Fell silent.
        soundsAgain, ///< Was silent.
        inverted,
        late,        ///< amount: ms.
        moved,       ///< amount: ms, the median of its ways.
        sourceMoved, ///< amount: ms.
        movedEither, ///< It or its source; amount: ms.
        gain,        ///< amount: dB.
        hum,         ///< amount: dBFS of all lines; hertz: the mains.
        humGone,     ///< amount: dBFS as it was.
        spill,       ///< More or less of the others at the same playing; amount: share, -1..1.
    };
    Kind kind{};
    int track = 0;                     ///< Compared track.
    double amount = 0.0;               ///< In the unit of its kind; 0 where it has none.
    std::optional<double> uncertainty; ///< One standard uncertainty.
    int against = 0;                   ///< Ways that tell of it.
    double hertz = 0.0;
};
/// "moved", "inverted" ...
const char* changeWord(TakeChange::Kind kind);

/// Of one pair, second take against first.
struct PairDifference {
    int pair = 0;
    std::optional<Difference> coherence, summationGain, notch;
    std::optional<Difference> arrival;   ///< Seconds; stands by the tracks' changes.
    std::optional<bool> polarityDiffers; ///< Empty where one of them is not sure.
    std::vector<int> dueTo;              ///< Compared tracks whose changes explain what stands here: none, one or both.
};

/// A line for people, and what it is about.
struct VerdictLine {
    std::string text;
    std::optional<int> track, partner; ///< Compared tracks.
};

/// A take against the first.
struct TakeDifference {
    int second = 1;                      ///< Place among the takes; the first is 0.
    std::vector<TrackChange> tracks;     ///< [compared track] As far as ways tell.
    std::vector<TakeChange> changes;     ///< Track by track: all that is called a change.
    std::vector<PairDifference> pairs;   ///< Of those that sound in both.
    std::optional<Difference> sum, best; ///< Summation gains, dB; stand only where some track changed.
    /// [compared track] Spill share of the second take less that of the first, were both played as the first was.
    std::vector<std::optional<Difference>> spill;
    int waysUnexplained = 0; ///< That changed, though no track's change explains them.
    bool ambiguous = false;  ///< Two tracks alone: either may be the one that changed.
    int ways = 0;            ///< Told in both takes, or of pairs that are related in one of them alone ...
    int waysAlike = 0;       ///< ... and those of them that are as they were, or later with all else of a track.
    /// Enough of the ways is alike for the rest to be held against it. False: nothing that ways tell of tracks is
    /// called a change; it may be another set-up.
    bool canBeTold = true;
    std::vector<VerdictLine> verdict;
};

struct Comparison {
    std::vector<ComparedTake> takes; ///< At least two.
    std::vector<ComparedTrack> tracks;
    std::optional<std::string> source;       ///< The one that pairs and sums are of; none: all that sounds.
    bool microphones = false;                ///< Takes are one recording, each with another microphone for one job.
    std::vector<TakeDifference> differences; ///< One a take but the first.
    std::vector<std::string> warnings;

    /// Pairs in the order (0,1), (0,2) ... (1,2) ... of the compared tracks.
    std::size_t pairCount() const { return tracks.size() * (tracks.size() - 1) / 2; }
    std::pair<int, int> pairOf(std::size_t pair) const;
};

struct CompareOptions {
    /// A track of the first take and the one that it is in another, before names are asked; the other one empty: it is
    /// none of them.
    std::vector<std::pair<std::string, std::string>> match;
    std::optional<SourceList> sources; ///< In names of the first take; none: guessed from its sound.
    std::vector<std::string> unsure;   ///< Where `sources` was guessed: the tracks that it was unsure of.
    /// Pairs and sums of this source alone, by its name or a close track of it in the first take; without
    /// uncertainties, as no stretches of it are kept.
    std::optional<std::string> source;
};

/// Which tracks are the same: by hand, then by name, then, where takes have as many tracks, by order among those that
/// are left. Names count without case, spaces and punctuation, without what most names of a take bear as its marker
/// ("take 2", "T2", "tk2", "(2)", "_02"), then without a marker or number of their own; one that fits two tracks of a
/// take fits none. Tracks of the first take come first, in its order. Faults: a name of `match` that no take has,
/// no track in common.
Result<std::vector<ComparedTrack>> matchTracks(std::span<const Measurement> takes,
                                               std::span<const std::pair<std::string, std::string>> match);

/// Of less nothing is told: a window of the spectra takes a third of a second, and figures come from many.
inline constexpr Seconds shortestTake{2.0};

/// Two takes or more of one set-up, each against the first. They need neither length, tempo nor rate in common: spectra
/// are compared, and the way of each source to each track, which does not depend on the notes (PathChange.h).
/// Measurements as measure() gives them. Faults: those of matchTracks, a take below shortestTake, fewer than two
/// takes, a stop. Same result for any number of workers. Two takes of 30 s and 24 tracks: about a second.
Result<Comparison> compareTakes(std::vector<Measurement> takes, const CompareOptions& options, Workers& workers,
                                const Watch& watch);

/// Microphones for one job within one recording: as if each in turn were in the mix and the others not. Faults: an
/// unknown or silent track, one named twice, fewer than two.
Result<Comparison> compareMicrophones(const Measurement& recording, std::span<const std::string> microphones,
                                      const CompareOptions& options, Workers& workers, const Watch& watch);

nlohmann::ordered_json comparisonToJson(const Comparison& comparison);

/// TakeDifference::verdict.
std::vector<VerdictLine> verdictInWords(const Comparison& comparison, const TakeDifference& difference);
/// A line a change: "snare top: the other way up than in A, against 9 ways".
std::vector<VerdictLine> changesInWords(const Comparison& comparison, const TakeDifference& difference);

} // namespace spillwright
