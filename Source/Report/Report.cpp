#include "Report/Report.h"

#include "Core/Propose/LoudnessModel.h"
#include "Core/Propose/PairGains.h"
#include "Media/BroadcastExtension.h"
#include "Session/Files.h"
#include "Report/Colours.h"
#include "Report/GridDrawing.h"
#include "Report/Markup.h"
#include "Report/PairPlots.h"
#include "Report/PlotSvg.h"
#include "Report/RecallSheet.h"
#include "Session/Amounts.h"
#include "Session/PairWords.h"
#include "Session/ProposalWords.h"
#include "Session/SpillFindings.h"
#include "Session/TextFile.h"
#include "Session/Words.h"

#include <algorithm>
#include <cctype>
#include <cmath>
#include <map>
#include <set>

namespace spillwright {

namespace {

constexpr std::size_t mostChangedPairs = 6, mostCancellingPairs = 3, mostPairRows = 60, sourcesAcross = 9;
constexpr double cancelsFrom = -0.5; ///< dB: what a pair loses is worth a plot from here on.
constexpr double worthACell = 0.005; ///< Share of a track that a source is worth its numbers from.

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

std::string styleSheet() {
    using namespace colours;
    return ":root{--paper:" + hex(paper) + ";--raised:" + hex(raised) + ";--selected:" + hex(selected) +
           ";--ink:" + hex(ink) + ";--muted:" + hex(muted) + ";--rules:" + hex(rules) + ";--accent:" + hex(accent) +
           ";--adds:" + hex(adds) + ";--cancels:" + hex(cancels) + "}" + R"css(
html{background:var(--paper);color:var(--ink);font:16px/1.5 Inter,system-ui,-apple-system,"Segoe UI",Roboto,"Helvetica Neue",Arial,sans-serif;font-variant-numeric:tabular-nums;-webkit-text-size-adjust:100%}
body{margin:0}
main{max-width:58rem;margin:0 auto;padding:2.2rem 1.25rem 4rem}
h1{font-size:1.75rem;line-height:1.2;font-weight:600;margin:0}
h2{font-size:1.2rem;font-weight:600;color:var(--accent);margin:2.8rem 0 .6rem;padding-top:.7rem;border-top:2px solid var(--accent)}
h3{font-size:1rem;font-weight:600;margin:1.6rem 0 .3rem}
p{margin:.5rem 0;max-width:44rem}
.quiet{color:var(--muted);font-size:.875rem}
.lead{font-size:1.06rem}
ul,ol{margin:.4rem 0;padding-left:1.4rem;max-width:46rem}
li{margin:.15rem 0}
nav ul{list-style:none;padding:0;display:flex;flex-wrap:wrap;gap:.2rem 1.2rem}
a{color:var(--accent)}
.pair dl{grid-template-columns:max-content 1fr max-content 1fr;font-size:.875rem}
dl{display:grid;grid-template-columns:max-content 1fr;gap:.15rem 1.2rem;margin:.6rem 0}
dt{color:var(--muted)}
dd{margin:0;overflow-wrap:anywhere}
.wide{overflow-x:auto}
table{border-collapse:collapse;font-size:.875rem;line-height:1.35;margin:.6rem 0;min-width:60%}
caption{caption-side:bottom;text-align:left;color:var(--muted);padding-top:.35rem}
th{text-align:left;font-weight:600;vertical-align:bottom;border-bottom:1.5px solid var(--ink);padding:.25rem .8rem .25rem 0}
td,tbody th{border-bottom:1px solid var(--rules);padding:.22rem .8rem .22rem 0;vertical-align:top;overflow-wrap:anywhere}
tbody th{font-weight:400}
.n{text-align:right;white-space:nowrap}
.some{font-weight:600}
tr.taken>*{background:var(--selected)}
.adds{color:var(--adds)}
.cancels{color:var(--cancels)}
.map td{text-align:center;white-space:nowrap;padding:.2rem .35rem}
.map thead th{text-align:center;padding:.2rem .35rem}
.map small{display:block;color:var(--muted);font-size:.75rem}
.map .own{background:var(--selected);font-weight:600}
figure{margin:.8rem 0}
svg{display:block;max-width:100%;height:auto}
figcaption{font-size:.875rem;color:var(--muted);margin-top:.3rem;max-width:46rem}
@page{margin:14mm 15mm}
@media print{
html{background:#fff;font-size:12px}
main{max-width:none;padding:0}
nav{display:none}
h2{margin-top:1.6rem;break-after:avoid}
h3,caption{break-after:avoid}
tr,figure,li,dl{break-inside:avoid}
thead{display:table-header-group}
.page{break-before:page}
.page>h2,.page>h3{margin-top:0}
.wide{overflow:visible}
.sheet table,.sheet{font-size:.78rem}
a{color:inherit;text-decoration:none}
p{orphans:3;widows:3}
}
)css";
}

std::string counted(std::size_t count, const std::string& noun) {
    return std::to_string(count) + " " + noun + (count == 1 ? "" : "s");
}

std::string percent(double share) {
    return unsignedAmount(100.0 * share, 0) + " %";
}

std::string effectInWords(double gainDb) {
    return gainDb > 0.05 ? "they add up" : gainDb < -0.05 ? "they cancel" : "they ignore each other";
}

/// "48 kHz", "44.100 kHz".
std::string rateText(double hertz) {
    const double kHz = hertz / 1000.0;
    return unsignedAmount(kHz, std::abs(kHz - std::round(kHz)) < 1e-9 ? 0 : 3) + " kHz";
}

/// What one setting does, as far as it is known.
struct Figures {
    std::vector<TrackAdjustment> adjustments; ///< One a track.
    double gainDb = 0.0, lowMidCoherence = 0.0;
    std::optional<double> loudness; ///< LUFS.
    int flips = 0, nudges = 0;
};

/// A pair of usable tracks, and what it does to the sum.
struct Pair {
    const PairReading* reading = nullptr;
    double recordedDb = 0.0, takenDb = 0.0; ///< Of the two alone.
    double change = 0.0;                    ///< Of G, by the setting taken.
    bool heard = true;
};

class Page {
public:
    Page(const ReportContents& of, Workers& work, const Watch& watched)
        : contents(of), m(of.measurement), recording(of.recording), workers(work), watch(watched),
          rate(of.recording.sampleRate()) {}

