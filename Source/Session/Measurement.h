#pragma once

#include "Core/Measure/Consistency.h"
#include "Core/Measure/CrossSpectra.h"
#include "Core/Measure/PairReading.h"
#include "Core/Measure/Stability.h"
#include "Core/Propose/Propose.h"
#include "Core/Propose/Standing.h"
#include "Session/Setting.h"
#include "Session/TrackInfo.h"

#include <nlohmann/json_fwd.hpp>

#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace spillwright {

struct HeardSources;

struct MeasureOptions {
    std::optional<Seconds> from;
    std::optional<Seconds> to;
    Band band = lowMidBand;
    Seconds largestArrival = Seconds(0.05);
    Celsius temperature = Celsius(20.0);
};

/// One recording measured: the spectra, from which every later question is answered, and the readings.
struct Measurement {
    std::string folder;
    MeasureOptions options;
    std::vector<TrackInfo> tracks; ///< With `silent` filled in.
    std::vector<int> usable;       ///< Indices of the tracks that take part.
    std::shared_ptr<const CrossSpectra> spectra;
    std::vector<PairReading> pairs;
    std::shared_ptr<const HeardSources> sources; ///< Which instrument is heard where; null before it was asked.
    std::optional<int> focus; ///< The source that spectra and pairs are of; none: of all that sounds.
    std::shared_ptr<const CrossSpectra> allSpectra; ///< Where there is a focus: of all that sounds.
    Stability stability;                            ///< What moves in the course of the recording.
    Consistency consistency;                        ///< What the triangles of arrivals say.
    std::vector<std::string> warnings;
};

/// The samples that the options ask for. Faults: the stretch begins outside the recording.
Result<CrossSpectraOptions> stretchOf(const std::string& folder, const SampleSource& source,
                                      const MeasureOptions& options);

/// The one way a recording is measured, by window and command line alike. `warnings` are those of opening it. Where the
/// spectra of that stretch are known already the audio is not read.
Result<Measurement> measure(const std::string& folder, std::span<const TrackInfo> tracks, const SampleSource& source,
                            std::vector<std::string> warnings, const MeasureOptions& options, Workers& workers,
                            const Watch& watch, std::shared_ptr<const CrossSpectra> known = {});
nlohmann::ordered_json measurementToJson(const Measurement& measurement);

/// What a pair has in common, in a word or two: "sound", "one tone", "printed", "mains hum", "offset", "noise floor",
/// "nothing".
const char* sharedWord(Shared shared);

/// What a summation model asks of the usable tracks, in order.
struct UsableMix {
    std::vector<TrackAdjustment> adjustments;
    std::vector<PanGains> pans; ///< Empty: mono.
};
/// `adjustments`: one a track of the recording.
UsableMix usableMix(const Measurement& measurement, std::span<const TrackAdjustment> adjustments, bool stereo);

/// The summation gain of any flips and nudges of the usable tracks, under the gains, high-passes and mutes of
/// `adjustments` (one a track of the recording). A track that shares its sound with nobody neither adds nor cancels.
SummationModel summationModel(const Measurement& measurement, std::span<const TrackAdjustment> adjustments,
                              bool stereo = false);

/// Gains that make all usable tracks equally loud: K-weighted power (ITU-R BS.1770, ungated), linked tracks by what
/// both have together. Their mean is 0 dB, none is beyond 40 dB. The rest of `adjustments` stays.
std::vector<TrackAdjustment> evenlyBalanced(const Measurement& measurement, std::vector<TrackAdjustment> adjustments);

/// What the proposals are to serve.
enum class Aim {
    sum,  ///< The sum of all that sounds, or of the source in focus.
    mean, ///< The mean over sources of the summation gain that each has alone.
    worst ///< The source that is farthest below the best that it could have (proposeForWorst).
};
struct SourceAim {
    Aim at = Aim::sum;
    std::vector<std::pair<std::string, double>> sources; ///< Name and weight; empty: every one, alike. Aim::worst
                                                         ///< knows no weights.
};

