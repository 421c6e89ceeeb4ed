#include "Report/Page.h"

#include "Session/Amounts.h"
#include "Session/Words.h"

namespace spillwright {

void Page::takenSection() {
    const auto inside = section("taken", "The setting taken");
    if (!contents.taken) return paragraph("As recorded: no track is turned over, moved or treated.");
    const auto& version = contents.versions[*contents.taken];
    page.element("h3", version.name);
    versionInWords(version);
    page.element("h3", "All that it does");
    const auto list = page.in("ul");
    for (const auto& line : adjustmentsInWords(m.tracks, taken().adjustments))
        item(line);
}

void Page::versionsSection() {
    const auto inside = section("versions", "Settings compared");
    {
        const auto wide = page.in("div", {{"class", "wide"}});
        const auto table = page.in("table");
        page.element("caption", "Loudness: integrated, of the stereo sum as panned (ITU-R BS.1770), predicted from "
                                "the tracks; compare by ear at equal loudness, the louder one always seems better.");
        headRow({{"setting"},
                 {"summation gain, dB", true},
                 {"against as recorded, dB", true},
                 {"low-mid coherence", true},
                 {"loudness, LUFS", true},
                 {"flips", true},
                 {"nudges", true}});
        const auto body = page.in("tbody");
        versionRow("as recorded", asRecorded, !contents.taken);
        for (std::size_t i = 0; i < versions.size(); ++i)
            versionRow(contents.versions[i].name, versions[i], contents.taken == i);
    }
    for (std::size_t i = 0; i < versions.size(); ++i) {
        if (contents.taken == i) continue;
        page.element("h3", contents.versions[i].name);
        versionInWords(contents.versions[i]);
    }
}

void Page::versionInWords(const ReportVersion& version) {
    if (!version.words.empty()) paragraph(version.words);
    if (!version.bound.empty())
        paragraph("Bound: " + version.bound + ".");
    else
        paragraph("Set by hand: the ear decided, no bound is asked for.");
    changesTable(version);
}

void Page::changesTable(const ReportVersion& version) {
    if (version.changes.empty()) return;
    const auto wide = page.in("div", {{"class", "wide"}});
    const auto table = page.in("table");
    page.element("caption", "Loses without it: what the sum would lose if this one change were taken back; others "
                            "anew: after the others have made up for it. Stands: in how many choices of the moments "
                            "measured it is part of the best. May be off: how far a nudge may be wrong before the "
                            "sum loses 0.1 dB.");
    headRow({{"track"},
             {"change"},
             {"loses without it, dB", true},
             {"others anew, dB", true},
             {"stands", true},
             {"may be off, ms", true}});
    const auto body = page.in("tbody");
    for (const auto& change : version.changes) {
        const auto row = page.in("tr");
        rowHead(change.track);
        page.element("td", change.what, {{"class", "whole"}});
        number(unsignedAmount(change.effectDb, 2));
        number(change.worthDb ? unsignedAmount(*change.worthDb, 2) : "\u2013");
        number(change.stands ? percent(*change.stands) : "\u2013");
        number(change.mayBeOff ? unsignedAmount(inMilliseconds(*change.mayBeOff), 2) : "\u2013");
    }
}

void Page::versionRow(const std::string& words, const Figures& one, bool isTaken) {
    const auto row = page.in("tr", {{"class", isTaken ? "taken" : ""}});
    rowHead(words + (isTaken ? " (taken)" : ""));
    gainCell(one.gainDb);
    number(signedAmount(one.gainDb - asRecorded.gainDb, 2));
    number(signedAmount(one.lowMidCoherence, 2));
    number(one.loudness ? signedAmount(*one.loudness, 1) : "silent");
    number(std::to_string(one.flips));
    number(std::to_string(one.nudges));
}

} // namespace spillwright
