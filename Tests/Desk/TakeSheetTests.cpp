#include "Desk/TakeSheet.h"

#include "TakeFixture.h"

using namespace spillwright;
using namespace spillwright::desk;
using namespace spillwright::test;

namespace {

/// The window with its sheet, once the takes are compared and can be heard.
struct TakesWindow : BandWindow {
    TemporaryFolder folder;
    TakesWindow() : BandWindow(spillingBand::write) {
        secondTake::write(folder.path());
        main.setSize(1280, 800);
        main.compareWith(juce::File(folder.path().string()));
        REQUIRE(dynamic_cast<TakeSheet*>(main.sheet()));
        REQUIRE(follow([&] { return sheet().otherTake().settled() && !controller().readingLoudness(); }));
    }
    TakeSheet& sheet() { return dynamic_cast<TakeSheet&>(*main.sheet()); }
    Controller& second() { return sheet().otherTake().controller(); }
    bool follow(const std::function<bool()>& condition) {
        return waitFor(controller(), [&] {
            sheet().follow();
            return condition();
        });
    }
    bool press(int code, juce::juce_wchar character = 0) {
        return main.sheet()->keyPressed(juce::KeyPress(code, juce::ModifierKeys(), character));
    }
    void choose(const std::string& name, const std::string& other) {
        controller().selectPair(trackCalled(controller(), name), trackCalled(controller(), other));
    }
    std::pair<std::string, std::string> chosenInSecond() {
        const auto& tracks = second().tracks();
        return {tracks[static_cast<std::size_t>(second().selectedTrack())].name,
                tracks[static_cast<std::size_t>(second().partnerTrack())].name};
    }
    TakeFigure figure(const std::string& name) {
        for (const auto& one : sheet().figures())
            if (one.name == name) return one;
        FAIL("there is no figure " << name);
        return {};
    }
};

} // namespace

TEST_CASE("the sheet of two takes says what was changed, and the figures of the chosen pair", "[long]") {
    TakesWindow window;
    auto& sheet = window.sheet();
    CHECK(sheet.stateInWords().find("Something was changed") == 0);
    CHECK(sheet.verdict().text().contains("kick out: the other way up than in A"));
    CHECK(sheet.verdict().text().contains("talkback"));

    window.choose("kick out", "kick in");
    CHECK(window.figure("polarity").first == "inverted");
    CHECK(window.figure("polarity").second == "same");
    CHECK(window.figure("polarity").stands == true);
    // A microphone 0.625 ms farther away, in both takes.
    CHECK(window.figure("arrival, ms").first.find("0.6") != std::string::npos);
    CHECK(window.figure("arrival, ms").stands != true);
    CHECK(window.figure("gain as recorded, dB").stands == true);
    CHECK(window.figure("level, dBFS").difference.find("\u2212") == 0); // softer

    window.choose("trumpet", "ride");
    CHECK(window.figure("polarity").stands != true);
    CHECK(window.figure("coherence").stands != true);
}

TEST_CASE("the sheet opens on what was changed, marks it, and a line of the verdict chooses what it is about",
          "[long]") {
    TakesWindow window;
    auto& sheet = window.sheet();
    const int out = trackCalled(window.controller(), "kick out"), there = trackCalled(window.second(), "kick out");
    CHECK(window.controller().selectedTrack() == out);
    CHECK(window.controller().partnerTrack() >= 0);
    CHECK(sheet.grid(false).noted().contains(out));
    CHECK(sheet.grid(true).noted().contains(there));
    CHECK_FALSE(sheet.grid(false).noted().contains(trackCalled(window.controller(), "ride")));

    window.choose("ride", "far");
    int lines = 0;
    for (int k = 0; k < sheet.verdict().lineCount(); ++k) {
        auto& line = sheet.verdict().line(k);
        if (!line.getTitle().startsWith("kick out: the other way up")) continue;
        ++lines;
        CHECK(line.isEnabled());
        CHECK(line.getWantsKeyboardFocus());
        line.onClick();
    }
    CHECK(lines == 1);
    CHECK(window.controller().selectedTrack() == out);
}

TEST_CASE("help is read above the comparison, and leads back to it", "[long]") {
    TakesWindow window;
    auto* sheet = &window.sheet();
    window.choose("ride", "far");
    const auto before = window.chosenInSecond();
    for (const auto& [code, typed, title] :
         {std::tuple(juce::KeyPress::F1Key, 0, "What you see"),
          std::tuple(static_cast<int>('?'), static_cast<int>('?'), "Keys of two takes compared")}) {
        CHECK(window.press(code, static_cast<juce::juce_wchar>(typed)));
        REQUIRE(window.main.sheet() == sheet);
        REQUIRE(sheet->readSheet());
        CHECK(sheet->readSheet()->getTitle() == title);
        CHECK(sheet->readSheet()->getBounds() == sheet->getLocalBounds());
        CHECK(window.press('f', 'f')); // nothing below it listens
        CHECK_FALSE(
            window.controller().adjustments()[static_cast<std::size_t>(window.controller().selectedTrack())].flip);
        CHECK(window.press(juce::KeyPress::escapeKey));
        CHECK_FALSE(sheet->readSheet());
        REQUIRE(window.main.sheet() == sheet);
        CHECK(sheet->otherTake().comparison());
        CHECK(window.chosenInSecond() == before);
    }
    CHECK(window.press('o', 'o')); // what is shown elsewhere does not end it
    REQUIRE(window.main.sheet() == sheet);
    CHECK(window.press(juce::KeyPress::escapeKey));
    CHECK_FALSE(window.main.sheet());
}

