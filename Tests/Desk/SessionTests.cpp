#include "DeskFixture.h"

#include "Desk/Words.h"

#include "Session/Document.h"
#include "Session/SessionFile.h"
#include "Session/TextFile.h"
#include "Support/SpillingBand.h"

#include <nlohmann/json.hpp>

#include <fstream>

using namespace spillwright;
using namespace spillwright::desk;
using namespace spillwright::test;

namespace {

/// Somebody's work on the small band: nearly everything that a session holds is there.
void work(Controller& controller) {
    controller.setLoop(Seconds(5.0), Seconds(20.0));
    Terms terms = controller.terms();
    terms.group = {0, 2, 2, 0};
    terms.largest[2] = milliseconds(0.7);
    controller.setTerms(terms);
    controller.setGain(0, Decibels(-3.0));
    controller.propose();
    REQUIRE(waitUntilIdle(controller));
    controller.flip(1);
    controller.setNudge(2, milliseconds(-0.25));
    controller.keep(VersionKind::keptSecond);
    controller.renameKept(VersionKind::keptSecond, "dark");
    controller.hear(VersionKind::flips);
    controller.setHighPass(2, Hertz(90.0), Slope::dB18);
    controller.hear(VersionKind::keptSecond);
    controller.toggleHold(3);
    controller.toggleLinks();
    controller.setListening({Listening::Sides::mono, lowMidBand});
    controller.setMatching(false);
    controller.toggleTogether(1);
    controller.toggleTogether(2);
    controller.toggleTogether(3);
    controller.selectPair(2, 3);
}

KnownPlaces openedBefore(const MeasuredBand& band) {
    return {{band.folder.path()}, false};
}

/// Nudges are written in milliseconds with nine decimals.
void checkSameSetting(std::vector<TrackAdjustment> is, const std::vector<TrackAdjustment>& was) {
    REQUIRE(is.size() == was.size());
    for (std::size_t track = 0; track < is.size(); ++track) {
        CHECK(is[track].nudge.value == Approx(was[track].nudge.value).margin(1e-12).epsilon(0.0));
        is[track].nudge = was[track].nudge;
    }
    CHECK(is == was);
}

void checkSame(const Controller& is, const Controller& was) {
    checkSameSetting(is.adjustments(), was.adjustments());
    CHECK(is.heardVersion() == was.heardVersion());
    CHECK(is.linked() == was.linked());
    CHECK(is.terms() == was.terms());
    CHECK(words::versionName(is, VersionKind::keptSecond) == words::versionName(was, VersionKind::keptSecond));
    CHECK(is.loopMoments() == was.loopMoments());
    CHECK(is.listening() == was.listening());
    CHECK(is.matchesLoudness() == was.matchesLoudness());
    CHECK(is.selectedTrack() == was.selectedTrack());
    CHECK(is.partnerTrack() == was.partnerTrack());
    CHECK(is.together() == was.together());
    CHECK(*is.gainNowDb() == Approx(*was.gainNowDb()).margin(1e-9));
    for (int track = 0; track < was.trackCount(); ++track)
        CHECK(is.held(track) == was.held(track));
    for (int k = 0; k < versionCount; ++k) {
        const auto kind = static_cast<VersionKind>(k);
        INFO(k);
        REQUIRE(is.version(kind).has_value() == was.version(kind).has_value());
        if (!was.version(kind)) continue;
        const auto &a = *is.version(kind), &b = *was.version(kind);
        checkSameSetting(*is.settingOf(kind), *was.settingOf(kind));
        CHECK(a.gainDb == Approx(b.gainDb).margin(1e-9));
        CHECK(a.gapDb == b.gapDb);
        CHECK(a.boundHolds == b.boundHolds);
        CHECK(a.words == b.words);
        CHECK(a.terms == b.terms);
        REQUIRE(a.why.size() == b.why.size());
        for (std::size_t n = 0; n < a.why.size(); ++n) {
            CHECK(a.why[n].track == b.why[n].track);
            CHECK(a.why[n].kind == b.why[n].kind);
            CHECK(a.why[n].effectDb == b.why[n].effectDb);
        }
    }
}

} // namespace

