#include "DeskFixture.h"

#include "Desk/Commands.h"
#include "Desk/FileDialogue.h"
#include "Desk/Fitting.h"
#include "Desk/Glossary.h"
#include "Desk/KeySheet.h"
#include "Desk/SettingsSheet.h"

#include "Desk/Words.h"
#include "Session/Amounts.h"

#include <fstream>
#include <set>
#include <sstream>

using namespace spillwright;
using namespace spillwright::desk;
using namespace spillwright::test;

namespace {

/// How many different colours a picture holds: a blank one holds one, a frame without content a few.
std::size_t coloursIn(const juce::Image& picture) {
    std::set<juce::uint32> colours;
    for (int y = 0; y < picture.getHeight(); y += 2)
        for (int x = 0; x < picture.getWidth(); x += 2)
            colours.insert(picture.getPixelAt(x, y).getARGB());
    return colours.size();
}

juce::Image pictureOf(juce::Component& component, float scale) {
    return component.createComponentSnapshot(component.getLocalBounds(), true, scale);
}

} // namespace

TEST_CASE("the window is drawn at home size and sharp at twice it") {
    BandWindow window;
    for (float scale : {1.0f, 2.0f}) {
        const auto picture = pictureOf(window.main, scale);
        CHECK(picture.getWidth() == juce::roundToInt(1280.0f * scale));
        CHECK(picture.getHeight() == juce::roundToInt(800.0f * scale));
        CHECK(coloursIn(picture) > 200);
        for (juce::Component* part :
             std::initializer_list<juce::Component*>{&window.main.trackPanel(), &window.main.gridView(),
                                                     &window.main.pairPanel(), &window.main.versionRow()})
            CHECK(coloursIn(pictureOf(*part, scale)) > 40);
    }
}

TEST_CASE("the dark twin is dark") {
    BandWindow window;
    const auto brightness = [&] { return pictureOf(window.main, 1.0f).getPixelAt(640, 60).getBrightness(); };
    CHECK(brightness() > 0.9f);
    CHECK(window.typed('t'));
    CHECK(brightness() < 0.2f);
    CHECK(window.preferences.dark());
    window.typed('t');
}

TEST_CASE("without a recording the window says what to do, and the keys do no harm") {
    EmptyWindow empty;
    auto& main = empty.main;
    auto& controller = empty.controller;
    CHECK(coloursIn(pictureOf(main, 1.0f)) > 20);
    main.perform(CommandId::report);
    REQUIRE(controller.notice());
    CHECK(controller.notice()->text == "Open a recording first (Ctrl O); then Ctrl E writes its report.");
    controller.dismissNotice();
    const auto before = pictureOf(main, 1.0f);
    for (char character : std::string("eiuyxjd"))
        main.keyPressed(juce::KeyPress(character, juce::ModifierKeys(), static_cast<juce::juce_wchar>(character)));
    const auto after = pictureOf(main, 1.0f);
    int differing = 0;
    for (int y = 150; y < before.getHeight(); ++y)
        for (int x = 0; x < before.getWidth(); ++x)
            differing += before.getPixelAt(x, y) != after.getPixelAt(x, y);
    CHECK(differing == 0); // nothing is laid over what it says
    for (char character : std::string("fF,.<>nNgGcCmMsShHkK[]12345 lLbBaApP+-rR"))
        main.keyPressed(juce::KeyPress(character, juce::ModifierKeys(), static_cast<juce::juce_wchar>(character)));
    for (int code :
         {juce::KeyPress::upKey, juce::KeyPress::downKey, juce::KeyPress::leftKey, juce::KeyPress::rightKey,
          juce::KeyPress::homeKey, juce::KeyPress::endKey, juce::KeyPress::escapeKey, juce::KeyPress::returnKey})
        main.keyPressed(juce::KeyPress(code));
    CHECK_FALSE(controller.canUndo());
}

TEST_CASE("a click on the round toggle flips the track, and the grid is drawn anew") {
    BandWindow window;
    auto& row = *window.main.trackPanel().row(1);
    const auto place = fieldArea(TrackField::flip, row.getLocalBounds().toFloat()).getCentre();
    CHECK(row.fieldAt(place) == TrackField::flip);
    const auto& cell = window.main.gridView().cellArea({1, 0});
    const auto colourOfPair = [&] {
        return pictureOf(window.main.gridView(), 1.0f)
            .getPixelAt(juce::roundToInt(cell.getX() + cell.getWidth() * 0.3f),
                        juce::roundToInt(cell.getY() + cell.getHeight() * 0.3f));
    };
    const auto before = colourOfPair();
    CHECK(before.getRed() > before.getBlue()); // cancels: the warm hue
    click(row, place);
    CHECK(window.controller().adjustments()[1].flip);
    CHECK(window.controller().selectedTrack() == 1);
    const auto after = colourOfPair();
    CHECK(after.getBlue() > after.getRed()); // adds: the cool hue
    click(row, place);
    CHECK_FALSE(window.controller().adjustments()[1].flip);
}

TEST_CASE("every field of a row answers to a click") {
    BandWindow window;
    auto& row = *window.main.trackPanel().row(2);
    const auto press = [&](TrackField field) {
        click(row, fieldArea(field, row.getLocalBounds().toFloat()).getCentre());
    };
    press(TrackField::mute);
    CHECK(window.controller().adjustments()[2].muted);
    press(TrackField::solo);
    CHECK(window.controller().solo()[2]);
    press(TrackField::hold);
    CHECK(window.controller().held(2));
    press(TrackField::nudge);
    CHECK(window.main.trackPanel().typing());
}

TEST_CASE("a nudge is typed with its unit; what is no nudge is said, and the field stays") {
    BandWindow window;
    window.controller().selectTrack(2);
    const auto type = [&](const char* text) {
        CHECK(window.typed('n'));
        REQUIRE(window.main.trackPanel().typing());
        window.main.trackPanel().field()->setText(text, false);
        window.main.trackPanel().field()->onReturnKey();
    };
    type("48 smp");
    CHECK(window.controller().adjustments()[2].nudge.value == Approx(0.001));
    CHECK_FALSE(window.main.trackPanel().typing());
    type("-1.1 m");
    CHECK(window.controller().adjustments()[2].nudge.value == Approx(-1.1 / 343.2));
    type("soon");
    CHECK(window.main.trackPanel().typing());
    REQUIRE(window.controller().notice());
    CHECK(window.controller().notice()->text.find("soon") != std::string::npos);
    CHECK(window.controller().adjustments()[2].nudge.value == Approx(-1.1 / 343.2));
}

