#include "Report/Report.h"

#include "Session/Sources.h"
#include "Support/TemporaryFolder.h"
#include "Support/TestWav.h"

#include <catch2/catch.hpp>

#include <fstream>
#include <regex>
#include <set>
#include <sstream>

#ifndef _WIN32
#include <csignal>
#include <sys/resource.h>
#endif

using namespace spillwright;
using namespace spillwright::test;

namespace {

std::string contentOf(const std::filesystem::path& path) {
    std::ifstream file(path, std::ios::binary);
    std::ostringstream text;
    text << file.rdbuf();
    return text.str();
}

std::size_t countOf(const std::string& text, const std::string& part) {
    std::size_t count = 0;
    for (auto at = text.find(part); at != std::string::npos; at = text.find(part, at + part.size()))
        ++count;
    return count;
}

/// Three tracks of one sound, the second upside down and 2 ms late, one from elsewhere, one silent, one unreadable.
struct Hall {
    TemporaryFolder folder, place;
    Workers workers{2};
    std::shared_ptr<const Recording> recording;
    Measurement measurement;

    Hall() {
        constexpr std::size_t length = 6 * 48000;
        const auto common = noise(length, 1);
        writeWav(folder / "01 a <b>.wav", mixed(common, noise(length, 2, 0.02f)));
        writeWav(folder / "02 lat\xC3\xA9.wav", mixed(delayed(common, 96, -0.8f), noise(length, 3, 0.02f)));
        writeWav(folder / "03 c & d.wav", mixed(delayed(common, 48, 0.9f), noise(length, 4, 0.02f)));
        writeWav(folder / "04 elsewhere.wav", noise(length, 6));
        writeWav(folder / "05 silent.wav", std::vector<float>(length));
        writeBytes(folder / "06 torn.wav", "this is a text");
        auto opened = Recording::open(folder.path());
        REQUIRE(opened);
        recording = *opened;
        auto measured = measure("a hall", recording->tracks(), *recording, recording->warnings(), {}, workers, {});
        REQUIRE(measured);
        auto heard = hearSources(*measured, std::nullopt, workers, {});
        REQUIRE(heard);
        measurement = std::move(heard).value();
    }

    ReportContents contents() {
        const auto proposals = makeProposals(measurement, {}, workers, {});
        REQUIRE(proposals);
        ReportContents result{*recording, measurement, {}, 0, ""};
        for (const auto& named : proposals->proposals)
            result.versions.push_back(versionOf(*proposals, named, measurement));
        return result;
    }

    std::string page(const ReportContents& of) {
        const auto html = reportAsHtml(of, workers, {});
        INFO((html ? std::string() : html.fault().line()));
        REQUIRE(html);
        return *html;
    }
};

} // namespace

TEST_CASE("the report says what was recorded, what is wrong, what was taken and why, in words") {
    Hall band;
    const auto contents = band.contents();
    const auto html = band.page(contents);
    CHECK(html.starts_with("<!DOCTYPE html>\n<html lang=\"en\">"));
    for (const char* words :
         {"a hall", "48000 Hz", "0:06.00 (288000 samples)", "178\u2013562 Hz", "not said by the files",
          "<li>silent: silent</li>", "torn: unreadable: ", "The setting taken, \u201cflips\u201d, brings it to +",
          "It turns 1 track over and moves no track in time.", "Bound: proven: nothing within the limits is better",
          "flips (taken)", "flips and nudges", "nudge to ", "unrelated", "Same sound 2.00 ms later, upside down, sure.",
          "Recall sheet", "flip \u00d8", "Hearing does not heal."}) {
        INFO(words);
        CHECK(html.find(words) != std::string::npos);
    }
    // Both grids, and of each pair that matters three plots; each with its title and what it says.
    const auto drawings = countOf(html, "<svg ");
    CHECK(drawings >= 2 + 3);
    CHECK((drawings - 2) % 3 == 0);
    CHECK(countOf(html, "<desc ") == drawings);
    for (const char* words :
         {"frequency, Hz", "summation gain of the two, dB", "lag, ms: plus is later", "Comb response"})
        CHECK(html.find(words) != std::string::npos);
    // The summation gains are those of the model.
    const auto adjustments = adjustmentsFor(contents.versions[0].setting, band.measurement.tracks);
    REQUIRE(adjustments);
    CHECK(html.find("LUFS") != std::string::npos);
}

