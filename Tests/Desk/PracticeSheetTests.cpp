#include "Desk/PracticeSheet.h"

#include "DeskFixture.h"

#include "Desk/PracticeWords.h"

#include "Core/Scene/PracticeAcoustics.h"
#include "Report/PracticePlots.h"

#include <algorithm>
#include <cmath>
#include <set>
#include <tuple>

using namespace spillwright;
using namespace spillwright::desk;
using namespace spillwright::test;

namespace {

/// Opened by its key in a window without a recording.
struct PracticeWindow : EmptyWindow {
    PracticeWindow() {
        main.keyPressed(juce::KeyPress('r', juce::ModifierKeys::altModifier, 0));
        REQUIRE(dynamic_cast<PracticeSheet*>(main.sheet()));
    }
    PracticeSheet& sheet() { return dynamic_cast<PracticeSheet&>(*main.sheet()); }
    void choose(const std::string& title) {
        for (int k = 0; k < sheet().lessonChoice().getNumItems(); ++k)
            if (sheet().lessonChoice().getItemText(k).contains(title))
                sheet().lessonChoice().setSelectedItemIndex(k, juce::sendNotificationSync);
        REQUIRE(sheet().shownLesson().title == title);
    }
    bool key(int code, juce::juce_wchar typed = 0, int modifiers = 0) {
        return sheet().keyPressed(juce::KeyPress(code, juce::ModifierKeys(modifiers), typed));
    }
    bool settle() {
        return waitFor(controller, [this] {
            sheet().follow();
            return sheet().settled();
        });
    }
};

double metresBetween(const Point& a, const Point& b) {
    return std::sqrt((a.x - b.x) * (a.x - b.x) + (a.y - b.y) * (a.y - b.y) + (a.z - b.z) * (a.z - b.z));
}

/// Two microphones in front of the source, without walls.
PracticeRoom inLine() {
    PracticeRoom room;
    room.size = {12.0, 8.0, 4.0};
    room.source = {2.0, 4.0, 1.5};
    room.microphones = {{"near", {3.0, 4.0, 1.5}, {}, {}}, {"far", {3.5, 4.0, 1.5}, {}, {}}};
    return room;
}

/// Of the two direct sounds, by the way that is left between them at 343.2 m/s (ISO 9613-1, dry air of 20 degrees).
double firstNotchOf(const PracticeRoom& room) {
    const double way = metresBetween(room.microphones[1].position, room.source) -
                       metresBetween(room.microphones[0].position, room.source);
    return 343.2 / (2.0 * std::abs(way));
}

double firstMarkOf(const PracticeSheet& sheet, const Plot& plot) {
    REQUIRE_FALSE(sheet.shownReading().notches.empty());
    REQUIRE_FALSE(plot.marks.empty());
    return plot.marks.front().x;
}

} // namespace

TEST_CASE("every lesson opens with its page, its steps and its sound; the answer is hidden until it is asked for") {
    PracticeWindow window;
    auto& sheet = window.sheet();
    const auto known = lessons();
    REQUIRE(known.size() == static_cast<std::size_t>(sheet.lessonChoice().getNumItems()));
    REQUIRE(known.size() >= 13);
    for (const auto& entry : known) {
        INFO(entry.title);
        window.choose(entry.title);
        const auto& lesson = sheet.shownLesson();
        CHECK(sheet.toldLine().empty());
        CHECK(sheet.soundChoice().getText() ==
              juce::String(practiceSoundNames[static_cast<std::size_t>(lesson.sound)]));
        for (const auto* words : {&lesson.listenFor, &lesson.lookFor, &lesson.question})
            CHECK(sheet.pageText().contains(juce::String::fromUTF8(words->c_str())));
        const auto hidden = juce::String::fromUTF8(lesson.answer.c_str());
        CHECK_FALSE(sheet.pageText().contains(hidden));
        sheet.answerButton().onClick();
        CHECK(sheet.pageText().contains(hidden));
        for (std::size_t step = 0; step < lesson.steps.size(); ++step) {
            REQUIRE(sheet.stepButton(static_cast<int>(step)).isVisible());
            sheet.stepButton(static_cast<int>(step)).onClick();
            CHECK(sheet.shownRoom() == lesson.steps[step].room);
            // Two alike, one of them flipped, leave nothing, which is said in the curves' place.
            const auto& level = sheet.shownReading().sum.values;
            const bool silent = *std::max_element(level.begin(), level.end()) < -100.0;
            CHECK(sheet.shownTitle() == lesson.steps[step].title);
            for (auto* view : {&sheet.combPlot(), &sheet.impulsePlot()}) {
                CHECK(view->plot().lines.empty() == silent);
                CHECK(view->plot().instead.empty() != silent);
            }
        }
    }
}