TEST_CASE("a high-pass is typed with its slope, which stays until another is typed, and up and down step it") {
    BandWindow window;
    window.controller().selectTrack(1);
    auto& panel = window.main.trackPanel();
    const auto now = [&] { return window.controller().adjustments()[1]; };
    const auto type = [&](const char* text) {
        CHECK(window.typed('c'));
        REQUIRE(panel.typing());
        panel.field()->setText(text, false);
        panel.field()->onReturnKey();
    };
    type("90 Hz 24");
    CHECK(now().highPass == Hertz(90.0));
    CHECK(now().highPassSlope == Slope::dB24);
    type("100");
    CHECK(now().highPass == Hertz(100.0));
    CHECK(now().highPassSlope == Slope::dB24);
    CHECK(window.typed('c'));
    CHECK(panel.field()->getText() == "100 24");
    const auto press = [&](int key) { panel.field()->keyPressed(juce::KeyPress(key)); };
    press(juce::KeyPress::upKey); // there is none steeper
    CHECK(now().highPassSlope == Slope::dB24);
    press(juce::KeyPress::downKey);
    CHECK(now().highPassSlope == Slope::dB18);
    CHECK(panel.field()->getText() == "100 18");
    panel.field()->onReturnKey();
    CHECK(now().highPassSlope == Slope::dB18);
    window.controller().undo();
    CHECK(now().highPassSlope == Slope::dB24);
    type("100 6");
    CHECK(panel.typing());
    REQUIRE(window.controller().notice());
    CHECK(window.controller().notice()->text.find("12, 18 or 24") != std::string::npos);
    type("off");
    CHECK(now() == TrackAdjustment{});
}

TEST_CASE("a drag on the nudge moves the track, as one step of undo") {
    BandWindow window;
    auto& row = *window.main.trackPanel().row(0);
    const auto place = fieldArea(TrackField::nudge, row.getLocalBounds().toFloat()).getCentre();
    drag(row, place, place.translated(50.0f, 0.0f));
    CHECK(window.controller().adjustments()[0].nudge.value > 0.0);
    CHECK_FALSE(window.main.trackPanel().typing());
    window.controller().undo();
    CHECK(window.controller().adjustments()[0].nudge.value == 0.0);
}

TEST_CASE("a pan is typed, or dragged as one step of undo; it is of that track alone and no part of the mono sum") {
    BandWindow window;
    auto& controller = window.controller();
    controller.selectTrack(1);
    const auto gain = controller.gainNowDb();
    CHECK(window.key('p', 0, juce::ModifierKeys::altModifier));
    auto& panel = window.main.trackPanel();
    REQUIRE(panel.field());
    panel.field()->setText("L40");
    panel.field()->onReturnKey();
    CHECK(*controller.adjustments()[1].pan == Approx(-0.4));
    CHECK_FALSE(controller.adjustments()[0].pan);
    CHECK(controller.gainNowDb() == gain);
    auto* row = panel.row(1);
    const auto place = fieldArea(TrackField::pan, row->getLocalBounds().toFloat()).getCentre();
    drag(*row, place, place.translated(60.0f, 0.0f));
    CHECK(*controller.adjustments()[1].pan == Approx(0.2));
    controller.undo();
    CHECK(*controller.adjustments()[1].pan == Approx(-0.4));
    panel.type(TrackField::pan);
    panel.field()->setText("nowhere");
    panel.field()->onReturnKey();
    CHECK(panel.typing());
    REQUIRE(controller.notice());
    CHECK_THAT(controller.notice()->text, Catch::Contains("L30"));
}

TEST_CASE("keys choose a track and set it") {
    BandWindow window;
    auto& controller = window.controller();
    controller.selectTrack(0);
    CHECK(window.key(juce::KeyPress::downKey, 0));
    CHECK(controller.selectedTrack() == 1);
    CHECK(window.typed('f'));
    CHECK(controller.adjustments()[1].flip);
    CHECK(window.typed('.'));
    CHECK(controller.adjustments()[1].nudge.value == Approx(1.0 / 48000.0));
    CHECK(window.typed(','));
    CHECK(controller.adjustments()[1].nudge.value == 0.0);
    CHECK(window.key('.', '>', juce::ModifierKeys::shiftModifier));
    CHECK(controller.adjustments()[1].nudge.value == Approx(0.0001));
    CHECK(window.typed('m'));
    CHECK(controller.adjustments()[1].muted);
    CHECK(window.typed('s'));
    CHECK(controller.solo()[1]);
    CHECK(window.typed('h'));
    CHECK(controller.held(1));
    CHECK(window.key('z', 0, juce::ModifierKeys::ctrlModifier));
    CHECK_FALSE(controller.held(1));
    CHECK(window.key('z', 0, juce::ModifierKeys::ctrlModifier | juce::ModifierKeys::shiftModifier));
    CHECK(controller.held(1));
    CHECK(window.typed('1'));
    CHECK_FALSE(controller.adjustments()[1].flip);
    CHECK(window.key(juce::KeyPress::homeKey, 0));
    CHECK(controller.selectedTrack() == 0);
    CHECK_FALSE(window.key('q', 'q', juce::ModifierKeys::altModifier));
}

TEST_CASE("an empty key keeps what is heard, whole, and brings it back; the balance of the others is not touched") {
    BandWindow window;
    auto& controller = window.controller();
    controller.setGain(0, Decibels(-4.0));
    controller.flip(1);
    CHECK(window.typed('6'));
    REQUIRE(controller.version(VersionKind::keptFirst));
    CHECK(controller.heardVersion() == VersionKind::keptFirst);
    const auto kept = controller.adjustments();

    CHECK(window.typed('1'));
    CHECK_FALSE(controller.adjustments()[1].flip);
    CHECK(controller.adjustments()[0].gain.value == -4.0);
    controller.setGain(0, Decibels(2.0));
    controller.toggleMute(3);
    CHECK(window.typed('6'));
    CHECK(controller.adjustments() == kept);
    CHECK(controller.version(VersionKind::keptFirst)->gainDb == Approx(*controller.gainNowDb()).margin(1e-9));
    CHECK(window.typed('1'));
    CHECK(controller.adjustments()[0].gain.value == 2.0);
    CHECK(controller.adjustments()[3].muted);

    // A change of the balance leaves what is kept alone.
    CHECK(window.typed('6'));
    controller.setGain(2, Decibels(1.0));
    CHECK(controller.heardVersion() == VersionKind::mine);
    CHECK(*controller.version(VersionKind::keptFirst)->whole == kept);
    CHECK(window.key('6', 0, juce::ModifierKeys::ctrlModifier));
    CHECK((*controller.version(VersionKind::keptFirst)->whole)[2].gain.value == 1.0);
    controller.undo();
    CHECK(*controller.version(VersionKind::keptFirst)->whole == kept);
    for (int steps = 0; controller.canUndo() && steps < 50; ++steps)
        controller.undo();
    CHECK_FALSE(controller.version(VersionKind::keptFirst));
    CHECK(controller.heardVersion() == VersionKind::asRecorded);
}

