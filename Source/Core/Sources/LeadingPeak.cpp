#include "Core/Sources/LeadingPeak.h"

#include "Core/ThirdOctaves.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace spillwright {

namespace {

constexpr double perPeriod = 10.0; // lags a period of the highest frequency: a parabola is then exact
constexpr double earlier = 0.012;  // s before the tallest peak, in which ...
constexpr double asTall = 0.85;    // ... one of so much of its height comes first
constexpr double beside = 0.0006;  // s around the peak that are its own, in which ...
constexpr double otherSign = 0.6;  // ... so much of its height may have the other sign
constexpr double leastHeight = 0.15;
constexpr double mostUncertainty = 1.0 / 48000.0; // s
constexpr double sure = 0.2;                      // confidence lost at these limits

} // namespace

LeadingPeakFinder::LeadingPeakFinder(double binWidthHz, int firstBin, int bins, Seconds largestArrival)
    : width(binWidthHz), first(firstBin), count(bins) {
    int length = 2;
    while (length < perPeriod * (first + count))
        length *= 2;
    fourier = Fourier::ofLength(length);
    step = 1.0 / (width * length);
    double sum = 0.0;
    for (int bin = first; bin < first + count; ++bin)
        sum += std::pow(bin, wideBandExponent);
    for (int bin = first; bin < first + count; ++bin)
        weights.push_back(static_cast<float>(std::pow(bin, wideBandExponent) / sum));
    reach = std::clamp(static_cast<int>(std::floor(largestArrival.value / step)), 1, length / 2 - 2);
}

/// By how the slope of the peak scatters over third octaves, against its curvature.
double LeadingPeakFinder::uncertainty(std::span<const std::complex<float>> response, double lag, double sign) const {
    double squares = 0.0, curvature = 0.0;
    const Band band{Hertz(width * (first - 0.5)), Hertz(width * (first + count - 0.5))};
    for (const auto& third : thirdOctaveBins(band, width, first + count)) {
        double slope = 0.0;
        for (int bin = std::max(first, third.firstBin); bin <= third.lastBin; ++bin) {
            const auto k = static_cast<std::size_t>(bin - first);
            const double omega = 2.0 * std::numbers::pi * width * bin;
            const auto turned =
                std::complex<double>(response[k]) * std::polar(sign * static_cast<double>(weights[k]), omega * lag);
            slope -= omega * turned.imag();
            curvature += omega * omega * turned.real();
        }
        squares += slope * slope;
    }
    return curvature > 0.0 ? std::sqrt(squares) / curvature : step;
}

std::optional<LeadingPeak> LeadingPeakFinder::find(std::span<const std::complex<float>> response, double rivals,
                                                   Scratch& scratch) const {
    scratch.spectrum.assign(static_cast<std::size_t>(fourier->binCount()), {});
    scratch.lags.resize(static_cast<std::size_t>(fourier->length()));
    for (std::size_t k = 0; k < weights.size(); ++k) // halved: the transform counts each bin twice
        scratch.spectrum[static_cast<std::size_t>(first) + k] = response[k] * (0.5f * weights[k]);
    fourier->inverse(scratch.spectrum.data(), scratch.lags.data());
    const int length = fourier->length();
    const auto at = [&](int lag) {
        return static_cast<double>(scratch.lags[static_cast<std::size_t>((lag + length) % length)]);
    };
    const auto height = [&](int lag) { return std::abs(at(lag)); };
    int tallest = 0;
    for (int lag = -reach; lag <= reach; ++lag)
        if (height(lag) > height(tallest)) tallest = lag;
    int peak = tallest;
    const double least = asTall * height(tallest);
    for (int lag = std::max(-reach, tallest - static_cast<int>(earlier / step)); lag < tallest; ++lag)
        if (height(lag) >= least && height(lag) >= height(lag - 1) && height(lag) >= height(lag + 1)) {
            peak = lag;
            break;
        }
    const double top = height(peak), sign = at(peak) > 0.0 ? 1.0 : -1.0;
    if (top < leastHeight) return std::nullopt;
    const int own = static_cast<int>(std::ceil(beside / step));
    double before = 0.0, opposite = 0.0, next = 0.0;
    int nextAt = peak;
    for (int lag = -reach; lag <= reach; ++lag) {
        if (std::abs(lag - peak) <= own) {
            opposite = std::max(opposite, -sign * at(lag));
            continue;
        }
        if (lag < peak) before = std::max(before, height(lag));
        if (height(lag) > next) {
            next = height(lag);
            nextAt = lag;
        }
    }
    if (before > rivals * top || opposite > otherSign * top) return std::nullopt;

    const double left = height(peak - 1), right = height(peak + 1), bend = left - 2.0 * top + right;
    const double lag = step * (peak + (bend < 0.0 ? std::clamp(0.5 * (left - right) / bend, -0.5, 0.5) : 0.0));
    const double doubt = uncertainty(response, lag, sign);
    if (doubt > mostUncertainty) return std::nullopt;
    LeadingPeak found;
    found.arrival = {Seconds(lag), Seconds(doubt), 1.0 - sure * before / (rivals * top), std::nullopt};
    if (nextAt != peak) found.arrival.runnerUp = Seconds(step * nextAt);
    found.polarity = {sign > 0.0 ? Polarity::same : Polarity::inverted, 1.0 - sure * opposite / (otherSign * top)};
    return found;
}

} // namespace spillwright
