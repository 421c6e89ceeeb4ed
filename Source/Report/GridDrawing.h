#pragma once

#include "Report/Markup.h"
#include "Session/Measurement.h"

#include <optional>
#include <string>
#include <vector>

namespace spillwright {

/// A pair of tracks under a setting.
struct PairState {
    const PairReading* reading = nullptr; ///< nullptr: one of the two takes no part.
    std::optional<double> gainDb;         ///< Of the two alone, in the band; none: one of them is muted.
};

/// Every pair of the tracks once, as an SVG: the first of a pair gives the column, the second the row, whose name
/// stands at its end. A larger square is more coherent; + adds, a bar cancels, hatched is not sure, a stroke is
/// unrelated, a frame is muted. `states`: (0,1), (0,2), (1,2), (0,3) ...; `id` is nobody else's on the page.
void writeGrid(Markup& page, const std::vector<std::string>& names, const std::vector<PairState>& states,
               const std::string& id, const std::string& title, const std::string& said);

} // namespace spillwright
