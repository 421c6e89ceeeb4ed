#pragma once

#include "Desk/Controller.h"
#include "Desk/GridOrder.h"
#include "Desk/KeyButton.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <functional>
#include <optional>
#include <set>
#include <string>
#include <utility>
#include <vector>

namespace spillwright::desk {

/// Every pair of tracks once, as the steps below a staircase of names: a name heads the column below it and ends the
/// row to its left. A square's size is the coherence of the pair; hue and sign say whether it adds or cancels under the
/// setting that is heard now. Shown are all tracks, or those that are looked at together, in one of several orders; all
/// of them fit, until it is zoomed in.
class GridView : public juce::Component {
public:
    explicit GridView(Controller& controller);

    struct Cell {
        int row = 0;    ///< Place in the order that is shown.
        int column = 0; ///< column < row.
        bool operator==(const Cell&) const = default;
    };
    std::optional<Cell> cellAt(juce::Point<float> place) const;
    juce::Rectangle<float> cellArea(Cell cell) const;
    std::optional<Cell> cellOf(int track, int other) const; ///< None where one of them is not shown.
    float cellSize() const { return step; }
    /// In the order that is shown, from the top.
    const std::vector<int>& shownTracks() const { return shown; }
    GridOrder order() const { return shownOrder; }
    void nextOrder();
    /// Larger squares (above 0) or smaller ones, until all fit; around the chosen one, or around a place.
    void zoom(int steps, std::optional<juce::Point<float>> around = {});
    bool fits() const { return zoomed == 0.0f; }
    /// Squares of at least this are shown when zoomed in: names and signs can be read.
    static constexpr float smallestZoomed = 14.0f;

    /// Beside another grid: under a heading of its own, without the buttons.
    void standBeside(const std::string& ownHeading);
    /// The two tracks of the square that is pointed at, or none, as they change by the mouse.
    std::function<void(std::optional<std::pair<int, int>>)> onPoint;
    void pointAt(std::optional<std::pair<int, int>> tracks);
    std::optional<Cell> pointedAt() const { return hovered; }
    /// Tracks that something is to be said of: a star behind the name, in colour.
    void note(std::set<int> tracks);
    const std::set<int>& noted() const { return notedTracks; }

    void changed(unsigned what);
    juce::Button& moments() { return momentsButton; }
    juce::Button& orderButton() { return orderedButton; }
    juce::Button& allButton() { return someButton; } ///< Says how many tracks are looked at, and goes back to all.
    juce::Button& toMap() { return mapButton; }      ///< Whoever shows the one or the other gives it its click.

    void paint(juce::Graphics& g) override;
    void resized() override;
    void mouseMove(const juce::MouseEvent& event) override;
    void mouseExit(const juce::MouseEvent&) override;
    void mouseDown(const juce::MouseEvent& event) override;
    void mouseDrag(const juce::MouseEvent& event) override;
    void mouseUp(const juce::MouseEvent& event) override;
    void mouseWheelMove(const juce::MouseEvent& event, const juce::MouseWheelDetails& wheel) override;

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

    const TrackInfo& track(int place) const;
    std::string nameAt(int place) const; ///< As it is shown.
    void orderTracks();
    void pickShown();
    void layOut();
    juce::Rectangle<float> view() const; ///< In which the squares are seen.
    void scrollTo(juce::Point<float> place);
    void keepInView(Cell cell);
    void choose(juce::Point<float> place);
    void point(std::optional<Cell> cell);
    void refreshChoice();
    void placeButtons();
    void paintNames(juce::Graphics& g);
    void paintSquares(juce::Graphics& g);
    void paintSquare(juce::Graphics& g, juce::Rectangle<float> area, const PairReading& reading, const PairNow& now);
    juce::Rectangle<float> corner() const;
    bool legendFits() const;
    void paintLegend(juce::Graphics& g, juce::Rectangle<float> area);
    void paintOverChildren(juce::Graphics& g) override;
    std::string hint() const;

    Controller& controller;
    Squares squares;
    KeyButton momentsButton{"Moments that are read", "Read the loop or a source alone, or the whole recording"};
    KeyButton orderedButton{"Order of the grid",
                            "By file, by likeness (coherent tracks side by side), by share of spill"};
    KeyButton someButton{"Back to all tracks", "Those chosen with Shift or Ctrl: a click goes back to all"};
    KeyButton mapButton{"Map of sources", "Which source is heard where"};
    float step = 20.0f, left = 14.0f, top = 40.0f;
    float fit = 20.0f;   ///< Squares of this size all fit.
    float zoomed = 0.0f; ///< Size of a square; 0: as fits.
    juce::Point<float> scroll, scrollBefore;
    GridOrder shownOrder = GridOrder::listed;
    TrackList ordersOf; ///< The list that the order and the names were taken from.
    std::vector<int> ordered, shown;
    std::optional<Cell> hovered;
    std::set<int> notedTracks;
    std::string heading = "GRID";
    bool beside = false; ///< Another grid.
};

} // namespace spillwright::desk
