#pragma once

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

namespace spillwright {

/// A normal deviate stays within this in 95 of 100 cases.
inline constexpr double ninetyFive = 1.959964;

/// Standard deviation of normal errors whose sizes have the median 1.
inline constexpr double madToDeviation = 1.4826;

/// Of an even number of values the mean of the middle two; 0 of none.
inline double medianOf(std::vector<double> values) {
    if (values.empty()) return 0.0;
    const auto middle = values.begin() + std::ssize(values) / 2;
    std::nth_element(values.begin(), middle, values.end());
    if (values.size() % 2 == 1) return *middle;
    return 0.5 * (*middle + *std::max_element(values.begin(), middle));
}

/// Beyond which, on both sides, a normal deviate falls with this chance.
inline double rarerThan(double chance) {
    double low = 0.0, high = 40.0;
    for (int k = 0; k < 60; ++k) {
        const double middle = 0.5 * (low + high);
        (std::erfc(middle / std::numbers::sqrt2) > chance ? low : high) = middle;
    }
    return high;
}

/// Student's t of so many degrees of freedom that is as rare as a normal deviate (Wallace 1959).
inline double studentOf(double z, double freedom) {
    const double wide = z * (8.0 * freedom + 3.0) / (8.0 * freedom + 1.0);
    return std::sqrt(freedom * std::expm1(wide * wide / freedom));
}

} // namespace spillwright