TEST_CASE("what is kept is called as the user says, and no other version so") {
    BandWindow window;
    auto& controller = window.controller();
    const auto called = [&](VersionKind kind) { return words::versionName(controller, kind); };
    controller.renameKept(VersionKind::keptFirst, "dark");
    REQUIRE(controller.notice());
    CHECK_THAT(controller.notice()->text, Catch::Contains("6, 7 or 8 keeps what is heard"));
    controller.flip(1);
    CHECK(window.typed('6'));
    CHECK(called(VersionKind::keptFirst) == "kept under 6");
    controller.renameKept(VersionKind::keptFirst, "dark");
    CHECK(called(VersionKind::keptFirst) == "dark");
    CHECK(controller.undoWords() == "Undo name of version 6: 'dark'");
    auto& card = window.main.versionRow().card(VersionKind::keptFirst);
    CHECK(card.getTitle().startsWith("dark, "));
    CHECK(card.getTooltip().startsWith("dark: "));
    controller.undo();
    CHECK(called(VersionKind::keptFirst) == "kept under 6");
    controller.redo();
    CHECK(called(VersionKind::keptFirst) == "dark");
    CHECK(controller.session().versions.back().shown == "dark");

    controller.keep(VersionKind::keptSecond);
    for (const char* taken : {"dark", "mine", "flips"}) {
        controller.renameKept(VersionKind::keptSecond, taken);
        CHECK(called(VersionKind::keptSecond) == "kept under 7");
        CHECK_THAT(controller.notice()->text, Catch::Contains("is another version's name"));
    }
    controller.renameKept(VersionKind::keptSecond, std::string(Controller::mostOfName + 1, 'x'));
    CHECK(called(VersionKind::keptSecond) == "kept under 7");
    controller.renameKept(VersionKind::keptFirst, "");
    CHECK(called(VersionKind::keptFirst) == "kept under 6");

    // By hand: a key, a double click, F2 on the card; Return takes it, Esc does not.
    const auto editorOf = [&](VersionKind kind) {
        auto* editor = dynamic_cast<juce::TextEditor*>(window.main.versionRow().card(kind).getChildComponent(0));
        REQUIRE(editor);
        return editor;
    };
    auto* editor = editorOf(VersionKind::keptSecond);
    CHECK_FALSE(editor->isVisible());
    CHECK(window.key('n', 'n', juce::ModifierKeys::altModifier)); // 7 is heard
    CHECK(editor->isVisible());
    CHECK(editor->getText() == "kept under 7");
    editor->setText("  bright ", false);
    editor->onReturnKey();
    CHECK_FALSE(editor->isVisible());
    CHECK(called(VersionKind::keptSecond) == "bright");
    CHECK(card.keyPressed(juce::KeyPress(juce::KeyPress::F2Key)));
    auto* first = editorOf(VersionKind::keptFirst);
    CHECK(first->isVisible());
    first->setText("never", false);
    first->onEscapeKey();
    CHECK(called(VersionKind::keptFirst) == "kept under 6");
    card.mouseDoubleClick(mouseAt(card, {5.0f, 5.0f}, {5.0f, 5.0f}));
    CHECK(first->isVisible());
    first->onEscapeKey();
    CHECK(window.typed('1'));
    CHECK(window.key('n', 'n', juce::ModifierKeys::altModifier));
    CHECK_THAT(controller.notice()->text, Catch::Contains("Hear what is kept first"));
    // Kept anew it is another setting: the name was the one's before.
    controller.keep(VersionKind::keptSecond);
    CHECK(called(VersionKind::keptSecond) == "kept under 7");
}

TEST_CASE("one Return confirms a whole path that is typed into the dialogue for files") {
    JuceWithoutDisplay juce;
    TemporaryFolder folder, other;
    juce::Component within;
    juce::FileBrowserComponent browser(juce::FileBrowserComponent::saveMode |
                                           juce::FileBrowserComponent::canSelectFiles,
                                       juce::File(folder.path().string()).getChildFile("usual.html"), nullptr, nullptr);
    within.addAndMakeVisible(browser);
    struct Confirmed : juce::FileBrowserListener {
        juce::Array<juce::File> files;
        void selectionChanged() override {}
        void fileClicked(const juce::File&, const juce::MouseEvent&) override {}
        void fileDoubleClicked(const juce::File& file) override { files.add(file); }
        void browserRootChanged(const juce::File&) override {}
    } confirmed;
    browser.addListener(&confirmed);
    juce::TextEditor* name = nullptr;
    for (auto* child : browser.getChildren())
        if (auto* editor = dynamic_cast<juce::TextEditor*>(child)) name = editor;
    REQUIRE(name);
    const auto whole = juce::File(other.path().string()).getChildFile("r.html");
    confirmTypedPaths(within);
    name->setText(whole.getFullPathName(), false);
    name->onReturnKey();
    REQUIRE(confirmed.files.size() == 1);
    CHECK(confirmed.files[0] == whole);
    name->setText("plain.html", false);
    name->onReturnKey();
    REQUIRE(confirmed.files.size() == 2);
    CHECK(confirmed.files[1] == whole.getSiblingFile("plain.html"));
    // Where there is no such folder nothing is confirmed; to a folder it goes.
    name->setText(whole.getSiblingFile("absent").getChildFile("r.html").getFullPathName(), false);
    name->onReturnKey();
    name->setText(folder.path().string(), false);
    name->onReturnKey();
    CHECK(confirmed.files.size() == 2);
    CHECK(browser.getRoot() == juce::File(folder.path().string()));
    browser.removeListener(&confirmed);
}

