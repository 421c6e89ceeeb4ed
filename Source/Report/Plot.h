#pragma once

#include <functional>
#include <string>
#include <vector>

namespace spillwright {

/// Curves over two axes, as numbers: what is drawn in the window, in a report, and what a saved picture or SVG is made
/// of.
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
    std::string instead;     ///< Stands in the middle where there is nothing to see, and says why.
};

struct PlotPoint {
    float x = 0.0f, y = 0.0f;
};

/// Left upper corner and size; y grows downwards.
struct PlotBox {
    float x = 0.0f, y = 0.0f, width = 0.0f, height = 0.0f;

    float right() const { return x + width; }
    float bottom() const { return y + height; }
    float centreX() const { return x + width / 2.0f; }
    float centreY() const { return y + height / 2.0f; }
    PlotBox expanded(float by) const { return {x - by, y - by, width + 2.0f * by, height + 2.0f * by}; }
    bool contains(PlotPoint point) const {
        return point.x >= x && point.x < right() && point.y >= y && point.y < bottom();
    }
    bool contains(const PlotBox& other) const {
        return other.x >= x && other.right() <= right() && other.y >= y && other.bottom() <= bottom();
    }
    bool intersects(const PlotBox& other) const {
        return other.x < right() && x < other.right() && other.y < bottom() && y < other.bottom();
    }
};

/// Place in the frame of a point of the plot; beyond the ends of the axes it lies outside.
PlotPoint placeIn(const Plot& plot, const PlotBox& frame, double x, double y);

/// How wide a text of that height stands.
using TextWidth = std::function<float(const std::string& words, float height)>;
/// Where no typeface is at hand: wide enough for most of them.
float estimatedWidth(const std::string& words, float height);

/// What stands beside a mark.
struct PlotLabel {
    std::string words;
    PlotPoint tip;
    PlotBox area;
    std::size_t mark = 0;
};
/// No label lies over another one, over another's tip or beyond the frame; a mark without room has none, and one whose
/// x is outside has none. A tip above or below the frame is moved to its edge.
std::vector<PlotLabel> placeLabels(const Plot& plot, const PlotBox& frame, float textHeight, const TextWidth& width);

/// Where the parts of a plot stand.
struct PlotLayout {
    PlotBox frame;
    PlotBox key;                       ///< Of the lines and areas, from its right end.
    float labelHeight = 11.0f;         ///< Beside marks.
    float tickHeight = 10.5f;          ///< At the axes.
    bool brief = true;                 ///< Short names in the key, the ticks of y inside the frame.
    bool headed = false;               ///< The plot's title stands beside the key.
    bool titled = false;               ///< Title and remark stand above it.
    float width = 0.0f, height = 0.0f; ///< Of the picture.
};
/// In a file of pictureWidth x pictureHeight: title and remark above, axes with their labels.
PlotLayout layoutInPicture();
inline constexpr float pictureWidth = 960.0f, pictureHeight = 540.0f;
/// For a page that has subject and remark as text: three of them and those texts fill a page of A4 or Letter.
PlotLayout layoutOnPage();

} // namespace spillwright
