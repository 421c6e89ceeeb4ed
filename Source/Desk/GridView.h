#pragma once

#include "Desk/Controller.h"
#include "Desk/KeyButton.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <optional>

namespace spillwright::desk {

/// Every pair of tracks once, as the steps below a staircase of names: a name heads the column below it and ends the
/// row to its left. A square's size is the coherence of the pair; hue and sign say whether it adds or cancels under the
/// setting that is heard now.
class GridView : public juce::Component {
public:
    explicit GridView(Controller& controller);

    struct Cell {
        int row = 0;    ///< The later track.
        int column = 0; ///< The earlier one; column < row.
        bool operator==(const Cell&) const = default;
    };
    std::optional<Cell> cellAt(juce::Point<float> place) const;
    juce::Rectangle<float> cellArea(Cell cell) const;
    float cellSize() const { return step; }

    void changed(unsigned what);
    juce::Button& moments() { return momentsButton; }
    juce::Button& toMap() { return mapButton; } ///< Whoever shows the one or the other gives it its click.

    void paint(juce::Graphics& g) override;
    void resized() override;
    void mouseMove(const juce::MouseEvent& event) override;
    void mouseExit(const juce::MouseEvent&) override;
    void mouseDown(const juce::MouseEvent& event) override;

private:
    /// Names and squares: changes with the setting, not with the mouse, and is kept as an image.
    class Squares : public juce::Component {
    public:
        explicit Squares(GridView& g) : grid(g) {
            setInterceptsMouseClicks(false, false);
            setBufferedToImage(true);
        }
        void paint(juce::Graphics& g) override { grid.paintSquares(g); }

    private:
        GridView& grid;
    };

    void layOut();
    void refreshChoice();
    void paintSquares(juce::Graphics& g);
    void paintSquare(juce::Graphics& g, juce::Rectangle<float> area, const PairReading& reading, const PairNow& now);
    void paintLegend(juce::Graphics& g, juce::Rectangle<float> area);
    void paintOverChildren(juce::Graphics& g) override;
    std::string hint() const;

    Controller& controller;
    Squares squares;
    KeyButton momentsButton{"Moments that are read", "Read the loop or a source alone, or the whole recording"};
    KeyButton mapButton{"Map of sources", "Which source is heard where"};
    float step = 20.0f, left = 14.0f, top = 40.0f;
    std::optional<Cell> hovered;
};

} // namespace spillwright::desk
