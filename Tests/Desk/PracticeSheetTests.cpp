#include "Desk/PracticeSheet.h"

#include "DeskFixture.h"

#include "Core/Scene/PracticeAcoustics.h"
#include "Report/PracticePlots.h"

#include <algorithm>
#include <cmath>

using namespace spillwright;
using namespace spillwright::desk;
using namespace spillwright::test;

namespace {

/// Opened by its key in a window without a recording.
struct PracticeWindow {
    JuceWithoutDisplay juce;
    TemporaryFolder settings;
    Controller controller{2};
    Player player;
    Preferences preferences{juce::File(settings.path().string())};
    MainComponent main{{controller, player, nullptr, preferences}};

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
            CHECK_FALSE(sheet.combPlot().plot().lines.empty());
            // Two alike, one of them flipped, leave nothing.
            const auto& level = sheet.shownReading().sum.values;
            CHECK(sheet.impulsePlot().plot().lines.empty() == (*std::max_element(level.begin(), level.end()) < -100.0));
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
    drag(plan, plan.placeOf(before.microphones[1].position), plan.placeOf({40.0, 4.0, 0.0}));
    CHECK(sheet.shownRoom() == before);
    CHECK_THAT(sheet.toldLine(), Catch::Contains("microphone 'far'") && Catch::Contains("outside the walls"));
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
