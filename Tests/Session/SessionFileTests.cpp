#include "Session/SessionFile.h"

#include "Session/Document.h"
#include "Session/TextFile.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

#include <fstream>

using namespace spillwright;
using namespace spillwright::test;
using nlohmann::json;

namespace {

TrackSetting track(std::string name, bool flip, double nudgeMs, double gainDb = 0.0) {
    TrackSetting made{std::move(name), {}};
    made.adjustment.flip = flip;
    made.adjustment.nudge = milliseconds(nudgeMs);
    made.adjustment.gain = Decibels(gainDb);
    return made;
}

/// A session in which nothing has its usual value.
Session fullSession() {
    Session session;
    session.folderRelative = "../net loft";
    session.folderAbsolute = "/music/net loft";
    session.files = {{"01 kick.wav", 123456789012}, {"02 snare.wav", 44}};
    session.heard = {"net loft", {track("kick", true, 0.3, -4.0), track("snare", false, -1.25)}};
    session.heard.tracks[0].adjustment.pan = -0.4;
    session.heard.tracks[0].adjustment.muted = true;
    session.heard.tracks[1].adjustment.highPass = Hertz(80.0);
    session.heard.tracks[1].adjustment.highPassSlope = Slope::dB24;
    session.held = {"snare"};
    session.linked = false;
    session.heardVersion = "kept6";
    session.home = Setting{"net loft", {track("kick", false, 0.0, 2.0), track("snare", false, 0.0)}};
    session.terms = {true, Aim::worst, {{"kick", 2, milliseconds(0.7)}, {"snare", 2, std::nullopt}}};
    SessionVersion proposal;
    proposal.name = "nudgesTo1ms";
    proposal.setting = {"net loft", {track("kick", true, 0.1), track("snare", false, 0.0)}};
    proposal.gainDb = 1.0 / 3.0;
    proposal.gapDb = 0.02;
    proposal.cutShort = true;
    proposal.words = "It brings 0.3 dB.";
    proposal.why = {{"kick", Proposal::Change::Kind::flipAndNudge, 2.5}};
    proposal.terms = {false, Aim::mean, {{"kick", 0, std::nullopt}}};
    proposal.readFrom = ReadSpan{Seconds(5.0), Seconds(15.5)};
    proposal.source = "drums";
    proposal.onMine = true;
    proposal.lowsDb = -1.25;
    SessionVersion kept;
    kept.name = "kept6";
    kept.shown = "dark <b>";
    kept.setting = session.heard;
    session.versions = {proposal, kept};
    session.measuredBand = Band{Hertz(100.0), Hertz(1000.0)};
    session.proposedBalance = Setting{"net loft", {track("kick", false, 0.0, -6.0)}};
    session.loop = Moments{Seconds(1.0 / 3.0), Seconds(12.0)};
    session.readsLoop = true;
    session.sides = 2;
    session.band = lowMidBand;
    session.matchesLoudness = false;
    session.sources = SourceList{{{"drums", {"kick", "snare"}}}};
    session.selected = "kick";
    session.partner = "snare";
    session.focus = "drums";
    session.together = {"kick", "snare"};
    session.list = {{"snare", "the snare", 2, "drums"},
                    {"kick", std::nullopt, 0, "drums"},
                    {"room", std::nullopt, 6, std::nullopt}};
    session.folded = {"drums"};
    session.unsavedOf = "/music/net loft.spillwright";
    return session;
}

std::string text(const Session& session) {
    return documentText(sessionToJson(session));
}

json document(const Session& session) {
    return json::parse(text(session));
}

std::string faultOf(const json& changed) {
    const auto read = sessionFromJson(changed.dump(), "S");
    REQUIRE_FALSE(read);
    CHECK(read.fault().line().find('\n') == std::string::npos);
    return read.fault().line();
}

} // namespace

TEST_CASE("a session comes back from its file as it was") {
    const auto session = fullSession();
    const auto back = sessionFromJson(text(session), "S");
    REQUIRE(back);
    CHECK(*back == session);
    CHECK(text(*back) == text(session));
    const auto plain = sessionFromJson(text(Session()), "S");
    REQUIRE(plain);
    CHECK(*plain == Session());
}

TEST_CASE("what others wrote into a session is written again, at every level") {
    auto changed = document(fullSession());
    const json::json_pointer places[] = {
        json::json_pointer(""),
        json::json_pointer("/recording"),
        json::json_pointer("/recording/files/1"),
        json::json_pointer("/setting"),
        json::json_pointer("/setting/tracks/1"),
        json::json_pointer("/home/tracks/0"),
        json::json_pointer("/versions/0"),
        json::json_pointer("/versions/0/why/0"),
        json::json_pointer("/versions/0/terms/tracks/0"),
        json::json_pointer("/versions/1/setting/tracks/0"),
        json::json_pointer("/terms"),
        json::json_pointer("/listening"),
        json::json_pointer("/sources"),
        json::json_pointer("/sources/sources/0"),
        json::json_pointer("/selection"),
    };
    for (const auto& place : places)
        changed[place]["by another program"] = {{"at", place.to_string()}, {"list", {1, 2.5, nullptr}}};
    auto read = sessionFromJson(changed.dump(), "S");
    REQUIRE(read);
    CHECK(document(*read) == changed);

    // They stay with what they belong to, in whatever order it then stands.
    std::reverse(read->heard.tracks.begin(), read->heard.tracks.end());
    read->versions.erase(read->versions.begin());
    read->home.reset();
    const auto written = document(*read);
    CHECK(written["setting"]["tracks"][0]["by another program"]["at"] == "/setting/tracks/1");
    CHECK_FALSE(written["setting"]["tracks"][1].contains("by another program"));
    CHECK(written["versions"][0]["setting"]["tracks"][0].contains("by another program"));
    CHECK(written["home"].is_null());
}

