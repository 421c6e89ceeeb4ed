#include "Report/Tables.h"

#include "Session/ProposalWords.h"
#include "Session/SpillFindings.h"
#include "Session/Words.h"

#include <algorithm>
#include <cmath>
#include <cstdarg>
#include <cstdio>

namespace spillwright {

namespace {

/// Columns a text takes on a terminal: UTF-8 code points, not bytes.
std::size_t width(const std::string& text) {
    return static_cast<std::size_t>(std::count_if(text.begin(), text.end(), [](char c) { return (c & 0xC0) != 0x80; }));
}

/// Rows of cells, the first column to the left, the others to the right unless told otherwise.
class Table {
public:
    explicit Table(std::vector<std::string> head, std::vector<bool> left) : leftAligned(std::move(left)) {
        rows.push_back(std::move(head));
    }
    void add(std::vector<std::string> cells) { rows.push_back(std::move(cells)); }

    std::string text() const {
        std::vector<std::size_t> widths(rows.front().size(), 0);
        for (const auto& row : rows)
            for (std::size_t c = 0; c < row.size(); ++c)
                widths[c] = std::max(widths[c], width(row[c]));
        std::string out;
        for (const auto& row : rows) {
            std::string line;
            for (std::size_t c = 0; c < row.size(); ++c) {
                const std::string padding(widths[c] - width(row[c]), ' ');
                line += (c == 0 ? "" : "  ") + (leftAligned[c] ? row[c] + padding : padding + row[c]);
            }
            line.erase(line.find_last_not_of(' ') + 1);
            out += line + "\n";
        }
        return out;
    }

private:
    std::vector<bool> leftAligned;
    std::vector<std::vector<std::string>> rows;
};

std::string fixed(double value, int decimals, bool withSign = false) {
    if (!std::isfinite(value)) return "-";
    if (std::abs(value) < 0.5 * std::pow(10.0, -decimals)) value = 0.0; // no "-0"
    char buffer[64];
    std::snprintf(buffer, sizeof buffer, withSign ? "%+.*f" : "%.*f", decimals, value);
    return buffer;
}

std::string arrivalInWords(const PairReading& pair, const CrossSpectra& spectra) {
    if (!pair.related) return "unrelated";
    if (pair.shared == Shared::oneTone) return "one tone in common";
    if (!pair.arrival && pair.movement)
        return "drifts by " + fixed(pair.movement->driftPpm, 1, true) + " ppm: two clocks";
    if (!pair.arrival) return "no arrival";
    const double ms = inMilliseconds(pair.arrival->delay);
    return fixed(ms, 3, true) + " ms ±" + fixed(inMilliseconds(pair.arrival->uncertainty), 3) + " (" +
           fixed(pair.arrival->delay.value * spectra.sampleRate(), 1, true) + " smp)";
}

/// "+1.00 ±0.01 m": as many decimals as the uncertainty's first digit needs, at most three.
std::string distanceInWords(const PairReading& pair, Celsius temperature) {
    if (!pair.arrival) return "";
    const auto& arrival = *pair.arrival;
    const double uncertainty = distanceUncertainty(arrival.delay, arrival.uncertainty, temperature).value;
    const int decimals = std::clamp(static_cast<int>(std::ceil(-std::log10(std::max(uncertainty, 1e-3)))), 0, 3);
    return fixed(arrival.delay.value * speedOfSound(temperature), decimals, true) + " ±" +
           fixed(std::max(uncertainty, 1e-3), decimals) + " m";
}

/// "0.41 (0.38 to 0.44)": 95 % interval.
std::string coherenceInWords(const PairReading& pair) {
    return fixed(pair.coherence, 2) + " (" + fixed(pair.coherenceLow, 2) + " to " + fixed(pair.coherenceHigh, 2) + ")";
}

/// A line for each thing that pairs have in common without being spill, with the first of them by name.
std::string sharedInWords(const Measurement& m) {
    constexpr std::size_t mostNames = 4;
    const std::pair<Shared, const char*> causes[] = {
        {Shared::printed, "one signal printed on both, no spill"},
        {Shared::oneTone, "one tone in common, its delay known only to its period"},
        {Shared::mainsHum, "mains hum in common, no spill"},
        {Shared::noiseFloor, "the same noise floor, no spill"},
        {Shared::offset, "a constant offset in common, no spill"}};
    std::string out;
    for (const auto& [cause, words] : causes) {
        std::string names;
        std::size_t count = 0;
        for (const auto& pair : m.pairs) {
            if (pair.shared != cause) continue;
            if (count++ < mostNames) names += (names.empty() ? "" : ", ") + pairName(m, pair.first, pair.second);
        }
        if (count > mostNames) names += " and " + std::to_string(count - mostNames) + " more";
        if (count > 0) out += std::string(words) + ": " + names + "\n";
    }
    return out.empty() ? out : "\n" + out;
}

std::string polarityInWords(const std::optional<PolarityReading>& reading) {
    if (!reading) return "";
    const std::string word = reading->polarity == Polarity::same ? "same" : "inverted";
    return word + (reading->confidence >= 0.8 ? "" : "?");
}

std::string percent(double share) {
    return fixed(100.0 * share, 0) + " %";
}

std::string decibels(const std::optional<Decibels>& level) {
    return level ? fixed(level->value, 1, true) : "-";
}

std::string pairsTable(const Measurement& m) {
    auto pairs = m.pairs;
    std::stable_sort(pairs.begin(), pairs.end(), [](const PairReading& a, const PairReading& b) {
        return a.related != b.related ? a.related : a.coherence > b.coherence;
    });
    const auto unrelated =
        static_cast<std::size_t>(std::count_if(pairs.begin(), pairs.end(), [](const auto& p) { return !p.related; }));
    Table table({"pair (most coherent first)", "coherence (95 %)", "second arrives", "path", "polarity", "sum dB",
                 "flipped dB"},
                {true, false, true, false, true, false, false});
    for (const auto& pair : pairs) {
        if (!pair.related) break;
        table.add({pairName(m, pair.first, pair.second), coherenceInWords(pair), arrivalInWords(pair, *m.spectra),
                   distanceInWords(pair, m.options.temperature), polarityInWords(pair.polarity),
                   fixed(pair.summationGain.value, 1, true), fixed(pair.summationGainFlipped.value, 1, true)});
    }
    std::string out = m.focus ? "\n" + m.sources->names[static_cast<std::size_t>(*m.focus)] + " alone:\n" : "\n";
    out += table.text() + sharedInWords(m);
    if (unrelated > 0) out += "\n" + std::to_string(unrelated) + " pairs are unrelated.\n";
    return out;
}

/// Where each source is heard, loudest first, as far as it makes up a thirtieth of the track.
std::string spillTable(const Measurement& m) {
    constexpr double worthARow = 0.03;
    const auto& map = m.sources->map;
    Table table({"source", "in track", "level dB", "low-mid dB", "of track", "later by", "polarity", "remark"},
                {true, true, false, false, false, true, true, true});
    for (std::size_t k = 0; k < map.plan.sources.size(); ++k) {
        std::vector<const SpillReading*> rows;
        for (const auto& reading : map.readings)
            if (reading.source == static_cast<int>(k) && reading.shareOfTrack >= worthARow) rows.push_back(&reading);
        std::stable_sort(rows.begin(), rows.end(), [](const auto* a, const auto* b) {
            return a->level.value_or(Decibels(-1e9)) > b->level.value_or(Decibels(-1e9));
        });
        for (const auto* reading : rows) {
            const auto& arrival = reading->arrival;
            const auto& close = map.plan.sources[k].closeTracks;
            std::string remark;
            if (reading->track == close.front())
                remark = "its close track";
            else if (std::find(close.begin(), close.end(), reading->track) != close.end())
                remark = "another close track of it";
            else if (reading->whyNoLevel != Untold::told)
                remark = untoldInWords(reading->whyNoLevel);
            else if (reading->whyNoArrival != Untold::told)
                remark = untoldInWords(reading->whyNoArrival);
            table.add({m.sources->names[k], m.tracks[static_cast<std::size_t>(reading->track)].name,
                       decibels(reading->level), decibels(reading->levelLowMid), percent(reading->shareOfTrack),
                       arrival && reading->track != close.front()
                           ? fixed(inMilliseconds(arrival->delay), 2, true) + " ms ±" +
                                 fixed(inMilliseconds(arrival->uncertainty), 2)
                           : "",
                       reading->track == close.front() ? "" : polarityInWords(reading->polarity), remark});
        }
    }
    return table.text();
}

std::string orderTable(const Measurement& m) {
    const auto& map = m.sources->map;
    Table table({"", "track", "close to", "no source explains", "what it brings"}, {false, true, true, false, true});
    int place = 0;
    for (const auto& entry : orderOfEntry(m))
        table.add({std::to_string(++place), m.tracks[static_cast<std::size_t>(entry.track)].name,
                   entry.source ? m.sources->names[static_cast<std::size_t>(*entry.source)] : "-",
                   percent(map.unexplained[static_cast<std::size_t>(entry.track)]), entryInWords(m, entry)});
    return table.text();
}

/// For each source the three microphones that could help its close track most.
std::string rescueTable(const Measurement& m) {
    constexpr std::size_t most = 3;
    Table table({"source", "also heard in", "level dB", "leads in", "adds dB", "lined up dB", "by", "tone against it"},
                {true, true, false, false, false, false, true, true});
    for (std::size_t k = 0; k < m.sources->names.size(); ++k) {
        const auto helpers = rescueFor(m, static_cast<int>(k));
        for (std::size_t h = 0; h < std::min(most, helpers.size()); ++h) {
            const auto& helper = helpers[h];
            std::string by = helper.flip ? "flip" : "";
            if (helper.nudge)
                by += std::string(by.empty() ? "" : ", ") + "nudge " + fixed(inMilliseconds(*helper.nudge), 2, true) +
                      " ms";
            table.add({h == 0 ? m.sources->names[k] : "", m.tracks[static_cast<std::size_t>(helper.track)].name,
                       decibels(helper.level), percent(helper.bandwidth), fixed(helper.gain.value, 1, true),
                       fixed(helper.gainLinedUp.value, 1, true), by, toneInWords(m, helper)});
        }
    }
    return table.text();
}

std::string leadsInWords(const Measurement& m) {
    std::string out;
    for (std::size_t k = 0; k < m.sources->names.size(); ++k) {
        std::string times;
        for (const auto& span : leadingMoments(m.sources->map, static_cast<int>(k), 3))
            times += (times.empty() ? "" : ", ") + clockText(span.from.value, true) + " to " +
                     clockText(span.to.value, true);
        if (!times.empty()) out += m.sources->names[k] + " leads at " + times + "\n";
    }
    return out;
}

std::string sourcesTables(const Measurement& m) {
    std::string out;
    if (m.sources->map.readings.empty()) return out;
    out += "\nsources and where they are heard (level against the close track, 100 Hz to 8 kHz):\n" + spillTable(m);
    if (!m.sources->unsure.empty()) {
        std::string names;
        for (const int track : m.sources->unsure)
            names += (names.empty() ? "" : ", ") + m.tracks[static_cast<std::size_t>(track)].name;
        out += "\nclose track or not is unsure of: " + names + " (--save-sources writes the list; mend it, give it " +
               "back with --sources)\n";
    }
    for (const auto& line : unexplainedInWords(m))
        out += "\n" + line + "\n";
    out += "\n" + leadsInWords(m);
    out += "\norder of entry, most spill first:\n" + orderTable(m);
    out += "\nwho can help whose close track:\n" + rescueTable(m);
    const auto spacing = spacingInWords(m);
    if (!spacing.empty()) out += "\nspacing:\n";
    for (const auto& line : spacing)
        out += line + "\n";
    return out;
}

} // namespace

std::string measurementTable(const Measurement& m) {
    const auto& spectra = *m.spectra;
    const double rate = spectra.sampleRate();
    std::string out = m.folder + ": " + std::to_string(m.tracks.size()) + " tracks, " + fixed(rate, 0) + " Hz, " +
                      fixed(static_cast<double>(spectra.from()) / rate, 2) + " to " +
                      fixed(static_cast<double>(spectra.to()) / rate, 2) + " s\n\n";

    Table tracks({"track", "level dBFS", "peak dBFS", "linked to", "remark"}, {true, false, false, true, true});
    for (std::size_t i = 0; i < m.tracks.size(); ++i) {
        const auto& track = m.tracks[i];
        const auto& statistics = spectra.statistics(static_cast<int>(i));
        const auto linked = track.linkedTo ? m.tracks[static_cast<std::size_t>(*track.linkedTo)].name : "";
        if (track.state == TrackState::unreadable) {
            tracks.add({track.name, "-", "-", linked, "unreadable: " + track.why});
            continue;
        }
        std::string remark;
        if (track.state == TrackState::silent) remark = "silent";
        if (statistics.clippedSamples > 0)
            remark = std::to_string(statistics.clippedSamples) + " samples at full scale";
        tracks.add({track.name, fixed(decibelsOfAmplitude(statistics.rms()), 1),
                    fixed(decibelsOfAmplitude(static_cast<double>(statistics.peak)), 1), linked, remark});
    }
    out += tracks.text();
    if (!m.pairs.empty()) out += pairsTable(m);
    if (m.sources) out += sourcesTables(m);
    return out;
}

namespace {

std::string sourceGainsTable(const std::vector<SourceGain>& sources) {
    if (sources.empty()) return {};
    Table table({"  source", "summation gain", "wins", "below its best"}, {true, false, false, false});
    for (const auto& source : sources)
        table.add({"  " + source.name, fixed(source.gainDb, 2, true) + " dB", fixed(source.winsDb, 2, true) + " dB",
                   source.belowBestDb ? fixed(*source.belowBestDb, 2) + " dB" : ""});
    return table.text();
}

} // namespace

std::string proposalsTable(const Proposals& proposals, const Measurement& m) {
    std::string out = proposals.source ? "of " + *proposals.source + " alone\n" : "";
    if (proposals.aim != Aim::sum) {
        out += proposals.aim == Aim::mean ? "mean over sources:" : "for the source farthest below its own best:";
        for (const auto& [name, weight] : proposals.aimedAt)
            out += " " + name + (proposals.aim == Aim::mean ? " (" + fixed(weight, 2) + ")" : "");
        out += "\n";
    }
    out += "as recorded: summation gain " + fixed(proposals.asRecordedGainDb, 2, true) + " dB, low-mid coherence " +
           fixed(proposals.asRecordedLowMidCoherence, 2) + "\n";
    if (std::abs(proposals.startGainDb - proposals.asRecordedGainDb) >= 0.005)
        out += "as set at the start: summation gain " + fixed(proposals.startGainDb, 2, true) + " dB\n";
    const double rate = m.spectra->sampleRate();
    for (const auto& named : proposals.proposals) {
        out += "\n";
        out += named.proposal.allow == Allow::flips ? "flips" : "flips and nudges";
        out += ", rank " + std::to_string(named.rank) +
               (proposals.aim == Aim::worst ? ": the worst source against its own best " : ": summation gain ") +
               fixed(named.summationGainDb, 2, true) + " dB, low-mid coherence " + fixed(named.lowMidCoherence, 2) +
               "; " + boundInWords(named) + "\n";
        out += "  " + proposalInWords(proposals, named) + "\n";
        if (named.proposal.why.empty()) continue;
        out += sourceGainsTable(named.sources);
        Table table({"  track", "change", "without it", "others anew", "stands", "may be off"},
                    {true, true, false, false, false, false});
        for (const auto& change : named.proposal.why) {
            const auto& name = proposals.trackNames[static_cast<std::size_t>(change.track)];
            const auto position = static_cast<std::size_t>(change.track);
            const auto& standing = named.standing;
            const bool stands = standing && !standing->stands.empty() && change.kind != Proposal::Change::Kind::nudge;
            const auto mayBeOff = standing ? standing->mayBeOff[position] : std::nullopt;
            table.add({"  " + name, changeInWords(named, change, rate), fixed(-change.effectDb, 2, true) + " dB",
                       change.worthDb ? fixed(-*change.worthDb, 2, true) + " dB" : "",
                       stands ? fixed(100.0 * standing->stands[position], 0) + " %" : "",
                       mayBeOff ? fixed(1e3 * *mayBeOff, 2) + " ms" : ""});
        }
        out += table.text();
    }
    return out;
}

namespace {

/// "-0.62 ±0.14 *": the star says that it stands.
std::string differenceInWords(const std::optional<Difference>& difference, int decimals, double scale = 1.0) {
    if (!difference) return "-";
    return fixed(scale * difference->value, decimals, true) +
           (difference->uncertainty ? " ±" + fixed(scale * *difference->uncertainty, decimals) : "") +
           (difference->stands ? " *" : "");
}

std::string changedInWords(const TrackChange& change) {
    std::string words = change.inverted ? "inverted" : "";
    const auto add = [&](const char* word) { words += std::string(words.empty() ? "" : ", ") + word; };
    switch (change.place) {
    case TrackChange::Place::asItWas:
        break;
    case TrackChange::Place::late:
        add("late");
        break;
    case TrackChange::Place::moved:
        add("moved");
        break;
    case TrackChange::Place::sourceMoved:
        add("its source moved");
        break;
    case TrackChange::Place::either:
        add("it or its source moved");
        break;
    }
    if (change.gainChanged) add("gain");
    return words;
}

std::string takesTracks(const Comparison& c, const TakeDifference& d) {
    const auto &first = c.takes.front(), &second = c.takes[static_cast<std::size_t>(d.second)];
    Table table({"track", first.name + " dBFS", second.name + " dBFS", "gain dB", "spill " + first.name,
                 "spill " + second.name, "at the same playing", "ways", "what changed"},
                {true, false, false, false, false, false, false, false, true});
    for (std::size_t t = 0; t < c.tracks.size(); ++t) {
        const auto& change = d.tracks[t];
        const auto level = [&](const ComparedTake& take) {
            return take.levels[t] ? fixed(take.levels[t]->value, 1) : std::string("-");
        };
        const auto spill = [&](const ComparedTake& take) {
            return take.spillShares[t] ? percent(*take.spillShares[t]) + (c.tracks[t].standingUnsure ? "?" : "")
                                       : std::string("-");
        };
        std::string remark = c.microphones ? std::string() : changedInWords(change);
        for (const auto& one : d.changes)
            if (one.track == static_cast<int>(t) &&
                (one.kind == TakeChange::Kind::silent || one.kind == TakeChange::Kind::soundsAgain ||
                 one.kind == TakeChange::Kind::hum || one.kind == TakeChange::Kind::humGone))
                remark += std::string(remark.empty() ? "" : ", ") + changeWord(one.kind);
        table.add(
            {c.tracks[t].name, level(first), level(second),
             change.gain ? fixed(change.gain->value, 1, true) + " ±" + fixed(change.gainUncertainty.value, 1) : "-",
             spill(first), spill(second), differenceInWords(d.spill[t], 0, 100.0), std::to_string(change.against),
             remark});
    }
    return table.text();
}

/// Something of it is called a difference.
bool differs(const PairDifference& pair) {
    for (const auto* figure : {&pair.coherence, &pair.summationGain, &pair.notch, &pair.arrival})
        if (*figure && (*figure)->stands) return true;
    return pair.polarityDiffers == true;
}

std::string takesPairs(const Comparison& c, const TakeDifference& d, bool allPairs) {
    const auto &first = c.takes.front(), &second = c.takes[static_cast<std::size_t>(d.second)];
    std::vector<const PairDifference*> pairs;
    const auto ofFirst = [&](const PairDifference& p) -> const ComparedPair& {
        return *first.pairs[static_cast<std::size_t>(p.pair)];
    };
    const auto ofSecond = [&](const PairDifference& p) -> const ComparedPair& {
        return *second.pairs[static_cast<std::size_t>(p.pair)];
    };
    std::size_t related = 0;
    for (const auto& pair : d.pairs)
        if (ofFirst(pair).reading.related || ofSecond(pair).reading.related) {
            ++related;
            if (allPairs || differs(pair)) pairs.push_back(&pair);
        }
    const std::string ofAll = std::to_string(related) + (related == 1 ? " related pair" : " related pairs");
    if (pairs.empty())
        return related == 0
                   ? "no pair is related\n"
                   : "none of " + ofAll + " is called different; --all lists " + (related == 1 ? "it" : "them") + "\n";
    std::stable_sort(pairs.begin(), pairs.end(), [&](const PairDifference* a, const PairDifference* b) {
        return ofFirst(*a).coherence.value > ofFirst(*b).coherence.value;
    });
    Table table({"pair (most coherent first)", "coherence", "differs by", "second arrives ms", "polarity", "deepest dB",
                 "differs by", "sum dB", "differs by", "at its best dB", "due to"},
                {true, false, false, false, true, false, false, false, false, false, true});
    for (const auto* pair : pairs) {
        const auto &a = ofFirst(*pair), &b = ofSecond(*pair);
        const auto [one, other] = c.pairOf(static_cast<std::size_t>(pair->pair));
        std::string dueTo;
        for (const int track : pair->dueTo)
            dueTo += (dueTo.empty() ? "" : ", ") + c.tracks[static_cast<std::size_t>(track)].name;
        const auto both = [](const std::string& was, const std::string& is) { return was + " > " + is; };
        const auto arrival = [](const PairReading& reading) {
            return reading.arrival ? fixed(inMilliseconds(reading.arrival->delay), 2, true) : std::string("-");
        };
        const auto way = [](const PairReading& reading) {
            const auto words = polarityInWords(reading.polarity);
            return words.empty() ? std::string("-") : words;
        };
        const auto deepest = [](const ComparedPair& of) {
            return fixed(of.notch.value, 1, true) +
                   (of.notchAt ? " at " + fixed(of.notchAt->value, 0) + " Hz" : std::string());
        };
        table.add(
            {c.tracks[static_cast<std::size_t>(one)].name + " / " + c.tracks[static_cast<std::size_t>(other)].name,
             both(fixed(a.coherence.value, 2), fixed(b.coherence.value, 2)), differenceInWords(pair->coherence, 2),
             both(arrival(a.reading), arrival(b.reading)), both(way(a.reading), way(b.reading)),
             both(deepest(a), deepest(b)), differenceInWords(pair->notch, 1),
             both(fixed(a.summationGain.value, 1, true), fixed(b.summationGain.value, 1, true)),
             differenceInWords(pair->summationGain, 1),
             both(fixed(a.best.value, 1, true), fixed(b.best.value, 1, true)), dueTo});
    }
    const std::string left =
        pairs.size() < related ? std::to_string(pairs.size()) + " of " + ofAll + " shown; --all lists the others too\n"
                               : "";
    return table.text() + left;
}

std::string takeInWords(const Comparison& c, const ComparedTake& take) {
    const auto& m = take.recording;
    const double rate = m.spectra->sampleRate();
    std::string line = take.name + ": " + m.folder + ", " + std::to_string(m.usable.size()) + " tracks, " +
                       fixed(rate, 0) + " Hz, " + fixed(static_cast<double>(m.spectra->from()) / rate, 2) + " to " +
                       fixed(static_cast<double>(m.spectra->to()) / rate, 2) + " s";
    if (!take.sum || !take.best) return line + "\n";
    std::string flips;
    for (const int track : take.flips)
        flips += (flips.empty() ? " with flips of " : ", ") + c.tracks[static_cast<std::size_t>(track)].name;
    return line + "; sums " + fixed(take.sum->value, 2, true) + " dB as recorded, " + fixed(take.best->value, 2, true) +
           " dB at its best" + flips + "\n";
}

} // namespace

std::string comparisonTable(const Comparison& c, bool allPairs) {
    std::string out;
    for (const auto& take : c.takes)
        out += takeInWords(c, take);
    if (c.source) out += "pairs and sums of " + *c.source + " alone\n";
    for (const auto& difference : c.differences) {
        out += "\n" + takesTracks(c, difference) + "\n" + takesPairs(c, difference, allPairs);
    }
    out += "\n* stands: more than other playing alone would make it, all figures of the takes asked together. Without "
           "a star "
           "a difference may well\n  be above its uncertainty (±): among so many figures some are by chance, and some "
           "are too "
           "small to matter.\n";
    for (const auto& difference : c.differences) { // last, where it is still seen
        out += "\n" + c.takes[static_cast<std::size_t>(difference.second)].name + " against " + c.takes.front().name +
               ":\n";
        for (const auto& line : difference.verdict)
            out += "  " + line.text + "\n";
    }
    return out;
}

} // namespace spillwright