TEST_CASE("what you see is told of all that the window has") {
    JuceWithoutDisplay juce;
    std::string all;
    for (const auto& [line, heading] : glossary())
        all += line + "\n";
    for (const char* word : {"takes (Alt T)", "Two grids", "stands: yes", "K: the other one", "practice room (Alt R)",
                             "floor plan", "Impulse response", "Comb", "Projector", "Report (Ctrl E)", "recall sheet",
                             "Sums", "Notes", "checksum", "SHA-256", "(Alt N)"}) {
        INFO(word);
        CHECK(all.find(word) != std::string::npos);
    }
}

TEST_CASE("the difference is that of what is heard from what was heard before") {
    BandWindow window;
    auto& controller = window.controller();
    CHECK(window.typed('9'));
    CHECK_FALSE(controller.differenceFrom());
    REQUIRE(controller.notice());
    CHECK_THAT(controller.notice()->text, Catch::Contains("two versions"));
    controller.flip(1);
    CHECK(window.typed('9'));
    CHECK(controller.differenceFrom() == VersionKind::asRecorded);
    auto mix = controller.heardMix();
    REQUIRE(mix.less);
    CHECK(mix.adjustments[1].flip);
    CHECK_FALSE(mix.less->adjustments[1].flip);
    CHECK(window.typed('1')); // from itself there is none
    CHECK_FALSE(controller.differenceFrom());
    CHECK_FALSE(controller.heardMix().less);
    CHECK(window.typed('9'));
    CHECK(controller.differenceFrom() == VersionKind::mine);
    CHECK(window.typed('9'));
    CHECK_FALSE(controller.differenceFrom());
}

TEST_CASE("mono, the side and the band are switched on and off by their keys") {
    BandWindow window;
    auto& controller = window.controller();
    const auto alt = [&](char letter) { return window.key(letter, 0, juce::ModifierKeys::altModifier); };
    CHECK(alt('m'));
    CHECK(controller.listening().sides == Listening::Sides::mono);
    CHECK(alt('s'));
    CHECK(controller.listening().sides == Listening::Sides::side);
    CHECK(alt('b'));
    CHECK(controller.listening().band == lowMidBand);
    CHECK(controller.listening().sides == Listening::Sides::side);
    CHECK(alt('s'));
    CHECK(alt('b'));
    CHECK(controller.listening() == Listening{});
}

TEST_CASE("a held key sweeps the nudge through its range, to and fro, as one step of undo") {
    BandWindow window;
    auto& controller = window.controller();
    controller.selectTrack(1);
    controller.setNudge(1, milliseconds(0.3));
    bool down = true;
    window.main.sweepHeld = [&] { return down; };
    CHECK(window.typed('z'));
    double clock = 5.0, highest = 0.0, lowest = 0.0;
    for (int frame = 0; frame < 30 * 65; ++frame) { // 10 ms up, 20 down and some up again take 60 s
        window.main.followSweep(clock);
        clock += 1.0 / 30.0;
        highest = std::max(highest, controller.adjustments()[1].nudge.value);
        lowest = std::min(lowest, controller.adjustments()[1].nudge.value);
        if (frame == 30) CHECK(controller.adjustments()[1].nudge.value == Approx(0.0003 + 0.0005).margin(2e-6));
    }
    CHECK(highest == Approx(0.010).margin(2e-6));
    CHECK(lowest == Approx(-0.010).margin(2e-6));
    CHECK(controller.adjustments()[1].nudge.value == Approx(-0.010 + 65.0 * 0.0005 - 0.0297).margin(1e-4));
    down = false;
    window.main.followSweep(clock);
    const auto left = controller.adjustments()[1].nudge;
    window.main.followSweep(clock + 1.0);
    CHECK(controller.adjustments()[1].nudge == left);
    controller.undo();
    CHECK(controller.adjustments()[1].nudge == milliseconds(0.3));
}

TEST_CASE("with ctrl and shift a letter is known small and large") {
    // A display with real keys gives the capital.
    const juce::ModifierKeys both(juce::ModifierKeys::ctrlModifier | juce::ModifierKeys::shiftModifier);
    for (const int code : {'z', 'Z'})
        CHECK(commandFor(juce::KeyPress(code, both, 0)) == CommandId::redo);
    for (const int code : {'s', 'S'})
        CHECK(commandFor(juce::KeyPress(code, both, 0)) == CommandId::saveAs);
    CHECK(commandFor(juce::KeyPress('z', juce::ModifierKeys(juce::ModifierKeys::ctrlModifier), 0)) == CommandId::undo);
}

TEST_CASE("no key stands twice in the table") {
    std::set<char> characters;
    std::set<std::pair<int, int>> keys;
    for (const auto& entry : commands()) {
        for (char character : entry.characters) {
            INFO(entry.words << ": " << character);
            CHECK(characters.insert(character).second);
        }
        for (const auto& key : entry.keys) {
            INFO(entry.words);
            CHECK(keys.insert({key.getKeyCode(), key.getModifiers().getRawFlags()}).second);
        }
        CHECK_FALSE((entry.characters.empty() && entry.keys.empty()));
    }
}

TEST_CASE("every place of the grid belongs to the pair that is drawn there") {
    BandWindow window;
    auto& grid = window.main.gridView();
    for (int row = 0; row < 4; ++row)
        for (int column = 0; column < row; ++column) {
            const auto area = grid.cellArea({row, column});
            CHECK(grid.cellAt(area.getCentre()) == GridView::Cell{row, column});
            CHECK(grid.getLocalBounds().toFloat().contains(area));
        }
    CHECK_FALSE(grid.cellAt(grid.cellArea({1, 1}).getCentre()));
    CHECK_FALSE(grid.cellAt({1.0f, 1.0f}));
    click(grid, grid.cellArea({2, 0}).getCentre());
    CHECK(window.controller().selectedTrack() == 2);
    CHECK(window.controller().partnerTrack() == 0);
}

TEST_CASE("a drag on the lag plot nudges the second track and stays where the two meet") {
    BandWindow window;
    window.controller().selectPair(1, 0);
    auto& panel = window.main.pairPanel();
    auto& plot = panel.lagPlot();
    const float y = static_cast<float>(plot.getHeight()) / 2.0f;
    const float peak = panel.placeOfLag(Seconds(24.0 / 48000.0)), middle = panel.placeOfLag(Seconds(0.0));
    CHECK(panel.lagAt(peak).value == Approx(24.0 / 48000.0).margin(1e-6));
    // Within two pixels of the place where they meet: it takes the exact one.
    drag(plot, {peak, y}, {middle + 1.5f, y});
    const double arrival = window.controller().reading(0, 1)->arrival->delay.value;
    CHECK(window.controller().adjustments()[1].nudge.value == Approx(-arrival).margin(1e-9));
    drag(plot, {middle, y}, {middle + 40.0f, y});
    CHECK(window.controller().adjustments()[1].nudge.value > 0.0);
}