TEST_CASE("what the versions do is told in numbers: gain, coherence and a loudness that a meter agrees with") {
    Hall band;
    auto contents = band.contents();
    Setting quieter; // 6 dB less of everything: the gain stays, the loudness falls by 6 LU
    for (const auto& track : band.measurement.tracks) {
        TrackAdjustment adjustment;
        adjustment.gain = Decibels(-6.0);
        quieter.tracks.push_back({track.name, adjustment});
    }
    contents.versions.push_back({"quieter", quieter, "", "", {}});
    const auto html = band.page(contents);
    const auto rowOf = [&](const std::string& name) {
        const std::regex row("<th scope=\"row\">" + name +
                             "</th><td class=\"n[a-z ]*\">([^<]*)</td><td class=\"n\">([^<]*)</td>"
                             "<td class=\"n\">([^<]*)</td><td class=\"n\">([^<]*)</td>");
        std::smatch found;
        REQUIRE(std::regex_search(html, found, row));
        return std::vector<std::string>{found[1], found[2], found[3], found[4]};
    };
    const auto recorded = rowOf("as recorded"), lower = rowOf("quieter");
    CHECK(recorded[0] == lower[0]);
    CHECK(recorded[1] == "0.00");
    const auto lufs = [](std::string words) {
        if (words.starts_with("\u2212")) words = "-" + words.substr(3);
        return std::stod(words);
    };
    CHECK(lufs(recorded[3]) - lufs(lower[3]) == Approx(6.0).margin(0.11)); // two roundings to 0.1
    CHECK(lufs(recorded[3]) < -10.0);
    CHECK(lufs(recorded[3]) > -35.0);
}

TEST_CASE("names are text in the report, and every id is there once") {
    Hall band;
    const auto html = band.page(band.contents());
    CHECK(html.find("a <b>") == std::string::npos);
    CHECK(html.find("a &lt;b&gt;") != std::string::npos);
    CHECK(html.find("c & d") == std::string::npos);
    CHECK(html.find("c &amp; d") != std::string::npos);
    CHECK(html.find("lat\xC3\xA9") != std::string::npos);
    CHECK(html.find("<script") == std::string::npos);
    std::set<std::string> ids;
    const std::regex id(" id=\"([^\"]*)\"");
    for (std::sregex_iterator each(html.begin(), html.end(), id), end; each != end; ++each)
        CHECK(ids.insert((*each)[1]).second);
    // What is referred to is there, and nothing is fetched from elsewhere.
    const std::regex reference("(?:href=\"#|url\\(#)([^\")]*)");
    for (std::sregex_iterator each(html.begin(), html.end(), reference), end; each != end; ++each)
        CHECK(ids.contains((*each)[1]));
    CHECK(html.find("src=") == std::string::npos);
    CHECK(countOf(html, "href=") == countOf(html, "href=\"#"));
    CHECK(countOf(html, "http") == countOf(html, "http://www.w3.org/2000/svg") + countOf(html, "http-equiv"));
}

TEST_CASE(
    "the same contents give the same bytes, for any number of workers; a date stands in it only where it is given") {
    Hall band;
    auto contents = band.contents();
    const auto once = band.page(contents);
    Workers one{1};
    const auto again = reportAsHtml(contents, one, {});
    REQUIRE(again);
    CHECK((*again == once));
    CHECK(once.find("Report of ") == std::string::npos);
    contents.date = "3 May <2026>";
    CHECK(band.page(contents).find("Report of 3 May &lt;2026&gt;.") != std::string::npos);
}

TEST_CASE("a recording that is left as it is has a report, too") {
    Hall band;
    const auto html = band.page({*band.recording, band.measurement, {}, {}, ""});
    CHECK(html.find("It was left as recorded.") != std::string::npos);
    CHECK(html.find("as recorded (taken)") != std::string::npos);
    CHECK(html.find("As recorded: no track is turned over, moved or treated.") != std::string::npos);
    const auto csv = recallAsCsv({*band.recording, band.measurement, {}, {}, ""});
    REQUIRE(csv);
    CHECK(countOf(*csv, "\r\n") == 7);
    CHECK(csv->find("unreadable: ") != std::string::npos);
}