    Result<std::string> write() {
        if (auto read = readAll(); !read) return read.fault();
        page.raw("<!DOCTYPE html>\n");
        {
            const auto html = page.in("html", {{"lang", "en"}});
            head();
            const auto body = page.in("body");
            const auto all = page.in("main");
            summary();
            contentsList();
            recordingSection();
            remarksSection();
            takenSection();
            versionsSection();
            gridSection();
            plotsSection();
            spillSection();
            recallSection();
            readingSection();
            cautionsSection();
        }
        page.raw("\n");
        if (watch.stopped()) return stoppedFault();
        watch.tell(1.0);
        return page.take();
    }

private:
    Fault stoppedFault() const { return {m.folder, "the report was not made: stopped", "", Fault::Kind::cancelled}; }

    // ---- what is told

    Outcome readAll() {
        asRecorded.adjustments.assign(m.tracks.size(), {});
        for (const auto& version : contents.versions) {
            auto adjustments = adjustmentsFor(version.setting, m.tracks);
            if (!adjustments) return adjustments.fault();
            versions.push_back({std::move(adjustments).value(), 0.0, 0.0, {}, 0, 0});
        }
        for (auto* one : all()) {
            const auto model = summationModel(m, one->adjustments);
            const auto gain = gainOf(model, one->adjustments);
            one->gainDb = decibelsOfPower(gain);
            one->lowMidCoherence = model.lowMidCoherence(gain);
            for (const auto& adjustment : one->adjustments) {
                one->flips += adjustment.flip;
                one->nudges += adjustment.nudge.value != 0.0;
            }
        }
        if (auto read = readLoudness(); !read) return read;
        readPairs();
        return watch.stopped() ? Outcome(stoppedFault()) : done();
    }

    std::vector<Figures*> all() {
        std::vector<Figures*> every{&asRecorded};
        for (auto& version : versions)
            every.push_back(&version);
        return every;
    }

    const Figures& taken() const { return contents.taken ? versions[*contents.taken] : asRecorded; }
    std::string takenName() const { return contents.taken ? contents.versions[*contents.taken].name : "as recorded"; }

