#include "Report/Page.h"

#include "Session/Amounts.h"
#include "Session/SpillFindings.h"
#include "Session/Words.h"

#include <algorithm>

namespace spillwright {

namespace {

constexpr std::size_t sourcesAcross = 9;
constexpr double worthACell = 0.005; ///< Share of a track that a source is worth its numbers from.

} // namespace

void Page::spillSection() {
    const auto inside = section("spill", "Who is heard where", true);
    if (!m.sources || m.sources->map.readings.empty()) return paragraph("No sources are told apart in this recording.");
    const auto& map = m.sources->map;
    paragraph("A row a track, a column a source. First its level against its own close track in dB (direct sound and "
              "reverberation, 100 Hz to 8 kHz), below it how much later it comes in ms and which way up: \u2191 the "
              "same way, \u2193 upside down, ? not sure. A point: too faint; ?: cannot be told. \u201cclose\u201d is "
              "the track that the source is told from.",
              "quiet");
    if (m.sources->guessed) {
        std::string unsure;
        for (const int track : m.sources->unsure)
            unsure += (unsure.empty() ? " It is not sure of " : ", ") + name(track);
        paragraph("Which track stands close to what was guessed from the sound." + unsure +
                      (unsure.empty() ? "" : ": each may stand close to something or to nothing."),
                  "quiet");
    }
    const std::size_t sources = map.plan.sources.size(), tables = (sources + sourcesAcross - 1) / sourcesAcross;
    for (std::size_t table = 0; table < tables; ++table)
        spillTable(table * sources / tables, (table + 1) * sources / tables);
    for (const auto& line : unexplainedInWords(m))
        paragraph(line);
    page.element("h3", "What goes in first");
    paragraph("The tracks that bring most of other instruments go into the mix first.", "quiet");
    {
        const auto list = page.in("ol");
        for (const auto& one : orderOfEntry(m))
            item(name(one.track) + ": " + entryInWords(m, one));
    }
    const auto spacing = spacingInWords(m);
    if (spacing.empty()) return;
    page.element("h3", "Spacing");
    const auto list = page.in("ul");
    for (const auto& line : spacing)
        item(line);
}

void Page::spillTable(std::size_t from, std::size_t to) {
    const auto& map = m.sources->map;
    const auto wide = page.in("div", {{"class", "wide sheet"}});
    const auto table = page.in("table", {{"class", "map"}});
    {
        const auto head = page.in("thead");
        const auto row = page.in("tr");
        page.element("th", "track", {{"scope", "col"}});
        for (std::size_t k = from; k < to; ++k)
            page.element("th", m.sources->names[k], {{"scope", "col"}});
    }
    const auto body = page.in("tbody");
    for (const int track : m.usable) {
        const auto row = page.in("tr");
        rowHead(name(track));
        for (std::size_t k = from; k < to; ++k)
            spillCell(map.reading(static_cast<int>(k), track), map.plan.sources[k].closeTracks);
    }
}

void Page::spillCell(const SpillReading* reading, const std::vector<int>& close) {
    const bool own = reading && std::find(close.begin(), close.end(), reading->track) != close.end();
    const auto inside = page.in(
        "td", {{"class", own ? "own" : ""}, {"title", reading ? withTrueMinus(spillInWords(m, *reading)) : ""}});
    if (!reading) return page.text("\u2013");
    if (reading->track == close.front()) return page.text("close");
    if (!reading->level) return page.text(reading->whyNoLevel == Untold::tooFaint ? "\u00b7" : "?");
    page.text(signedAmount(reading->level->value, 1));
    if (reading->shareOfTrack < worthACell && !own) return;
    std::string second;
    if (reading->arrival) second = signedAmount(inMilliseconds(reading->arrival->delay), 1);
    if (reading->polarity)
        second += (second.empty() ? "" : " ") +
                  std::string(reading->polarity->polarity == Polarity::inverted ? "\u2193" : "\u2191") +
                  (isSure(reading->polarity->confidence) ? "" : "?");
    if (!second.empty()) page.element("small", second);
}

} // namespace spillwright
