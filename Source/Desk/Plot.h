#pragma once

#include "Desk/Palette.h"
#include "Report/Plot.h"

#include <juce_graphics/juce_graphics.h>

#include <vector>

namespace spillwright::desk {

inline juce::Rectangle<float> rectangleOf(const PlotBox& box) {
    return {box.x, box.y, box.width, box.height};
}
inline PlotBox boxOf(juce::Rectangle<float> area) {
    return {area.getX(), area.getY(), area.getWidth(), area.getHeight()};
}

/// In the window: a line of caption above, the ticks of x below.
PlotLayout layoutInWindow(juce::Rectangle<float> bounds);

/// As the typeface of the window has them.
std::vector<PlotLabel> labelsOf(const Plot& plot, const PlotLayout& layout);

juce::Colour colourOf(Plot::Ink ink, const Palette& palette);

/// Frame, curves, marks, ticks and key.
void paintPlot(juce::Graphics& g, const Plot& plot, const PlotLayout& layout, const Palette& palette);

} // namespace spillwright::desk
