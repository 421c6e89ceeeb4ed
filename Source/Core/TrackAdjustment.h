#pragma once

#include "Core/Types.h"

#include <array>
#include <optional>

namespace spillwright {

/// How steeply a high-pass falls: dB per octave below its corner, 6 for each order of its Butterworth filter.
enum class Slope : int { dB12 = 12, dB18 = 18, dB24 = 24 };
inline constexpr std::array slopes{Slope::dB12, Slope::dB18, Slope::dB24};
constexpr int inDecibelsPerOctave(Slope slope) {
    return static_cast<int>(slope);
}

/// What a setting does to one track. The weight of the track in a sum is s g H(f) exp(-j 2 pi f nudge).
struct TrackAdjustment {
    bool flip = false;             ///< Multiply by -1.
    Seconds nudge;                 ///< Positive plays the track later.
    Decibels gain;                 ///< Amplitude, 20 log10.
    std::optional<Hertz> highPass; ///< Butterworth corner, -3.01 dB there; none: no filter.
    std::optional<double> pan; ///< -1 left .. +1 right; none: linked pairs fully left and right, others in the centre.
    bool muted = false;
    Slope highPassSlope = Slope::dB12; ///< Of no meaning without a high-pass.

    bool operator==(const TrackAdjustment&) const = default;
};

} // namespace spillwright