TEST_CASE("the steps of a lesson change the plot, one key each") {
    PracticeWindow window;
    window.choose("One delay, one comb");
    // 1/(2t) of 0.1, 0.5 and 20 ms.
    for (const auto& [digit, hertz] : {std::pair('1', 5000.0), {'3', 1000.0}, {'0', 25.0}}) {
        CHECK(window.key(digit, static_cast<juce::juce_wchar>(digit)));
        CHECK(firstMarkOf(window.sheet(), window.sheet().combPlot().plot()) == Approx(hertz).margin(0.2));
    }
}

TEST_CASE("dragging a microphone moves the first notch as c/2d says") {
    PracticeWindow window;
    auto& sheet = window.sheet();
    REQUIRE(sheet.take(inLine()));
    CHECK(firstMarkOf(sheet, sheet.combPlot().plot()) == Approx(343.2).margin(0.2));
    auto& plan = sheet.floorPlan();
    for (const Point to : {Point{4.0, 4.0, 0.0}, {3.5, 4.8, 0.0}, {2.6, 5.2, 0.0}}) {
        drag(plan, plan.placeOf(sheet.shownRoom().microphones[1].position), plan.placeOf(to));
        const auto& at = sheet.shownRoom().microphones[1].position;
        CHECK(at.x == Approx(to.x).margin(0.001)); // a thousandth of a metre is far below a pixel
        CHECK(at.y == Approx(to.y).margin(0.001));
        CHECK(at.z == 1.5);
        // Within the 0.1 Hz that is promised of a notch.
        CHECK(firstMarkOf(sheet, sheet.combPlot().plot()) == Approx(firstNotchOf(sheet.shownRoom())).margin(0.15));
    }
    // Upside down the notch lies where the crest was: at c/d.
    const double upright = firstNotchOf(sheet.shownRoom());
    sheet.flipButton(1).onClick();
    CHECK(firstMarkOf(sheet, sheet.combPlot().plot()) == Approx(2.0 * upright).margin(0.3));
}

TEST_CASE("what cannot stand where it is dragged stays, and a line says why") {
    PracticeWindow window;
    auto& sheet = window.sheet();
    REQUIRE(sheet.take(inLine()));
    auto& plan = sheet.floorPlan();
    const auto before = sheet.shownRoom();
    drag(plan, plan.placeOf(before.microphones[1].position), plan.placeOf(before.source));
    CHECK_THAT(sheet.toldLine(), Catch::Contains("microphone 'far'") && Catch::Contains("stands on the source"));
    CHECK(metresBetween(sheet.shownRoom().microphones[1].position, before.source) >= practiceLimits::nearest);
    REQUIRE(sheet.take(before));
    sheet.delayField(1).setText("900", false);
    sheet.delayField(1).onReturnKey();
    CHECK(sheet.shownRoom() == before);
    CHECK_THAT(sheet.toldLine(), Catch::Contains("delay that is out of range"));
    sheet.delayField(1).setText("late", false);
    sheet.delayField(1).onReturnKey();
    CHECK_THAT(sheet.toldLine(), Catch::Contains("'late' is no such amount"));
    CHECK(sheet.delayField(1).getText() == "0");
    drag(plan, plan.placeOf(before.microphones[1].position), plan.placeOf({4.0, 4.0, 0.0}));
    CHECK(sheet.toldLine().empty());
}

