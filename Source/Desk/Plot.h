#pragma once

#include "Desk/Palette.h"

#include <juce_graphics/juce_graphics.h>

#include <string>
#include <vector>

namespace spillwright::desk {

/// Curves over two axes, as numbers: what is drawn in the window, and what a saved picture or SVG is made of.
struct Plot {
    struct Tick {
        double at = 0.0;
        std::string words;
    };
    struct Axis {
        std::string label; ///< With its unit: "frequency, Hz".
        double low = 0.0, high = 1.0;
        bool logarithmic = false; ///< Both ends are above 0 then.
        std::vector<Tick> ticks;
        bool bareInWindow = false; ///< Of y: no ticks where they would stand inside the frame.
    };
    enum class Ink { ink, muted, accent, adds, cancels, rules, selected };
    enum class Stroke { solid, dashed, dotted };
    /// What is named stands in the key; brief: where there is little room.
    struct Line {
        std::string name, brief;
        std::vector<double> x, y; ///< One y an x.
        Ink ink = Ink::ink;
        Stroke stroke = Stroke::solid;
        float thick = 1.5f;
    };
    struct Area {
        std::string name, brief;
        std::vector<double> x, low, high;
        Ink ink = Ink::accent;
        float opacity = 0.3f; ///< 0..1.
    };
    struct Rule {
        bool upright = false;
        double at = 0.0;
        Ink ink = Ink::rules;
        float thick = 1.0f;
    };
    struct Span { ///< Of x, from edge to edge of the plot.
        double from = 0.0, to = 0.0;
    };
    struct Mark {
        double x = 0.0, y = 0.0;
        std::vector<std::string> words; ///< The first that finds room stands beside it.
        Ink ink = Ink::ink;
        bool filled = true;
    };

    std::string title;   ///< "Comb response"
    std::string subject; ///< "snare top · snare bottom"
    std::string remark;  ///< Under which setting, of which moments.
    std::string caption; ///< The title and the unit of y, where there is little room.
    Axis x, y;
    std::vector<Span> bands;
    std::vector<Area> areas;
    std::vector<Rule> rules;
    std::vector<Line> lines;
    std::vector<Mark> marks; ///< The weightiest first: they find room first.
};

/// Place in the frame of a point of the plot; beyond the ends of the axes it lies outside.
juce::Point<float> placeIn(const Plot& plot, juce::Rectangle<float> frame, double x, double y);

/// What stands beside a mark.
struct PlotLabel {
    std::string words;
    juce::Point<float> tip;
    juce::Rectangle<float> area;
    std::size_t mark = 0;
};
/// No label lies over another one, over another's tip or beyond the frame; a mark without room has none, and one whose
/// x is outside has none. A tip above or below the frame is moved to its edge.
std::vector<PlotLabel> placeLabels(const Plot& plot, juce::Rectangle<float> frame, float textHeight);

/// Where the parts of a plot stand.
struct PlotLayout {
    juce::Rectangle<float> frame;
    juce::Rectangle<float> key; ///< Of the lines and areas, from its right end.
    float labelHeight = 11.0f;  ///< Beside marks.
    float tickHeight = 10.5f;   ///< At the axes.
    bool brief = true;          ///< Short names in the key, the ticks of y inside the frame.
};
/// In the window: a line of caption above, the ticks of x below.
PlotLayout layoutInWindow(juce::Rectangle<float> bounds);
/// In a file of pictureWidth x pictureHeight.
PlotLayout layoutInPicture();
inline constexpr float pictureWidth = 960.0f, pictureHeight = 540.0f;

juce::Colour colourOf(Plot::Ink ink, const Palette& palette);

/// Frame, curves, marks, ticks and key.
void paintPlot(juce::Graphics& g, const Plot& plot, const PlotLayout& layout, const Palette& palette);

} // namespace spillwright::desk
