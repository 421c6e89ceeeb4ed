#pragma once

#include <algorithm>
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

} // namespace spillwright