TEST_CASE("the keyboard alone does it: places, amounts, sound, the answer, and away") {
    PracticeWindow window;
    auto& sheet = window.sheet();
    REQUIRE(sheet.take(inLine()));
    auto& far = sheet.floorPlan().badge(1);
    CHECK(far.getWantsKeyboardFocus());
    CHECK(far.getTitle().contains("far"));
    const auto press = [&](int code, bool shift) {
        return far.keyPressed(
            juce::KeyPress(code, shift ? juce::ModifierKeys::shiftModifier : juce::ModifierKeys::noModifiers, 0));
    };
    CHECK(press(juce::KeyPress::rightKey, false));
    CHECK(press(juce::KeyPress::upKey, true));
    CHECK(press(juce::KeyPress::pageDownKey, true));
    const auto& at = sheet.shownRoom().microphones[1].position;
    CHECK(at.x == Approx(3.51).epsilon(1e-12));
    CHECK(at.y == Approx(4.1).epsilon(1e-12));
    CHECK(at.z == Approx(1.4).epsilon(1e-12));
    CHECK(sheet.floorPlan().badge(FloorPlan::theSource).keyPressed(juce::KeyPress(juce::KeyPress::leftKey)));
    CHECK(sheet.shownRoom().source.x == Approx(1.99).epsilon(1e-12));
    CHECK(sheet.delayField(0).keyPressed(juce::KeyPress(juce::KeyPress::upKey)));
    CHECK(inMilliseconds(sheet.shownRoom().microphones[0].adjustment.nudge) == Approx(0.1).epsilon(1e-12));
    CHECK(sheet.delayField(0).getText() == "+0.10");

    CHECK_FALSE(window.player.playing());
    window.key(' ', ' ');
    CHECK(window.player.playing());
    window.key(' ', ' ');
    CHECK_FALSE(window.player.playing());
    CHECK(window.player.outputLevel() == Player::startLevel); // as quiet as everything
    window.key(juce::KeyPress::escapeKey);
    CHECK(window.main.sheet() == nullptr);
}

TEST_CASE("at rest the practice room is that of all its reflections") {
    PracticeWindow window;
    window.choose("Reverberation loosens the tie");
    REQUIRE(window.settle());
    const auto& sheet = window.sheet();
    PracticeAcoustics acoustics(48000.0);
    const auto& room = sheet.shownRoom();
    const auto whole = readingOf(room, acoustics.follow(room, Detail::resting));
    PracticeAcoustics hasty(48000.0);
    const auto moving = readingOf(room, hasty.follow(room, Detail::moving));
    CHECK(sheet.shownReading().sum.values == whole.sum.values);
    CHECK(moving.sum.values != whole.sum.values); // else this would say nothing
}

TEST_CASE("closing the practice room gives the player back to the recording") {
    BandWindow window;
    window.player.seek(48000);
    window.main.perform(CommandId::practice);
    auto* sheet = dynamic_cast<PracticeSheet*>(window.main.sheet());
    REQUIRE(sheet);
    window.player.play();
    const auto position = window.player.position();

    // A track of the recording as the source's sound.
    CHECK(sheet->soundChoice().getNumItems() == 3 + window.controller().trackCount());
    sheet->soundChoice().setSelectedItemIndex(3, juce::sendNotificationSync);
    REQUIRE(waitFor(window.controller(), [&] {
        sheet->follow();
        return sheet->settled();
    }));
    CHECK(sheet->toldLine().empty());

    sheet->keyPressed(juce::KeyPress(juce::KeyPress::escapeKey));
    CHECK(window.main.sheet() == nullptr);
    CHECK_FALSE(window.player.playing()); // the recording was not
    CHECK(window.player.position() == position);
    CHECK(window.player.ready());
    window.player.play();
    CHECK(window.player.playing());
}

TEST_CASE("the projector view is ink on white, large, with thicker curves, and goes with the sheet") {
    PracticeWindow window;
    auto& sheet = window.sheet();
    const float before = sheet.combPlot().plot().lines.back().thick;
    sheet.setProjected(true);
    CHECK(ui::palette().paper == juce::Colours::white);
    CHECK(ui::palette().ink == juce::Colours::black);
    CHECK(sheet.combPlot().plot().lines.back().thick > 1.5f * before);
    // A unit of a plot takes one and a half pixels of the sheet.
    CHECK(sheet.getLocalArea(&sheet.combPlot(), juce::Rectangle<int>(0, 0, 100, 100)).getWidth() == 150);
    window.key(juce::KeyPress::escapeKey);
    CHECK(window.main.sheet() == nullptr);
    CHECK(ui::palette().paper == Palette::light().paper);
}

