#include "DeskFixture.h"

#include "Desk/Commands.h"
#include "Desk/Palette.h"

#include <algorithm>

using namespace spillwright;
using namespace spillwright::desk;
using namespace spillwright::test;

namespace {

using Order = std::vector<int>;

struct ListWindow : BandWindow {
    TrackPanel& panel() { return main.trackPanel(); }
    int topOf(int track) { return panel().row(track)->getY(); }
    bool alt(int code) { return key(code, 0, juce::ModifierKeys::altModifier); }
    void type(const char* text) {
        REQUIRE(panel().field());
        panel().field()->setText(text);
        panel().field()->onReturnKey();
    }
};

} // namespace

TEST_CASE("a track is called something else here, everywhere it is shown, and its file stays what it is") {
    ListWindow window;
    auto& controller = window.controller();
    controller.selectTrack(1);
    CHECK(window.key(juce::KeyPress::F2Key, 0));
    window.type("snare under");
    CHECK(controller.shownName(1) == "snare under");
    CHECK(controller.tracks()[1].name == "under");
    CHECK(window.panel().row(1)->getTitle().contains("snare under"));
    CHECK(controller.undoWords() == "Undo name of 'under' to 'snare under'");
    controller.selectTrack(2);
    window.panel().type(TrackField::name);
    window.type("snare under"); // another track's
    CHECK(controller.shownName(2) == "room");
    REQUIRE(controller.notice());
    CHECK_THAT(controller.notice()->text, Catch::Contains("another track's name"));
    controller.undo();
    CHECK(controller.shownName(1) == "under");
    controller.redo();
    controller.renameTrack(1, "");
    CHECK(controller.shownName(1) == "under");
}

TEST_CASE("tracks are moved in the list by drag and by key, and up and down follow it") {
    ListWindow window;
    auto& controller = window.controller();
    CHECK(controller.trackList().order == Order{0, 1, 2, 3});
    auto* row = window.panel().row(3);
    const auto name = fieldArea(TrackField::name, row->getLocalBounds().toFloat()).getCentre();
    const auto high = static_cast<float>(row->getHeight());
    drag(*row, name, name.translated(0.0f, -2.6f * high));
    CHECK(controller.trackList().order == Order{0, 3, 1, 2});
    CHECK(window.topOf(3) == row->getHeight());
    CHECK(window.topOf(1) == 2 * row->getHeight());
    controller.selectTrack(0);
    CHECK(window.key(juce::KeyPress::downKey, 0));
    CHECK(controller.selectedTrack() == 3);
    CHECK(window.alt(juce::KeyPress::downKey));
    CHECK(controller.trackList().order == Order{0, 1, 3, 2});
    CHECK(window.key(juce::KeyPress::endKey, 0));
    CHECK(controller.selectedTrack() == 2);
    controller.undo();
    controller.undo();
    CHECK(controller.trackList().order == Order{0, 1, 2, 3});
    CHECK(window.topOf(3) == 3 * row->getHeight());
}

TEST_CASE("chosen tracks are grouped under a name that folds") {
    ListWindow window;
    auto& controller = window.controller();
    CHECK(window.alt('g')); // one alone is no group
    CHECK(controller.trackList().groups.empty());
    controller.selectTrack(3);
    controller.toggleTogether(1);
    CHECK(window.alt('g'));
    REQUIRE(controller.trackList().groups.size() == 1);
    CHECK(controller.trackList().order == Order{0, 1, 3, 2});
    CHECK(controller.trackList().groups[0].name == "under and others");
    const int height = window.panel().row(0)->getHeight();
    CHECK(window.panel().groupRow(0)->getY() == height);
    CHECK(window.topOf(1) == 2 * height);
    CHECK(window.topOf(2) == 4 * height);
    window.panel().typeGroup(0);
    window.type("drums");
    CHECK(controller.trackList().groups[0].name == "drums");

    controller.leaveTogether();
    click(*window.panel().groupRow(0), {30.0f, 8.0f});
    CHECK(controller.trackList().groups[0].folded);
    CHECK_FALSE(window.panel().row(1)->isVisible());
    CHECK_FALSE(window.panel().row(3)->isVisible());
    CHECK(window.topOf(2) == 2 * window.panel().row(2)->getHeight());
    controller.selectTrack(0);
    CHECK(window.key(juce::KeyPress::downKey, 0)); // past what is folded
    CHECK(controller.selectedTrack() == 2);
    controller.selectTrack(3);
    CHECK(window.alt('f'));
    CHECK(window.panel().row(3)->isVisible());
    CHECK(window.alt('g'));
    CHECK(controller.trackList().groups.empty());
    CHECK(controller.undoWords() == "Undo group 'drums' dissolved");
}

TEST_CASE("labels go round, of all chosen tracks alike") {
    ListWindow window;
    auto& controller = window.controller();
    controller.selectTrack(0);
    controller.toggleTogether(2);
    for (int label = 1; label <= TrackList::labelCount; ++label) {
        CHECK(window.alt('l'));
        CHECK(controller.trackList().labels == std::vector<int>{label, 0, label, 0});
    }
    CHECK(window.alt('l'));
    CHECK(controller.trackList().labels == std::vector<int>(4, 0));
}

TEST_CASE("the list comes back with its session, of the tracks that are there") {
    MeasuredBand band;
    auto& controller = band.controller;
    controller.renameTrack(2, "the room");
    controller.moveTrack(3, 0);
    controller.selectTrack(1);
    controller.labelNext();
    controller.toggleTogether(2);
    controller.toggleGroup();
    controller.toggleFold(0);
    const auto list = controller.trackList();
    const TemporaryFolder folder;
    REQUIRE(controller.saveSession(folder.path() / "list"));
    CHECK_FALSE(controller.sessionChanged());
    Controller other{2};
    const auto file = folder.path() / "list.spillwright";
    other.openSession(file, std::nullopt, {{file}});
    REQUIRE(waitUntilIdle(other));
    CHECK(other.trackList() == list);
    other.moveTrack(0, 3);
    CHECK(other.sessionChanged());
}
