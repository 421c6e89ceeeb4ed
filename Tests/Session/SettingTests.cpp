#include "Session/Setting.h"
#include "Session/TextFile.h"

#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include <filesystem>
#include <fstream>

#ifndef _WIN32
#include <csignal>
#include <sys/resource.h>
#endif

using namespace spillwright;
using spillwright::test::TemporaryFolder;

namespace {

std::vector<TrackInfo> tracksNamed(std::initializer_list<const char*> names) {
    std::vector<TrackInfo> tracks;
    for (const char* name : names) {
        tracks.emplace_back();
        tracks.back().name = name;
    }
    return tracks;
}

std::string contentOf(const std::filesystem::path& path) {
    std::ifstream file(path);
    std::string content;
    std::getline(file, content);
    return content;
}

std::string settingWith(const std::string& track) {
    return R"({"format":"spillwright/setting","version":1,"name":"n","tracks":[)" + track + "]}";
}

} // namespace

TEST_CASE("what is heard is not muted, and soloed where anything is") {
    std::vector<TrackAdjustment> setting(3);
    setting[1].muted = true;
    const auto heard = [&](const std::vector<bool>& solo) {
        std::vector<bool> result;
        for (const auto& one : withSolo(setting, solo))
            result.push_back(!one.muted);
        return result;
    };
    CHECK(heard({}) == std::vector<bool>{true, false, true});
    CHECK(heard({false, false, false}) == std::vector<bool>{true, false, true});
    CHECK(heard({false, true, true}) == std::vector<bool>{false, false, true});
    CHECK(heard({true}) == std::vector<bool>{true, false, false}); // of those not told none is soloed
    CHECK_FALSE(isHeard(setting[1], {}, 1));
}

TEST_CASE("a setting survives the way to JSON and back") {
    auto tracks = tracksNamed({"kick in", "Übung \"laut\"", "room"});
    std::vector<TrackAdjustment> adjustments(3);
    adjustments[0] = {true, milliseconds(-2.914), Decibels(-3.5), Hertz(80.0), -0.25, false, Slope::dB24};
    adjustments[1] = {false, milliseconds(1.0 / 3.0), Decibels(0.0), std::nullopt, 1.0, true, Slope::dB12};
    const auto setting = settingFrom("mine", tracks, adjustments);
    const auto back = settingFromJson(settingToJson(setting).dump(), "x");
    REQUIRE(back.ok());
    CHECK(back->name == "mine");
    const auto applied = adjustmentsFor(*back, tracks);
    REQUIRE(applied.ok());
    for (std::size_t i = 0; i < 3; ++i) {
        CHECK((*applied)[i].flip == adjustments[i].flip);
        CHECK(inMilliseconds((*applied)[i].nudge) == Approx(inMilliseconds(adjustments[i].nudge)).margin(1e-12));
        CHECK((*applied)[i].gain == adjustments[i].gain);
        CHECK((*applied)[i].highPass == adjustments[i].highPass);
        CHECK((*applied)[i].highPassSlope == adjustments[i].highPassSlope);
        CHECK((*applied)[i].muted == adjustments[i].muted);
        CHECK((*applied)[i].pan == adjustments[i].pan.value_or(0.0));
    }
}

TEST_CASE(
    "the slope of a high-pass is written only where it is not 12 dB an octave, and is 12 where it is not written") {
    for (const auto slope : slopes) {
        TrackAdjustment adjustment;
        adjustment.highPass = Hertz(100.0);
        adjustment.highPassSlope = slope;
        const auto json = settingToJson({"s", {{"a", adjustment}}});
        CHECK(json["tracks"][0].contains("highPassSlope_dBPerOctave") == (slope != Slope::dB12));
        const auto back = settingFromJson(json.dump(), "x");
        REQUIRE(back.ok());
        CHECK(back->tracks[0].adjustment == adjustment);
    }
}

TEST_CASE("a saved setting says where a linked pair stands") {
    auto tracks = tracksNamed({"overhead L", "overhead R"});
    tracks[0].linkedTo = 1;
    tracks[1].linkedTo = 0;
    tracks[1].isRight = true;
    const auto setting = settingFrom("s", tracks, std::vector<TrackAdjustment>(2));
    CHECK(setting.tracks[0].adjustment.pan == -1.0);
    CHECK(setting.tracks[1].adjustment.pan == 1.0);
}

TEST_CASE("a nudge is the same however often its setting is saved") {
    for (double ms : {-4.5, 0.1, 1.0 / 3.0, 999.9999, 1e-7}) {
        Setting setting{"s", {{"a", {}}}};
        setting.tracks[0].adjustment.nudge = milliseconds(ms);
        const auto first = settingToJson(setting);
        CHECK(settingToJson(*settingFromJson(first.dump(), "once")) == first);
        CHECK(first["tracks"][0]["nudge_ms"].get<double>() == Approx(ms).margin(1e-9)); // a picosecond
    }
}

TEST_CASE("text that is nested beyond any file of ours is refused before it is walked through") {
    constexpr auto begin = R"({"format":"spillwright/setting","version":1,"tracks":[],"a \" [":)";
    const auto nested = [&](std::size_t levels) {
        return begin + std::string(levels, '[') + std::string(levels, ']') + "}";
    };
    CHECK(settingFromJson(nested(63), "f"));
    for (const std::size_t levels : {64u, 1000000u})
        CHECK(settingFromJson(nested(levels), "f").fault().line() ==
              "f: this JSON is nested too deep; give a setting file as propose --save writes it");
    CHECK(settingFromJson(begin + ("\"" + std::string(100, '[') + "\"}"), "f")); // a text is no list
}