struct ProposeOptions {
    std::vector<Allow> rungs{Allow::flips, Allow::nudges};
    Seconds largestNudge = Seconds(0.01);
    std::optional<std::string> reference;
    std::vector<std::string> hold;
    bool unlink = false;
    std::vector<std::vector<std::string>> groups;            ///< Tracks that move as one.
    std::vector<std::pair<std::string, Seconds>> ownLargest; ///< Of single tracks, in place of largestNudge.
    bool stereo = false; ///< The stereo sum, left and right in power, with the pans of the setting; else the mono sum.
    bool evenBalance = false;       ///< Gains that make all tracks equally loud, in place of those of the setting.
    std::optional<Setting> setting; ///< Starting point: gains, high-passes, mutes, and what held tracks keep.
    int count = 1;
    std::optional<Seconds> proofTime = std::nullopt; ///< Of one rung: Constraints::proofTime.
    std::optional<Seconds> time = std::nullopt;      ///< Of one rung, in all: Constraints::time.
    double leastWorthDb = 0.1; ///< Where one of a rung is asked for: changes worth less are left out.
    SourceAim aim;
};

/// What a proposal does to the sum of one source.
struct SourceGain {
    std::string name;
    double gainDb = 0.0;               ///< Summation gain of the source alone.
    double winsDb = 0.0;               ///< Against the setting it started from.
    std::optional<double> belowBestDb; ///< Of Aim::worst, of the sources that count: against its own best.
};

/// What a proposal, which serves the band alone, does below it (LowsChange.h).
struct LowsChange {
    double winsDb = 0.0; ///< Summation gain of the lows against the setting it started from.
    struct Pair {
        int first = 0, second = 0; ///< Tracks of the recording.
        double winsDb = 0.0;
    };
    /// Of the pairs that surely have a sound in common, the one whose own sum loses most there; empty where none loses
    /// 2 dB.
    std::optional<Pair> worst;
};

/// A proposal in the user's names and decibels. With Aim::worst the gain, its bound and what it wins are of the worst
/// source, against its own best: 0 dB at most.
struct NamedProposal {
    Proposal proposal;
    int rank = 1;
    Setting setting;
    double summationGainDb = 0.0;
    double lowMidCoherence = 0.0;
    double upperBoundDb = 0.0;
    double winsDb = 0.0;                              ///< Against the setting it started from.
    std::optional<std::pair<Hertz, double>> winsMost; ///< The third octave of the band that wins most, and what, dB.
    std::optional<LowsChange> lows;                   ///< Empty where next to nothing sounds there.
    std::optional<Standing> standing;                 ///< Of the best of each rung.
    std::vector<SourceGain> sources;                  ///< Those told apart that sound in the band.

    double gapDb() const { return upperBoundDb - summationGainDb; }
    /// Nothing is better by more than provenGapDb ...
    bool proven() const { return gapDb() <= provenGapDb; }
    /// ... than what was found before changes not worth it were left out.
    bool provenWithAll() const { return upperBoundDb - decibelsOfPower(proposal.fullGain) <= provenGapDb; }
};

struct Proposals {
    std::string folder;
    Band band = lowMidBand;
    std::optional<std::string> source; ///< The one whose sum is meant; none: of all that sounds.
    Aim aim = Aim::sum;
    std::vector<std::pair<std::string, double>> aimedAt; ///< Sources and weights; of Aim::sum none.
    std::vector<std::string> recordedNames;              ///< Of all tracks of the recording.
    std::vector<std::string> trackNames; ///< Of the model's tracks, as Proposal::Change::track counts them.
    double asRecordedGainDb = 0.0;
    double asRecordedLowMidCoherence = 0.0;
    double startGainDb = 0.0;  ///< Of the setting it starts from. Aim::worst: of the mean, as asRecordedGainDb.
    double leastWorthDb = 0.0; ///< As it was asked for.
    std::vector<NamedProposal> proposals;
};

constexpr const char* rungName(Allow allow) {
    return allow == Allow::flips ? "flips" : "nudges";
}

/// The one way proposals are made, by window and command line alike.
Result<Proposals> makeProposals(const Measurement& measurement, const ProposeOptions& options, Workers& workers,
                                const Watch& watch);
nlohmann::ordered_json proposalsToJson(const Proposals& proposals);

} // namespace spillwright
