#include "DeskFixture.h"

#include "Desk/BlindSheet.h"

#include <fstream>
#include <sstream>

using namespace spillwright;
using namespace spillwright::desk;
using namespace spillwright::test;

namespace {

struct ListeningWindow : BandWindow {
    ListeningWindow() {
        REQUIRE(waitFor(controller(), [this] { return knows(); }));
    }
    bool knows() { return controller().loudnessKnown() && !controller().readingLoudness(); }
};

std::string contentOf(const std::filesystem::path& file) {
    std::ostringstream text;
    text << std::ifstream(file).rdbuf();
    return text.str();
}

} // namespace

TEST_CASE("every version is as loud as the recording as recorded, by its prediction; a key switches it off") {
    ListeningWindow window;
    auto& controller = window.controller();
    REQUIRE(controller.matchesLoudness());
    CHECK(controller.heardMix().gain.value == Approx(0.0).margin(1e-9));
    const auto plain = controller.adjustments();
    controller.flip(1);
    controller.setNudge(1, milliseconds(-0.5));
    const auto lined = controller.adjustments();
    const double expected = *controller.loudnessLufs(plain) - *controller.loudnessLufs(lined);
    CHECK(expected < -1.0); // two that had cancelled add
    CHECK(controller.heardMix().gain.value == Approx(expected).margin(1e-9));
    CHECK(window.typed('9'));
    REQUIRE(controller.heardMix().less);
    CHECK(controller.heardMix().less->gain.value == Approx(0.0).margin(1e-9));
    CHECK(window.typed('q'));
    CHECK(controller.heardMix().gain.value == 0.0);
    CHECK_FALSE(window.preferences.matchesLoudness());
    CHECK(window.typed('q'));
    CHECK(controller.heardMix().gain.value == Approx(expected).margin(1e-9));

    // A gain is the user's balance: it is no reason to turn anything up.
    controller.toggleDifference();
    CHECK(window.typed('1'));
    controller.setGain(0, Decibels(-10.0));
    CHECK(controller.heardMix().gain.value == Approx(0.0).margin(1e-9));
    // What is soloed is matched as it is heard: one track alone is as loud flipped as not.
    CHECK(window.typed('5'));
    controller.toggleSolo(1);
    CHECK(controller.heardMix().gain.value == Approx(0.0).margin(0.01));
}

TEST_CASE("what is louder by more than 3 dB starts lower, and nothing else does") {
    MeasuredBand band; // without a window, which would take each mix by itself
    auto& controller = band.controller;
    REQUIRE(waitFor(controller, [&] { return controller.loudnessKnown() && !controller.readingLoudness(); }));
    controller.setMatching(false);
    controller.toggleMute(0);
    controller.toggleMute(2);
    controller.nextMix();
    controller.toggleMute(2);
    const auto before = controller.loudnessLufs(controller.adjustments());
    controller.nextMix();
    controller.flip(0);
    CHECK(controller.nextMix().startsAt.value == 0.0);
    controller.flip(0);
    controller.nextMix();
    controller.setGain(2, Decibels(15.0));
    const double rise = *controller.loudnessLufs(controller.adjustments()) - *before;
    CHECK(rise > 3.0);
    CHECK(controller.nextMix().startsAt.value == Approx(3.0 - rise).margin(1e-9));
    CHECK(controller.nextMix().startsAt.value == 0.0); // it is heard already
    controller.setGain(2, Decibels(-20.0));
    CHECK(controller.nextMix().startsAt.value == 0.0);
    // From silence: no lower than -24 dB.
    for (int track = 0; track < 4; ++track)
        if (!controller.adjustments()[static_cast<std::size_t>(track)].muted) controller.toggleMute(track);
    controller.nextMix();
    controller.toggleMute(0);
    CHECK(controller.nextMix().startsAt.value == -24.0);
}

TEST_CASE("the moment's own gain is that of two that add, or cancel, at this moment") {
    ListeningWindow window;
    auto& controller = window.controller();
    std::vector<std::vector<float>> samples(4, std::vector<float>(16384));
    const auto sound = noise(16384, 5);
    samples[0] = samples[2] = sound;
    const auto read = [&] {
        controller.readMoment(samples);
        REQUIRE(waitFor(controller, [&] { return !controller.readingMoment(); }));
        return controller.momentGainDb();
    };
    CHECK(*read() == Approx(10.0 * std::log10(2.0)).margin(0.01));
    controller.flip(2);
    CHECK(*read() < -60.0);
    controller.toggleMute(2);
    CHECK(*read() == Approx(0.0).margin(0.01));
    controller.forgetMoment();
    CHECK_FALSE(controller.momentGainDb());
}

