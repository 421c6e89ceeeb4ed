#include "Session/Words.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>

namespace spillwright {

std::string pairName(const Measurement& measurement, int first, int second) {
    return measurement.tracks[static_cast<std::size_t>(first)].name + " / " +
           measurement.tracks[static_cast<std::size_t>(second)].name;
}

std::string clockText(double seconds, bool hundredths) {
    const auto total = static_cast<long long>(std::floor(std::max(0.0, seconds) * 100.0 + 1e-6));
    std::array<char, 64> text{};
    std::snprintf(text.data(), text.size(), hundredths ? "%lld:%02lld.%02lld" : "%lld:%02lld", total / 6000,
                  total / 100 % 60, total % 100);
    return text.data();
}

} // namespace spillwright