TEST_CASE("what was done comes back from the session file, heard and readings included") {
    TemporaryFolder top;
    std::filesystem::create_directories(top / "band");
    writeSmallBand(top / "band");
    Controller was(2);
    was.openFolder(top / "band");
    REQUIRE(waitUntilIdle(was));
    CHECK_FALSE(was.sessionChanged());
    work(was);
    CHECK(was.sessionChanged());
    CHECK(was.sessionPath().empty());
    REQUIRE(was.saveSession(top / "band"));
    CHECK(was.sessionPath() == top / "band.spillwright");
    CHECK_FALSE(was.sessionChanged());
    was.selectTrack(0);
    CHECK_FALSE(was.sessionChanged()); // which track is looked at is no work
    was.leaveTogether();
    CHECK_FALSE(was.sessionChanged());
    REQUIRE(was.saveSession(top / "band"));
    was.toggleTogether(2);
    was.toggleTogether(3);
    was.selectPair(2, 3);
    REQUIRE(was.saveSession(top / "band"));

    Controller is(2);
    is.openSession(top / "band.spillwright");
    REQUIRE(waitUntilIdle(is));
    INFO((is.notice() ? is.notice()->text : ""));
    REQUIRE(is.measurement());
    CHECK(is.sessionPath() == top / "band.spillwright");
    CHECK_FALSE(is.sessionChanged());
    CHECK_FALSE(is.canUndo());
    checkSame(is, was);
    CHECK(is.version(VersionKind::flips)->boundHolds == was.version(VersionKind::flips)->boundHolds);

    // The home of what is kept came along: the others have their balance.
    is.hear(VersionKind::asRecorded);
    was.hear(VersionKind::asRecorded);
    checkSameSetting(is.adjustments(), was.adjustments());
    CHECK(is.adjustments()[2].highPassSlope == Slope::dB18);
    CHECK(is.sessionChanged());
    is.undo();
    CHECK_FALSE(is.sessionChanged());
}

TEST_CASE("a bound that held when the session was saved holds when it is opened, and others do not") {
    MeasuredBand band;
    band.controller.setGain(0, Decibels(-3.5));
    band.controller.propose();
    REQUIRE(waitUntilIdle(band.controller));
    TemporaryFolder top;
    REQUIRE(band.controller.saveSession(top / "s"));
    Controller other(2);
    other.openSession(top / "s.spillwright", std::nullopt, openedBefore(band));
    REQUIRE(waitUntilIdle(other));
    REQUIRE(other.version(VersionKind::nudgesTo1ms));
    CHECK(other.version(VersionKind::nudgesTo1ms)->boundHolds);
    other.setGain(0, Decibels(0.0));
    CHECK_FALSE(other.version(VersionKind::nudgesTo1ms)->boundHolds);

    // Read in another band they would be other proposals.
    Controller third(2);
    third.setMeasureOptions({Hertz(100.0), Hertz(1000.0)}, third.measureOptions().temperature);
    third.openSession(top / "s.spillwright", std::nullopt, openedBefore(band));
    REQUIRE(waitUntilIdle(third));
    CHECK_FALSE(third.version(VersionKind::nudgesTo1ms));
    REQUIRE(third.notice());
    CHECK_THAT(third.notice()->text, Catch::Contains("proposals are of another band"));
    CHECK(third.adjustments()[0].gain.value == -3.5);
}

TEST_CASE("what the user says of the sources is part of the session, before what the folder's own file says") {
    MeasuredBand band;
    auto& controller = band.controller;
    REQUIRE(waitFor(controller, [&] { return !controller.hearingSources(); }));
    REQUIRE(controller.sourceCount() > 0);
    controller.renameSource(0, "trombone");
    REQUIRE(waitFor(controller, [&] { return !controller.hearingSources(); }));
    CHECK(controller.sessionChanged());
    TemporaryFolder top;
    REQUIRE(controller.saveSession(top / "s"));
    Controller other(2);
    other.openSession(top / "s.spillwright", std::nullopt, openedBefore(band));
    REQUIRE(waitUntilIdle(other));
    REQUIRE(waitFor(other, [&] { return !other.hearingSources(); }));
    REQUIRE(other.sourceCount() == controller.sourceCount());
    CHECK(other.sourceName(0) == "trombone");
    CHECK_FALSE(other.sessionChanged());
}

TEST_CASE("the source that is read alone is read alone again when its session is opened") {
    MeasuredBand band(spillingBand::write);
    auto& controller = band.controller;
    const auto heard = [](Controller& each) {
        return waitFor(each, [&] { return each.withSources() && !each.hearingSources(); });
    };
    REQUIRE(heard(controller));
    REQUIRE(controller.sourceCount() > 1);
    controller.setFocus(1);
    CHECK(controller.session().focus == controller.sourceName(1)); // while it is on its way too
    REQUIRE(waitFor(controller, [&] { return controller.focused().has_value(); }));
    TemporaryFolder top;
    REQUIRE(controller.saveSession(top / "s"));
    CHECK_FALSE(controller.sessionChanged());

    Controller other(2);
    other.openSession(top / "s.spillwright", std::nullopt, openedBefore(band));
    REQUIRE(waitUntilIdle(other));
    CHECK_FALSE(other.sessionChanged()); // before the sources are heard
    REQUIRE(waitFor(other, [&] { return other.focused().has_value(); }));
    CHECK(other.focused() == 1);
    CHECK_FALSE(other.sessionChanged());
    other.setFocus(std::nullopt);
    CHECK(other.sessionChanged());
}