TEST_CASE("a track that a setting does not name keeps flip false, nudge 0 and gain 0") {
    const auto tracks = tracksNamed({"a", "b"});
    const auto setting = settingFromJson(settingWith(R"({"track":"b","flip":true})"), "x");
    REQUIRE(setting.ok());
    const auto adjustments = adjustmentsFor(*setting, tracks);
    REQUIRE(adjustments.ok());
    CHECK((*adjustments)[0] == TrackAdjustment{});
    CHECK((*adjustments)[1].flip);
}

TEST_CASE("a name that no track bears is a fault that lists the near ones") {
    const auto tracks = tracksNamed({"snare top", "snare bottom", "kick", "room"});
    const auto fault = findTrack("Snare tap", tracks).fault();
    CHECK(fault.kind == Fault::Kind::input);
    CHECK(fault.mend.find("near ones: 'snare top'") == 0);
}

TEST_CASE("what is no setting is refused in one line that names the place") {
    const std::pair<std::string, std::string> cases[] = {
        {"", "not JSON"},
        {"{", "not JSON"},
        {"[1]", "\"format\" is not"},
        {R"({"format":"other","version":1,"tracks":[]})", "\"format\" is not"},
        {R"({"format":"spillwright/setting","tracks":[]})", "\"version\" is missing"},
        {R"({"format":"spillwright/setting","version":2,"tracks":[]})", "newer version"},
        {R"({"format":"spillwright/setting","version":4294967297,"tracks":[]})", "newer version"},
        {R"({"format":"spillwright/setting","version":-3,"tracks":[]})", "no such \"version\""},
        {R"({"format":"spillwright/setting","version":1})", "\"tracks\" is not a list"},
        {settingWith("7"), "track 1: is not an object"},
        {settingWith("{}"), "track 1: \"track\" is missing"},
        {settingWith(R"({"track":"a","flip":1})"), "track 1: \"flip\" is neither true nor false"},
        {settingWith(R"({"track":"a","nudge_ms":"2"})"), "track 1: \"nudge_ms\" is not a number"},
        {settingWith(R"({"track":"a","highPass_Hz":80,"highPassSlope_dBPerOctave":6})"),
         "track 1: \"highPassSlope_dBPerOctave\" is none of 12, 18, 24"},
        {settingWith(R"({"track":"a","highPass_Hz":80,"highPassSlope_dBPerOctave":"24"})"),
         "track 1: \"highPassSlope_dBPerOctave\" is not a number"},
        {settingWith(R"({"track":"a","nudge_ms":5000})"), "track 1: \"nudge_ms\" is outside -1000 to 1000"},
        {settingWith(R"({"track":"a","pan":1.5})"), "track 1: \"pan\" is outside -1 to 1"},
        {settingWith(R"({"track":"a"},{"track":"a"})"), "track \"a\" is there twice"},
    };
    for (const auto& [text, words] : cases) {
        const auto setting = settingFromJson(text, "file.json");
        REQUIRE_FALSE(setting.ok());
        INFO(setting.fault().line());
        CHECK(setting.fault().line().find("file.json: ") == 0);
        CHECK(setting.fault().line().find(words) != std::string::npos);
        CHECK(setting.fault().line().find('\n') == std::string::npos);
    }
}

TEST_CASE("a text file appears whole or not at all") {
    const TemporaryFolder folder;
    const auto path = folder / "a.json";
    REQUIRE(writeTextFile(path, "one").ok());
    REQUIRE(writeTextFile(path, "two").ok());
    CHECK(contentOf(path) == "two");
    CHECK(std::distance(std::filesystem::directory_iterator(folder.path()), {}) == 1);
    CHECK(writeTextFile(folder / "absent/a.json", "x").fault().what == "cannot be written: no such file or directory");
    // A link is followed, not replaced.
    std::filesystem::create_symlink(path, folder / "link.json");
    REQUIRE(writeTextFile(folder / "link.json", "three").ok());
    CHECK(std::filesystem::is_symlink(folder / "link.json"));
    CHECK(contentOf(path) == "three");
    // A full disk: what the kernel offers as one. A device stays a device.
    if (std::filesystem::is_character_file("/dev/full")) {
        const auto full = writeTextFile("/dev/full", std::string(100000, 'x'));
        REQUIRE_FALSE(full.ok());
        CHECK(full.fault().line().find("no space left") != std::string::npos);
        CHECK(std::filesystem::is_character_file("/dev/full"));
    }
#ifndef _WIN32
    // No room half-way: nothing of the file is left, and what was there before stays.
    std::signal(SIGXFSZ, SIG_IGN);
    rlimit before{};
    REQUIRE(getrlimit(RLIMIT_FSIZE, &before) == 0);
    const rlimit small{1000, before.rlim_max};
    REQUIRE(setrlimit(RLIMIT_FSIZE, &small) == 0);
    const auto cut = writeTextFile(path, std::string(100000, 'x'));
    REQUIRE(setrlimit(RLIMIT_FSIZE, &before) == 0);
    REQUIRE_FALSE(cut.ok());
    CHECK(cut.fault().what == "cannot be written: file too large");
    CHECK(contentOf(path) == "three");
    CHECK(std::distance(std::filesystem::directory_iterator(folder.path()), {}) == 2);
#endif
}
