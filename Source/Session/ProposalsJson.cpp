#include "Session/JsonNumbers.h"
#include "Session/LowsChange.h"
#include "Session/ProposalNames.h"
#include "Session/ProposalWords.h"

namespace spillwright {

namespace {

using namespace jsonNumbers;

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

ordered_json changeToJson(const Proposals& proposals, const NamedProposal& named, const Proposal::Change& change) {
    const auto track = static_cast<std::size_t>(change.track);
    ordered_json json{{"track", proposals.trackNames[track]},
                      {"change", nameInFile(change.kind)},
                      {"effect_dB", rounded(change.effectDb, dbDigits)},
                      {"worth_dB", change.worthDb ? rounded(*change.worthDb, dbDigits) : ordered_json()}};
    const bool flips = change.kind != Proposal::Change::Kind::nudge;
    const bool told = named.standing && flips && !named.standing->stands.empty();
    json["stands"] = told ? rounded(named.standing->stands[track], shareDigits) : ordered_json();
    const auto mayBeOff = named.standing ? named.standing->mayBeOff[track] : std::nullopt;
    json["mayBeOff_ms"] = mayBeOff ? rounded(1e3 * *mayBeOff, msDigits) : ordered_json();
    return json;
}

ordered_json courseToJson(const Standing& standing) {
    if (standing.parts.empty()) return {};
    const auto& worst = standing.parts[standing.worst];
    return {{"median_dB", rounded(standing.medianDb, dbDigits)},
            {"worst_dB", rounded(worst.winsDb, dbDigits)},
            {"worstFrom_s", rounded(worst.from.value, msDigits)},
            {"worstTo_s", rounded(worst.to.value, msDigits)},
            {"parts", standing.parts.size()}};
}

} // namespace

nlohmann::ordered_json proposalsToJson(const Proposals& proposals) {
    ordered_json list = ordered_json::array();
    for (const auto& named : proposals.proposals) {
        ordered_json why = ordered_json::array();
        for (const auto& change : named.proposal.why)
            why.push_back(changeToJson(proposals, named, change));
        ordered_json p;
        p["allow"] = rungName(named.proposal.allow);
        p["rank"] = named.rank;
        p["summationGain_dB"] = rounded(named.summationGainDb, dbDigits);
        p["lowMidCoherence"] = rounded(named.lowMidCoherence, shareDigits);
        p["upperBound_dB"] = rounded(named.upperBoundDb, dbDigits);
        p["gap_dB"] = rounded(named.upperBoundDb - named.summationGainDb, dbDigits);
        p["proof"] = nameOf(named.proposal.proof);
        p["proven"] = named.proven();
        p["provenWithAll"] = named.provenWithAll();
        p["cutShort"] = named.proposal.cutShort;
        p["setting"] = settingToJson(named.setting);
        p["why"] = std::move(why);
        ordered_json leftOut = ordered_json::array();
        for (const auto& change : named.proposal.leftOut)
            leftOut.push_back({{"track", proposals.trackNames[static_cast<std::size_t>(change.track)]},
                               {"change", nameInFile(change.kind)},
                               {"worth_dB", rounded(change.effectDb, dbDigits)}});
        p["leftOut"] = std::move(leftOut);
        p["wins_dB"] = rounded(named.winsDb, dbDigits);
        p["lows"] = ordered_json();
        if (named.lows) {
            p["lows"] = {{"band_Hz", bandToJson(lowsBand)}, {"wins_dB", rounded(named.lows->winsDb, dbDigits)}};
            p["lows"]["worst"] = ordered_json();
            if (const auto& worst = named.lows->worst)
                p["lows"]["worst"] = {{"first", proposals.recordedNames[static_cast<std::size_t>(worst->first)]},
                                      {"second", proposals.recordedNames[static_cast<std::size_t>(worst->second)]},
                                      {"wins_dB", rounded(worst->winsDb, dbDigits)}};
        }
        p["course"] = named.standing ? courseToJson(*named.standing) : ordered_json();
        p["sources"] = ordered_json::array();
        for (const auto& source : named.sources)
            p["sources"].push_back(
                {{"source", source.name},
                 {"summationGain_dB", rounded(source.gainDb, dbDigits)},
                 {"wins_dB", rounded(source.winsDb, dbDigits)},
                 {"belowBest_dB", source.belowBestDb ? rounded(*source.belowBestDb, dbDigits) : ordered_json()}});
        p["words"] = proposalInWords(proposals, named);
        list.push_back(std::move(p));
    }
    ordered_json root;
    root["format"] = "spillwright/proposals";
    root["version"] = 1;
    root["folder"] = proposals.folder;
    root["band_Hz"] = bandToJson(proposals.band);
    root["source"] = proposals.source ? ordered_json(*proposals.source) : ordered_json();
    root["aim"] = nameInFile(proposals.aim);
    root["aimedAt"] = ordered_json::array();
    for (const auto& [name, weight] : proposals.aimedAt)
        root["aimedAt"].push_back({{"source", name}, {"weight", weight}});
    root["asRecorded"] = {{"summationGain_dB", rounded(proposals.asRecordedGainDb, dbDigits)},
                          {"lowMidCoherence", rounded(proposals.asRecordedLowMidCoherence, shareDigits)}};
    root["start"] = {{"summationGain_dB", rounded(proposals.startGainDb, dbDigits)}};
    root["proposals"] = std::move(list);
    return root;
}

} // namespace spillwright
