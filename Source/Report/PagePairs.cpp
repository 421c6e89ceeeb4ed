#include "Report/Page.h"

#include "Core/Propose/PairGains.h"
#include "Report/PairPlots.h"
#include "Report/PlotSvg.h"
#include "Session/Amounts.h"
#include "Session/Words.h"

#include <algorithm>
#include <cctype>
#include <cmath>

namespace spillwright {

namespace {

constexpr std::size_t mostChangedPairs = 6, mostCancellingPairs = 3, mostPairRows = 50;
constexpr double cancelsFrom = -0.5; ///< dB: what a pair loses is worth a plot from here on.

constexpr const char* combSaid = "what the sum of the two has at each frequency against two tracks that ignore each "
                                 "other; at 0 dB they do, below it "
                                 "they cancel.";
constexpr const char* coherenceSaid = "how much of the two is the same sound, 0 to 1, with the range that holds the "
                                      "true value in 95 of 100 recordings of "
                                      "a steady sound.";
constexpr const char* lagSaid = "where the curve is farthest from 0 the same sound lies, downwards where one is upside "
                                "down; the mark is the arrival "
                                "and how likely it is the right one.";

std::size_t at(int index) {
    return static_cast<std::size_t>(index);
}

} // namespace

void Page::gridSection() {
    const auto inside = section("pairs", "Every pair", true);
    paragraph("Each square is two tracks: the one above its column's end and the one at the end of its row. A larger "
              "square is more of the same sound in both (coherence). A plus on blue: the two add up in the "
              "low-mids; a minus on orange: they cancel; the deeper, the more. Hatched: arrival or polarity is not "
              "sure. A stroke: unrelated. A dot: a track takes no part.",
              "quiet");
    grid("recorded-", "As recorded", states(&Pair::recordedDb, false));
    if (contents.taken) grid("taken-", "Under \u201c" + takenName() + "\u201d", states(&Pair::takenDb, true));
    pairsTable();
}

void Page::grid(const char* id, const std::string& title, const std::vector<PairState>& states) {
    std::vector<std::string> names;
    for (const auto& track : m.tracks)
        names.push_back(track.name);
    std::size_t adding = 0, cancelling = 0, unrelated = 0;
    for (const auto& state : states) {
        if (!state.reading) continue;
        if (!state.reading->related)
            ++unrelated;
        else if (state.gainDb)
            ++(*state.gainDb >= 0.0 ? adding : cancelling);
    }
    const auto said = counted(adding, "pair") + (adding == 1 ? " adds, " : " add, ") + std::to_string(cancelling) +
                      (cancelling == 1 ? " cancels, " : " cancel, ") + std::to_string(unrelated) +
                      (unrelated == 1 ? " is unrelated." : " are unrelated.");
    const auto figure = page.in("figure");
    page.element("figcaption", title + ": " + said, {{"class", "some"}});
    writeGrid(page, names, states, id, title, said);
}

std::vector<PairState> Page::states(double Pair::*gain, bool muting) const {
    std::vector<PairState> result(m.tracks.size() * (m.tracks.size() - (m.tracks.empty() ? 0 : 1)) / 2);
    for (const auto& pair : pairs)
        result[PairGains::pairIndex(std::min(pair.reading->first, pair.reading->second),
                                    std::max(pair.reading->first, pair.reading->second))] = {
            pair.reading, muting && !pair.heard ? std::nullopt : std::optional(pair.*gain)};
    return result;
}

void Page::pairsTable() {
    std::vector<const Pair*> rows;
    for (const auto& pair : pairs)
        if (pair.reading->related) rows.push_back(&pair);
    std::stable_sort(rows.begin(), rows.end(),
                     [](const Pair* a, const Pair* b) { return a->reading->coherence > b->reading->coherence; });
    if (rows.empty()) return paragraph("No two tracks share a sound.");
    const std::size_t shown = std::min(rows.size(), mostPairRows);
    const auto wide = page.in("div", {{"class", "wide sheet"}});
    const auto table = page.in("table");
    page.element("caption",
                 "The most coherent pairs first" +
                     (shown < rows.size() ? "; " + std::to_string(rows.size() - shown) + " more are related" : "") +
                     ". Summation gain of the two alone, in the low-mids: + adds, \u2212 cancels.");
    headRow({{"pair"}, {"what is heard"}, {"sure"}, {"coherence", true}, {"as recorded, dB", true}, {"now, dB", true}});
    const auto body = page.in("tbody");
    for (std::size_t i = 0; i < shown; ++i) {
        const auto& pair = *rows[i];
        const auto words = wordsOf(*pair.reading);
        const auto row = page.in("tr");
        rowHead(pairName(m, pair.reading->first, pair.reading->second));
        cell(words.sentence);
        cell(words.sureness);
        number(unsignedAmount(pair.reading->coherence, 2));
        gainCell(pair.recordedDb, 1);
        if (pair.heard)
            gainCell(pair.takenDb, 1);
        else
            number("muted");
    }
}

PairWords Page::wordsOf(const PairReading& reading) const {
    return pairInWords(reading, rate, m.options.temperature, true);
}

void Page::plotsSection() {
    const auto inside = section("plots", "The pairs that matter", true);
    const auto chosen = pairsThatMatter();
    if (chosen.empty())
        return paragraph("No pair is turned or moved against each other, and none cancels by more than " +
                         unsignedAmount(cancelsFrom, 1) + " dB.");
    paragraph("Those that the setting taken turns or moves against each other and that do most to the sum, and those "
              "that cancel most. The band of the low-mids is shaded.",
              "quiet");
    for (std::size_t k = 0; k < chosen.size(); ++k)
        plotsOf(*chosen[k], "pair" + std::to_string(k + 1) + "-", k > 0);
}

/// Those that are turned or moved against each other and do most to the sum, then those that cancel most.
std::vector<const Page::Pair*> Page::pairsThatMatter() const {
    std::vector<const Pair*> moved, cancelling;
    const auto& now = taken().adjustments;
    for (const auto& pair : pairs) {
        if (!pair.reading->related || !pair.heard) continue;
        const PairShift shift(now[at(pair.reading->first)], now[at(pair.reading->second)]);
        if (shift.sign < 0 || shift.later.value != 0.0) moved.push_back(&pair);
    }
    std::stable_sort(moved.begin(), moved.end(),
                     [](const Pair* a, const Pair* b) { return std::abs(a->change) > std::abs(b->change); });
    if (moved.size() > mostChangedPairs) moved.resize(mostChangedPairs);
    for (const auto& pair : pairs)
        if (pair.reading->related && pair.heard && pair.takenDb <= cancelsFrom &&
            std::find(moved.begin(), moved.end(), &pair) == moved.end())
            cancelling.push_back(&pair);
    std::stable_sort(cancelling.begin(), cancelling.end(),
                     [](const Pair* a, const Pair* b) { return a->takenDb < b->takenDb; });
    if (cancelling.size() > mostCancellingPairs) cancelling.resize(mostCancellingPairs);
    moved.insert(moved.end(), cancelling.begin(), cancelling.end());
    return moved;
}

void Page::plotsOf(const Pair& pair, const std::string& id, bool ownPage) {
    const auto& reading = *pair.reading;
    const auto& now = taken().adjustments;
    const auto& first = now[at(reading.first)];
    const auto& second = now[at(reading.second)];
    const auto inside = page.in("section", {{"class", ownPage ? "pair page" : "pair"}});
    const auto names = pairName(m, reading.first, reading.second);
    const auto words = wordsOf(reading);
    page.element("h3", names);
    const auto gain = [](double dB) { return signedAmount(dB, 1) + " dB (" + (dB >= 0.0 ? "adds" : "cancels") + ")"; };
    auto sentence = words.sentence + (words.sureness.empty() ? "" : ", " + words.sureness) + ".";
    sentence.front() = static_cast<char>(std::toupper(static_cast<unsigned char>(sentence.front())));
    const auto isNow = [&](int track, TrackAdjustment adjustment) {
        if (adjustment.pan == defaultPan(m.tracks[at(track)])) adjustment.pan.reset();
        return name(track) + " is " + adjustmentInWords(adjustment);
    };
    paragraph(sentence + " Summation gain as recorded " + gain(pair.recordedDb) + ", under \u201c" + takenName() +
              "\u201d " + gain(pair.takenDb) + ". Now " + isNow(reading.first, first) + ", " +
              isNow(reading.second, second) + ".");
    {
        const auto list = page.in("dl");
        for (const auto& row : words.rows)
            entry(row.name.c_str(), row.value);
    }
    const auto curves = readPairCurves(*m.spectra, reading);
    const NamedCurve under{combResponse(*m.spectra, reading.first, reading.second, first, second),
                           contents.taken ? "under \u201c" + takenName() + "\u201d" : "as recorded", ""};
    const auto called = [&](Plot plot, const char* title) {
        plot.title = title;
        plot.subject = names;
        return plot;
    };
    figure(called(plotComb(&curves.comb, &under, nullptr, m.options.band), "Comb response"), id + "comb-", combSaid);
    figure(called(plotCoherence(&curves.coherence, m.options.band), "Coherence over frequency"), id + "coherence-",
           coherenceSaid);
    figure(called(plotLag(&reading, curves, PairShift(first, second), under.name), "Correlation over lag"), id + "lag-",
           lagSaid);
}

void Page::figure(const Plot& plot, const std::string& id, const std::string& said) {
    const auto inside = page.in("figure");
    writePlot(page, plot, layoutOnPage(), estimatedWidth, id, said);
}

} // namespace spillwright
