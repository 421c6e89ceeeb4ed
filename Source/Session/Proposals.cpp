#include "Core/Loudness.h"
#include "Core/Pan.h"
#include "Core/Propose/Deadline.h"
#include "Core/Propose/NudgeSearch.h"
#include "Core/Propose/WorstOf.h"
#include "Core/ThirdOctaves.h"
#include "Session/LowsChange.h"
#include "Session/SourceSums.h"
#include "Session/Sources.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

namespace spillwright {

namespace {

/// By position in the list of usable tracks: those that share their sound with none that could move against them. An
/// overdub in stereo shares it with its other side alone.
std::vector<bool> unrelatedTracks(const Measurement& m, bool unlink) {
    std::vector<bool> related(m.tracks.size(), false);
    for (const auto& pair : m.pairs) {
        const bool moveTogether = !unlink && m.tracks[static_cast<std::size_t>(pair.first)].linkedTo == pair.second;
        if (pair.related && !moveTogether)
            related[static_cast<std::size_t>(pair.first)] = related[static_cast<std::size_t>(pair.second)] = true;
    }
    std::vector<bool> unrelated;
    for (int track : m.usable)
        unrelated.push_back(!related[static_cast<std::size_t>(track)]);
    return unrelated;
}

/// The third octave in which the sum wins most from one setting to another, and what it wins, dB. None where that one
/// bears no name.
std::optional<std::pair<Hertz, double>> winsMost(const SummationModel& model, Band band, const Placement& from,
                                                 const Placement& to) {
    const auto powerOf = [&](const Placement& setting, int bin) {
        const double turn = -2.0 * std::numbers::pi * model.frequencies()[static_cast<std::size_t>(bin)];
        double power = 0.0;
        for (int j = 0; j < model.trackCount(); ++j) {
            const auto v = static_cast<std::size_t>(j);
            power += model.weighted(bin, j, j).real();
            for (int i = 0; i < j; ++i) {
                const auto u = static_cast<std::size_t>(i);
                power += 2.0 * setting.signs[u] * setting.signs[v] *
                         (model.weighted(bin, i, j) * std::polar(1.0, turn * (setting.nudges[u] - setting.nudges[v])))
                             .real();
            }
        }
        return power;
    };
    constexpr double deepest = 1e-10; // -100 dB
    std::optional<std::pair<Hertz, double>> most;
    int bin = 0;
    for (const auto& third : thirdOctavesOf(band)) {
        double before = 0.0, after = 0.0;
        const int first = bin;
        for (; bin < static_cast<int>(model.frequencies().size()) &&
               model.frequencies()[static_cast<std::size_t>(bin)] <= third.high;
             ++bin) {
            before += powerOf(from, bin);
            after += powerOf(to, bin);
        }
        if (bin == first || !(before > 0.0)) continue;
        const double wins = decibelsOfPower(std::max(after / before, deepest));
        if (!most || wins > most->second) most = {Hertz(std::sqrt(third.low * third.high)), wins};
    }
    if (!most) return std::nullopt;
    const auto k = std::lround(10.0 * std::log10(most->first.value));
    const auto named = std::find_if(nominalThirdOctaves.begin(), nominalThirdOctaves.end(),
                                    [k](const auto& third) { return third.k == k; });
    if (named == nominalThirdOctaves.end()) return std::nullopt;
    return std::pair(Hertz(named->hertz), most->second);
}

Fault notUsable(const Measurement& m, int track) {
    const auto& info = m.tracks[static_cast<std::size_t>(track)];
    return {info.name, info.state == TrackState::silent ? "this track is silent" : "this track is unreadable",
            "name a track with sound in it"};
}

std::vector<SourceGain> gainsOf(const std::vector<SourceSum>& sums, const Placement& start, const Placement& proposed) {
    std::vector<SourceGain> gains;
    for (const auto& sum : sums) {
        const double gain = decibelsOfPower(sum.model.gain(proposed.signs, proposed.nudges));
        gains.push_back(
            {sum.name, gain, gain - decibelsOfPower(sum.model.gain(start.signs, start.nudges)), std::nullopt});
    }
    return gains;
}

/// Decibels against its own best of the source that is farthest below it.
double worstOf(const AimedSums& aimed, const std::vector<double>& bests, const Placement& placement) {
    double least = std::numeric_limits<double>::infinity();
    for (std::size_t k = 0; k < bests.size(); ++k)
        least = std::min(least, decibelsOfPower(aimed.models[k].gain(placement.signs, placement.nudges) / bests[k]));
    return least;
}

void tellBelowBest(const AimedSums& aimed, const std::vector<double>& bests, std::vector<SourceGain>& sources) {
    for (auto& source : sources)
        for (std::size_t k = 0; k < bests.size(); ++k)
            if (aimed.names[k] == source.name) source.belowBestDb = decibelsOfPower(bests[k]) - source.gainDb;
}

/// Whether the tracks sound in the band, in their balance: what lies this far below all they hold is the rounding of
/// the files and of the measuring.
bool soundInBand(const Measurement& m, const std::vector<TrackAdjustment>& adjustments) {
    constexpr double residue = 1e-10; // -100 dB
    return shareInBand(m, adjustments, m.options.band) > residue;
}

/// Units that share a group become one.
Outcome joinGroups(const Measurement& m, const ProposeOptions& options, const std::vector<int>& position,
                   Constraints& constraints) {
    auto& unit = constraints.unit;
    constraints.grouped.resize(unit.size());
    for (const auto& group : options.groups) {
        std::optional<int> into;
        for (const auto& name : group) {
            const auto track = findTrack(name, m.tracks);
            if (!track) return track.fault();
            const int place = position[static_cast<std::size_t>(*track)];
            if (place < 0) continue; // it takes no part
            const int own = unit[static_cast<std::size_t>(place)];
            if (!into) into = own;
            constraints.grouped[static_cast<std::size_t>(place)] = true;
            std::replace(unit.begin(), unit.end(), own, *into);
        }
    }
    return done();
}

} // namespace

UsableMix usableMix(const Measurement& m, std::span<const TrackAdjustment> adjustments, bool stereo) {
    UsableMix mix;
    for (int track : m.usable) {
        const auto& adjustment = adjustments[static_cast<std::size_t>(track)];
        mix.adjustments.push_back(adjustment);
        if (stereo) mix.pans.push_back(panGains(effectivePan(m.tracks[static_cast<std::size_t>(track)], adjustment)));
    }
    return mix;
}

SummationModel summationModel(const Measurement& m, std::span<const TrackAdjustment> adjustments, bool stereo) {
    const auto mix = usableMix(m, adjustments, stereo);
    return SummationModel(*m.spectra, m.usable, mix.adjustments, m.options.band, mix.pans);
}

std::vector<TrackAdjustment> evenlyBalanced(const Measurement& m, std::vector<TrackAdjustment> adjustments) {
    constexpr double farthest = 40.0; // dB
    std::vector<double> power(m.tracks.size(), 0.0);
    for (const int track : m.usable)
        for (int bin = 1; bin < m.spectra->binCount(); ++bin)
            power[static_cast<std::size_t>(track)] +=
                kWeighting(Hertz(bin * m.spectra->binWidth())) * m.spectra->power(bin, track);
    const auto level = [&](int track) {
        const auto partner = m.tracks[static_cast<std::size_t>(track)].linkedTo;
        const double other = partner ? power[static_cast<std::size_t>(*partner)] : 0.0;
        return decibelsOfPower(std::max(power[static_cast<std::size_t>(track)] + other, 1e-30));
    };
    double mean = 0.0;
    for (const int track : m.usable)
        mean += level(track) / static_cast<double>(m.usable.size());
    for (const int track : m.usable)
        adjustments[static_cast<std::size_t>(track)].gain =
            Decibels(std::clamp(mean - level(track), -farthest, farthest));
    return adjustments;
}

namespace {

/// Gains, high-passes and mutes of every track, and where flips and nudges start.
Result<std::vector<TrackAdjustment>> startOf(const Measurement& m, const ProposeOptions& options) {
    std::vector<TrackAdjustment> adjustments(m.tracks.size());
    if (options.setting) {
        auto named = adjustmentsFor(*options.setting, m.tracks);
        if (!named) return named.fault();
        adjustments = std::move(named).value();
    }
    if (options.evenBalance) {
        if (m.focus)
            return Fault{"even balance", "is that of all that sounds, not of one source", "leave out one of the two",
                         Fault::Kind::usage};
        adjustments = evenlyBalanced(m, std::move(adjustments));
    }
    if (std::all_of(m.usable.begin(), m.usable.end(),
                    [&](int track) { return adjustments[static_cast<std::size_t>(track)].muted; }))
        return Fault{m.folder, "all tracks are muted", "unmute two or more"};
    if (!soundInBand(m, adjustments))
        return Fault{m.folder, "nothing sounds in the band", "choose a band in which the tracks have energy"};
    return adjustments;
}

Result<Constraints> constraintsOf(const Measurement& m, const ProposeOptions& options,
                                  const std::vector<TrackAdjustment>& usableAdjustments) {
    std::vector<int> position(m.tracks.size(), -1); // in the list of usable tracks
    for (std::size_t p = 0; p < m.usable.size(); ++p)
        position[static_cast<std::size_t>(m.usable[p])] = static_cast<int>(p);
    Constraints constraints;
    constraints.unrelated = unrelatedTracks(m, options.unlink);
    constraints.largestNudge = options.largestNudge.value;
    constraints.proofTime = options.proofTime;
    constraints.time = options.time;
    constraints.leastWorthDb = options.leastWorthDb;
    double loudestLevel = -1.0;
    for (std::size_t p = 0; p < m.usable.size(); ++p) {
        const auto& track = m.tracks[static_cast<std::size_t>(m.usable[p])];
        const auto& adjustment = usableAdjustments[p];
        const int partner =
            track.linkedTo && !options.unlink ? position[static_cast<std::size_t>(*track.linkedTo)] : -1;
        const bool joins = partner >= 0 && partner < static_cast<int>(p);
        constraints.unit.push_back(joins ? constraints.unit[static_cast<std::size_t>(partner)]
                                   : constraints.unit.empty()
                                       ? 0
                                       : *std::max_element(constraints.unit.begin(), constraints.unit.end()) + 1);
        constraints.names.push_back(track.name);
        constraints.held.push_back(false);
        constraints.start.push_back(adjustment.flip);
        constraints.startNudges.push_back(adjustment.nudge.value);
        if (const double level = m.spectra->statistics(m.usable[p]).rms();
            !constraints.unrelated[p] && !adjustment.muted && level > loudestLevel) {
            loudestLevel = level;
            constraints.loudest = static_cast<int>(p);
        }
    }
    if (auto joined = joinGroups(m, options, position, constraints); !joined) return joined.fault();
    constraints.ownLargestNudge.assign(m.usable.size(), options.largestNudge.value);
    for (const auto& [name, largest] : options.ownLargest) {
        const auto track = findTrack(name, m.tracks);
        if (!track) return track.fault();
        if (const int place = position[static_cast<std::size_t>(*track)]; place >= 0)
            constraints.ownLargestNudge[static_cast<std::size_t>(place)] = largest.value;
    }
    for (const auto& name : options.hold) {
        const auto track = findTrack(name, m.tracks);
        if (!track) return track.fault();
        if (position[static_cast<std::size_t>(*track)] < 0) continue; // not changed anyway
        constraints.held[static_cast<std::size_t>(position[static_cast<std::size_t>(*track)])] = true;
    }
    if (options.reference) {
        const auto track = findTrack(*options.reference, m.tracks);
        if (!track) return track.fault();
        if (position[static_cast<std::size_t>(*track)] < 0) return notUsable(m, *track);
        constraints.reference = position[static_cast<std::size_t>(*track)];
    }
    return constraints;
}

Result<AimedSums> aimOf(const Measurement& m, const ProposeOptions& options, const std::vector<SourceSum>& sums) {
    if (options.aim.at == Aim::sum) return AimedSums();
    if (m.focus)
        return Fault{"aim", "is at several sources while one is in focus", "leave out one of the two",
                     Fault::Kind::usage};
    if (options.aim.at == Aim::worst && options.count > 1)
        return Fault{"count", "is more than one, but the source that fares worst has one proposal a rung",
                     "ask for one", Fault::Kind::usage};
    return aimedSums(m, sums, options.aim);
}

} // namespace

Result<Proposals> makeProposals(const Measurement& m, const ProposeOptions& options, Workers& workers,
                                const Watch& watch) {
    if (m.usable.size() < 2)
        return Fault{m.folder, "only one usable track",
                     "a proposal needs at least two tracks that were recorded together"};

    auto begun = startOf(m, options);
    if (!begun) return begun.fault();
    const auto adjustments = std::move(begun).value();
    const auto usableAdjustments = usableMix(m, adjustments, false).adjustments;
    auto limits = constraintsOf(m, options, usableAdjustments);
    if (!limits) return limits.fault();
    const auto constraints = std::move(limits).value();

    const auto sums = sourceSums(m, adjustments, options.stereo);
    auto aim = aimOf(m, options, sums);
    if (!aim) return aim.fault();
    const auto aimed = std::move(aim).value();
    const SummationModel model = options.aim.at == Aim::sum ? summationModel(m, adjustments, options.stereo)
                                                            : SummationModel::meanOf(aimed.models, aimed.weights);

    Proposals result;
    result.folder = m.folder;
    result.band = m.options.band;
    if (m.focus) result.source = m.sources->names[static_cast<std::size_t>(*m.focus)];
    result.aim = options.aim.at;
    for (std::size_t k = 0; k < aimed.names.size(); ++k)
        result.aimedAt.emplace_back(aimed.names[k], aimed.weights[k]);
    for (const auto& track : m.tracks)
        result.recordedNames.push_back(track.name);
    for (int track : m.usable)
        result.trackNames.push_back(m.tracks[static_cast<std::size_t>(track)].name);
    const std::vector<int> asRecordedSigns(m.usable.size(), 1);
    const std::vector<double> asRecordedNudges(m.usable.size(), 0.0);
    const double asRecorded = model.gain(asRecordedSigns, asRecordedNudges);
    result.asRecordedGainDb = decibelsOfPower(asRecorded);
    result.asRecordedLowMidCoherence = model.lowMidCoherence(asRecorded);
    result.leastWorthDb = options.leastWorthDb;
    const Placement start{signsOf(constraints.start), constraints.startNudges, 0.0};
    const double startGain = model.gain(start.signs, start.nudges);
    result.startGainDb = decibelsOfPower(startGain);

    double rungsDone = 0.0;
    const auto rungCount = static_cast<double>(options.rungs.size());
    for (Allow allow : options.rungs) {
        Watch rungWatch{[&](double done) { watch.tell((rungsDone + done) / rungCount); }, watch.stop};
        std::vector<double> bests;
        Result<std::vector<Proposal>> found = std::vector<Proposal>();
        if (options.aim.at == Aim::worst) {
            constexpr double shareOfBests = 0.3;
            const Deadline until(options.time);
            auto asked = constraints;
            asked.time = until.left(shareOfBests);
            auto own = bestsAlone(aimed.models, asked, allow, workers, watch);
            if (!own) return own.fault();
            bests = std::move(own).value();
            asked.time = until.left(1.0);
            auto worst = proposeForWorst(aimed.models, bests, asked, allow, workers, rungWatch);
            if (!worst) return worst.fault();
            found->push_back(std::move(worst).value());
        } else {
            found = propose(model, constraints, allow, options.count, workers, rungWatch);
            if (!found) return found.fault();
        }
        rungsDone += 1.0;
        int rank = 0;
        for (auto& proposal : *found) {
            NamedProposal named;
            named.rank = ++rank;
            auto changed = adjustments;
            for (std::size_t p = 0; p < m.usable.size(); ++p) {
                auto& adjustment = changed[static_cast<std::size_t>(m.usable[p])];
                adjustment.flip = proposal.flips[p];
                adjustment.nudge = Seconds(proposal.nudges[p]);
            }
            named.setting = settingFrom(std::string(rungName(allow)) + " " + std::to_string(rank), m.tracks, changed);
            named.summationGainDb = decibelsOfPower(proposal.gain);
            const Placement proposed{signsOf(proposal.flips), proposal.nudges, 0.0};
            named.lowMidCoherence = model.lowMidCoherence(model.gain(proposed.signs, proposed.nudges));
            named.upperBoundDb = decibelsOfPower(proposal.upperBound);
            named.winsDb = decibelsOfPower(proposal.gain) - decibelsOfPower(startGain);
            named.winsMost = winsMost(model, m.options.band, start, proposed);
            named.lows = lowsChange(m, adjustments, options.stereo, start, proposed);
            named.sources = gainsOf(sums, start, proposed);
            if (options.aim.at == Aim::worst) {
                named.winsMost = std::nullopt;
                named.winsDb = decibelsOfPower(proposal.gain) - worstOf(aimed, bests, start);
                tellBelowBest(aimed, bests, named.sources);
            }
            if (rank == 1 && options.aim.at == Aim::mean) {
                named.standing.emplace();
                named.standing->mayBeOff = mayBeOff(model, constraints, proposal, workers, watch);
            }
            if (rank == 1 && options.aim.at == Aim::sum) {
                named.standing = standingOf(*m.spectra, usableAdjustments, m.options.band, model, constraints, proposal,
                                            workers, watch);
                if (!named.standing) return Fault{"propose", "stopped", "", Fault::Kind::cancelled};
            }
            named.proposal = std::move(proposal);
            result.proposals.push_back(std::move(named));
        }
    }
    return result;
}

} // namespace spillwright
