#pragma once

#include "Core/Measure/CrossSpectra.h"

#include <array>
#include <cmath>
#include <numbers>

namespace spillwright {

/// Autocorrelation of the Hann window at a shift of `part` of its length, 1 at 0: 1/6 at 0.5.
inline double hannOverlap(double part) {
    const double x = std::abs(part);
    if (x >= 1.0) return 0.0;
    const double turn = 2.0 * std::numbers::pi * x;
    return (1.0 - x) * (2.0 + std::cos(turn)) / 3.0 + std::sin(turn) / (2.0 * std::numbers::pi);
}

/// Squared correlation of a bin of a Hann spectrum with itself, the next and the next but one, with which it shares two
/// thirds and a sixth of its amplitude; with those further off it is 0.
inline constexpr std::array<double, 3> hannNeighbours{1.0, 4.0 / 9.0, 1.0 / 36.0};

/// What is left of a coherence when the second track hears the same sound later: the window's squared autocorrelation
/// (Carter 1987). Held above 1/100, beyond which nothing can be recovered.
inline double coherenceKept(Seconds arrival, const CrossSpectra& spectra) {
    const double overlap = hannOverlap(arrival.value * spectra.sampleRate() / spectra.windowLength());
    return std::max(0.01, overlap * overlap);
}

} // namespace spillwright