TEST_CASE("runner-up peaks are marked with their probabilities, no label over another") {
    BandWindow window(writeEchoingBand);
    auto& controller = window.controller();
    auto& panel = window.main.pairPanel();
    const auto& candidates = controller.reading(0, 1)->arrivalCandidates;
    REQUIRE(candidates.size() >= 3);
    auto& plot = panel.lagPlot();
    const auto runnerUp = [&](const PlotLabel& label) { return !plot.plot().marks[label.mark].filled; };
    const auto checkPlaces = [&](const std::vector<PlotLabel>& labels) {
        for (std::size_t a = 0; a < labels.size(); ++a) {
            CHECK(plot.getLocalBounds().toFloat().contains(rectangleOf(labels[a].area)));
            for (std::size_t b = 0; b < a; ++b)
                CHECK_FALSE(labels[a].area.intersects(labels[b].area));
        }
        CHECK(std::count_if(labels.begin(), labels.end(), runnerUp) <= mostRunnerUps);
    };
    const auto labels = plot.labels();
    REQUIRE(labels.size() >= 3); // the arrival and both echoes
    checkPlaces(labels);
    CHECK_FALSE(runnerUp(labels[0]));
    CHECK(labels[0].words.find("+0.50, ") == 0);
    CHECK(runnerUp(labels[1]));
    // The louder echo, upside down: below the line, 2.5 ms from it.
    CHECK(panel.lagAt(labels[1].tip.x).value == Approx(120.0 / 48000.0).margin(5e-5)); // a pixel
    CHECK(labels[1].tip.y > labels[0].tip.y);
    const auto percent = std::to_string(static_cast<int>(100.0 * candidates[1].probability)) + " %";
    CHECK(labels[1].words.find(percent) != std::string::npos);
    // They move and turn with the track.
    controller.setNudge(1, milliseconds(-0.5));
    controller.flip(1);
    const auto moved = plot.labels();
    checkPlaces(moved);
    CHECK(panel.lagAt(moved[0].tip.x).value == Approx(0.0).margin(5e-5));
    CHECK(moved[0].words.find("inverted") != std::string::npos);
    // Of a lone peak nothing rivals, nothing is said.
    BandWindow plain;
    plain.controller().selectPair(1, 0);
    CHECK(plain.main.pairPanel().lagPlot().labels().size() == 1);
}

TEST_CASE("a card is heard when it is pressed") {
    BandWindow window;
    window.controller().propose();
    REQUIRE(waitUntilIdle(window.controller()));
    window.main.versionRow().card(VersionKind::flips).clicked();
    CHECK(window.controller().heardVersion() == VersionKind::flips);
    CHECK(window.main.versionRow().card(VersionKind::flips).getTooltip().contains("worth"));
}

TEST_CASE("a drag over the waveform moves the loop, and the readings follow it once R is pressed") {
    BandWindow window(writeChangingBand);
    auto& controller = window.controller();
    auto& wave = window.main.transportBar().waveform();
    const auto dragOver = [&](double from, double to) {
        const auto place = [&](double share) {
            return juce::Point<float>(static_cast<float>(share * wave.getWidth()), 20.0f);
        };
        drag(wave, place(from), place(to));
        REQUIRE(waitFor(controller, [&] { return !controller.readingLoop(); }));
    };
    auto& moments = window.main.gridView().moments();
    CHECK(moments.getButtonText() == "reads the whole, 0:30");
    dragOver(0.02, 0.48);
    CHECK_FALSE(controller.readMoments());
    CHECK(window.typed('r'));
    REQUIRE(waitFor(controller, [&] { return !controller.readingLoop(); }));
    CHECK(moments.getToggleState());
    CHECK(moments.getButtonText() == ui::text(words::reads(controller)));
    CHECK(moments.getButtonText().contains(" of 0:30"));
    const auto plot = [&] { return pictureOf(window.main.pairPanel().lagPlot(), 1.0f); };
    const auto differ = [](const juce::Image& a, const juce::Image& b) {
        int count = 0;
        for (int y = 0; y < a.getHeight(); ++y)
            for (int x = 0; x < a.getWidth(); ++x)
                count += a.getPixelAt(x, y) != b.getPixelAt(x, y) ? 1 : 0;
        return count;
    };
    controller.selectPair(1, 0);
    CHECK(controller.reading(0, 1)->polarity->polarity == Polarity::inverted);
    const auto before = plot();
    dragOver(0.55, 0.99);
    CHECK(controller.reading(0, 1)->polarity->polarity == Polarity::same);
    CHECK(differ(before, plot()) > 100); // the curve is another one
    // A double click loops the whole: the loop alone is the whole then.
    wave.mouseDoubleClick(mouseAt(wave, {5.0f, 5.0f}, {5.0f, 5.0f}));
    REQUIRE(waitFor(controller, [&] { return !controller.readingLoop(); }));
    CHECK_FALSE(controller.readMoments());
    CHECK(moments.getButtonText() == "reads the whole: drag a loop");
    moments.onClick();
    CHECK_FALSE(controller.readsLoop());
    CHECK_FALSE(moments.getToggleState());
}

TEST_CASE("a click on the notice and the key W open the list of all remarks, which scrolls") {
    BandWindow window([](const std::filesystem::path& folder) {
        writeSmallBand(folder);
        for (int dead = 10; dead < 50; ++dead)
            writeWav(folder / (std::to_string(dead) + " dead.wav"), std::vector<float>(48000, 0.0f));
    });
    REQUIRE(window.controller().remarks().recording.size() >= 40);
    REQUIRE(window.controller().notice());
    auto& bar = window.main.noticeBar();
    REQUIRE(bar.isVisible());
    click(bar, bar.getLocalBounds().getCentre().toFloat());
    REQUIRE(window.main.sheet());
    auto* sheet = dynamic_cast<LinesSheet*>(window.main.sheet());
    REQUIRE(sheet);
    CHECK(sheet->getDescription().contains("10 dead"));
    CHECK(sheet->getDescription().contains("49 dead"));
    CHECK(coloursIn(pictureOf(*sheet, 1.0f)) > 20);
    auto& list = sheet->list();
    CHECK(list.getViewedComponent()->getHeight() > list.getViewHeight());
    sheet->keyPressed(juce::KeyPress(juce::KeyPress::downKey));
    CHECK(list.getViewPositionY() > 0);
    sheet->keyPressed(juce::KeyPress(juce::KeyPress::endKey));
    CHECK(list.getViewPositionY() == list.getViewedComponent()->getHeight() - list.getViewHeight());
    sheet->keyPressed(juce::KeyPress(juce::KeyPress::homeKey));
    CHECK(list.getViewPositionY() == 0);
    CHECK(sheet->keyPressed(juce::KeyPress('w', juce::ModifierKeys(), 'w')));
    CHECK_FALSE(window.main.sheet());

    window.controller().dismissNotice();
    CHECK(window.typed('w')); // also when the notice has gone
    CHECK(dynamic_cast<LinesSheet*>(window.main.sheet()));
    window.main.sheet()->keyPressed(juce::KeyPress(juce::KeyPress::escapeKey));
    window.controller().say("something else");
    click(bar, bar.getLocalBounds().getCentre().toFloat());
    CHECK_FALSE(window.main.sheet());
}

