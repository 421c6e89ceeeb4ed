#include "DeskFixture.h"

using namespace spillwright;
using namespace spillwright::desk;
using namespace spillwright::test;

namespace {

/// Two sounds, each on three tracks in turn: 1, 3, 5 hear the one and 2, 4, 6 the other.
void writeTwoRooms(const std::filesystem::path& folder) {
    const std::size_t length = 48000 * 12;
    const std::vector<float> sounds[] = {noise(length, 1), noise(length, 2)};
    for (int track = 0; track < 6; ++track)
        writeWav(folder / (std::to_string(track + 1) + (track % 2 ? " hall.wav" : " booth.wav")),
                 mixed(delayed(sounds[track % 2], 10 * track, 0.9f),
                       noise(length, static_cast<unsigned>(20 + track), 0.05f * static_cast<float>(1 + track))));
}

juce::MouseEvent withMods(const juce::MouseEvent& event, int mods) {
    return {event.source,
            event.position,
            juce::ModifierKeys(juce::ModifierKeys::leftButtonModifier | mods),
            event.pressure,
            event.orientation,
            event.rotation,
            event.tiltX,
            event.tiltY,
            event.eventComponent,
            event.eventComponent,
            event.eventTime,
            event.mouseDownPosition,
            event.eventTime,
            1,
            false};
}

void clickRow(BandWindow& window, int track, int mods) {
    auto& row = *window.main.trackPanel().row(track);
    const auto place = fieldArea(TrackField::name, row.getLocalBounds().toFloat()).getCentre();
    row.mouseDown(withMods(mouseAt(row, place, place), mods));
    row.mouseUp(withMods(mouseAt(row, place, place), mods));
}

constexpr int shift = juce::ModifierKeys::shiftModifier, ctrl = juce::ModifierKeys::ctrlModifier;

} // namespace

TEST_CASE("the key of the order goes round, by likeness coherent tracks are neighbours, and the header says it") {
    BandWindow window(writeTwoRooms);
    auto& grid = window.main.gridView();
    CHECK(grid.shownTracks() == std::vector<int>{0, 1, 2, 3, 4, 5});
    CHECK(grid.orderButton().getButtonText() == "by file");
    CHECK(window.typed('/'));
    CHECK(grid.orderButton().getButtonText() == "by likeness");
    int changes = 0;
    const auto order = grid.shownTracks();
    for (std::size_t i = 1; i < order.size(); ++i)
        changes += order[i] % 2 != order[i - 1] % 2;
    CHECK(changes == 1);
    // A square stands for the pair that its row and its column say, in any order.
    const GridView::Cell corner{5, 0};
    click(grid, grid.cellArea(corner).getCentre());
    CHECK(window.controller().selectedTrack() == order[5]);
    CHECK(window.controller().partnerTrack() == order[0]);
    CHECK(grid.cellOf(order[0], order[5]) == corner);
    CHECK(window.typed('/'));
    CHECK(grid.orderButton().getButtonText() == "by spill");
    CHECK(window.typed('/'));
    CHECK(grid.shownTracks() == std::vector<int>{0, 1, 2, 3, 4, 5});
}

TEST_CASE("the grid and the map follow the list of tracks, and the names that are given there") {
    BandWindow window(writeTwoRooms);
    auto& controller = window.controller();
    auto& grid = window.main.gridView();
    controller.moveTrack(0, 5);
    CHECK(grid.shownTracks() == std::vector<int>{1, 2, 3, 4, 5, 0});
    CHECK(grid.orderButton().getButtonText() == "as listed");
    REQUIRE(waitFor(controller, [&] { return controller.withSources() && !controller.hearingSources(); }));
    auto& map = window.main.spillView();
    if (controller.sourceCount() > 0) {
        CHECK(map.cellArea({0, 0}).getY() > map.cellArea({5, 0}).getY());
        CHECK(map.cellAt(map.cellArea({0, 0}).getCentre()) == SpillView::Cell{0, 0});
    }
    controller.undo();
    CHECK(grid.shownTracks() == std::vector<int>{0, 1, 2, 3, 4, 5});
    CHECK(grid.orderButton().getButtonText() == "by file");
    const float before = grid.cellArea({0, 0}).getX();
    controller.renameTrack(0, "a name that is longer than any of the others");
    CHECK(grid.cellArea({0, 0}).getX() >= before);
}

TEST_CASE("by spill the track with the largest share comes first, and those without one last") {
    BandWindow window(writeTwoRooms);
    auto& controller = window.controller();
    REQUIRE(waitFor(controller, [&] { return !controller.hearingSources(); }));
    window.typed('/');
    window.typed('/');
    const auto& order = window.main.gridView().shownTracks();
    for (std::size_t i = 1; i < order.size(); ++i) {
        const auto before = controller.spillShare(order[i - 1]), share = controller.spillShare(order[i]);
        if (share) {
            REQUIRE(before);
            CHECK(*before >= *share);
        }
    }
    CHECK(order != std::vector<int>{0, 1, 2, 3, 4, 5});
}