TEST_CASE("a session's versions stand in the report as they are heard") {
    Hall band;
    Session session;
    TrackAdjustment loud, turned;
    loud.gain = Decibels(-4.0);
    turned.flip = true;
    session.heard.tracks = {{"a <b>", loud}, {"gone", turned}};
    SessionVersion flips;
    flips.name = "flips";
    flips.setting.tracks = {{"lat\xC3\xA9", turned}};
    flips.gapDb = 0.0;
    flips.words = "Turning it over helps.";
    flips.why = {{"lat\xC3\xA9", Proposal::Change::Kind::flip, 1.5}};
    SessionVersion kept;
    kept.name = "kept6";
    kept.shown = "dark <i>\u202E";
    kept.setting.tracks = {{"c & d", turned}};
    session.versions = {flips, kept};
    session.heardVersion = "flips";
    auto found = versionsOf(session, band.measurement.tracks);
    REQUIRE(found.versions.size() == 3); // what is heard is neither of the two
    CHECK(found.versions[0].name == "flips");
    CHECK(found.versions[1].name == "dark <i>\u202E");
    CHECK(found.versions[2].name == "as heard");
    CHECK(found.taken == 2);
    const auto ofFirst = adjustmentsFor(found.versions[0].setting, band.measurement.tracks);
    REQUIRE(ofFirst);
    CHECK((*ofFirst)[0].gain == Decibels(-4.0)); // the balance that is heard
    CHECK((*ofFirst)[1].flip);
    CHECK(found.versions[0].bound.starts_with("proven"));
    const auto ofKept = adjustmentsFor(found.versions[1].setting, band.measurement.tracks);
    REQUIRE(ofKept);
    CHECK((*ofKept)[0].gain == Decibels(0.0)); // its own
    session.heard.tracks.push_back({"lat\xC3\xA9", turned});
    found = versionsOf(session, band.measurement.tracks);
    CHECK(found.taken == 0);
    CHECK(found.versions.size() == 2);
    const auto html = band.page({*band.recording, band.measurement, found.versions, found.taken, ""});
    CHECK(html.find("Turning it over helps.") != std::string::npos);
    CHECK(html.find("dark &lt;i&gt;\uFFFD") != std::string::npos);
    CHECK(html.find("<i>") == std::string::npos);
    CHECK(html.find("lat\xC3\xA9") != std::string::npos);
}

TEST_CASE("a setting that is as proposed is told as that, and another one as set by hand") {
    Hall band;
    auto contents = band.contents();
    const auto proposed = contents.versions[0];
    ReportVersion file{"from a file", proposed.setting, "", "", {}};
    REQUIRE(explain(file, proposed, band.measurement.tracks));
    CHECK_FALSE(explain(file, contents.versions[1], band.measurement.tracks));
    CHECK(file.bound == proposed.bound);
    CHECK(file.changes.size() == proposed.changes.size());
    auto html = band.page({*band.recording, band.measurement, {file}, 0, ""});
    CHECK(html.find("As proposed (\u201cflips\u201d). Turning ") != std::string::npos);
    CHECK(html.find("Set by hand") == std::string::npos);
    auto other = ReportVersion{"by hand", proposed.setting, "", "", {}};
    other.setting.tracks[0].adjustment.nudge = milliseconds(0.1);
    CHECK_FALSE(explain(other, proposed, band.measurement.tracks));
    CHECK(band.page({*band.recording, band.measurement, {other}, 0, ""}).find("Set by hand") != std::string::npos);
}