TEST_CASE("two versions are compared blind: hidden in order, equally loud, told and saved at the end") {
    ListeningWindow window;
    auto& controller = window.controller();
    controller.flip(1);
    CHECK(window.typed('0'));
    auto* sheet = dynamic_cast<BlindSheet*>(window.main.sheet());
    REQUIRE(sheet);
    const std::uint64_t seed = 77;
    sheet->seed = [&] { return seed; };
    std::vector<HeardMix> heard;
    const auto toPlayer = sheet->onHear;
    sheet->onHear = [&](const HeardMix& mix) {
        heard.push_back(mix);
        toPlayer(mix);
    };
    CHECK(sheet->firstChoice().getSelectedId() == 1);
    CHECK(sheet->secondChoice().getSelectedId() == 5);
    sheet->trialsChoice().setSelectedId(8);
    sheet->beginButton().onClick();
    REQUIRE(sheet->running());

    // The two are equally loud; the louder one is turned down.
    const auto plain = *controller.settingOf(VersionKind::asRecorded), mine = *controller.settingOf(VersionKind::mine);
    const double la = *controller.loudnessLufs(plain), lb = *controller.loudnessLufs(mine);
    const auto order = hiddenOrder(seed, 8);
    const auto press = [&](char letter) {
        sheet->keyPressed(juce::KeyPress(letter, {}, static_cast<juce::juce_wchar>(letter)));
    };
    for (std::size_t trial = 0; trial < 8; ++trial) {
        const bool isA = order[trial] == Candidate::a;
        REQUIRE_FALSE(heard.empty());
        CHECK(heard.back().adjustments == (isA ? plain : mine)); // X, of itself
        press('a');
        CHECK(heard.back().adjustments == plain);
        CHECK(la + heard.back().gain.value == Approx(std::min(la, lb)).margin(1e-9));
        press('b');
        CHECK(heard.back().adjustments == mine);
        CHECK(lb + heard.back().gain.value == Approx(std::min(la, lb)).margin(1e-9));
        press('x');
        CHECK(heard.back().adjustments == (isA ? plain : mine));
        const auto before = heard.size();
        press('y'); // is not offered
        press('1'); // and nothing else is heard meanwhile
        controller.setListening({});
        CHECK(heard.size() == before);
        for (const auto& line : sheet->lines()) { // nothing on the page tells
            CHECK(line.find("recorded") == std::string::npos);
            CHECK(line.find("mine") == std::string::npos);
        }
        // Seven right, one wrong.
        const bool sayA = trial == 3 ? !isA : isA;
        sheet->keyPressed(juce::KeyPress(sayA ? juce::KeyPress::leftKey : juce::KeyPress::rightKey));
    }
    CHECK_FALSE(sheet->running());
    REQUIRE(sheet->comparison()->result());
    CHECK(sheet->comparison()->result()->right == 7);
    CHECK(sheet->comparison()->result()->probability == Approx(9.0 / 256.0)); // (1 + 8)/2^8
    const TemporaryFolder folder;
    const auto file = folder.path() / "comparison.txt";
    sheet->fileField().setText(file.string());
    sheet->saveButton().onClick();
    const auto text = contentOf(file);
    CHECK_THAT(text, Catch::Contains("77") && Catch::Contains("as recorded") && Catch::Contains("mine"));
    CHECK_FALSE(window.main.sheet());
    CHECK(controller.heardVersion() == VersionKind::mine);
}

TEST_CASE("another recording that is opened ends a blind comparison and everything that was laid over the window") {
    ListeningWindow window;
    auto& controller = window.controller();
    controller.flip(1);
    window.typed('0');
    auto* sheet = dynamic_cast<BlindSheet*>(window.main.sheet());
    REQUIRE(sheet);
    sheet->beginButton().onClick();
    REQUIRE(sheet->running());
    const TemporaryFolder other;
    writeEchoingBand(other.path());
    window.main.filesDropped({juce::String(other.path().string())}, 0, 0);
    REQUIRE(waitFor(controller, [&] { return controller.trackCount() == 2 && !controller.busy(); }));
    CHECK_FALSE(window.main.sheet());
    CHECK(controller.heardMix().adjustments.size() == 2);
}

TEST_CASE("a blind comparison of one with itself, or of what is not known to be as loud, does not begin; another can "
          "end early") {
    ListeningWindow window;
    auto& controller = window.controller();
    controller.flip(1);
    CHECK(window.typed('0'));
    auto* sheet = dynamic_cast<BlindSheet*>(window.main.sheet());
    REQUIRE(sheet);
    sheet->secondChoice().setSelectedId(1, juce::sendNotificationSync);
    sheet->beginButton().onClick();
    CHECK_FALSE(sheet->comparison());
    CHECK_THAT(sheet->lines().front(), Catch::Contains("two different"));
    // The loop moves: until it is read anew no loudness is known.
    sheet->secondChoice().setSelectedId(5, juce::sendNotificationSync);
    controller.setLoop(Seconds(1.0), Seconds(9.0));
    sheet->beginButton().onClick();
    CHECK_FALSE(sheet->comparison());
    CHECK_THAT(sheet->lines().front(), Catch::Contains("not known"));
    REQUIRE(waitFor(controller, [&] { return window.knows(); }));
    sheet->questionChoice().setSelectedId(2, juce::sendNotificationSync);
    sheet->beginButton().onClick();
    REQUIRE(sheet->running());
    sheet->keyPressed(juce::KeyPress(juce::KeyPress::rightKey));
    CHECK(sheet->comparison()->answered() == 1);
    sheet->keyPressed(juce::KeyPress(juce::KeyPress::escapeKey)); // does not throw the answers away
    CHECK(sheet->running());
}
