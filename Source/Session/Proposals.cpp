#include "Session/JsonNumbers.h"
#include "Session/Sources.h"

#include <algorithm>
#include <cmath>

namespace spillwright {

namespace {

constexpr const char* nameOf(Allow allow) {
    return allow == Allow::flips ? "flips" : "nudges";
}

constexpr const char* nameOf(Proof proof) {
    switch (proof) {
    case Proof::exhaustive:
        return "exhaustive";
    case Proof::branchAndBound:
        return "branch-and-bound";
    case Proof::boundOnly:
        return "bound-only";
    }
    return "";
}

constexpr const char* nameOf(Proposal::Change::Kind kind) {
    switch (kind) {
    case Proposal::Change::Kind::flip:
        return "flip";
    case Proposal::Change::Kind::nudge:
        return "nudge";
    case Proposal::Change::Kind::flipAndNudge:
        return "flip and nudge";
    }
    return "";
}

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

Fault notUsable(const Measurement& m, int track) {
    const auto& info = m.tracks[static_cast<std::size_t>(track)];
    return {info.name, info.state == TrackState::silent ? "this track is silent" : "this track is unreadable",
            "name a track with sound in it"};
}

} // namespace

SummationModel summationModel(const Measurement& m, std::span<const TrackAdjustment> adjustments) {
    std::vector<TrackAdjustment> usable;
    for (int track : m.usable)
        usable.push_back(adjustments[static_cast<std::size_t>(track)]);
    return SummationModel(*m.spectra, m.usable, usable, m.options.band);
}

Result<Proposals> makeProposals(const Measurement& m, const ProposeOptions& options, Workers& workers,
                                const Watch& watch) {
    if (m.usable.size() < 2)
        return Fault{m.folder, "only one usable track",
                     "a proposal needs at least two tracks that were recorded together"};

    std::vector<TrackAdjustment> adjustments(m.tracks.size());
    if (options.setting) {
        auto named = adjustmentsFor(*options.setting, m.tracks);
        if (!named) return named.fault();
        adjustments = std::move(named).value();
    }
    std::vector<TrackAdjustment> usableAdjustments;
    std::vector<int> position(m.tracks.size(), -1); // in the list of usable tracks
    for (std::size_t p = 0; p < m.usable.size(); ++p) {
        usableAdjustments.push_back(adjustments[static_cast<std::size_t>(m.usable[p])]);
        position[static_cast<std::size_t>(m.usable[p])] = static_cast<int>(p);
    }

    Constraints constraints;
    constraints.unrelated = unrelatedTracks(m, options.unlink);
    constraints.largestNudge = options.largestNudge.value;
    constraints.proofTime = options.proofTime;
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
        constraints.held.push_back(false);
        constraints.start.push_back(adjustment.flip);
        constraints.startNudges.push_back(adjustment.nudge.value);
        if (const double level = m.spectra->statistics(m.usable[p]).rms();
            !constraints.unrelated[p] && !adjustment.muted && level > loudestLevel) {
            loudestLevel = level;
            constraints.loudest = static_cast<int>(p);
        }
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

    const SummationModel model = summationModel(m, adjustments);
    if (!model.hasEnergy())
        return Fault{m.folder, "nothing sounds in the band", "choose a band in which the tracks have energy"};

    Proposals result;
    result.folder = m.folder;
    result.band = m.options.band;
    if (m.focus) result.source = m.sources->names[static_cast<std::size_t>(*m.focus)];
    for (int track : m.usable)
        result.trackNames.push_back(m.tracks[static_cast<std::size_t>(track)].name);
    const std::vector<int> asRecordedSigns(m.usable.size(), 1);
    const std::vector<double> asRecordedNudges(m.usable.size(), 0.0);
    const double asRecorded = model.gain(asRecordedSigns, asRecordedNudges);
    result.asRecordedGainDb = decibelsOfPower(asRecorded);
    result.asRecordedLowMidCoherence = model.lowMidCoherence(asRecorded);

    double rungsDone = 0.0;
    const auto rungCount = static_cast<double>(options.rungs.size());
    for (Allow allow : options.rungs) {
        Watch rungWatch{[&](double done) { watch.tell((rungsDone + done) / rungCount); }, watch.stop};
        auto found = propose(model, constraints, allow, options.count, workers, rungWatch);
        if (!found) return found.fault();
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
            named.setting = settingFrom(std::string(nameOf(allow)) + " " + std::to_string(rank), m.tracks, changed);
            named.summationGainDb = decibelsOfPower(proposal.gain);
            named.lowMidCoherence = model.lowMidCoherence(proposal.gain);
            named.upperBoundDb = decibelsOfPower(proposal.upperBound);
            named.proposal = std::move(proposal);
            result.proposals.push_back(std::move(named));
        }
    }
    return result;
}

nlohmann::ordered_json proposalsToJson(const Proposals& proposals) {
    using namespace jsonNumbers;
    ordered_json list = ordered_json::array();
    for (const auto& named : proposals.proposals) {
        ordered_json why = ordered_json::array();
        for (const auto& change : named.proposal.why)
            why.push_back({{"track", proposals.trackNames[static_cast<std::size_t>(change.track)]},
                           {"change", nameOf(change.kind)},
                           {"effect_dB", rounded(change.effectDb, dbDigits)}});
        ordered_json p;
        p["allow"] = nameOf(named.proposal.allow);
        p["rank"] = named.rank;
        p["summationGain_dB"] = rounded(named.summationGainDb, dbDigits);
        p["lowMidCoherence"] = rounded(named.lowMidCoherence, shareDigits);
        p["upperBound_dB"] = rounded(named.upperBoundDb, dbDigits);
        p["gap_dB"] = rounded(named.upperBoundDb - named.summationGainDb, dbDigits);
        p["proof"] = nameOf(named.proposal.proof);
        p["proven"] = named.proven();
        p["cutShort"] = named.proposal.cutShort;
        p["setting"] = settingToJson(named.setting);
        p["why"] = std::move(why);
        list.push_back(std::move(p));
    }
    ordered_json root;
    root["format"] = "spillwright/proposals";
    root["version"] = 1;
    root["folder"] = proposals.folder;
    root["band_Hz"] = bandToJson(proposals.band);
    root["source"] = proposals.source ? ordered_json(*proposals.source) : ordered_json();
    root["asRecorded"] = {{"summationGain_dB", rounded(proposals.asRecordedGainDb, dbDigits)},
                          {"lowMidCoherence", rounded(proposals.asRecordedLowMidCoherence, shareDigits)}};
    root["proposals"] = std::move(list);
    return root;
}

} // namespace spillwright
