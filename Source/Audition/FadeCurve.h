#pragma once

#include <cmath>
#include <numbers>
#include <vector>

namespace spillwright {

/// A raised cosine from 0 to 1 in so many samples: their number and one more values.
inline std::vector<float> fadeCurveOf(int samples) {
    std::vector<float> curve;
    for (int n = 0; n <= samples; ++n)
        curve.push_back(static_cast<float>(0.5 - 0.5 * std::cos(std::numbers::pi * n / samples)));
    return curve;
}

} // namespace spillwright
