#pragma once

#include "Core/Measure/PairReading.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <span>
#include <vector>

namespace spillwright {

inline constexpr double lowestHertz = 20.0, highestHertz = 20000.0;
inline constexpr double smoothing = 1.0 / 24.0; // octaves
inline const double smoothedWidth = std::exp2(smoothing / 2) - std::exp2(-smoothing / 2);
inline constexpr double deepestRatio = 1e-6; // a perfect cancellation is drawn at -120 dB (an amplitude)

/// What lies between two frequencies of something given a bin: a bin's share is spread evenly over its width, so that a
/// smoothing narrower than a bin reads between neighbours.
class Spread {
public:
    Spread(std::span<const double> ofBins, double binWidthHz) : running(ofBins.size() + 1), width(binWidthHz) {
        for (std::size_t k = 0; k < ofBins.size(); ++k)
            running[k + 1] = running[k] + ofBins[k];
    }
    double between(double lowHz, double highHz) const { return upTo(highHz) - upTo(lowHz); }

private:
    std::vector<double> running;
    double width;
    double upTo(double hertz) const {
        const double place = std::clamp(hertz / width + 0.5, 0.0, static_cast<double>(running.size() - 1));
        const auto whole = std::min(static_cast<std::size_t>(place), running.size() - 2);
        return running[whole] + (place - static_cast<double>(whole)) * (running[whole + 1] - running[whole]);
    }
};

/// value(numerator, denominator), given a bin each, 0 Hz first, both smoothed around each of `points` frequencies,
/// 20 Hz to 20 kHz (or Nyquist).
template <class Value>
FrequencyCurve smoothedRatio(std::span<const double> numerator, std::span<const double> denominator, double binWidth,
                             int points, Value&& value) {
    const Spread top(numerator, binWidth), bottom(denominator, binWidth);
    const double high = std::min(highestHertz, (static_cast<double>(numerator.size()) - 1.0) * binWidth);
    FrequencyCurve curve;
    for (int point = 0; point < points; ++point) {
        const double hertz = lowestHertz * std::pow(high / lowestHertz, point / std::max(1.0, points - 1.0));
        const double low = hertz * std::exp2(-smoothing / 2), up = hertz * std::exp2(smoothing / 2);
        curve.frequencies.push_back(hertz);
        curve.values.push_back(value(top.between(low, up), bottom.between(low, up)));
    }
    return curve;
}

} // namespace spillwright
