#include "Report/Report.h"

#include "Session/Amounts.h"
#include "Session/PairWords.h"
#include "Session/ProposalWords.h"

#include <algorithm>
#include <cmath>

namespace spillwright {

namespace {

/// Without the tracks that the recording has not.
Setting ofTracks(Setting setting, const std::vector<TrackInfo>& tracks) {
    std::erase_if(setting.tracks, [&](const TrackSetting& one) {
        return std::none_of(tracks.begin(), tracks.end(), [&](const auto& track) { return track.name == one.track; });
    });
    return setting;
}

const TrackAdjustment* find(const Setting& setting, const std::string& track) {
    for (const auto& one : setting.tracks)
        if (one.track == track) return &one.adjustment;
    return nullptr;
}

/// The balance of one setting with the flips and nudges of another one.
Setting placed(const Setting& balance, const Setting& moves, const std::vector<TrackInfo>& tracks) {
    Setting result{moves.name, {}};
    for (const auto& track : tracks) {
        TrackAdjustment adjustment;
        if (const auto* own = find(balance, track.name)) adjustment = *own;
        const auto* moved = find(moves, track.name);
        adjustment.flip = moved && moved->flip;
        adjustment.nudge = moved ? moved->nudge : Seconds(0.0);
        result.tracks.push_back({track.name, adjustment});
    }
    return result;
}

std::string boundOf(const SessionVersion& version) {
    if (!version.gapDb) return {};
    const std::string open = version.cutShort ? "; the time ran out" : "";
    if (*version.gapDb <= provenGapDb) return "proven: nothing within the limits is better by 0.05 dB" + open;
    return "nothing within the limits is more than " + unsignedAmount(*version.gapDb, 2) + " dB better" + open;
}

} // namespace

ReportVersion versionOf(const Proposals& proposals, const NamedProposal& named, const Measurement& measurement) {
    ReportVersion version;
    version.name = named.proposal.allow == Allow::flips ? "flips" : "flips and nudges";
    if (named.rank > 1) version.name += ", rank " + std::to_string(named.rank);
    version.setting = named.setting;
    version.words = proposalInWords(proposals, named);
    version.bound = boundInWords(named);
    for (const auto& change : named.proposal.why) {
        const auto position = static_cast<std::size_t>(change.track);
        ReportVersion::Change told{proposals.trackNames[position],
                                   withTrueMinus(changeInWords(named, change, measurement.spectra->sampleRate())),
                                   change.effectDb,
                                   change.worthDb,
                                   {},
                                   {}};
        if (const auto& standing = named.standing) {
            if (!standing->stands.empty() && change.kind != Proposal::Change::Kind::nudge)
                told.stands = standing->stands[position];
            if (const auto& off = standing->mayBeOff[position]) told.mayBeOff = Seconds(*off);
        }
        version.changes.push_back(std::move(told));
    }
    return version;
}

bool explain(ReportVersion& version, const ReportVersion& proposal, const std::vector<TrackInfo>& tracks) {
    constexpr double nanosecond = 1e-9; // as a file rounds
    const auto own = adjustmentsFor(version.setting, tracks), proposed = adjustmentsFor(proposal.setting, tracks);
    const auto same = [](const TrackAdjustment& a, const TrackAdjustment& b) {
        return a.flip == b.flip && std::abs(a.nudge.value - b.nudge.value) < nanosecond;
    };
    if (!own || !proposed || !std::equal(own->begin(), own->end(), proposed->begin(), same)) return false;
    version.words = "As proposed (\u201c" + proposal.name + "\u201d). " + proposal.words;
    version.bound = proposal.bound;
    version.changes = proposal.changes;
    return true;
}

SessionVersions versionsOf(const Session& session, const std::vector<TrackInfo>& tracks) {
    SessionVersions result;
    const auto heard = ofTracks(session.heard, tracks);
    const auto balance = session.home ? ofTracks(*session.home, tracks) : heard;
    for (const auto& each : session.versions) {
        ReportVersion version;
        version.name = shownName(each);
        const bool whole = each.name.starts_with("kept");
        version.setting = whole ? ofTracks(each.setting, tracks) : placed(balance, each.setting, tracks);
        version.words = each.words;
        version.bound = boundOf(each);
        for (const auto& change : each.why) {
            const auto* adjustment = find(version.setting, change.track);
            if (!adjustment) continue;
            std::string what = change.kind != Proposal::Change::Kind::nudge ? "flip" : "";
            if (change.kind != Proposal::Change::Kind::flip)
                what += (what.empty() ? "nudge to " : ", nudge to ") + nudgeText(adjustment->nudge) + " ms";
            version.changes.push_back({change.track, what, change.effectDb, {}, {}, {}});
        }
        if (session.heardVersion == each.name) result.taken = result.versions.size();
        result.versions.push_back(std::move(version));
    }
    const auto adjustments = [&](const Setting& setting) { return adjustmentsFor(setting, tracks); };
    const auto now = adjustments(heard);
    if (!now) return result; // cannot be: every track of it is there
    if (result.taken) {
        const auto taken = adjustments(result.versions[*result.taken].setting);
        if (taken && *taken == *now) return result;
    }
    result.taken.reset();
    if (*now == std::vector<TrackAdjustment>(tracks.size())) return result;
    result.taken = result.versions.size();
    result.versions.push_back({"as heard", heard, "", "", {}});
    return result;
}

} // namespace spillwright