TEST_CASE(
    "tracks that are missing or new are told in a line, the rest is taken, and what was missing is not forgotten") {
    TemporaryFolder top;
    std::filesystem::create_directories(top / "band");
    writeSmallBand(top / "band");
    {
        Controller was(2);
        was.openFolder(top / "band");
        REQUIRE(waitUntilIdle(was));
        was.flip(1);
        was.setGain(3, Decibels(-7.0));
        was.toggleHold(3);
        REQUIRE(was.saveSession(top / "s"));
    }
    std::filesystem::rename(top / "band/4 overdub.wav", top / "overdub.wav");
    writeWav(top / "band/5 tambourine.wav", noise(48000 * 30, 5));
    writeWav(top / "band/3 room.wav", noise(48000 * 31, 5));
    Controller is(2);
    is.openSession(top / "s.spillwright");
    REQUIRE(waitFor(is, [&] { return is.recording() != nullptr; }));
    const auto told = is.notice() ? is.notice()->text : "";
    CHECK(told == "The recording has changed since it was saved: missing 'overdub'; new 'tambourine'; of another size "
                  "'3 room.wav'.");
    REQUIRE(waitUntilIdle(is));
    REQUIRE(is.notice());
    CHECK_THAT(is.notice()->text, Catch::Contains("missing 'overdub'")); // the remarks come after it
    CHECK(is.adjustments()[1].flip);
    CHECK(is.adjustments()[3] == TrackAdjustment{});
    CHECK_FALSE(is.held(3));
    is.flip(3);
    REQUIRE(is.saveSession(is.sessionPath()));

    std::filesystem::rename(top / "overdub.wav", top / "band/4 overdub.wav");
    is.openSession(top / "s.spillwright");
    REQUIRE(waitUntilIdle(is));
    CHECK(is.trackCount() == 5);
    CHECK(is.adjustments()[3].gain.value == -7.0);
    CHECK(is.held(3));
    CHECK(is.adjustments()[4].flip);
}

TEST_CASE("where the recording is not found the folder is asked for once, and remembered") {
    TemporaryFolder top;
    std::filesystem::create_directories(top / "band");
    writeSmallBand(top / "band");
    Controller controller(2);
    controller.openFolder(top / "band");
    REQUIRE(waitUntilIdle(controller));
    controller.flip(1);
    REQUIRE(controller.saveSession(top / "s"));
    std::filesystem::create_directories(top / "shelf");
    std::filesystem::rename(top / "band", top / "shelf/the band");

    Controller other(2);
    other.openSession(top / "s.spillwright");
    REQUIRE(waitUntilIdle(other));
    CHECK_FALSE(other.recording());
    CHECK(other.recordingWantedFor() == top / "s.spillwright");
    REQUIRE(other.notice());
    CHECK_THAT(other.notice()->text, Catch::Contains("choose the folder where it is now"));
    other.openSession(top / "s.spillwright", top / "shelf");
    REQUIRE(waitUntilIdle(other));
    CHECK_FALSE(other.recording());
    CHECK_THAT(other.notice()->text, Catch::Contains("choose the folder that holds '1 close.wav'"));
    other.openSession(top / "s.spillwright", top / "shelf/the band");
    REQUIRE(waitUntilIdle(other));
    REQUIRE(other.recording());
    CHECK(other.adjustments()[1].flip);
    CHECK(other.recordingWantedFor().empty());

    Controller third(2);
    third.openSession(top / "s.spillwright");
    REQUIRE(waitUntilIdle(third));
    REQUIRE(third.recording());
    CHECK(third.recording()->folder() == top / "shelf/the band");
}

TEST_CASE("a session from elsewhere opens and overwrites nothing outside its own folder without asking") {
    TemporaryFolder top;
    std::filesystem::create_directories(top / "band");
    std::filesystem::create_directories(top / "sent");
    writeSmallBand(top / "band");
    Controller controller(2);
    controller.openFolder(top / "band");
    REQUIRE(waitUntilIdle(controller));
    const auto sent = top / "sent/s.spillwright";
    REQUIRE(controller.saveSession(sent));
    auto session = readSessionFile(sent).value();
    session.unsavedOf = (top / "a file of mine").string();
    REQUIRE(writeTextFile(sent, documentText(sessionToJson(session))).ok());

    Controller other(2);
    for (const bool absolute : {false, true}) {
        if (absolute) session.folderRelative.clear();
        REQUIRE(writeTextFile(sent, documentText(sessionToJson(session))).ok());
        other.openSession(sent);
        REQUIRE(waitUntilIdle(other));
        CHECK_FALSE(other.recording());
        CHECK(other.recordingWantedFor() == sent);
        CHECK(std::filesystem::equivalent(other.recordingSaidIn(), top / "band"));
        CHECK_THAT(other.notice()->text, Catch::Contains("lies elsewhere") && Catch::Contains("choose that folder"));
    }
    // A link in its folder is a way out of it.
    std::filesystem::create_directory_symlink(top / "band", top / "sent/band");
    session.folderRelative = "band";
    REQUIRE(writeTextFile(sent, documentText(sessionToJson(session))).ok());
    other.openSession(sent);
    REQUIRE(waitUntilIdle(other));
    CHECK_FALSE(other.recording());

    // The folder, or this file, was chosen before.
    for (const auto& before : {top / "band", sent}) {
        Controller again(2);
        again.openSession(sent, std::nullopt, {{before}});
        REQUIRE(waitUntilIdle(again));
        REQUIRE(again.recording());
        CHECK(again.recordingWantedFor().empty());
        CHECK(again.sessionPath() == sent); // what is saved goes there
    }
}