TEST_CASE("the choice of another take begins at the last one", "[long]") {
    TakesWindow window;
    const juce::File last(window.folder.path().string());
    CHECK(window.main.whereTakesAre() == last.getParentDirectory()); // another one than that is wanted
    CHECK(window.press(juce::KeyPress::escapeKey));
    CHECK(window.main.whereTakesAre() == last);
    TemporaryFolder elsewhere;
    std::filesystem::create_directory(elsewhere / "gone");
    window.main.compareWith(juce::File((elsewhere / "gone").string()));
    CHECK(window.press(juce::KeyPress::escapeKey));
    std::filesystem::remove(elsewhere / "gone");
    CHECK(window.main.whereTakesAre() == juce::File(elsewhere.path().string()));
    TemporaryFolder another;
    writeSmallBand(another.path());
    window.controller().openFolder(another.path());
    REQUIRE(waitUntilIdle(window.controller()));
    CHECK(window.main.whereTakesAre() == juce::File(another.path().string()).getParentDirectory());
}

TEST_CASE("what does not stand says why in words", "[long]") {
    TakesWindow window;
    window.choose("kick out", "kick in");
    CHECK(window.figure("gain as recorded, dB").why == "yes");
    CHECK(window.figure("polarity").why == "yes");
    window.choose("trumpet", "ride");
    CHECK(window.figure("level, dBFS").why == "by playing"); // all of the take is softer
    CHECK(window.figure("arrival, ms").why == "no track changed");
    const auto why = window.figure("coherence").why;
    CHECK((why.find("from 0.") == 0 || why == "too few moments"));
}

TEST_CASE("a flip in the sheet is one of both takes, seen in both grids and heard in the second", "[long]") {
    TakesWindow window;
    const int trumpet = trackCalled(window.controller(), "trumpet"), there = trackCalled(window.second(), "trumpet");
    window.choose("trumpet", "ride");
    window.press('b', 'b');
    REQUIRE(window.follow([&] { return window.sheet().otherTake().secondHeard(); }));
    window.press('f', 'f');
    CHECK(window.controller().adjustments()[static_cast<std::size_t>(trumpet)].flip);
    CHECK(window.second().adjustments()[static_cast<std::size_t>(there)].flip);
    window.controller().undo();
    CHECK_FALSE(window.second().adjustments()[static_cast<std::size_t>(there)].flip);
}

TEST_CASE("tracks are matched by hand in the sheet, and the takes compared anew", "[long]") {
    TakesWindow window;
    auto& sheet = window.sheet();
    const int ride = trackCalled(window.controller(), "ride");
    REQUIRE(sheet.matchButton().isEnabled());
    sheet.matchButton().onClick();
    REQUIRE(sheet.matching());
    auto& choice = sheet.matching()->choice(ride);
    CHECK(choice.getText() == "ride");
    // A track of B is one of A's at most.
    choice.setSelectedId(sheet.matching()->choice(trackCalled(window.controller(), "trumpet")).getSelectedId(),
                         juce::sendNotificationSync);
    CHECK(choice.getText() == "trumpet");
    CHECK(sheet.matching()->choice(trackCalled(window.controller(), "trumpet")).getText() == "none of them");
    sheet.matching()->goButton().onClick();
    REQUIRE(window.follow([&] { return sheet.otherTake().settled(); }));
    CHECK(sheet.otherTake().inSecond(ride) == trackCalled(window.second(), "trumpet"));
    CHECK_FALSE(sheet.otherTake().inSecond(trackCalled(window.controller(), "trumpet")));
    CHECK(sheet.verdict().text().contains("in one of the takes alone: trumpet"));
    window.press(juce::KeyPress::escapeKey); // no message loop closes the list of matches here
    CHECK_FALSE(sheet.matching());
    window.press('b', 'b'); // heard all the same
    REQUIRE(window.follow([&] { return sheet.otherTake().secondHeard(); }));
}

