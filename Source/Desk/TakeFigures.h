#pragma once

#include "Session/Takes.h"

#include <optional>
#include <string>
#include <vector>

namespace spillwright::desk {

/// A figure of a track or of a pair in two takes, in words.
struct TakeFigure {
    std::string name;           ///< "coherence"
    std::string first, second;  ///< Empty: not known, or there is none.
    std::string difference;     ///< Second less first, with one standard uncertainty where that is known.
    std::optional<bool> stands; ///< Beyond what other playing would bring; empty where that is not told.
    /// "yes"; else why not: "from 1.9 on", "by playing", "no track changed". Empty where it is not told.
    std::string why;
};

/// Of the second take against the first. `track`, `partner`: compared tracks; the pair in the comparison's order.
/// Partner none: of the track alone.
std::vector<TakeFigure> takeFigures(const Comparison& comparison, const TakeDifference& difference, int track,
                                    std::optional<int> partner);

} // namespace spillwright::desk