TEST_CASE("what is told moves nothing: beside the name where it is short, laid over the window where it is long") {
    BandWindow window;
    auto& controller = window.controller();
    controller.dismissNotice();
    const auto places = [&] {
        std::vector<juce::Rectangle<int>> all;
        for (juce::Component* part : std::initializer_list<juce::Component*>{
                 &window.main.trackPanel(), &window.main.gridView(), &window.main.pairPanel(),
                 &window.main.versionRow(), &window.main.transportBar()})
            all.push_back(part->getBounds());
        return all;
    };
    const auto before = places();
    auto& bar = window.main.noticeBar();
    CHECK_FALSE(bar.isVisible());
    controller.say("Undone: flip of 'snare under'");
    CHECK(bar.isVisible());
    CHECK(bar.getY() == 0);
    CHECK(places() == before);
    std::string longer;
    for (int word = 0; word < 60; ++word)
        longer += "a long story ";
    controller.say(longer, true);
    CHECK(bar.getY() > 0);
    CHECK(bar.getWidth() == window.main.getWidth());
    CHECK(places() == before);

    controller.flip(1); // it was of the step before
    CHECK_FALSE(bar.isVisible());
    controller.caution("Mind your ears.");
    controller.flip(1);
    CHECK(bar.isVisible());
    controller.dismissNotice();
    CHECK_FALSE(bar.isVisible());
}

TEST_CASE("the first Esc stops a render, whatever is told meanwhile") {
    BandWindow window;
    auto& controller = window.controller();
    TemporaryFolder to;
    SECTION("in its sheet") {
        window.main.perform(CommandId::render);
        auto* sheet = dynamic_cast<RenderSheet*>(window.main.sheet());
        REQUIRE(sheet);
        sheet->folderField().setText(juce::String((to / "fresh").string()), false);
        sheet->goButton().onClick();
        CHECK(sheet->keyPressed(juce::KeyPress(juce::KeyPress::escapeKey)));
        REQUIRE(waitUntilIdle(controller));
        REQUIRE(window.main.sheet() == sheet);
        sheet->follow();
        CHECK_FALSE(window.main.sheet());
    }
    SECTION("below a notice that stays") {
        RenderOptions options;
        options.to = to / "fresh";
        controller.render(options);
        controller.caution("Mind your ears.");
        CHECK(window.key(juce::KeyPress::escapeKey, 0));
        REQUIRE(waitUntilIdle(controller));
    }
    REQUIRE(controller.notice());
    CHECK(controller.notice()->text == "Stopped.");
    CHECK_FALSE(std::filesystem::exists(to / "fresh"));
}

TEST_CASE("a render that is refused says why in its sheet, which stays, and one that goes on closes it") {
    BandWindow window;
    TemporaryFolder to;
    std::filesystem::create_directories(to / "there");
    std::ofstream(to / "there" / (window.controller().tracks()[0].file)) << "somebody's";
    window.main.perform(CommandId::render);
    auto* sheet = dynamic_cast<RenderSheet*>(window.main.sheet());
    REQUIRE(sheet);
    sheet->folderField().setText("there", false);
    sheet->goButton().onClick();
    CHECK_THAT(sheet->wrongWords(), Catch::Contains("whole path"));
    sheet->folderField().setText(juce::String((to / "there").string()), false);
    sheet->goButton().onClick();
    REQUIRE(waitUntilIdle(window.controller()));
    REQUIRE(window.main.sheet() == sheet);
    CHECK_THAT(sheet->wrongWords(), Catch::Contains("there"));
    CHECK_FALSE(window.controller().notice());
    sheet->folderField().setText(juce::String((to / "fresh").string()), false);
    sheet->notesButton().setToggleState(true, juce::dontSendNotification);
    sheet->sumsButton().setToggleState(true, juce::dontSendNotification);
    sheet->goButton().onClick();
    REQUIRE(waitFor(window.controller(), [&] {
        if (window.main.sheet() == sheet) sheet->follow();
        return !window.main.sheet();
    }));
    REQUIRE(waitUntilIdle(window.controller()));
    CHECK(std::filesystem::exists(to / "fresh" / (window.controller().tracks()[0].file)));
    CHECK(std::filesystem::exists(to / "fresh notes.txt"));
    CHECK(std::filesystem::exists(to / "fresh sums" / "1 as recorded.wav"));
    REQUIRE(window.controller().notice());
    CHECK_THAT(window.controller().notice()->text, Catch::Contains("files into"));
}

TEST_CASE("the sheet of keys opens over the window, all its rows on the page, and closes again") {
    BandWindow window;
    CHECK(window.typed('?'));
    auto* sheet = dynamic_cast<KeySheet*>(window.main.sheet());
    REQUIRE(sheet);
    for (const auto& [width, height] : {std::pair{1280, 800}, {1080, 640}, {1920, 1080}}) {
        window.main.setSize(width, height);
        juce::RectangleList<int> taken;
        for (const auto& entry : commands()) {
            const auto area = sheet->row(entry.id).getBounds();
            INFO(entry.words << " at " << width << " x " << height << ": " << area.toString());
            CHECK(sheet->getLocalBounds().contains(area));
            CHECK_FALSE(taken.intersectsRectangle(area));
            taken.add(area);
        }
    }
    CHECK(sheet->keyPressed(juce::KeyPress(juce::KeyPress::escapeKey)));
    CHECK_FALSE(window.main.sheet());
}

