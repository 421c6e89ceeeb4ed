#pragma once

#include "Core/Types.h"

#include <optional>

namespace spillwright {

/// What a setting does to one track. The weight of the track in a sum is s g H(f) exp(-j 2 pi f nudge).
struct TrackAdjustment {
    bool flip = false;             ///< Multiply by -1.
    Seconds nudge;                 ///< Positive plays the track later.
    Decibels gain;                 ///< Amplitude, 20 log10.
    std::optional<Hertz> highPass; ///< Second-order Butterworth corner; none: no filter.
    std::optional<double> pan; ///< -1 left .. +1 right; none: linked pairs fully left and right, others in the centre.
    bool muted = false;

    bool operator==(const TrackAdjustment&) const = default;
};

} // namespace spillwright
