#pragma once

#include "Core/Types.h"

#include <optional>
#include <span>
#include <vector>

namespace spillwright {

/// What an arrival does in the course of a recording.
enum class MovementKind {
    still,  ///< Nothing beyond the scatter of its stretches.
    drifts, ///< A line: two clocks.
    steps,  ///< From one value to another: a microphone that was moved, or another source that took over.
    wanders ///< Neither, yet more than scatter: a source that moves, or sources that take turns.
};

struct Movement {
    MovementKind kind = MovementKind::still;
    bool smooth = false; ///< Neighbouring stretches are more alike than chance has it: no hops between sources.
    Seconds spread;      ///< Standard deviation of the stretches' arrivals.
    Seconds range;       ///< From the earliest to the latest arrival, the outermost twentieths left out.
    /// Slope of the arrival. Positive: the second track's clock counts more samples in the same time. In parts per
    /// million; within 1.96 uncertainties in 95 % of cases, few stretches included.
    double driftPpm = 0.0;
    double driftPpmUncertainty = 0.0;
    // Of a step:
    std::optional<Seconds> stepTime; ///< In the recording, to half a stretch.
    Seconds step;                    ///< Later minus earlier arrival.
    Seconds stepUncertainty;
};

/// The arrival of one stretch, against the pair's own.
struct StretchArrival {
    Seconds time; ///< Middle of the stretch, in the recording.
    Seconds lag;
    Seconds uncertainty;
};

/// Tells still, drifting, stepping and wandering arrivals apart. Robust lines and steps (bisquare, from medians),
/// judged by Student's t of what is left, widened where neighbours are alike. `chance`: of pairs that hold still, which
/// share may be said to move, normal errors given; a step counts every place it could have. nullopt for fewer than
/// four arrivals. O(arrivals^2).
std::optional<Movement> movementOf(std::span<const StretchArrival> arrivals, double chance);

inline constexpr std::size_t fewestForMovement = 4;

} // namespace spillwright
