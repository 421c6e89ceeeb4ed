#pragma once

#include "Report/Markup.h"
#include "Report/Plot.h"

#include <string>

namespace spillwright {

/// SVG 1.1 in the light colours: title, axes with their units, key, a polyline a line with all its points, a polygon an
/// area. All words are text.
std::string svgOf(const Plot& plot, const TextWidth& width);

/// The same as an element of a page. `id` is nobody else's on that page; `said`, what the curves show, is read out.
void writePlot(Markup& page, const Plot& plot, const PlotLayout& layout, const TextWidth& width, const std::string& id,
               const std::string& said);

/// "12.50"
std::string svgNumber(float value);
/// "#0f6b66"
std::string svgColour(Plot::Ink ink);

} // namespace spillwright
