#include "Report/Page.h"

#include "Core/Propose/LoudnessModel.h"
#include "Core/Propose/PairGains.h"
#include "Session/Amounts.h"
#include "Session/Files.h"
#include "Session/Words.h"

#include <algorithm>
#include <cmath>
#include <map>

namespace spillwright {

namespace {

std::size_t at(int index) {
    return static_cast<std::size_t>(index);
}

std::string effectInWords(double gainDb) {
    return gainDb > 0.05 ? "they add up" : gainDb < -0.05 ? "they cancel" : "they ignore each other";
}

/// "48 kHz", "44.100 kHz".
std::string rateText(double hertz) {
    const double kHz = hertz / 1000.0;
    return unsignedAmount(kHz, std::abs(kHz - std::round(kHz)) < 1e-9 ? 0 : 3) + " kHz";
}

} // namespace

std::string counted(std::size_t count, const std::string& noun) {
    return std::to_string(count) + " " + noun + (count == 1 ? "" : "s");
}

std::string percent(double share) {
    return unsignedAmount(100.0 * share, 0) + " %";
}

Result<std::string> Page::write() {
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
        recallSection();
        gridSection();
        plotsSection();
        spillSection();
        readingSection();
        cautionsSection();
    }
    page.raw("\n");
    if (watch.stopped()) return stoppedFault();
    watch.tell(1.0);
    return page.take();
}

Fault Page::stoppedFault() const {
    return {m.folder, "the report was not made: stopped", "", Fault::Kind::cancelled};
}

Outcome Page::readAll() {
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

std::vector<Page::Figures*> Page::all() {
    std::vector<Figures*> every{&asRecorded};
    for (auto& version : versions)
        every.push_back(&version);
    return every;
}

std::string Page::takenName() const {
    return contents.taken ? contents.versions[*contents.taken].name : "as recorded";
}

std::pair<std::vector<int>, std::vector<double>>
Page::placement(const std::vector<TrackAdjustment>& adjustments) const {
    std::vector<int> signs;
    std::vector<double> nudges;
    for (const int track : m.usable) {
        signs.push_back(adjustments[at(track)].flip ? -1 : 1);
        nudges.push_back(adjustments[at(track)].nudge.value);
    }
    return {signs, nudges};
}

double Page::gainOf(const SummationModel& model, const std::vector<TrackAdjustment>& adjustments) const {
    const auto [signs, nudges] = placement(adjustments);
    return model.gain(signs, nudges);
}

Outcome Page::readLoudness() {
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

void Page::readPairs() {
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

std::string Page::folderName() const {
    const auto path = std::filesystem::path(m.folder).lexically_normal();
    const auto last = path.has_filename() ? path.filename() : path.parent_path().filename();
    return shownPath(last.empty() ? path : last);
}

void Page::paragraph(const std::string& words, const char* kind) {
    page.element("p", withTrueMinus(words), {{"class", kind}});
}

void Page::item(const std::string& words) {
    page.element("li", withTrueMinus(words));
}

void Page::gainCell(double dB, int decimals) {
    const auto words = std::isfinite(dB) ? signedAmount(dB, decimals) : gainText(dB);
    const bool zero = words.find_first_not_of("0.") == std::string::npos; // then it has no sign
    page.element("td", words, {{"class", zero ? "n" : dB > 0.0 ? "n adds" : "n cancels"}});
}

void Page::number(const std::string& words, bool stands) {
    page.element("td", words, {{"class", stands ? "n some" : "n"}});
}

void Page::cell(const std::string& words, bool stands) {
    page.element("td", words, {{"class", stands ? "some" : ""}});
}

void Page::headRow(std::initializer_list<Column> columns) {
    const auto head = page.in("thead");
    const auto row = page.in("tr");
    for (const auto& column : columns)
        page.element("th", column.words, {{"scope", "col"}, {"class", column.isNumber ? "n" : ""}});
}

void Page::rowHead(const std::string& words) {
    page.element("th", words, {{"scope", "row"}});
}

Markup::Inside Page::section(const char* id, const char* title, bool ownPage) {
    auto inside = page.in("section", {{"id", id}, {"class", ownPage ? "page" : ""}});
    page.element("h2", title);
    return inside;
}

void Page::entry(const char* what, const std::string& words) {
    page.element("dt", what);
    page.element("dd", words);
}

void Page::head() {
    const auto inside = page.in("head");
    page.empty("meta", {{"charset", "utf-8"}});
    page.empty("meta", {{"name", "viewport"}, {"content", "width=device-width, initial-scale=1"}});
    page.empty("meta", {{"http-equiv", "Content-Security-Policy"},
                        {"content", "default-src 'none'; style-src 'unsafe-inline'"}});
    page.element("title", "Polarity and offsets: " + folderName());
    const auto style = page.in("style");
    page.raw(styleSheet());
}

void Page::summary() {
    const auto header = page.in("header");
    page.element("h1", folderName());
    paragraph("Polarity and offsets of a recording with many microphones in one room" +
                  (contents.date.empty() ? "." : ". Report of " + contents.date + ".") +
                  " Written by Spillwright from the recording itself; no part of this page is fetched from elsewhere.",
              "quiet");
    std::string text = counted(m.tracks.size(), "track") + " of " +
                       clockText(static_cast<double>(recording.length()) / rate, false) + " at " + rateText(rate) +
                       " were measured against each other. As recorded, the sum of the low-mids stands at " +
                       signedAmount(asRecorded.gainDb, 2) +
                       " dB against tracks that know nothing of each other: " + effectInWords(asRecorded.gainDb) + ". ";
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

void Page::contentsList() {
    const auto nav = page.in("nav", {{"aria-label", "Contents"}});
    const auto list = page.in("ul");
    for (const auto& [id, words] : {std::pair{"recording", "The recording"},
                                    {"remarks", "What is wrong with the files"},
                                    {"taken", "The setting taken"},
                                    {"versions", "Settings compared"},
                                    {"recall", "Recall sheet"},
                                    {"pairs", "Every pair"},
                                    {"plots", "The pairs that matter"},
                                    {"spill", "Who is heard where"},
                                    {"reading", "How to read the numbers"},
                                    {"cautions", "Cautions"}}) {
        const auto item = page.in("li");
        page.element("a", words, {{"href", std::string("#") + id}});
    }
}

} // namespace spillwright
