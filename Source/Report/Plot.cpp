#include "Report/Plot.h"

#include <algorithm>
#include <cmath>

namespace spillwright {

namespace {

double shareOf(const Plot::Axis& axis, double value) {
    return axis.logarithmic ? std::log(value / axis.low) / std::log(axis.high / axis.low)
                            : (value - axis.low) / (axis.high - axis.low);
}

PlotLayout around(float width, float height, float above, float below) {
    PlotLayout layout;
    layout.frame = {72.0f, above, width - 72.0f - 24.0f, height - above - below};
    layout.key = {layout.frame.x, layout.frame.y - 26.0f, layout.frame.width, 22.0f};
    layout.labelHeight = layout.tickHeight = 12.0f;
    layout.brief = false;
    layout.width = width;
    layout.height = height;
    return layout;
}

} // namespace

PlotPoint placeIn(const Plot& plot, const PlotBox& frame, double x, double y) {
    return {frame.x + frame.width * static_cast<float>(shareOf(plot.x, x)),
            frame.bottom() - frame.height * static_cast<float>(shareOf(plot.y, y))};
}

float estimatedWidth(const std::string& words, float height) {
    constexpr float letter = 0.58f; // of the height, as in Inter and its like
    const auto letters = std::count_if(words.begin(), words.end(), [](char c) { return (c & 0xC0) != 0x80; });
    return letter * height * static_cast<float>(letters);
}

std::vector<PlotLabel> placeLabels(const Plot& plot, const PlotBox& whole, float textHeight, const TextWidth& width) {
    const float height = textHeight + 2.0f, gap = 4.0f;
    const auto frame = whole.expanded(-1.0f);
    const auto tipOf = [&](const Plot::Mark& mark) {
        auto tip = placeIn(plot, frame, mark.x, mark.y);
        tip.y = std::clamp(tip.y, frame.y, frame.bottom());
        return tip;
    };
    std::vector<PlotLabel> labels;
    for (std::size_t i = 0; i < plot.marks.size(); ++i) {
        const auto tip = tipOf(plot.marks[i]);
        if (tip.x < frame.x || tip.x > frame.right()) continue;
        const auto free = [&](const PlotBox& area) {
            return frame.contains(area) && std::none_of(labels.begin(), labels.end(), [&](const PlotLabel& other) {
                       return other.area.intersects(area) || area.expanded(2.0f).contains(other.tip) ||
                              other.area.expanded(2.0f).contains(tip);
                   });
        };
        bool placed = false;
        for (const auto& words : plot.marks[i].words) {
            const float wide = width(words, textHeight) + 4.0f;
            const float level = std::clamp(tip.y - height / 2.0f, frame.y, std::max(frame.y, frame.bottom() - height));
            for (float x : {tip.x + gap, tip.x - gap - wide}) {
                const PlotBox area{x, level, wide, height};
                if (placed || !free(area)) continue;
                labels.push_back({words, tip, area, i});
                placed = true;
            }
        }
    }
    return labels;
}

PlotLayout layoutInPicture() {
    auto layout = around(pictureWidth, pictureHeight, 96.0f, 58.0f);
    layout.titled = true;
    return layout;
}

PlotLayout layoutOnPage() {
    auto layout = around(720.0f, 224.0f, 28.0f, 42.0f);
    layout.headed = true;
    return layout;
}

} // namespace spillwright