TEST_CASE("a session that cannot be read or written is told in one line, and what is open stays") {
    MeasuredBand band;
    auto& controller = band.controller;
    controller.flip(1);
    TemporaryFolder top;
    const auto tell = [&](const std::string& text) {
        std::ofstream(top / "s.spillwright") << text;
        controller.openSession(top / "s.spillwright");
        REQUIRE(waitUntilIdle(controller));
        REQUIRE(controller.notice());
        CHECK(controller.notice()->fault);
        CHECK(controller.notice()->text.find('\n') == std::string::npos);
        CHECK(controller.adjustments()[1].flip);
        return controller.notice()->text;
    };
    CHECK_THAT(tell("{"), Catch::Contains("this is not JSON"));
    CHECK_THAT(tell(R"({"format": "spillwright/session", "version": 7})"),
               Catch::Contains("this session was written by a newer version; update this program"));
    CHECK_FALSE(controller.saveSession(top / "nowhere/s"));
    CHECK_THAT(controller.notice()->text, Catch::Contains("cannot be written"));
    CHECK(controller.sessionPath().empty());
}

TEST_CASE("what another program wrote into a session is still there after work in the window") {
    MeasuredBand band;
    TemporaryFolder top;
    REQUIRE(band.controller.saveSession(top / "s"));
    auto text = nlohmann::json::parse(*readTextFile(top / "s.spillwright", "session"));
    text["setting"]["tracks"][2]["microphone"] = "ribbon";
    text["engineer"] = "me";
    std::ofstream(top / "s.spillwright") << text.dump();
    band.controller.openSession(top / "s.spillwright", std::nullopt, openedBefore(band));
    REQUIRE(waitUntilIdle(band.controller));
    band.controller.flip(2);
    REQUIRE(band.controller.saveSession(band.controller.sessionPath()));
    text = nlohmann::json::parse(*readTextFile(top / "s.spillwright", "session"));
    CHECK(text["setting"]["tracks"][2]["microphone"] == "ribbon");
    CHECK(text["setting"]["tracks"][2]["flip"] == true);
    CHECK(text["engineer"] == "me");
}

TEST_CASE("the window opens and saves sessions, loops what they loop, and says what is not saved") {
    BandWindow window;
    auto& controller = window.controller();
    TemporaryFolder top;
    CHECK_FALSE(window.main.windowTitle().contains("not saved"));
    window.typed('m');
    CHECK(window.main.windowTitle().contains(", not saved"));
    controller.setLoop(Seconds(4.0), Seconds(9.0));
    REQUIRE(controller.saveSession(top / "evening take"));
    CHECK(window.main.windowTitle().startsWith("evening take (measured"));
    CHECK(window.preferences.recent()[0].endsWith("evening take.spillwright"));
    window.typed('f');
    CHECK(window.main.windowTitle().contains(", not saved"));
    CHECK(window.key('s', 0, juce::ModifierKeys::ctrlModifier));
    CHECK_FALSE(window.main.windowTitle().contains("not saved"));
    const auto setting = controller.adjustments();

    controller.openFolder(window.band.folder.path());
    REQUIRE(waitUntilIdle(controller));
    CHECK(controller.adjustments() == std::vector<TrackAdjustment>(4));
    CHECK(window.player.loopFrom() == 0);
    window.main.filesDropped({juce::String((top / "evening take.spillwright").string())}, 0, 0);
    REQUIRE(waitUntilIdle(controller));
    CHECK(controller.adjustments() == setting);
    CHECK(window.player.loopFrom() == 4 * 48000);
    CHECK(window.player.loopTo() == 9 * 48000);
    CHECK_FALSE(controller.sessionChanged());
    window.main.filesDropped({juce::String((window.band.folder / "1 close.wav").string())}, 0, 0);
    REQUIRE(waitUntilIdle(controller));
    CHECK(controller.sessionPath().empty());
}