TEST_CASE("a command takes another key, which is kept, shown, and taken from whom it had before") {
    struct Usual { // the keys are those of the whole program
        ~Usual() { clearOwnKeys(); }
    } usual;
    BandWindow window;
    auto& controller = window.controller();
    controller.selectTrack(1);
    window.typed('?');
    auto* sheet = dynamic_cast<KeySheet*>(window.main.sheet());
    REQUIRE(sheet);
    sheet->row(CommandId::flip).onClick();
    CHECK(sheet->waitsFor() == CommandId::flip);
    CHECK(sheet->keyPressed(juce::KeyPress('m', {}, 'm')));
    CHECK_FALSE(sheet->waitsFor());
    CHECK(keyOf(CommandId::flip) == "M");
    CHECK(keyOf(CommandId::mute) == "\u2013");
    sheet->row(CommandId::mute).onClick();
    CHECK(sheet->keyPressed(juce::KeyPress('m', juce::ModifierKeys::ctrlModifier, 0)));
    CHECK(keyOf(CommandId::mute) == "Ctrl M");
    sheet->row(CommandId::align).onClick();
    CHECK(sheet->keyPressed(juce::KeyPress(juce::KeyPress::escapeKey))); // never mind
    CHECK_FALSE(sheet->waitsFor());
    CHECK(keyOf(CommandId::align) == "A");
    sheet->keyPressed(juce::KeyPress(juce::KeyPress::escapeKey));

    CHECK(window.typed('m'));
    CHECK(controller.adjustments()[1].flip);
    CHECK_FALSE(controller.adjustments()[1].muted);
    CHECK_FALSE(window.typed('f'));
    CHECK(window.key('m', 0, juce::ModifierKeys::ctrlModifier));
    CHECK(controller.adjustments()[1].muted);

    const auto kept = window.preferences.ownKeys();
    clearOwnKeys();
    CHECK(keyOf(CommandId::flip) == "F");
    setOwnKeysFromText(kept + "\nnothing known\t3\t0\nbroken");
    CHECK(keyOf(CommandId::flip) == "M");
    CHECK(keyOf(CommandId::mute) == "Ctrl M");
    clearOwnKey(CommandId::flip);
    CHECK(commandFor(juce::KeyPress('f', {}, 'f')) == CommandId::flip);
    CHECK(commandFor(juce::KeyPress('m', {}, 'm')) == std::nullopt); // mute has another one
    CHECK_FALSE(setOwnKey(CommandId::flip, juce::KeyPress(juce::KeyPress::escapeKey)));
    window.typed('?');
    sheet = dynamic_cast<KeySheet*>(window.main.sheet());
    REQUIRE(sheet);
    sheet->usualButton().onClick();
    CHECK(keyOf(CommandId::mute) == "M");
    CHECK(sheet->row(CommandId::mute).getTitle().endsWith(": M"));
}

TEST_CASE("another band and another temperature are read at once, kept, and what is no band is said") {
    BandWindow window;
    auto& controller = window.controller();
    const auto before = controller.reading(0, 1)->coherence;
    controller.propose();
    REQUIRE(waitUntilIdle(controller));
    CHECK(window.key(',', 0, juce::ModifierKeys::ctrlModifier));
    auto* sheet = dynamic_cast<SettingsSheet*>(window.main.sheet());
    REQUIRE(sheet);
    sheet->bandField().setText("700 5000");
    sheet->temperatureField().setText("5");
    sheet->bandField().onReturnKey();
    REQUIRE(waitUntilIdle(controller));
    CHECK(controller.measurement()->options.band == Band{Hertz(700.0), Hertz(5000.0)});
    CHECK(controller.measurement()->options.temperature.value == 5.0);
    CHECK(controller.reading(0, 1)->coherence != before);
    CHECK_FALSE(controller.version(VersionKind::flips)); // of the other band
    CHECK(window.preferences.band() == Band{Hertz(700.0), Hertz(5000.0)});
    sheet->bandField().setText("5000 700");
    sheet->bandField().onReturnKey();
    CHECK_FALSE(controller.busy());
    CHECK(window.preferences.band() == Band{Hertz(700.0), Hertz(5000.0)});
    sheet->bandField().setText("178 562");
    sheet->bandField().onReturnKey();
    REQUIRE(waitUntilIdle(controller));
    CHECK(controller.measurement()->options.band == lowMidBand); // to the exact edges
    CHECK(controller.reading(0, 1)->coherence == before);
}

TEST_CASE("light or dark and the size of everything are chosen on the sheet of settings, and kept") {
    BandWindow window;
    CHECK(window.key(',', 0, juce::ModifierKeys::ctrlModifier));
    auto* sheet = dynamic_cast<SettingsSheet*>(window.main.sheet());
    REQUIRE(sheet);
    CHECK_FALSE(sheet->clearButton().isEnabled()); // nothing is kept of what was measured
    const auto before = std::pair(sheet->lookChoice().getSelectedId(), sheet->scaleChoice().getSelectedId());
    CHECK(before == std::pair(1, 100));
    sheet->lookChoice().setSelectedId(2, juce::sendNotificationSync);
    sheet->scaleChoice().setSelectedId(150, juce::sendNotificationSync);
    CHECK(window.preferences.dark());
    CHECK(window.preferences.scalePercent() == 150);
    sheet->lookChoice().setSelectedId(before.first, juce::sendNotificationSync); // they are those of the whole program
    sheet->scaleChoice().setSelectedId(before.second, juce::sendNotificationSync);
    CHECK_FALSE(window.preferences.dark());
}

TEST_CASE("nudges and distances are shown in the unit that is chosen, typed in it, and kept") {
    BandWindow window;
    auto& controller = window.controller();
    controller.selectTrack(1);
    controller.setNudge(1, milliseconds(1.0));
    CHECK(window.key(',', 0, juce::ModifierKeys::ctrlModifier));
    auto* sheet = dynamic_cast<SettingsSheet*>(window.main.sheet());
    REQUIRE(sheet);
    sheet->nudgesChoice().setSelectedId(2, juce::sendNotificationSync);
    sheet->distancesChoice().setSelectedId(2, juce::sendNotificationSync);
    CHECK(window.preferences.units() == Units{NudgeUnit::samples, DistanceUnit::inches});
    const auto perMs = std::to_string(std::lround(controller.recording()->sampleRate() / 1000.0));
    CHECK(window.main.trackPanel().row(1)->getTitle().contains("nudge +" + juce::String(perMs) + " smp"));
    const auto told = words::pair(controller, 0, 1);
    const auto row = std::find_if(told.rows.begin(), told.rows.end(), [](auto& one) { return one.name == "distance"; });
    REQUIRE(row != told.rows.end());
    CHECK(row->value.find(" in \u00b7 ") != std::string::npos);

    window.key(juce::KeyPress::escapeKey, 0);
    CHECK(window.typed('n'));
    auto* typed = window.main.trackPanel().field();
    REQUIRE(typed);
    typed->setText("12");
    typed->onReturnKey();
    CHECK(controller.adjustments()[1].nudge.value == Approx(12.0 / controller.recording()->sampleRate()));
}

