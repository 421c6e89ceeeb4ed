#pragma once

#include "Desk/Controller.h"
#include "Desk/KeyButton.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <functional>
#include <optional>
#include <string>

namespace spillwright::desk {

/// Which source is heard where: a row a track, a column a source. The disc's size is the level against the source's
/// close track, its sign the polarity, the tick on the line below it how late it comes. A ring marks close tracks.
class SpillView : public juce::Component {
public:
    explicit SpillView(Controller& controller);

    struct Cell {
        int track = 0;
        int source = 0;
        bool operator==(const Cell&) const = default;
    };
    std::optional<Cell> cellAt(juce::Point<float> place) const;
    juce::Rectangle<float> cellArea(Cell cell) const;
    std::optional<int> headingAt(juce::Point<float> place) const; ///< The source whose name stands there.

    /// A click on a cell asks to hear that source through that track.
    std::function<void(Cell)> onHear;
    /// What is heard so, to be marked, and in words; none: the sum.
    void showHeard(std::optional<Cell> cell, const std::string& words = {});
    const std::string& heardWords() const { return toldOfHeard; }

    void changed(unsigned what);
    juce::Button& toPairs() { return pairsButton; } ///< Whoever shows the one or the other gives it its click.
    juce::Button& toStanding() { return standingButton; }

    void paint(juce::Graphics& g) override;
    void resized() override;
    void mouseMove(const juce::MouseEvent& event) override;
    void mouseExit(const juce::MouseEvent&) override;
    void mouseDown(const juce::MouseEvent& event) override;

    /// Diameter of the disc as a part of the room in a cell, 0..1: full from 0 dB, smallest at `faintest`.
    static float sizeOf(Decibels level);
    static constexpr Decibels faintest{-30.0};
    /// Place of the tick on its line, 0..1: from 5 ms earlier to 30 ms later.
    static float tickOf(Seconds later);

private:
    void layOut();
    void refreshButtons();
    void paintCell(juce::Graphics& g, Cell cell);
    void paintLegend(juce::Graphics& g, juce::Rectangle<float> area);

    Controller& controller;
    KeyButton pairsButton{"Grid of pairs", "How each pair of tracks adds"};
    KeyButton standingButton{"What stands close to what", "Say which track stands close to what"};
    TrackList listed;      ///< What the rows were laid out by.
    std::vector<int> rows; ///< [track] From the top.
    float left = 14.0f, top = 90.0f, names = 100.0f, wide = 30.0f, high = 22.0f;
    std::optional<Cell> hovered, heard;
    std::string toldOfHeard;
};

} // namespace spillwright::desk