TEST_CASE("after a change of one's own the title is no longer the step's, and a key leads back to it") {
    PracticeWindow window;
    window.choose("One delay, one comb");
    auto& sheet = window.sheet();
    window.key('4', '4');
    CHECK(sheet.shownTitle() == "1 ms: first notch at 500 Hz");
    CHECK_FALSE(sheet.backButton().isVisible());
    const auto step = sheet.shownRoom();
    for (const bool byKey : {true, false}) {
        auto& plan = sheet.floorPlan();
        drag(plan, plan.placeOf(step.microphones[1].position), plan.placeOf({5.0, 5.0, 0.0}));
        CHECK(sheet.shownRoom() != step);
        CHECK(sheet.shownTitle() == "Your own, from step 4");
        CHECK(sheet.combPlot().plot().subject.find("Your own") != std::string::npos);
        CHECK(sheet.backButton().isVisible());
        CHECK_FALSE(sheet.stepButton(3).getToggleState());
        if (byKey)
            window.key(juce::KeyPress::backspaceKey);
        else
            sheet.backButton().onClick();
        CHECK(sheet.shownRoom() == step);
        CHECK(sheet.shownTitle() == "1 ms: first notch at 500 Hz");
        CHECK_FALSE(sheet.backButton().isVisible());
        CHECK(sheet.stepButton(3).getToggleState());
    }
}

TEST_CASE("a digit that follows the arrow at once is of the lesson that the arrow chose") {
    PracticeWindow window;
    auto& sheet = window.sheet();
    window.key('4', '4');
    sheet.lessonChoice().keyPressed(juce::KeyPress(juce::KeyPress::downKey)); // tells of it later
    window.key('2', '2');
    CHECK(sheet.shownLesson().title == "A flip is not a delay");
    CHECK(sheet.shownTitle() == "two 1 ms later");
}

TEST_CASE("what is dragged against a wall slides along it") {
    PracticeWindow window;
    auto& sheet = window.sheet();
    REQUIRE(sheet.take(inLine()));
    auto& plan = sheet.floorPlan();
    const auto before = sheet.shownRoom();
    drag(plan, plan.placeOf(before.microphones[1].position), plan.placeOf({40.0, 6.0, 0.0}));
    const auto& at = sheet.shownRoom().microphones[1].position;
    CHECK(at.x == Approx(12.0 - practiceLimits::nearestWall).epsilon(1e-12));
    CHECK(at.y == Approx(6.0).margin(0.001));
    CHECK(at.z == 1.5);
    CHECK(sheet.toldLine().empty());
}

TEST_CASE("a microphone on the source is turned down, and the sheet says by how much") {
    PracticeWindow window;
    auto& sheet = window.sheet();
    window.choose("Three to one, and why it works");
    REQUIRE(window.settle()); // its sound is there
    CHECK_THAT(sheet.belowLine(), Catch::Contains("Keys:"));
    auto near = sheet.shownRoom();
    near.microphones[1].position = {near.source.x - 0.011, near.source.y, near.source.z};
    REQUIRE(sheet.take(near));
    CHECK_THAT(sheet.belowLine(), Catch::StartsWith("Turned down by ") && Catch::Contains("at most 6 dB louder"));
    near.microphones[1].adjustment.muted = true;
    REQUIRE(sheet.take(near));
    CHECK_THAT(sheet.belowLine(), Catch::Contains("Keys:"));
}

TEST_CASE("every step of every lesson is heard as loud as it is", "[long]") {
    PracticeWindow window;
    auto& sheet = window.sheet();
    for (const auto& entry : lessons()) {
        window.choose(entry.title);
        REQUIRE(window.settle()); // its sound is there
        for (int step = 0; step < static_cast<int>(sheet.shownLesson().steps.size()); ++step) {
            sheet.chooseStep(step);
            INFO(entry.title << ", step " << step + 1);
            CHECK_THAT(sheet.belowLine(), Catch::Contains("Keys:"));
        }
    }
}

