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
    /// Opened by its key.
    BlindSheet& blindSheet() {
        typed('0');
        auto* sheet = dynamic_cast<BlindSheet*>(main.sheet());
        REQUIRE(sheet);
        return *sheet;
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

TEST_CASE("each mix says how loud it is about to be, so that what is louder can rise") {
    MeasuredBand band; // without a window, which would take each mix by itself
    auto& controller = band.controller;
    const auto rough = controller.heardMix(); // before the loudness is known: alike, and ignoring each other
    CHECK(*rough.loudness == Approx(10.0 * std::log10(4.0)));
    CHECK(rough.loudnessBasis == 0);
    REQUIRE(waitFor(controller, [&] { return controller.loudnessKnown() && !controller.readingLoudness(); }));
    controller.setMatching(false);
    controller.toggleMute(0);
    const auto mix = controller.nextMix();
    CHECK(*mix.loudness == Approx(*controller.loudnessLufs(controller.adjustments())));
    CHECK(mix.loudnessBasis > 0);
    CHECK_FALSE(mix.heardBefore);
    controller.toggleSolo(3);
    CHECK(*controller.heardMix().loudness < *mix.loudness);
    controller.toggleSolo(3);
    controller.setMatching(true);
    controller.flip(1);
    const auto matched = controller.heardMix();
    CHECK(*matched.loudness == Approx(*controller.loudnessLufs(controller.settingOf(VersionKind::asRecorded).value())));

    // Of a difference only the most is known: when it is left, what was metered of it counts.
    controller.toggleDifference();
    const auto difference = controller.nextMix();
    REQUIRE(difference.less);
    CHECK(*difference.loudness == Approx(*matched.loudness + 20.0 * std::log10(2.0)).margin(1e-6));
    controller.setMetered(-70.0);
    controller.toggleDifference();
    CHECK(controller.nextMix().heardBefore == -70.0);
    CHECK(controller.nextMix().heardBefore == -70.0); // right after it too

    // Another loop has another loudness, which is no reason for anything to rise.
    controller.setLoop(Seconds(2.0), Seconds(12.0));
    REQUIRE(waitFor(controller, [&] { return !controller.readingLoudness(); }));
    CHECK(controller.heardMix().loudnessBasis == mix.loudnessBasis + 1);
}

TEST_CASE("a version that cancels is not turned up without end, and the button says so") {
    ListeningWindow window;
    auto& controller = window.controller();
    for (int track : {2, 3})
        controller.toggleMute(track);
    controller.flip(1);
    controller.setNudge(1, milliseconds(-0.5)); // the two that are left add
    const auto adds = controller.adjustments();
    CHECK(controller.matchedInFull(adds));
    auto cancels = adds;
    cancels[1].flip = false;
    cancels[1].gain = Decibels(0.0);
    CHECK(controller.compensation(cancels).value == Controller::mostTurnedUp.value);
    CHECK_FALSE(controller.matchedInFull(cancels));
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
    controller.toggleSolo(2); // the predicted one does not know of it either
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
    auto* const sheet = &window.blindSheet();
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
    sheet->fileField().setText((folder.path() / "no such folder" / "comparison.txt").string());
    sheet->saveButton().onClick();
    REQUIRE(window.main.sheet()); // nothing is thrown away
    CHECK_THAT(sheet->lines().front(), Catch::Contains("no such folder"));
    sheet->fileField().setText(file.string());
    sheet->saveButton().onClick();
    const auto text = contentOf(file);
    CHECK_THAT(text, Catch::Contains("77") && Catch::Contains("as recorded") && Catch::Contains("mine"));
    CHECK_FALSE(window.main.sheet());
    CHECK(controller.heardVersion() == VersionKind::mine);
}

TEST_CASE("a difference from a proposal ends where the proposal does") {
    ListeningWindow window;
    auto& controller = window.controller();
    controller.hear(VersionKind::flips);
    REQUIRE(waitUntilIdle(controller));
    REQUIRE(controller.heardVersion() == VersionKind::flips);
    CHECK(window.typed('1'));
    CHECK(window.typed('9'));
    REQUIRE(controller.differenceFrom() == VersionKind::flips);
    window.key('b', 0, juce::ModifierKeys::altModifier);
    controller.setMeasureOptions({Hertz(700.0), Hertz(5000.0)}, Celsius(20.0));
    CHECK(controller.heardMix().adjustments.size() == 4);
    REQUIRE(waitUntilIdle(controller));
    CHECK_FALSE(controller.differenceFrom());
    CHECK_FALSE(controller.heardMix().less);
    CHECK(controller.listening().band == Band{Hertz(700.0), Hertz(5000.0)});
    window.typed('9'); // from what is not there any more there is none
    CHECK_FALSE(controller.differenceFrom());
}

TEST_CASE("another recording that is opened ends a blind comparison and everything that was laid over the window") {
    ListeningWindow window;
    auto& controller = window.controller();
    controller.flip(1);
    auto* const sheet = &window.blindSheet();
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
    auto* const sheet = &window.blindSheet();
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
    sheet->trialsChoice().setText("7", juce::sendNotificationSync); // any number
    window.key('m', 0, juce::ModifierKeys::altModifier);
    sheet->beginButton().onClick();
    REQUIRE(sheet->running());
    CHECK(sheet->comparison()->trials() == 7);
    sheet->keyPressed(juce::KeyPress(juce::KeyPress::rightKey));
    CHECK(sheet->comparison()->answered() == 1);
    sheet->isPlaying = [] { return false; };
    sheet->keyPressed(juce::KeyPress(juce::KeyPress::rightKey)); // of silence
    CHECK(sheet->comparison()->answered() == 1);
    sheet->keyPressed(juce::KeyPress(juce::KeyPress::escapeKey)); // does not throw the answers away
    CHECK(sheet->running());
    sheet->keyPressed(juce::KeyPress(juce::KeyPress::endKey));
    CHECK_FALSE(sheet->running());
    CHECK(sheet->comparison()->result()->endedEarly());
}