TEST_CASE(
    "zoomed in, squares and names can be read, the wheel and a drag scroll, and zooming out ends where all fits") {
    BandWindow window([](const std::filesystem::path& folder) {
        const auto sound = noise(48000 * 6, 1);
        for (int track = 10; track < 50; ++track)
            writeWav(folder / (std::to_string(track) + " microphone.wav"),
                     mixed(sound, noise(48000 * 6, static_cast<unsigned>(track), 0.3f)));
    });
    auto& grid = window.main.gridView();
    window.controller().selectPair(1, 0);
    REQUIRE(grid.fits());
    const float fit = grid.cellSize();
    CHECK(fit < GridView::smallestZoomed);
    // Squares too small for names take the room that names would need: what is left beside them is head, foot and
    // edges.
    CHECK(40.0f * fit > 0.95f * static_cast<float>(std::min(grid.getHeight() - 96, grid.getWidth() - 30)));
    const auto alt = [&](char key) { window.key(key, 0, juce::ModifierKeys::altModifier); };
    alt('+');
    CHECK_FALSE(grid.fits());
    CHECK(grid.cellSize() >= GridView::smallestZoomed);
    for (int i = 0; i < 20; ++i)
        alt('+');
    const float largest = grid.cellSize();
    CHECK(largest <= 44.0f);
    alt('+');
    CHECK(grid.cellSize() == largest);
    CHECK(grid.getLocalBounds().toFloat().contains(grid.cellArea({1, 0}))); // the chosen one stays in view
    // The last pair is chosen with keys: the grid follows.
    window.controller().selectPair(39, 38);
    CHECK(grid.getLocalBounds().toFloat().contains(grid.cellArea({39, 38})));
    const auto before = grid.cellArea({39, 38});
    const juce::Point<float> middle(60.0f, 320.0f);
    juce::MouseWheelDetails wheel{0.0f, 0.5f, false, false, false};
    grid.mouseWheelMove(mouseAt(grid, middle, middle), wheel);
    CHECK(grid.cellArea({39, 38}).getY() > before.getY());
    const auto scrolled = grid.cellArea({39, 38});
    drag(grid, middle, middle.translated(40.0f, 30.0f));
    CHECK(grid.cellArea({39, 38}).getX() == Approx(scrolled.getX() + 40.0f));
    CHECK(grid.cellArea({39, 38}).getY() == Approx(scrolled.getY() + 30.0f));
    CHECK(window.controller().selectedTrack() == 39); // a drag chooses nothing
    // Under the mouse stays what was there.
    const auto under = grid.cellAt(middle);
    REQUIRE(under);
    wheel.deltaY = -0.1f;
    grid.mouseWheelMove(withMods(mouseAt(grid, middle, middle), ctrl), wheel);
    CHECK(grid.cellSize() < largest);
    CHECK(grid.cellAt(middle) == under);
    for (int i = 0; i < 20; ++i)
        alt('-');
    CHECK(grid.fits());
    CHECK(grid.cellSize() == fit);
    CHECK(grid.cellArea({0, 0}).getX() == 14.0f); // scrolled back
}

TEST_CASE("tracks chosen with Shift or Ctrl are shown alone, a word says so, and Esc or a click goes back to all") {
    BandWindow window(writeTwoRooms);
    auto& controller = window.controller();
    auto& grid = window.main.gridView();
    controller.selectPair(1, 0);
    CHECK_FALSE(grid.allButton().isVisible());
    clickRow(window, 3, shift);
    CHECK(grid.shownTracks() == std::vector<int>{1, 2, 3});
    CHECK(grid.allButton().isVisible());
    CHECK(grid.allButton().getButtonText() == "3 of 6 tracks");
    CHECK(grid.cellOf(controller.selectedTrack(), controller.partnerTrack()));
    clickRow(window, 5, ctrl);
    CHECK(grid.shownTracks() == std::vector<int>{1, 2, 3, 5});
    clickRow(window, 2, ctrl);
    CHECK(grid.shownTracks() == std::vector<int>{1, 3, 5});
    // Up and down stay within them.
    controller.selectTrack(1);
    window.key(juce::KeyPress::downKey, 0);
    CHECK(controller.selectedTrack() == 3);
    window.key(juce::KeyPress::downKey, 0);
    window.key(juce::KeyPress::downKey, 0);
    CHECK(controller.selectedTrack() == 5);
    CHECK(window.typed('f')); // what is set is set as ever
    CHECK(controller.adjustments()[5].flip);
    CHECK(grid.shownTracks().size() == 3);
    controller.dismissNotice();
    CHECK(window.key(juce::KeyPress::escapeKey, 0));
    CHECK(grid.shownTracks().size() == 6);
    CHECK_FALSE(grid.allButton().isVisible());

    controller.selectTrack(2);
    window.key(juce::KeyPress::downKey, 0, shift);
    window.key(juce::KeyPress::downKey, 0, shift);
    CHECK(controller.together() == std::vector<int>{2, 3, 4});
    CHECK(controller.selectedTrack() == 4);
    window.key(juce::KeyPress::upKey, 0, shift);
    CHECK(controller.together() == std::vector<int>{2, 3});
    window.key(juce::KeyPress::upKey, 0, shift);
    CHECK(controller.together().empty()); // one is no choice of several
    window.key(juce::KeyPress::upKey, 0, shift);
    CHECK(controller.together() == std::vector<int>{1, 2});
    grid.allButton().onClick();
    CHECK(controller.together().empty());
    clickRow(window, 0, ctrl);
    CHECK(controller.together() == std::vector<int>{0, 1});
    clickRow(window, 4, 0);
    CHECK(controller.together().empty());
    CHECK(controller.selectedTrack() == 4);
}
