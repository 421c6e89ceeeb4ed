#pragma once

#include "Session/Takes.h"

#include <span>
#include <vector>

namespace spillwright {

/// The ways between the first take and another, for Takes.cpp: of each source to each track, where sources are told
/// apart; else of each pair. Only of pairs that are related in both takes.
struct WaysBetween {
    std::vector<PathLink> links; ///< Compared tracks.
    int inOneAlone = 0;          ///< Further ways, of pairs that are related in one of the takes alone.
};
WaysBetween waysBetween(const Comparison& comparison, std::size_t second, Workers& workers);

/// [compared track] What it would hold of the others in the second take, had everybody played as in the first, less
/// what it held: a share of its energy, -1..1. Empty where that is not told.
std::vector<std::optional<Difference>> spillAtSamePlaying(const Comparison& comparison, std::size_t second,
                                                          std::span<const PathLink> links,
                                                          std::span<const TrackChange> changes);

} // namespace spillwright
