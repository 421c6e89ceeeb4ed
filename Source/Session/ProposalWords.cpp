#include "Session/ProposalWords.h"

#include "Session/SourceSums.h"
#include "Session/Words.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>

namespace spillwright {

namespace {

constexpr double surelyStands = 0.9; // of the resamples
constexpr double hardly = 0.05;      // dB: neither won nor lost
constexpr std::size_t mostNames = 3;

std::string signedDecibels(double value) {
    return (value >= 0.0 ? "+" : "") + decibelsText(value, 1);
}

/// "'a', 'b' and 'c'", "'a', 'b', 'c' and 2 more".
std::string listed(const std::vector<std::string>& names) {
    std::string text;
    const std::size_t shown = std::min(names.size(), mostNames);
    for (std::size_t k = 0; k < shown; ++k)
        text += (k == 0 ? "" : k + 1 == names.size() ? " and " : ", ") + ("'" + names[k] + "'");
    if (names.size() > shown) text += " and " + std::to_string(names.size() - shown) + " more";
    return text;
}

std::string whatItBrings(const Proposals& proposals, const NamedProposal& named) {
    std::vector<std::string> flipped, moved;
    for (const auto& change : named.proposal.why) {
        const auto& name = proposals.trackNames[static_cast<std::size_t>(change.track)];
        if (change.kind != Proposal::Change::Kind::nudge) flipped.push_back(name);
        if (change.kind != Proposal::Change::Kind::flip) moved.push_back(name);
    }
    if (flipped.empty() && moved.empty()) return "Nothing to change: nothing that is worth it would add more.";
    std::string text;
    if (!flipped.empty()) text = "Turning " + listed(flipped) + " over";
    if (!moved.empty()) text += (text.empty() ? "Moving " : " and moving ") + listed(moved) + " in time";
    const bool both = !flipped.empty() && !moved.empty();
    text += named.winsDb >= 0.0 ? (both ? " together bring " : " brings ") + decibelsText(named.winsDb, 1)
                                : (both ? " together take " : " takes ") + decibelsText(-named.winsDb, 1);
    text += proposals.source             ? " of '" + *proposals.source + "' to the sum"
            : proposals.aim == Aim::mean ? std::string(" to the sums of the sources, on average")
            : proposals.aim == Aim::worst
                ? std::string(" to whichever source fares worst: none is then more than ") +
                      decibelsText(std::max(0.0, -named.summationGainDb), 1) + " below its own best"
                : std::string(" to the sum");
    if (named.winsMost && named.winsMost->second > std::max(hardly, named.winsDb))
        text += ", most around " + std::to_string(std::lround(named.winsMost->first.value)) + " Hz (" +
                decibelsText(named.winsMost->second, 1) + ")";
    return text + ".";
}

/// What the ear may miss below the band, or hear as timing.
std::string besideTheBand(const Proposals& proposals, const NamedProposal& named) {
    constexpr double worthSaying = 0.5;              // dB
    constexpr Seconds heardAsTiming = Seconds(5e-3); // of clicks
    std::string text;
    if (named.lows && (named.lows->winsDb < -worthSaying || named.lows->worst)) {
        const auto& lows = *named.lows;
        text = lows.winsDb < -worthSaying
                   ? " Below the band it takes " + decibelsText(-lows.winsDb, 1) + " from the lows"
                   : std::string(" The lows as a whole keep their level");
        text += " (40 to 120 Hz)";
        if (lows.worst)
            text += "; '" + proposals.recordedNames[static_cast<std::size_t>(lows.worst->first)] + "' and '" +
                    proposals.recordedNames[static_cast<std::size_t>(lows.worst->second)] +
                    "', which surely share a sound, lose " + decibelsText(-lows.worst->winsDb, 1) +
                    " of it there: listen to the bottom";
        text += ".";
    }
    const auto& nudges = named.proposal.nudges;
    const auto [least, most] = std::minmax_element(nudges.begin(), nudges.end());
    if (least != nudges.end() && *most - *least > heardAsTiming.value)
        text += " It moves tracks by up to " + std::to_string(std::lround(1e3 * (*most - *least))) +
                " ms against each other: listen to the timing.";
    return text;
}

std::string overTime(const Standing& standing) {
    if (standing.parts.size() < 2) return {};
    const auto& worst = standing.parts[standing.worst];
    const std::string when = clockText(worst.from.value, false) + " to " + clockText(worst.to.value, false);
    if (worst.winsDb >= -hardly)
        return " It helps throughout, least from " + when + " (" + signedDecibels(worst.winsDb) + ").";
    std::size_t hurt = 0;
    for (const auto& part : standing.parts)
        hurt += part.winsDb < -hardly;
    return " Half of the time it brings " + decibelsText(standing.medianDb, 1) + " or more, but in " +
           std::to_string(hurt) + " of " + std::to_string(standing.parts.size()) + " parts it takes some, most from " +
           when + " (" + signedDecibels(worst.winsDb) + ").";
}

std::string doubts(const Proposals& proposals, const NamedProposal& named) {
    std::vector<std::string> unsure;
    double least = 1.0;
    for (const auto& change : named.proposal.why) {
        if (change.kind == Proposal::Change::Kind::nudge || named.standing->stands.empty()) continue;
        const double share = named.standing->stands[static_cast<std::size_t>(change.track)];
        if (share >= surelyStands) continue;
        unsure.push_back(proposals.trackNames[static_cast<std::size_t>(change.track)]);
        least = std::min(least, share);
    }
    if (unsure.empty()) return {};
    return " Whether to turn " + listed(unsure) +
           " over hangs on the moments that were measured: " + std::to_string(std::lround(100.0 * least)) +
           " of 100 choices of them say so; let the ear decide.";
}

std::string leftOut(const Proposals& proposals, const NamedProposal& named) {
    std::vector<std::string> names;
    for (const auto& change : named.proposal.leftOut)
        names.push_back(proposals.trackNames[static_cast<std::size_t>(change.track)]);
    if (names.empty()) return {};
    return " Left out, as not worth it: " + listed(names) + " (" +
           decibelsText(decibelsOfPower(named.proposal.fullGain / named.proposal.gain), 2) + " in all).";
}

} // namespace

std::string proposalInWords(const Proposals& proposals, const NamedProposal& named) {
    std::string text = whatItBrings(proposals, named);
    if (named.standing && !named.proposal.why.empty()) text += overTime(*named.standing) + doubts(proposals, named);
    if (!named.proposal.why.empty()) text += besideTheBand(proposals, named) + sourcesInWords(named.sources);
    return text + leftOut(proposals, named);
}

std::string boundInWords(const NamedProposal& named) {
    const double gap = named.gapDb();
    std::string text = !named.proven() && named.provenWithAll()
                           ? "proven, but for what is left out (" + decibelsText(gap, 2) + " below the bound)"
                       : gap < 0.00005 ? std::string("proven: nothing within the limits is better")
                       : named.proven()
                           ? "proven: nothing within the limits is better by " + decibelsText(provenGapDb, 2)
                           : "nothing within the limits is more than " + decibelsText(gap, 2) + " better";
    return text + (named.proposal.cutShort ? "; the time ran out" : "");
}

std::string changeInWords(const NamedProposal& named, const Proposal::Change& change, double sampleRate) {
    const auto position = static_cast<std::size_t>(change.track);
    const double nudge = named.proposal.nudges[position];
    std::string words;
    if (change.kind != Proposal::Change::Kind::nudge) words = named.proposal.flips[position] ? "flip" : "flip back";
    if (change.kind != Proposal::Change::Kind::flip) {
        std::array<char, 96> text{};
        std::snprintf(text.data(), text.size(), "nudge to %+.3f ms (%+.1f smp)", nudge * 1e3, nudge * sampleRate);
        words += (words.empty() ? "" : ", ") + std::string(text.data());
    }
    return words;
}

} // namespace spillwright