TEST_CASE("what is ours is never taken for another's: a slope that is left does not come back") {
    auto session = fullSession();
    auto read = sessionFromJson(text(session), "S");
    REQUIRE(read);
    read->heard.tracks[1].adjustment.highPassSlope = Slope::dB12;
    read->unsavedOf.reset();
    const auto again = sessionFromJson(text(*read), "S");
    REQUIRE(again);
    CHECK(again->heard.tracks[1].adjustment.highPassSlope == Slope::dB12);
    CHECK_FALSE(again->unsavedOf);
}

TEST_CASE("a session of a newer version is refused with what to do") {
    auto changed = document(fullSession());
    changed["version"] = 2;
    CHECK(faultOf(changed) == "S: this session was written by a newer version; update this program");
}

TEST_CASE("what is wrong with a session is one line that says where") {
    const auto broken = sessionFromJson("{ \"format\": \"spillwright/session\", ", "S");
    REQUIRE_FALSE(broken);
    CHECK(broken.fault().line() == "S: this is not JSON; give a session as the window saves it");
    const auto with = [](const char* place, json value) {
        auto changed = document(fullSession());
        changed[json::json_pointer(place)] = std::move(value);
        return faultOf(changed);
    };
    const auto holds = [](const char* words) { return Catch::Contains(words); };
    CHECK_THAT(with("/format", "spillwright/setting"), holds("\"format\" is not \"spillwright/session\""));
    CHECK_THAT(with("/setting", nullptr), holds("\"setting\" is missing"));
    CHECK_THAT(with("/setting/tracks/1/nudge_ms", 5000), holds("track 2: \"nudge_ms\" is outside -1000 to 1000"));
    CHECK_THAT(with("/versions/1/setting/tracks/0/flip", "yes"),
               holds("versions 2: \"setting\": track 1: \"flip\" is neither true nor false"));
    CHECK_THAT(with("/versions/0/why/0/change", "turn"), holds("versions 1: why 1: \"change\" has no such word"));
    CHECK_THAT(with("/versions/0/setting", nullptr), holds("versions 1: \"setting\" is missing"));
    CHECK_THAT(with("/versions", 3), holds("\"versions\" is not a list"));
    CHECK_THAT(with("/versions/0", 3), holds("versions 1: is not an object"));
    CHECK_THAT(with("/loop_s", {5.0, 2.0}), holds("\"loop_s\" does not end after it begins"));
    CHECK_THAT(with("/loop_s", {5.0}), holds("\"loop_s\" is not a list of two numbers"));
    CHECK_THAT(with("/listening/sides", "back"), holds("listening: \"sides\" has no such word as \"back\""));
    CHECK_THAT(with("/terms/tracks/0/group", 1000), holds("terms: tracks 1: \"group\" is outside 0 to 99"));
    CHECK_THAT(with("/holds", {1}), holds("\"holds\" holds what is no text"));
    CHECK_THAT(with("/sources/sources/0/name", ""), holds("source 1: \"name\" is missing"));
    CHECK_THAT(with("/recording", 1), holds("\"recording\" is not an object"));
    CHECK_THAT(readSessionFile("/nowhere/at all.spillwright").fault().line(), holds("this session cannot be read"));
}

TEST_CASE("a recording is found beside the session file first, then where it was, by its files") {
    TemporaryFolder top;
    const auto write = [&](const std::string& folder, const std::string& name, std::size_t bytes) {
        std::filesystem::create_directories(top / folder);
        std::ofstream(top / (folder + "/" + name)) << std::string(bytes, 'x');
    };
    write("was/band", "a.wav", 10);
    write("was/band", "b.wav", 20);
    Session session;
    session.files = {{"a.wav", 10}, {"b.wav", 20}};
    placeSession(session, top / "was/band", top / "was/s.spillwright");
    CHECK(session.folderRelative == "band");
    CHECK(findRecording(session, top / "was/s.spillwright") == top / "was/band");
    // Both were copied elsewhere: the copy beside the file is meant, though the first is still there.
    std::filesystem::copy(top / "was", top / "now", std::filesystem::copy_options::recursive);
    CHECK(findRecording(session, top / "now/s.spillwright") == top / "now/band");
    // The file alone was moved; or what lies beside it is another recording.
    write("else", "s.spillwright", 1);
    CHECK(findRecording(session, top / "else/s.spillwright") == top / "was/band");
    write("else/band", "c.wav", 10);
    CHECK(findRecording(session, top / "else/s.spillwright") == top / "was/band");
    std::filesystem::remove_all(top / "was");
    CHECK_FALSE(findRecording(session, top / "else/s.spillwright"));

    write("now/band", "b.wav", 21);
    std::filesystem::remove(top / "now/band/a.wav");
    const auto found = filesFound(session, top / "now/band");
    CHECK(found.any);
    CHECK(found.missing == std::vector<std::string>{"a.wav"});
    CHECK(found.changed == std::vector<std::string>{"b.wav"});
}

TEST_CASE("a version is called as the user says, else by its key") {
    SessionVersion version;
    version.name = "kept6";
    CHECK(shownName(version) == "kept under 6");
    version.shown = "dark";
    CHECK(shownName(version) == "dark");
    version = {};
    version.name = "of another program";
    CHECK(shownName(version) == "of another program");
}
