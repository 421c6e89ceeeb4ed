#pragma once

#include "Desk/Plot.h"

#include "Core/Result.h"

#include <juce_core/juce_core.h>

#include <filesystem>
#include <string>

namespace spillwright::desk {

enum class PlotFormat { png, svg };

/// Two pixels a unit of the SVG, in the light palette.
juce::Image pictureOf(const Plot& plot);

/// They appear whole or not at all; a file of that name is replaced. Fault: it cannot be written.
Outcome savePicture(const juce::Image& picture, const std::filesystem::path& file); ///< As PNG.
Outcome savePlot(const Plot& plot, PlotFormat format, const std::filesystem::path& file);

const char* endingOf(PlotFormat format); ///< ".svg"
/// "snare top - snare bottom - comb response": allowed as a name everywhere, without its ending.
juce::String plotFileName(const Plot& plot);

} // namespace spillwright::desk
