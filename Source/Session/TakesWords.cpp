#include "Session/Takes.h"

#include "Session/SpillFindings.h"
#include "Session/Words.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

namespace spillwright {

namespace {

constexpr double evenerMs = 0.05, evenerReach = 3.0;

std::string fixed(double value, int digits) {
    char text[48];
    std::snprintf(text, sizeof text, "%.*f", digits, value);
    return text;
}

std::string counted(int count, const char* one, const char* many) {
    return std::to_string(count) + " " + (count == 1 ? one : many);
}

std::string plusMinus(double value, const std::optional<double>& uncertainty, int digits, const char* unit) {
    char text[96];
    if (uncertainty && *uncertainty >= 0.5 * std::pow(10.0, -digits))
        std::snprintf(text, sizeof text, "%.*f +-%.*f %s", digits, value, digits, *uncertainty, unit);
    else
        std::snprintf(text, sizeof text, "%.*f %s", digits, value, unit);
    return text;
}

std::string namesOf(const Comparison& c, const std::vector<int>& tracks) {
    std::string words;
    for (const int track : tracks)
        words += (words.empty() ? "" : ", ") + c.tracks[static_cast<std::size_t>(track)].name;
    return words;
}

VerdictLine plain(std::string text) {
    return {std::move(text), std::nullopt, std::nullopt};
}

/// "the kit"-wide: what the tracks in common sum to.
void addSums(const Comparison& c, const TakeDifference& d, std::vector<VerdictLine>& lines) {
    const auto& take = c.takes[static_cast<std::size_t>(d.second)];
    if (!d.canBeTold || !d.sum || !d.sum->uncertainty || !take.sum || !take.best) return;
    const auto told = [&](const Difference& difference) {
        return plusMinus(std::abs(difference.value), difference.uncertainty, 1, "dB") +
               (difference.value > 0.0 ? " fuller" : " thinner");
    };
    std::string line;
    if (d.sum->stands) line = "as recorded the tracks sum " + told(*d.sum);
    if (d.best->stands) {
        line += (line.empty() ? "the tracks sum " : "; ") + told(*d.best);
        line += take.flips.empty() ? " at their best, which takes no flip"
                                   : " after " + counted(static_cast<int>(take.flips.size()), "flip", "flips") + " (" +
                                         namesOf(c, take.flips) + ")";
    }
    lines.push_back(plain(line.empty() ? "no difference in how full the tracks sum" : line));
}

/// Whether the two sides of a pair sit evener about a source than they did.
void addEvenness(const Comparison& c, const TakeDifference& d, std::vector<VerdictLine>& lines) {
    const auto &first = c.takes.front().recording, &second = c.takes[static_cast<std::size_t>(d.second)].recording;
    if (!first.sources || !second.sources) return;
    const auto moved = [&](int track) {
        return std::any_of(d.changes.begin(), d.changes.end(), [&](const TakeChange& change) {
            return change.track == track &&
                   (change.kind == TakeChange::Kind::moved || change.kind == TakeChange::Kind::late);
        });
    };
    for (std::size_t left = 0; left < c.tracks.size(); ++left)
        for (std::size_t right = left + 1; right < c.tracks.size(); ++right) {
            const auto trackOf = [&](std::size_t compared, int take) {
                return c.tracks[compared].tracks[static_cast<std::size_t>(take)];
            };
            const int leftA = trackOf(left, 0), rightA = trackOf(right, 0);
            const int leftB = trackOf(left, d.second), rightB = trackOf(right, d.second);
            if (leftA < 0 || rightA < 0 || leftB < 0 || rightB < 0) continue;
            if (first.tracks[static_cast<std::size_t>(leftA)].linkedTo != rightA) continue;
            if (!moved(static_cast<int>(left)) && !moved(static_cast<int>(right))) continue;
            double most = 0.0;
            VerdictLine line{{}, static_cast<int>(left), static_cast<int>(right)};
            for (std::size_t s = 0; s < first.sources->names.size(); ++s) {
                const auto& names = second.sources->names;
                const auto other = std::find(names.begin(), names.end(), first.sources->names[s]);
                if (other == names.end()) continue;
                const int source = static_cast<int>(s), otherSource = static_cast<int>(other - names.begin());
                const auto* a = first.sources->map.reading(source, leftA);
                const auto* b = first.sources->map.reading(source, rightA);
                const auto* e = second.sources->map.reading(otherSource, leftB);
                const auto* f = second.sources->map.reading(otherSource, rightB);
                if (!a || !b || !e || !f || !a->arrival || !b->arrival || !e->arrival || !f->arrival) continue;
                const double was = std::abs(inMilliseconds(a->arrival->delay - b->arrival->delay));
                const double is = std::abs(inMilliseconds(e->arrival->delay - f->arrival->delay));
                const double doubt =
                    1e3 *
                    std::sqrt(std::pow(a->arrival->uncertainty.value, 2) + std::pow(b->arrival->uncertainty.value, 2) +
                              std::pow(e->arrival->uncertainty.value, 2) + std::pow(f->arrival->uncertainty.value, 2));
                if (std::abs(is - was) < std::max(evenerMs, evenerReach * doubt)) continue;
                const double weight = a->shareOfTrack + b->shareOfTrack;
                if (weight <= most) continue;
                most = weight;
                line.text = c.tracks[left].name + " and " + c.tracks[right].name + ": " + fixed(std::abs(is - was), 2) +
                            " ms " + (is < was ? "closer to even about " : "further from even about ") +
                            first.sources->names[s] + " (" + fixed(is, 2) + " ms apart, " + fixed(was, 2) +
                            " ms before)";
            }
            if (!line.text.empty()) lines.push_back(line);
        }
}

/// One microphone in another's place, in the words of what it does for the job.
void addMicrophones(const Comparison& c, const TakeDifference& d, std::vector<VerdictLine>& lines) {
    const auto &first = c.takes.front(), &second = c.takes[static_cast<std::size_t>(d.second)];
    const auto job = std::find_if(c.tracks.begin(), c.tracks.end(),
                                  [](const ComparedTrack& track) { return track.by == MatchedBy::hand; });
    const auto t = static_cast<std::size_t>(job - c.tracks.begin());
    const auto& change = d.tracks[t];
    if (first.levels[t] && second.levels[t]) {
        const double louder = second.levels[t]->value - first.levels[t]->value;
        lines.push_back(
            plain(decibelsText(std::abs(louder), 1) + (louder > 0.0 ? " louder than " : " softer than ") + first.name));
    }
    if (change.against > 0)
        lines.push_back(plain(std::string(change.inverted ? "the other way up" : "the same way up") + ", and hears " +
                              fixed(std::abs(inMilliseconds(change.later)), 2) + " ms " +
                              (change.later.value > 0.0 ? "later" : "earlier") + " against " +
                              counted(change.against, "way", "ways")));
    if (first.spillShares[t] && second.spillShares[t])
        lines.push_back(plain(fixed(100.0 * *second.spillShares[t], 0) + " % spill" + " against " +
                              fixed(100.0 * *first.spillShares[t], 0) + " %"));
}

/// That the takes share too little to hold one against the other.
std::string cannotBeTold(const Comparison& c, const TakeDifference& d) {
    const auto& first = c.takes.front().name;
    const std::string why = d.ways == 0
                                ? "no track is heard in another one in both takes"
                                : (d.waysAlike == 0 ? "none" : "only " + std::to_string(d.waysAlike)) + " of the " +
                                      counted(d.ways, "way", "ways") + " from one track to another " +
                                      (d.waysAlike > 1 ? "are" : "is") + " as in " + first;
    return "whether anything was changed cannot be told: " + why +
           "; is it the same set-up, and each track matched with its own?";
}

/// Tracks of which no way tells: what is said of the others does not hold for them.
void addUntold(const Comparison& c, const TakeDifference& d, std::vector<VerdictLine>& lines) {
    constexpr std::size_t mostNamed = 5;
    std::vector<int> untold;
    for (std::size_t t = 0; t < c.tracks.size(); ++t)
        if (d.tracks[t].against == 0 && c.takes.front().levels[t] &&
            c.takes[static_cast<std::size_t>(d.second)].levels[t])
            untold.push_back(static_cast<int>(t));
    if (untold.empty()) return;
    const std::string who = untold.size() > mostNamed ? std::to_string(untold.size()) + " tracks" : namesOf(c, untold);
    lines.push_back({"of " + who + " nothing is told but the level: not heard in another track in both takes",
                     untold.front(), std::nullopt});
}

} // namespace

const char* changeWord(TakeChange::Kind kind) {
    switch (kind) {
    case TakeChange::Kind::silent:
        return "silent";
    case TakeChange::Kind::soundsAgain:
        return "sounds again";
    case TakeChange::Kind::inverted:
        return "inverted";
    case TakeChange::Kind::late:
        return "late";
    case TakeChange::Kind::moved:
        return "moved";
    case TakeChange::Kind::sourceMoved:
        return "source moved";
    case TakeChange::Kind::movedEither:
        return "moved, or its source";
    case TakeChange::Kind::gain:
        return "gain";
    case TakeChange::Kind::hum:
        return "hum";
    case TakeChange::Kind::humGone:
        return "hum gone";
    case TakeChange::Kind::spill:
        return "spill";
    }
    return "";
}

std::vector<VerdictLine> changesInWords(const Comparison& c, const TakeDifference& d) {
    std::vector<VerdictLine> lines;
    for (const auto& change : d.changes) {
        const auto& name = c.tracks[static_cast<std::size_t>(change.track)].name;
        const auto& first = c.takes.front().name;
        std::string line = name + ": ";
        switch (change.kind) {
        case TakeChange::Kind::silent:
            line += "fell silent";
            break;
        case TakeChange::Kind::soundsAgain:
            line += "sounds, and was silent in " + first;
            break;
        case TakeChange::Kind::inverted:
            line += "the other way up than in " + first;
            break;
        case TakeChange::Kind::late:
            line += plusMinus(std::abs(change.amount), change.uncertainty, 2, "ms") +
                    (change.amount > 0.0 ? " later" : " earlier") + ", and sounds as before";
            break;
        case TakeChange::Kind::moved:
            line += "moved (hears " + plusMinus(std::abs(change.amount), change.uncertainty, 2, "ms") +
                    (change.amount > 0.0 ? " later" : " earlier") + ")";
            break;
        case TakeChange::Kind::sourceMoved:
            line += "its source moved, not the microphone";
            break;
        case TakeChange::Kind::movedEither:
            line += "moved, or its source did";
            break;
        case TakeChange::Kind::gain:
            line += plusMinus(std::abs(change.amount), change.uncertainty, 1, "dB") +
                    (change.amount > 0.0 ? " more gain" : " less gain");
            break;
        case TakeChange::Kind::hum:
            line += "hums at " + fixed(change.hertz, 1) + " Hz" + " (" + fixed(change.amount, 0) + " dBFS)";
            break;
        case TakeChange::Kind::humGone:
            line += "no longer hums at " + fixed(change.hertz, 1) + " Hz";
            break;
        case TakeChange::Kind::spill:
            line += fixed(100.0 * std::abs(change.amount), 0) + " points of a hundred " +
                    (change.amount > 0.0 ? "more spill" : "less spill") + " at the same playing";
            break;
        }
        const bool place = change.kind == TakeChange::Kind::inverted || change.kind == TakeChange::Kind::moved ||
                           change.kind == TakeChange::Kind::late || change.kind == TakeChange::Kind::gain;
        if (place && d.ambiguous)
            line += ", or the other track, the other way";
        else if (place && change.against > 0)
            line += ", against " + counted(change.against, "way", "ways");
        lines.push_back({std::move(line), change.track, std::nullopt});
    }
    return lines;
}

std::vector<VerdictLine> verdictInWords(const Comparison& c, const TakeDifference& d) {
    std::vector<VerdictLine> lines;
    if (c.microphones)
        addMicrophones(c, d, lines);
    else
        lines = changesInWords(c, d);
    if (!d.canBeTold)
        lines.insert(lines.begin(), plain(cannotBeTold(c, d)));
    else if (!c.microphones && d.changes.empty())
        lines.push_back(plain("nothing was changed since " + c.takes.front().name + ", as far as can be told"));
    addEvenness(c, d, lines);
    addSums(c, d, lines);
    if (c.source)
        lines.push_back(
            plain("of " + *c.source +
                  " alone no uncertainties are known: no figure of its pairs and sums is called a difference"));
    else if (d.canBeTold && d.sum && !d.sum->uncertainty)
        lines.push_back(plain("too short for uncertainties: no figure of pairs and sums is called a difference"));
    if (!c.microphones && d.canBeTold) {
        addUntold(c, d, lines);
        const bool asked = std::any_of(d.spill.begin(), d.spill.end(), [](const auto& s) { return s.has_value(); });
        const bool differs = std::any_of(d.spill.begin(), d.spill.end(), [](const auto& s) { return s && s->stands; });
        if (asked && !differs) lines.push_back(plain("no difference in spill"));
        if (!asked) lines.push_back(plain("spill cannot be told"));
    }
    int own = 0;
    for (const auto& pair : d.pairs)
        if (pair.dueTo.empty() && !c.microphones && d.canBeTold)
            for (const auto* figure : {&pair.coherence, &pair.summationGain, &pair.notch})
                own += *figure && (*figure)->stands;
    if (own > 0)
        lines.push_back(
            plain(counted(own, "figure", "figures") + " of pairs differ though no track changed: other playing"));
    if (d.waysUnexplained > 0)
        lines.push_back(plain(counted(d.waysUnexplained, "way changed", "ways changed") +
                              " that no single track explains; a player may have moved"));
    return lines;
}

} // namespace spillwright