    std::pair<std::vector<int>, std::vector<double>> placement(const std::vector<TrackAdjustment>& adjustments) const {
        std::vector<int> signs;
        std::vector<double> nudges;
        for (const int track : m.usable) {
            signs.push_back(adjustments[at(track)].flip ? -1 : 1);
            nudges.push_back(adjustments[at(track)].nudge.value);
        }
        return {signs, nudges};
    }

    double gainOf(const SummationModel& model, const std::vector<TrackAdjustment>& adjustments) const {
        const auto [signs, nudges] = placement(adjustments);
        return model.gain(signs, nudges);
    }

    Outcome readLoudness() {
        LoudnessOptions options;
        options.from = m.spectra->from();
        options.to = m.spectra->to();
        Watch part{[&](double fraction) { watch.tell(0.9 * fraction); }, watch.stop};
        const auto model = computeLoudnessModel(recording, options, workers, part);
        if (!model) return model.fault();
        for (auto* one : all()) {
            std::vector<PanGains> pans;
            for (std::size_t i = 0; i < m.tracks.size(); ++i)
                pans.push_back(panGains(effectivePan(m.tracks[i], one->adjustments[i])));
            one->loudness = model->loudness(one->adjustments, pans);
        }
        return done();
    }

    void readPairs() {
        const auto& now = taken().adjustments;
        const auto model = summationModel(m, now), before = summationModel(m, asRecorded.adjustments);
        const auto [signs, nudges] = placement(now);
        const auto [signsBefore, nudgesBefore] = placement(asRecorded.adjustments);
        const auto gains = PairGains(model, m.options.band).gains(signs, nudges);
        const auto gainsBefore = PairGains(before, m.options.band).gains(signsBefore, nudgesBefore);
        const auto matrix = model.flipMatrix(nudges), matrixBefore = before.flipMatrix(nudgesBefore);
        std::map<std::pair<int, int>, const PairReading*> readings;
        for (const auto& reading : m.pairs)
            readings[{std::min(reading.first, reading.second), std::max(reading.first, reading.second)}] = &reading;
        for (std::size_t j = 0; j < m.usable.size(); ++j) {
            for (std::size_t i = 0; i < j; ++i) {
                const auto found = readings.find({m.usable[i], m.usable[j]});
                if (found == readings.end()) continue;
                const auto index = PairGains::pairIndex(static_cast<int>(i), static_cast<int>(j));
                const auto a = static_cast<Eigen::Index>(i), b = static_cast<Eigen::Index>(j);
                Pair pair{found->second, decibelsOfPower(gainsBefore[index]), decibelsOfPower(gains[index]), 0.0,
                          !now[at(m.usable[i])].muted && !now[at(m.usable[j])].muted};
                pair.change = 2.0 * (signs[i] * signs[j] * matrix(a, b) - matrixBefore(a, b));
                pairs.push_back(pair);
            }
        }
    }

    static bool changed(const TrackAdjustment& adjustment) { return adjustment.flip || adjustment.nudge.value != 0.0; }