TEST_CASE("heights and pans are seen and typed") {
    PracticeWindow window;
    auto& sheet = window.sheet();
    window.choose("The floor and the music stand");
    window.key('2', '2');
    CHECK(sheet.heightField(0).getText() == "1.2");
    CHECK(sheet.heightField(FloorPlan::theSource).getText() == "1.2");
    for (const int which : {FloorPlan::theSource, 0}) {
        sheet.heightField(which).setText("0,6", false);
        sheet.heightField(which).onReturnKey();
    }
    CHECK(sheet.shownRoom().source.z == 0.6);
    CHECK(sheet.shownRoom().microphones[0].position.z == 0.6);
    // 1 m apart and 0.6 m high: the root of 1 + 1.44 by the floor, at 343.2 m/s (ISO 9613-1).
    CHECK(firstMarkOf(sheet, sheet.combPlot().plot()) ==
          Approx(343.2 / (2.0 * (std::sqrt(1.0 + 1.44) - 1.0))).margin(0.2));
    sheet.heightField(0).setText("4", false);
    sheet.heightField(0).onReturnKey();
    CHECK_THAT(sheet.toldLine(), Catch::Contains("outside the walls"));
    CHECK(sheet.heightField(0).getText() == "0.6");
    CHECK(sheet.heightField(0).keyPressed(juce::KeyPress(juce::KeyPress::downKey)));
    CHECK(sheet.heightField(0).getText() == "0.59");
    window.key('7', '7');
    CHECK(sheet.heightField(0).getText() == "0.005");

    window.choose("A spaced pair in mono");
    CHECK(sheet.panField(0).getText() == "L100");
    CHECK(sheet.panField(1).getText() == "R100");
    CHECK(sheet.combPlot().plot().lines.size() == 2);
    for (const int microphone : {0, 1}) {
        sheet.panField(microphone).setText("C", false);
        sheet.panField(microphone).onReturnKey();
    }
    CHECK(sheet.shownReading().notches.front().frequency.value == Approx(393.3).margin(0.2));
    CHECK(sheet.combPlot().plot().lines.back().name == "sum");
}

TEST_CASE("ratio, notch and coherence are against the microphone that is chosen") {
    PracticeWindow window;
    auto& sheet = window.sheet();
    window.choose("More microphones, more combs");
    window.key('3', '3');
    REQUIRE(window.settle());
    CHECK(sheet.shownReference() == 0);
    CHECK(sheet.shownCoherence()[0] == 1.0);
    const auto toFirst = sheet.shownCoherence();
    for (int k = 0; k < 3; ++k)
        sheet.referenceButton().onClick();
    CHECK(sheet.shownReference() == 3);
    CHECK(sheet.referenceButton().getButtonText() == "to 4");
    REQUIRE(window.settle());
    CHECK(sheet.shownCoherence()[3] == 1.0);
    CHECK(sheet.shownCoherence()[0] == Approx(toFirst[3]).epsilon(1e-4)); // of two it is the same either way
    window.choose("A flip is not a delay");                               // which has two
    CHECK(sheet.shownReference() == 0);
}

TEST_CASE("a lesson file of one's own is opened by dropping it, and a bad one is refused in one line") {
    PracticeWindow window;
    auto& sheet = window.sheet();
    const auto known = sheet.lessonChoice().getNumItems();
    const auto write = [&](const char* name, const std::string& text) {
        const juce::File file(juce::String((window.settings / name).string()));
        REQUIRE(file.replaceWithText(text));
        return file;
    };
    const auto drop = [&](const juce::File& file) { sheet.filesDropped({file.getFullPathName()}, 0, 0); };
    const std::string mine = R"({"format": "spillwright/lesson", "version": 1, "title": "Mine", "sound": "voice",
        "room": {"microphones": [{"name": "only", "position_m": [2, 2, 1]}]}})";
    const auto file = write("mine.json", mine);
    CHECK(sheet.isInterestedInFileDrag({file.getFullPathName()}));
    CHECK_FALSE(sheet.isInterestedInFileDrag({"/somewhere/a.wav"}));
    drop(file);
    CHECK(sheet.shownLesson().title == "Mine");
    CHECK(sheet.soundChoice().getText() == "voice");
    CHECK(sheet.lessonChoice().getNumItems() == known + 1);
    CHECK(sheet.lessonChoice().getText().endsWith("Mine"));
    CHECK_FALSE(sheet.referenceButton().isVisible());

    // Opened again it is read again, and listed once.
    auto changed = mine;
    changed.replace(changed.find("Mine"), 4, "Ours");
    drop(write("mine.json", changed));
    CHECK(sheet.shownLesson().title == "Ours");
    CHECK(sheet.lessonChoice().getNumItems() == known + 1);
    CHECK(sheet.lessonChoice().getText().endsWith("Ours"));

    const auto before = sheet.shownRoom();
    drop(write("bad.json", R"({"format": "spillwright/lesson", "version": 1, "title": "Bad", "room": {"microphones":
        [{"name": "there", "position_m": [20, 2, 1]}]}})"));
    CHECK_THAT(sheet.toldLine(), Catch::Contains("bad.json: room: microphone 'there' stands outside the walls; "));
    CHECK(sheet.toldLine().find('\n') == std::string::npos);
    CHECK(sheet.shownLesson().title == "Ours");
    CHECK(sheet.shownRoom() == before);
    CHECK(sheet.lessonChoice().getNumItems() == known + 1);
    CHECK(sheet.lessonChoice().getText().endsWith("Ours"));
}