TEST_CASE("another folder is asked for from the sheet, and without a recording Alt T says what to do", "[long]") {
    TakesWindow window;
    int asked = 0;
    window.sheet().onOtherFolder = [&] { ++asked; };
    window.sheet().otherFolderButton().onClick();
    CHECK(asked == 1);

    Controller controller(1);
    Player player;
    TemporaryFolder settings;
    Preferences preferences{juce::File(settings.path().string())};
    MainComponent empty{MainComponent::Parts{controller, player, nullptr, preferences}};
    empty.keyPressed(juce::KeyPress('t', juce::ModifierKeys::altModifier, 0));
    REQUIRE(controller.notice());
    CHECK(controller.notice()->text.find("Open a recording first") == 0);
}

TEST_CASE("takes that share no sound get no verdict of nothing changed", "[long]") {
    BandWindow window(spillingBand::write);
    TemporaryFolder folder;
    secondTake::writeOtherPlaying(folder.path());
    window.main.setSize(1280, 800);
    window.main.compareWith(juce::File(folder.path().string()));
    auto& sheet = dynamic_cast<TakeSheet&>(*window.main.sheet());
    REQUIRE(waitFor(window.controller(), [&] {
        sheet.follow();
        return sheet.otherTake().comparison().has_value();
    }));
    CHECK(sheet.stateInWords().find("Whether anything was changed cannot be told: is it the same set-up?") == 0);
    CHECK(sheet.verdict().text().startsWith("whether anything was changed cannot be told"));
}

TEST_CASE("the two grids have one cursor, by keys, by clicks and by pointing", "[long]") {
    TakesWindow window;
    window.choose("trumpet", "kick in");
    CHECK(window.chosenInSecond().first == "trumpet");
    CHECK(window.chosenInSecond().second == "kick in");

    auto& grid = window.sheet().grid(true);
    const auto cellIn = [](GridView& shown, const Controller& take, const char* a, const char* b) {
        return *shown.cellOf(trackCalled(take, a), trackCalled(take, b));
    };
    click(grid, grid.cellArea(cellIn(grid, window.second(), "ride", "far")).getCentre());
    const auto chosen = std::minmax({window.controller().selectedTrack(), window.controller().partnerTrack()});
    CHECK(chosen.first == std::min(trackCalled(window.controller(), "ride"), trackCalled(window.controller(), "far")));
    CHECK(chosen.second == std::max(trackCalled(window.controller(), "ride"), trackCalled(window.controller(), "far")));

    auto& firstGrid = window.sheet().grid(false);
    const auto pointed = cellIn(firstGrid, window.controller(), "trumpet", "kick out");
    const auto place = firstGrid.cellArea(pointed).getCentre();
    firstGrid.mouseMove(mouseAt(firstGrid, place, place));
    CHECK(grid.pointedAt() == cellIn(grid, window.second(), "trumpet", "kick out"));
    firstGrid.mouseExit(mouseAt(firstGrid, place, place));
    CHECK_FALSE(grid.pointedAt());

    // What the other take alone has moves nothing in the first.
    const auto before = window.controller().selectedTrack();
    click(grid, grid.cellArea(cellIn(grid, window.second(), "talkback", "far")).getCentre());
    CHECK(window.controller().selectedTrack() == before);

    window.choose("far", "kick in");
    window.press(juce::KeyPress::downKey);
    CHECK(window.controller().selectedTrack() != trackCalled(window.controller(), "far"));
}

TEST_CASE("keys hear the one take or the other, and closing the sheet goes back to the first", "[long]") {
    TakesWindow window;
    const auto length = window.player.loopTo();
    window.player.seek(10 * 48000);
    CHECK(window.press('k', 'k'));
    REQUIRE(window.follow([&] { return window.sheet().otherTake().secondHeard(); }));
    CHECK(window.player.loopTo() > length);
    CHECK(window.sheet().hearButton(true).getToggleState());
    CHECK_FALSE(window.sheet().hearButton(false).getToggleState());
    window.press(juce::KeyPress::spaceKey, ' ');
    CHECK(window.player.playing());
    window.press('a', 'a');
    REQUIRE(window.follow([&] { return !window.sheet().otherTake().secondHeard(); }));
    CHECK(window.player.playing());
    window.press('b', 'b');
    REQUIRE(window.follow([&] { return window.sheet().otherTake().secondHeard(); }));
    window.press(juce::KeyPress::escapeKey);
    CHECK_FALSE(window.main.sheet());
    CHECK(window.player.loopTo() == length);
    CHECK_FALSE(window.player.besideReady());
}

TEST_CASE("another recording that is opened closes the comparison of takes", "[long]") {
    TakesWindow window;
    window.press('b', 'b');
    REQUIRE(window.follow([&] { return window.sheet().otherTake().secondHeard(); }));
    TemporaryFolder folder;
    writeChangingBand(folder.path());
    window.main.openFolder(juce::File(folder.path().string()));
    REQUIRE(waitUntilIdle(window.controller()));
    CHECK_FALSE(window.main.sheet());
    CHECK(window.player.loopTo() == 48000 * 30);
    CHECK_FALSE(window.player.besideReady());
}