TEST_CASE("what is typed as it was shown leaves the exact nudge as it is, and is no step of undo") {
    BandWindow window;
    auto& controller = window.controller();
    controller.selectTrack(1);
    controller.setNudge(1, milliseconds(0.3125));
    const int steps = controller.historySize();
    CHECK(window.typed('n'));
    auto* typed = window.main.trackPanel().field();
    REQUIRE(typed);
    typed->onReturnKey();
    CHECK(controller.adjustments()[1].nudge == milliseconds(0.3125));
    CHECK(controller.historySize() == steps);
}

TEST_CASE("what a button says of its key is the key of now") {
    BandWindow window;
    auto& copy = window.main.pairPanel().copyButton();
    CHECK(copy.getTooltip().contains("(Ctrl C)"));
    setOwnKey(CommandId::copyPair, juce::KeyPress('k', juce::ModifierKeys::ctrlModifier, 0));
    CHECK(copy.getTooltip().contains("(Ctrl K)"));
    setOwnKey(CommandId::propose, juce::KeyPress('k', juce::ModifierKeys::altModifier, 0));
    CHECK(words::versionProof(window.controller(), VersionKind::flips) == "Alt K proposes");
    clearOwnKeys();
}

TEST_CASE(
    "where there is less room than the window needs all of it is drawn smaller, and nothing where there is enough") {
    const JuceWithoutDisplay juce;
    juce::Component content;
    content.setSize(1280, 800);
    Fitting fitting(content, 1080, 640);
    CHECK(fitting.getBounds() == juce::Rectangle<int>(1280, 800));
    CHECK(fitting.scale() == 1.0f);
    CHECK(content.getBounds() == fitting.getLocalBounds());
    fitting.setSize(640, 400); // 1280 x 800 at 200 %
    CHECK(fitting.scale() == Approx(640.0 / 1080.0));
    CHECK(content.getWidth() == 1080);
    CHECK(content.getHeight() >= 640);
    CHECK(content.getBoundsInParent().getRight() >= 640);
    CHECK(content.getBoundsInParent().getRight() <= 641);
    fitting.setSize(1920, 1080);
    CHECK(content.getBoundsInParent() == fitting.getLocalBounds());
}

TEST_CASE("a report of what is heard is written with its recall sheet, and the sums of all versions with a render") {
    BandWindow window;
    auto& controller = window.controller();
    controller.flip(1);
    TemporaryFolder to;
    controller.keep(VersionKind::keptFirst);
    controller.renameKept(VersionKind::keptFirst, "dark");
    controller.saveReport(to / "r.html");
    CHECK(controller.task() == Controller::Task::reporting);
    REQUIRE(waitUntilIdle(controller));
    INFO((controller.notice() ? controller.notice()->text : ""));
    std::stringstream page, sheet;
    page << std::ifstream(to / "r.html").rdbuf();
    sheet << std::ifstream(to / "r.csv").rdbuf();
    CHECK_THAT(page.str(), Catch::StartsWith("<!DOCTYPE html>"));
    CHECK_THAT(page.str(), Catch::Contains("mine"));
    CHECK_THAT(page.str(), Catch::Contains("\u201cdark\u201d")); // as the user calls what is heard
    controller.saveReport(to / "r.html");
    REQUIRE(waitUntilIdle(controller));
    REQUIRE(controller.notice());
    CHECK_THAT(controller.notice()->text, Catch::Contains("r.html: is there already"));
    CHECK_THAT(sheet.str(),
               Catch::Contains(controller.tracks()[1].name + "," + controller.tracks()[1].file + ",1,yes"));

    RenderOptions options;
    options.to = to / "out";
    options.notes = to / "notes.txt";
    controller.render(options, to / "sums");
    REQUIRE(waitUntilIdle(controller));
    INFO((controller.notice() ? controller.notice()->text : ""));
    CHECK(std::filesystem::exists(to / "out" / controller.tracks()[0].file));
    CHECK(std::filesystem::exists(to / "notes.txt"));
    CHECK_THAT(controller.notice()->text, Catch::Contains("what was done: notes.txt"));
    CHECK(std::filesystem::exists(to / "sums" / "1 as recorded.wav"));
    CHECK(std::filesystem::exists(to / "sums" / "2 mine.wav"));
    CHECK(std::filesystem::exists(to / "sums" / "3 dark.wav"));
    CHECK(std::filesystem::exists(to / "sums" / "sums.txt"));
}

TEST_CASE("while a dialogue is open no key reaches what lies below it") {
    BandWindow window;
    auto& controller = window.controller();
    controller.selectTrack(1);
    juce::Component dialogue;
    dialogue.setVisible(true);
    window.main.addAndMakeVisible(dialogue);
    dialogue.enterModalState(false);
    CHECK_FALSE(window.typed('f'));
    CHECK_FALSE(controller.adjustments()[1].flip);
    dialogue.exitModalState(0);
    window.main.removeChildComponent(&dialogue);
    CHECK(window.typed('f'));
    CHECK(controller.adjustments()[1].flip);
}

TEST_CASE("all that can be reached has a title for those who do not see it") {
    BandWindow window;
    const std::function<void(juce::Component&)> look = [&](juce::Component& component) {
        if (component.getWantsKeyboardFocus() && component.isVisible()) {
            const auto* button = dynamic_cast<juce::Button*>(&component);
            INFO(component.getName().toStdString() << " at " << component.getBounds().toString().toStdString());
            CHECK((component.getTitle().isNotEmpty() || (button && button->getButtonText().isNotEmpty()) ||
                   dynamic_cast<juce::Viewport*>(&component) != nullptr));
        }
        for (auto* child : component.getChildren())
            look(*child);
    };
    look(window.main);
    CHECK(window.main.trackPanel().row(1)->getTitle().contains("under"));
}
