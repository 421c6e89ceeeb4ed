#include "Core/Measure/Notches.h"

#include <algorithm>
#include <cmath>
#include <tuple>

namespace spillwright {

std::vector<Notch> notches(const FrequencyCurve& response, Band first, int most) {
    const auto& level = response.values;
    const auto count = std::ssize(level);
    const auto at = [&](std::ptrdiff_t i) { return level[static_cast<std::size_t>(i)]; };
    const auto logOf = [&](std::ptrdiff_t i) { return std::log(response.frequencies[static_cast<std::size_t>(i)]); };
    // The highest place on the way to what lies deeper.
    const auto shoulder = [&](std::ptrdiff_t from, std::ptrdiff_t step) {
        double highest = at(from);
        for (auto i = from + step; i >= 0 && i < count && at(i) >= at(from); i += step)
            highest = std::max(highest, at(i));
        return highest;
    };
    std::vector<Notch> found;
    for (std::ptrdiff_t i = 1; i + 1 < count; ++i) {
        if (!(at(i) < at(i - 1) && at(i) <= at(i + 1)) || at(i) > shallowestNotchDb) continue;
        if (std::min(shoulder(i, -1), shoulder(i, 1)) < at(i) + smallestShoulderDb) continue;
        const double bend = at(i - 1) - 2.0 * at(i) + at(i + 1);
        const double beside = bend > 0.0 ? 0.5 * (at(i - 1) - at(i + 1)) / bend : 0.0; // in points, -0.5..0.5
        const double step = 0.5 * (logOf(i + 1) - logOf(i - 1));
        found.push_back({Hertz(std::exp(logOf(i) + beside * step)), at(i)});
    }
    const auto rank = [&](const Notch& notch) {
        const bool within = notch.frequency >= first.low && notch.frequency <= first.high;
        return std::tuple(!within, notch.levelDb, notch.frequency.value);
    };
    std::sort(found.begin(), found.end(), [&](const Notch& a, const Notch& b) { return rank(a) < rank(b); });
    if (std::ssize(found) > most) found.resize(static_cast<std::size_t>(most));
    return found;
}

} // namespace spillwright