    /// Those that are turned or moved against each other and do most to the sum, then those that cancel most.
    std::vector<const Pair*> pairsThatMatter() const {
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

    const std::string& name(int track) const { return m.tracks[at(track)].name; }

    std::string folderName() const {
        const auto path = std::filesystem::path(m.folder).lexically_normal();
        const auto last = path.has_filename() ? path.filename() : path.parent_path().filename();
        return shownPath(last.empty() ? path : last);
    }

    std::string recordedOn() const {
        std::set<std::string> dates;
        for (const auto& file : recording.files())
            if (const auto date = BroadcastExtension::of(file.info.broadcastExtension).date; !date.empty())
                dates.insert(date);
        if (dates.empty()) return "not said by the files";
        return *dates.begin() + (dates.size() == 1 ? "" : " to " + *dates.rbegin()) + ", as the files say";
    }

    // ---- parts that come again

    void paragraph(const std::string& words, const char* kind = "") { page.element("p", words, {{"class", kind}}); }

    /// A signed amount in decibels; its sign stands in it, its colour repeats it.
    void gainCell(double dB, int decimals = 2) {
        const auto words = std::isfinite(dB) ? signedAmount(dB, decimals) : gainText(dB);
        const bool zero = words.find_first_not_of("0.") == std::string::npos; // then it has no sign
        page.element("td", words, {{"class", zero ? "n" : dB > 0.0 ? "n adds" : "n cancels"}});
    }
    void number(const std::string& words, bool stands = false) {
        page.element("td", words, {{"class", stands ? "n some" : "n"}});
    }
    void cell(const std::string& words, bool stands = false) {
        page.element("td", words, {{"class", stands ? "some" : ""}});
    }

    struct Column {
        const char* words;
        bool isNumber = false;
    };
    void headRow(std::initializer_list<Column> columns) {
        const auto head = page.in("thead");
        const auto row = page.in("tr");
        for (const auto& column : columns)
            page.element("th", column.words, {{"scope", "col"}, {"class", column.isNumber ? "n" : ""}});
    }
    void rowHead(const std::string& words) { page.element("th", words, {{"scope", "row"}}); }

    Markup::Inside section(const char* id, const char* title, bool ownPage = false) {
        auto inside = page.in("section", {{"id", id}, {"class", ownPage ? "page" : ""}});
        page.element("h2", title);
        return inside;
    }

    // ---- sections

    void head() {
        const auto inside = page.in("head");
        page.empty("meta", {{"charset", "utf-8"}});
        page.empty("meta", {{"name", "viewport"}, {"content", "width=device-width, initial-scale=1"}});
        page.empty("meta", {{"http-equiv", "Content-Security-Policy"},
                            {"content", "default-src 'none'; style-src 'unsafe-inline'"}});
        page.element("title", "Polarity and offsets: " + folderName());
        const auto style = page.in("style");
        page.raw(styleSheet());
    }

    void summary() {
        const auto header = page.in("header");
        page.element("h1", folderName());
        paragraph(
            "Polarity and offsets of a recording with many microphones in one room" +
                (contents.date.empty() ? "." : ". Report of " + contents.date + ".") +
                " Written by Spillwright from the recording itself; no part of this page is fetched from elsewhere.",
            "quiet");
        std::string text = counted(m.tracks.size(), "track") + " of " +
                           clockText(static_cast<double>(recording.length()) / rate, false) + " at " + rateText(rate) +
                           " were measured against each other. As recorded, the sum of the low-mids stands at " +
                           signedAmount(asRecorded.gainDb, 2) +
                           " dB against tracks that know nothing of each other: " + effectInWords(asRecorded.gainDb) +
                           ". ";
        if (!contents.taken) {
            text += "It was left as recorded.";
        } else {
            const auto& one = taken();
            const auto tracks = [](int count) {
                return count == 0 ? std::string("no track") : counted(static_cast<std::size_t>(count), "track");
            };
            text += "The setting taken, \u201c" + takenName() + "\u201d, brings it to " + signedAmount(one.gainDb, 2) +
                    " dB: " + effectInWords(one.gainDb) + ". It turns " + tracks(one.flips) + " over and moves " +
                    tracks(one.nudges) + " in time.";
        }
        paragraph(text, "lead");
        if (m.focus)
            paragraph("Pairs, sums and proposals are those of " + m.sources->names[at(*m.focus)] + " alone.", "lead");
    }

    void contentsList() {
        const auto nav = page.in("nav", {{"aria-label", "Contents"}});
        const auto list = page.in("ul");
        for (const auto& [id, words] : {std::pair{"recording", "The recording"},
                                        {"remarks", "What is wrong with the files"},
                                        {"taken", "The setting taken"},
                                        {"versions", "Settings compared"},
                                        {"pairs", "Every pair"},
                                        {"plots", "The pairs that matter"},
                                        {"spill", "Who is heard where"},
                                        {"recall", "Recall sheet"},
                                        {"reading", "How to read the numbers"},
                                        {"cautions", "Cautions"}}) {
            const auto item = page.in("li");
            page.element("a", words, {{"href", std::string("#") + id}});
        }
    }

    void entry(const char* what, const std::string& words) {
        page.element("dt", what);
        page.element("dd", words);
    }

    void recordingSection() {
        const auto inside = section("recording", "The recording");
        {
            const auto list = page.in("dl");
            entry("folder", m.folder);
            entry("recorded", recordedOn());
            entry("rate", unsignedAmount(rate, 0) + " Hz");
            entry("length", clockText(static_cast<double>(recording.length()) / rate, true) + " (" +
                                std::to_string(recording.length()) + " samples)");
            entry("measured", clockText(static_cast<double>(m.spectra->from()) / rate, true) + " to " +
                                  clockText(static_cast<double>(m.spectra->to()) / rate, true));
            entry("low-mid band", bandText(m.options.band));
            entry("temperature", temperatureText(m.options.temperature) + " (for lengths)");
            entry("tracks",
                  std::to_string(m.tracks.size()) + ", of which " + std::to_string(m.usable.size()) + " take part");
        }
        const auto wide = page.in("div", {{"class", "wide sheet"}});
        const auto table = page.in("table");
        page.element("caption",
                     "Level: root mean square of the whole. Spill: the share of a track's energy that is not "
                     "its own source.");
        headRow(
            {{"track"}, {"file"}, {"level dBFS", true}, {"peak dBFS", true}, {"spill", true}, {"pair"}, {"remark"}});
        const auto body = page.in("tbody");
        for (std::size_t i = 0; i < m.tracks.size(); ++i) {
            const auto& track = m.tracks[i];
            const auto row = page.in("tr");
            rowHead(track.name);
            cell(track.file);
            const bool readable = track.state != TrackState::unreadable;
            const auto& statistics = wholeSpectra().statistics(static_cast<int>(i));
            number(readable ? gainText(decibelsOfAmplitude(statistics.rms())) : "\u2013");
            number(readable ? gainText(decibelsOfAmplitude(static_cast<double>(statistics.peak))) : "\u2013");
            const auto spill = m.sources ? spillShareOf(m, static_cast<int>(i)) : std::nullopt;
            number(spill ? percent(*spill) : "\u2013");
            cell(track.linkedTo ? "with " + name(*track.linkedTo) : "");
            cell(trackRemark(i));
        }
    }

    const CrossSpectra& wholeSpectra() const { return m.allSpectra ? *m.allSpectra : *m.spectra; }

    std::string trackRemark(std::size_t i) const {
        const auto& track = m.tracks[i];
        if (track.state == TrackState::unreadable) return trackTrouble(track);
        std::vector<std::string> parts;
        const auto& statistics = wholeSpectra().statistics(static_cast<int>(i));
        if (track.state == TrackState::silent) parts.push_back(trackTrouble(track));
        if (statistics.clippedSamples > 0)
            parts.push_back("clipped: " + std::to_string(statistics.clippedSamples) + " samples at full scale");
        if (std::abs(statistics.offset()) >= notedOffset)
            parts.push_back("a constant offset of " + gainText(decibelsOfAmplitude(std::abs(statistics.offset()))) +
                            " dBFS");
        if (track.resampledFromHz)
            parts.push_back("resampled from " + unsignedAmount(*track.resampledFromHz, 0) + " Hz");
        std::string text;
        for (const auto& part : parts)
            text += (text.empty() ? "" : "; ") + part;
        return text;
    }

    void remarksSection() {
        const auto inside = section("remarks", "What is wrong with the files");
        std::vector<std::string> lines;
        for (std::size_t i = 0; i < m.tracks.size(); ++i)
            if (const auto remark = trackRemark(i); !remark.empty()) lines.push_back(m.tracks[i].name + ": " + remark);
        const std::set<std::string> told(lines.begin(), lines.end());
        for (const auto& line : m.warnings)
            if (!told.contains(line)) lines.push_back(line);
        if (lines.empty())
            return paragraph("Nothing: every file could be read, none is silent, clipped or offset, and "
                             "nothing moved while it was recorded.");
        const auto list = page.in("ul");
        for (const auto& line : lines)
            page.element("li", oneLine(line));
    }

    void changesTable(const ReportVersion& version) {
        if (version.changes.empty()) return;
        const auto wide = page.in("div", {{"class", "wide"}});
        const auto table = page.in("table");
        page.element("caption",
                     "Loses without it: what the sum would lose if this one change were taken back; others "
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
            cell(change.what);
            number(unsignedAmount(change.effectDb, 2));
            number(change.worthDb ? unsignedAmount(*change.worthDb, 2) : "\u2013");
            number(change.stands ? percent(*change.stands) : "\u2013");
            number(change.mayBeOff ? unsignedAmount(inMilliseconds(*change.mayBeOff), 2) : "\u2013");
        }
    }

    void versionInWords(const ReportVersion& version) {
        if (!version.words.empty()) paragraph(version.words);
        if (!version.bound.empty())
            paragraph("Bound: " + version.bound + ".");
        else
            paragraph("Set by hand: the ear decided, no bound is asked for.");
        changesTable(version);
    }

    void takenSection() {
        const auto inside = section("taken", "The setting taken");
        if (!contents.taken) return paragraph("As recorded: no track is turned over, moved or treated.");
        const auto& version = contents.versions[*contents.taken];
        page.element("h3", version.name);
        versionInWords(version);
        page.element("h3", "All that it does");
        const auto list = page.in("ul");
        for (const auto& line : adjustmentsInWords(m.tracks, taken().adjustments))
            page.element("li", line);
    }

    void versionRow(const std::string& words, const Figures& one, bool isTaken) {
        const auto row = page.in("tr", {{"class", isTaken ? "taken" : ""}});
        rowHead(words + (isTaken ? " (taken)" : ""));
        gainCell(one.gainDb);
        number(signedAmount(one.gainDb - asRecorded.gainDb, 2));
        number(signedAmount(one.lowMidCoherence, 2));
        number(one.loudness ? signedAmount(*one.loudness, 1) : "silent");
        number(std::to_string(one.flips));
        number(std::to_string(one.nudges));
    }

    void versionsSection() {
        const auto inside = section("versions", "Settings compared");
        {
            const auto wide = page.in("div", {{"class", "wide"}});
            const auto table = page.in("table");
            page.element("caption",
                         "Loudness: integrated, of the stereo sum as panned (ITU-R BS.1770), predicted from "
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

    void grid(const char* id, const std::string& title, const std::vector<PairState>& states) {
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

    std::vector<PairState> states(double Pair::*gain, bool muting) const {
        std::vector<PairState> result(m.tracks.size() * (m.tracks.size() - (m.tracks.empty() ? 0 : 1)) / 2);
        for (const auto& pair : pairs)
            result[PairGains::pairIndex(std::min(pair.reading->first, pair.reading->second),
                                        std::max(pair.reading->first, pair.reading->second))] = {
                pair.reading, muting && !pair.heard ? std::nullopt : std::optional(pair.*gain)};
        return result;
    }

    void gridSection() {
        const auto inside = section("pairs", "Every pair", true);
        paragraph(
            "Each square is two tracks: the one above its column's end and the one at the end of its row. A larger "
            "square is more of the same sound in both (coherence). A plus on blue: the two add up in the "
            "low-mids; a minus on orange: they cancel; the deeper, the more. Hatched: arrival or polarity is not "
            "sure. A stroke: unrelated. A dot: a track takes no part.",
            "quiet");
        grid("recorded-", "As recorded", states(&Pair::recordedDb, false));
        if (contents.taken) grid("taken-", "Under \u201c" + takenName() + "\u201d", states(&Pair::takenDb, true));
        pairsTable();
    }

    void pairsTable() {
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
        headRow(
            {{"pair"}, {"what is heard"}, {"sure"}, {"coherence", true}, {"as recorded, dB", true}, {"now, dB", true}});
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

    PairWords wordsOf(const PairReading& reading) const {
        return pairInWords(reading, rate, m.options.temperature, true);
    }

    void plotsSection() {
        const auto inside = section("plots", "The pairs that matter", true);
        const auto chosen = pairsThatMatter();
        if (chosen.empty())
            return paragraph("No pair is turned or moved against each other, and none cancels by more than " +
                             unsignedAmount(cancelsFrom, 1) + " dB.");
        paragraph(
            "Those that the setting taken turns or moves against each other and that do most to the sum, and those "
            "that cancel most. The band of the low-mids is shaded.",
            "quiet");
        for (std::size_t k = 0; k < chosen.size(); ++k)
            plotsOf(*chosen[k], "pair" + std::to_string(k + 1) + "-", k > 0);
    }

    void plotsOf(const Pair& pair, const std::string& id, bool ownPage) {
        const auto& reading = *pair.reading;
        const auto& now = taken().adjustments;
        const auto& first = now[at(reading.first)];
        const auto& second = now[at(reading.second)];
        const auto inside = page.in("section", {{"class", ownPage ? "pair page" : "pair"}});
        const auto names = pairName(m, reading.first, reading.second);
        const auto words = wordsOf(reading);
        page.element("h3", names);
        const auto gain = [](double dB) {
            return signedAmount(dB, 1) + " dB (" + (dB >= 0.0 ? "adds" : "cancels") + ")";
        };
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
        figure(called(plotComb(&curves.comb, &under, nullptr, m.options.band), "Comb response"), id + "comb-",
               combSaid);
        figure(called(plotCoherence(&curves.coherence, m.options.band), "Coherence over frequency"), id + "coherence-",
               coherenceSaid);
        figure(called(plotLag(&reading, curves, PairShift(first, second), under.name), "Correlation over lag"),
               id + "lag-", lagSaid);
    }

    void figure(const Plot& plot, const std::string& id, const std::string& said) {
        const auto inside = page.in("figure");
        writePlot(page, plot, layoutOnPage(), estimatedWidth, id, said);
    }

    void spillSection() {
        const auto inside = section("spill", "Who is heard where", true);
        if (!m.sources || m.sources->map.readings.empty())
            return paragraph("No sources are told apart in this recording.");
        const auto& map = m.sources->map;
        paragraph(
            "A row a track, a column a source. First its level against its own close track in dB (direct sound and "
            "reverberation, 100 Hz to 8 kHz), below it how much later it comes in ms and which way up: \u2191 the "
            "same way, \u2193 upside down, ? not sure. A point: too faint; ?: cannot be told. \u201cclose\u201d is "
            "the track that the source is told from.",
            "quiet");
        if (m.sources->guessed) paragraph("Which track stands close to what was guessed from the sound.", "quiet");
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
                page.element("li", name(one.track) + ": " + entryInWords(m, one));
        }
        const auto spacing = spacingInWords(m);
        if (spacing.empty()) return;
        page.element("h3", "Spacing");
        const auto list = page.in("ul");
        for (const auto& line : spacing)
            page.element("li", line);
    }

    void spillTable(std::size_t from, std::size_t to) {
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

    void spillCell(const SpillReading* reading, const std::vector<int>& close) {
        const bool own = reading && std::find(close.begin(), close.end(), reading->track) != close.end();
        const auto inside =
            page.in("td", {{"class", own ? "own" : ""}, {"title", reading ? spillInWords(m, *reading) : ""}});
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

    void recallSection() {
        const auto inside = section("recall", "Recall sheet", true);
        paragraph("The setting taken, \u201c" + takenName() +
                      "\u201d, to be set by hand on any desk. A nudge above 0 "
                      "plays the track later; it is given as a time, in samples at " +
                      unsignedAmount(rate, 0) + " Hz and as the way of sound at " +
                      temperatureText(m.options.temperature) + ".",
                  "quiet");
        const auto wide = page.in("div", {{"class", "wide sheet"}});
        const auto table = page.in("table");
        headRow({{"track"},
                 {"flip"},
                 {"nudge, ms", true},
                 {"samples", true},
                 {"cm", true},
                 {"gain, dB", true},
                 {"high-pass"},
                 {"pan"},
                 {"mute"},
                 {"remark"}});
        const auto body = page.in("tbody");
        for (const auto& one : recallSheet(m.tracks, taken().adjustments, rate, m.options.temperature)) {
            const auto row = page.in("tr");
            rowHead(one.track);
            const bool moved = one.nudgeMs != 0.0;
            cell(one.flip ? "flip \u00d8" : "\u2013", one.flip);
            number(moved ? signedAmount(one.nudgeMs, 3) : "0", moved);
            number(moved ? signedAmount(one.nudgeSamples, 1) : "0", moved);
            number(moved ? signedAmount(one.nudgeCm, 1) : "0", moved);
            number(one.gainDb == 0.0 ? "0" : gainText(one.gainDb), one.gainDb != 0.0);
            cell(one.highPassHz ? unsignedAmount(*one.highPassHz, 0) + " Hz, " + std::to_string(one.slopeDbPerOctave) +
                                      " dB/octave"
                                : "\u2013",
                 one.highPassHz.has_value());
            cell(panText(one.pan));
            cell(one.muted ? "muted" : "\u2013", one.muted);
            cell(one.remark);
        }
    }

    void readingSection() {
        const auto inside = section("reading", "How to read the numbers");
        const auto list = page.in("ul");
        for (const char* line :
             {"Summation gain: what the sum has in the low-mids against tracks that ignore each other. 0 dB: they do; "
              "above it they add up, below it they cancel. It never exceeds 10 lg N dB for N tracks.",
              "Low-mid coherence of a setting: 1 where all tracks meet in phase, 0 where they ignore each other, "
              "below 0 where they cancel.",
              "Coherence of a pair: 0 to 1, how much of two tracks is the same sound.",
              "Arrival: positive where the second track of a pair hears the sound later. Polarity: the same way up or "
              "upside down. What is not sure says so.",
              "Flip: the polarity is turned over. Nudge: the track is played later (+) or earlier (\u2212).",
              "Bound: no setting within the limits of the proposal can exceed it. Proven: nothing better exists.",
              "Lateness of a room microphone is depth, not a fault."})
            page.element("li", line);
    }

    void cautionsSection() {
        const auto inside = section("cautions", "Cautions");
        const auto list = page.in("ul");
        for (const char* line :
             {"The ear decides. A proposal is arithmetic on the low-mids; it knows nothing of the music.",
              "Flips and nudges change level by design: judge at matched loudness, the louder one always seems better.",
              "Hearing does not heal. Start low and raise slowly, keep monitoring moderate and sessions short, take "
              "breaks; many hours a week above some 80 dB(A) harm in the long run. Local rules on noise at work and "
              "the "
              "advice of licensed practitioners come first."})
            page.element("li", line);
    }

    const ReportContents& contents;
    const Measurement& m;
    const Recording& recording;
    Workers& workers;
    const Watch& watch;
    const double rate;
    Figures asRecorded;
    std::vector<Figures> versions; ///< As contents.versions.
    std::vector<Pair> pairs;
    Markup page;
};

Outcome mayBeWritten(const std::filesystem::path& path, const Recording& recording) {
    std::error_code ignored;
    if (std::filesystem::is_directory(path, ignored)) return Fault{shownPath(path), "is a folder", "name a file in it"};
    return notOfRecording(path, recording);
}

} // namespace

Result<std::string> reportAsHtml(const ReportContents& contents, Workers& workers, const Watch& watch) {
    return Page(contents, workers, watch).write();
}

Result<std::string> recallAsCsv(const ReportContents& contents) {
    const auto& m = contents.measurement;
    std::vector<TrackAdjustment> adjustments(m.tracks.size());
    if (contents.taken) {
        auto taken = adjustmentsFor(contents.versions[*contents.taken].setting, m.tracks);
        if (!taken) return taken.fault();
        adjustments = std::move(taken).value();
    }
    const double rate = contents.recording.sampleRate();
    return recallCsv(recallSheet(m.tracks, adjustments, rate, m.options.temperature), rate, m.options.temperature);
}

Outcome saveReport(const ReportContents& contents, const std::filesystem::path& page,
                   const std::optional<std::filesystem::path>& recall, Workers& workers, const Watch& watch) {
    if (auto may = mayBeWritten(page, contents.recording); !may) return may;
    if (recall) {
        if (auto may = mayBeWritten(*recall, contents.recording); !may) return may;
        if (std::filesystem::absolute(*recall).lexically_normal() == std::filesystem::absolute(page).lexically_normal())
            return Fault{shownPath(*recall), "is to be the report and the recall sheet", "give them two names"};
    }
    const auto html = reportAsHtml(contents, workers, watch);
    if (!html) return html.fault();
    if (recall) {
        const auto csv = recallAsCsv(contents);
        if (!csv) return csv.fault();
        if (auto written = writeTextFile(*recall, *csv); !written) return written;
    }
    return writeTextFile(page, *html);
}

} // namespace spillwright
