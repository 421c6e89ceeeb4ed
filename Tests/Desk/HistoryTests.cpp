#include "DeskFixture.h"

#include "Desk/HistorySheet.h"

using namespace spillwright;
using namespace spillwright::desk;
using namespace spillwright::test;

namespace {

/// The small band, its last two tracks a stereo pair.
void writeLinkedBand(const std::filesystem::path& folder) {
    writeSmallBand(folder);
    std::filesystem::rename(folder / "3 room.wav", folder / "3 room L.wav");
    std::filesystem::rename(folder / "4 overdub.wav", folder / "3 room R.wav");
}

std::vector<std::string> wordsOf(const Controller& controller) {
    std::vector<std::string> all;
    for (int k = 0; k < controller.historySize(); ++k)
        all.push_back(controller.historyWords(k));
    return all;
}

} // namespace

TEST_CASE("every step of undo says what it does") {
    MeasuredBand band(writeLinkedBand);
    auto& controller = band.controller;
    CHECK(controller.undoWords().empty());
    CHECK(controller.redoWords().empty());
    controller.flip(1);
    controller.flip(1);
    controller.setNudge(2, milliseconds(1.2));
    controller.setNudge(2, Seconds(0.0));
    controller.toggleLinks();
    controller.setNudge(3, milliseconds(-0.5));
    controller.setGain(0, Decibels(-4.0));
    controller.setHighPass(0, Hertz(80.0), Slope::dB24);
    controller.setHighPass(0, std::nullopt);
    controller.setPan(1, -0.3);
    controller.setPan(1, std::nullopt);
    controller.toggleMute(0);
    controller.toggleMute(0);
    controller.toggleHold(1);
    controller.toggleHold(1);
    controller.keep(VersionKind::keptFirst);
    controller.hear(VersionKind::asRecorded);
    controller.hear(VersionKind::keptFirst);
    controller.toggleLinks();
    CHECK(wordsOf(controller) == std::vector<std::string>{
                                     "as it was opened",
                                     "flip of 'under'",
                                     "flip of 'under' off",
                                     "nudge of 'room L' and 'room R' to +1.20 ms",
                                     "nudge of 'room L' and 'room R' to 0",
                                     "links off",
                                     "nudge of 'room R' to \u22120.50 ms",
                                     "gain of 'close' to \u22124.0 dB",
                                     "high-pass of 'close' to 80 Hz, 24 dB an octave",
                                     "high-pass of 'close' off",
                                     "pan of 'under' to L30",
                                     "pan of 'under' to C",
                                     "mute of 'close'",
                                     "mute of 'close' off",
                                     "hold of 'under'",
                                     "hold of 'under' off",
                                     "kept under 6",
                                     "version 1: as recorded",
                                     "version 6: kept",
                                     "links on",
                                 });
    CHECK(controller.undoWords() == "Undo links on");
    controller.undo();
    CHECK(controller.notice()->text == "Undone: links on");
    CHECK(controller.undoWords() == "Undo version 6: kept");
    CHECK(controller.redoWords() == "Redo links on");
    controller.redo();
    CHECK(controller.notice()->text == "Done again: links on");
    CHECK(controller.redoWords().empty());
}

TEST_CASE("a proposal that is heard and an even balance have their words, what changes nothing is no step") {
    MeasuredBand band;
    auto& controller = band.controller;
    controller.setNudge(2, Seconds(0.0));
    controller.setGain(2, Decibels(0.0));
    controller.setHighPass(2, std::nullopt);
    CHECK(controller.historySize() == 1);
    controller.makeEquallyLoud();
    CHECK(controller.undoWords() == "Undo all equally loud");
    controller.hear(VersionKind::nudgesTo1ms);
    REQUIRE(waitUntilIdle(controller));
    CHECK(controller.undoWords() == "Undo version 3: flips, nudges to 1 ms");
}

TEST_CASE("a gesture is one step whose words tell its end") {
    MeasuredBand band;
    auto& controller = band.controller;
    for (int step = 1; step <= 10; ++step)
        controller.setNudge(2, milliseconds(0.1 * step), true);
    controller.endGesture();
    CHECK(controller.historySize() == 2);
    CHECK(controller.undoWords() == "Undo nudge of 'room' to +1.00 ms");
    // A gesture after an undo is a step of its own, in the place of what was undone.
    controller.undo();
    controller.setNudge(1, milliseconds(0.3), true);
    CHECK(controller.historySize() == 2);
    CHECK(controller.undoWords() == "Undo nudge of 'under' to +0.30 ms");
    CHECK(controller.adjustments()[2].nudge.value == 0.0);
}

TEST_CASE("any place of the history can be gone to, and what was undone stays until something new is done") {
    MeasuredBand band;
    auto& controller = band.controller;
    controller.flip(1);
    controller.setGain(0, Decibels(3.0));
    controller.toggleMute(2);
    const auto last = controller.adjustments();
    CHECK(controller.historyPlace() == 3);
    controller.goToHistory(1);
    CHECK(controller.adjustments()[1].flip);
    CHECK(controller.adjustments()[0].gain.value == 0.0);
    CHECK_FALSE(controller.adjustments()[2].muted);
    CHECK(controller.historySize() == 4);
    controller.goToHistory(3);
    CHECK(controller.adjustments() == last);
    controller.goToHistory(0);
    CHECK(controller.adjustments() == std::vector<TrackAdjustment>(4));
    CHECK_FALSE(controller.canUndo());
    controller.goToHistory(-1);
    controller.goToHistory(4);
    CHECK(controller.historyPlace() == 0);
    controller.flip(0);
    CHECK(controller.historySize() == 2);
    CHECK_FALSE(controller.canRedo());
}

TEST_CASE("the sheet of what was done lists it, and goes there by keys and by a click") {
    BandWindow window;
    auto& controller = window.controller();
    controller.flip(1);
    controller.toggleMute(2);
    CHECK(window.key('h', 0, juce::ModifierKeys::ctrlModifier));
    auto* sheet = dynamic_cast<HistorySheet*>(window.main.sheet());
    REQUIRE(sheet);
    CHECK(sheet->lineText(1) == "1   flip of 'under'");
    CHECK(sheet->lineText(2) == "2   mute of 'room'   heard now");
    auto& list = sheet->steps();
    CHECK(list.getSelectedRow() == 2);
    CHECK(list.keyPressed(juce::KeyPress(juce::KeyPress::upKey)));
    CHECK(controller.historyPlace() == 1);
    CHECK_FALSE(controller.adjustments()[2].muted);
    CHECK(sheet->lineText(1) == "1   flip of 'under'   heard now");
    CHECK(list.keyPressed(juce::KeyPress(juce::KeyPress::upKey)));
    CHECK_FALSE(controller.adjustments()[1].flip);
    CHECK(list.keyPressed(juce::KeyPress(juce::KeyPress::endKey)));
    CHECK(controller.adjustments()[2].muted);
    list.selectRow(1); // as a click does
    CHECK(controller.historyPlace() == 1);
    sheet->keyPressed(juce::KeyPress('z', juce::ModifierKeys(juce::ModifierKeys::ctrlModifier), 0));
    CHECK(controller.historyPlace() == 0);
    CHECK(list.getSelectedRow() == 0);
    CHECK(list.keyPressed(juce::KeyPress(juce::KeyPress::returnKey)));
    CHECK_FALSE(window.main.sheet());
}