TEST_CASE("the practice room's keys reach it wherever the keyboard is in the window") {
    PracticeWindow window;
    window.choose("One delay, one comb");
    auto& sheet = window.sheet();
    const auto press = [&](int code, juce::juce_wchar typed) {
        return window.main.keyPressed(juce::KeyPress(code, juce::ModifierKeys(), typed));
    };
    CHECK(press('3', '3'));
    CHECK(sheet.shownRoom() == sheet.shownLesson().steps[2].room);
    CHECK(press('n', 'n'));
    CHECK(sheet.shownLesson().title == "A flip is not a delay");
    CHECK(press('b', 'b'));
    CHECK(press('b', 'b')); // before the first there is none
    CHECK(sheet.shownLesson().title == "One delay, one comb");
    CHECK(press('3', '3'));
    // F1 and ? are read over it, and close alone.
    for (const auto& [code, typed, title] :
         {std::tuple(juce::KeyPress::F1Key, 0, "What you see"),
          std::tuple(static_cast<int>('?'), static_cast<int>('?'), "Keys of the practice room")}) {
        CHECK(press(code, static_cast<juce::juce_wchar>(typed)));
        REQUIRE(sheet.readSheet());
        CHECK(sheet.readSheet()->getTitle() == title);
        CHECK(press('5', '5')); // nothing below it listens
        CHECK(sheet.shownRoom() == sheet.shownLesson().steps[2].room);
        CHECK(press(juce::KeyPress::escapeKey, 0));
        CHECK_FALSE(sheet.readSheet());
        CHECK(window.main.sheet() == &sheet);
    }
    // What every line of that list names is done.
    std::string listed;
    for (const auto& [line, heading] : practiceKeys())
        if (!heading) listed += line + "\n";
    for (const char* key :
         {"1 to 9, 0", "N, B", "Backspace", "A:", "P:", "R:", "Page up", "Ctrl O", "Space", "Ctrl P", "F1", "Esc"})
        CHECK_THAT(listed, Catch::Contains(key));
    // A field is left as it was by Esc, and the sheet stays.
    sheet.delayField(0).setText("7", false);
    sheet.delayField(0).onEscapeKey();
    CHECK(sheet.delayField(0).getText() == "0");
    CHECK(window.main.sheet() == &sheet);
}

TEST_CASE("the practice room's plots are saved as pictures and drawings, named by lesson and step") {
    PracticeWindow window;
    window.choose("One delay, one comb");
    window.key('4', '4');
    TemporaryFolder folder;
    window.sheet().savePlots(folder.path());
    std::set<std::string> names;
    for (const auto& entry : std::filesystem::directory_iterator(folder.path()))
        names.insert(entry.path().filename().string());
    const std::string stem = "One delay one comb - 1 ms first notch at 500 Hz - ";
    CHECK(names == std::set<std::string>{stem + "comb response.png", stem + "comb response.svg",
                                         stem + "impulse response.png", stem + "impulse response.svg"});
    CHECK_THAT(window.sheet().toldLine(), Catch::StartsWith("Saved: 4 files of 'One delay, one comb' in "));
}

TEST_CASE("a recording that played goes on when the practice room is closed, and not when another one is opened") {
    BandWindow window;
    window.player.play();
    window.main.perform(CommandId::practice);
    REQUIRE(window.main.sheet());
    CHECK_FALSE(window.player.playing());
    window.main.keyPressed(juce::KeyPress(juce::KeyPress::escapeKey));
    CHECK(window.main.sheet() == nullptr);
    CHECK(window.player.playing());
    window.main.perform(CommandId::practice);
    window.controller().openFolder(window.band.folder.path());
    REQUIRE(waitUntilIdle(window.controller()));
    CHECK(window.main.sheet() == nullptr);
    CHECK_FALSE(window.player.playing());
}