TEST_CASE("a report appears whole or not at all, and never in the place of a track") {
    Hall band;
    const auto contents = band.contents();
    const auto page = band.place / "report.html", sheet = band.place / "recall.csv";
    REQUIRE(saveReport(contents, {page, sheet}, band.workers, {}));
    CHECK((contentOf(page) == band.page(contents)));
    CHECK((contentOf(sheet) == *recallAsCsv(contents)));

    const auto track = contentOf(band.folder / "04 elsewhere.wav");
    const auto refused = [&](const std::filesystem::path& to, const std::optional<std::filesystem::path>& recall,
                             bool replace = true) {
        const auto outcome = saveReport(contents, {to, recall, replace}, band.workers, {});
        REQUIRE_FALSE(outcome);
        return outcome.fault().line();
    };
    const std::string inRecording = "lies in the recording, which is never written to";
    CHECK(refused(band.folder / "04 elsewhere.wav", {}).find(inRecording) != std::string::npos);
    CHECK(refused(page, band.folder / "." / "04 elsewhere.wav").find(inRecording) != std::string::npos);
    CHECK(refused(band.folder / "new.html", {}).find(inRecording) != std::string::npos);
    std::filesystem::create_symlink(band.folder / "04 elsewhere.wav", band.place / "link");
    CHECK(refused(band.place / "link", {}).find(inRecording) != std::string::npos);
    std::filesystem::remove(band.place / "link");
    std::filesystem::create_hard_link(band.folder / "04 elsewhere.wav", band.place / "twin");
    CHECK(refused(band.place / "twin", {}).find("is a file of the recording") != std::string::npos);
    std::filesystem::remove(band.place / "twin");
    // What is there stays, unless it is said that it may go.
    const std::string there = ": is there already; choose another name, or allow it to be replaced";
    CHECK(refused(page, {}, false) == page.string() + there);
    CHECK(refused(band.place / "new.html", sheet, false) == sheet.string() + there);
    CHECK((contentOf(band.folder / "04 elsewhere.wav") == track));
    CHECK(refused(band.place.path(), {}) == band.place.path().string() + ": is a folder; name a file in it");
    CHECK(refused(band.place / "absent" / "r.html", {}).find("cannot be written: no such file or directory") !=
          std::string::npos);
    CHECK(refused(page, band.place / "." / "report.html").find("give them two names") != std::string::npos);
    if (std::filesystem::is_character_file("/dev/full"))
        CHECK(refused("/dev/full", {}).find("no space left on device") != std::string::npos);
#ifndef _WIN32
    // A limit on the size of files stands for the full disk: the old report stays.
    const auto before = contentOf(page);
    rlimit usual{};
    getrlimit(RLIMIT_FSIZE, &usual);
    const rlimit small{10000, usual.rlim_max};
    const auto handler = std::signal(SIGXFSZ, SIG_IGN);
    setrlimit(RLIMIT_FSIZE, &small);
    const auto full = saveReport(contents, {page, {}, true}, band.workers, {});
    std::ofstream(sheet) << "old";
    const auto fullWithSheet = saveReport(contents, {page, sheet, true}, band.workers, {});
    setrlimit(RLIMIT_FSIZE, &usual);
    std::signal(SIGXFSZ, handler);
    CHECK_FALSE(fullWithSheet);
    CHECK(contentOf(sheet) == "old"); // though there was room for it
    REQUIRE_FALSE(full);
    CHECK(full.fault().line() ==
          page.string() + ": cannot be written: file too large; free some space or choose another folder");
    CHECK((contentOf(page) == before));
#endif
    CHECK(std::distance(std::filesystem::directory_iterator(band.place.path()), {}) == 2);

    // A stop leaves nothing behind.
    std::stop_source stop;
    const auto other = band.place / "other.html";
    const auto stopped = saveReport(contents, {other}, band.workers,
                                    {[&](double fraction) {
                                         if (fraction > 0.3) stop.request_stop();
                                     },
                                     stop.get_token()});
    REQUIRE_FALSE(stopped);
    CHECK(stopped.fault().kind == Fault::Kind::cancelled);
    CHECK_FALSE(std::filesystem::exists(other));

    // A track that the recording has not is named.
    auto wrong = contents;
    wrong.versions[0].setting.tracks.push_back({"nobody", {}});
    const auto named = saveReport(wrong, {other}, band.workers, {});
    REQUIRE_FALSE(named);
    CHECK(named.fault().line().find("nobody: no track bears this name") == 0);
}
