#include "Core/Sources/LeadingPeak.h"

#include "Core/ThirdOctaves.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace spillwright {

namespace {

constexpr double perPeriod = 10.0; // lags a period of the highest frequency: a parabola is then exact
constexpr double earlier = 0.012;  // s before the tallest peak, in which ...
constexpr double asTall = 0.7;     // ... one of so much of its height comes first
constexpr double beside = 0.0006;  // s around the peak that are its own
constexpr double elsewhere = 0.5;  // of its height, at most, farther off
constexpr double otherSign = 0.4;  // of its height, at most, anywhere
constexpr double sure = 0.2;       // confidence lost at those limits

} // namespace

LeadingPeakFinder::LeadingPeakFinder(double binWidthHz, int firstBin, int bins, Seconds largestArrival)
    : width(binWidthHz), first(firstBin), count(bins) {
    int length = 2;
    while (length < perPeriod * (first + count))
        length *= 2;
    fourier = Fourier::ofLength(length);
    step = 1.0 / (width * length);
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
            const auto turned = std::complex<double>(response[k]) * std::polar(sign / bin, omega * lag);
            slope -= omega * turned.imag();
            curvature += omega * omega * turned.real();
        }
        squares += slope * slope;
    }
    return curvature > 0.0 ? std::sqrt(squares) / curvature : step;
}

std::optional<LeadingPeak> LeadingPeakFinder::find(std::span<const std::complex<float>> response,
                                                   Scratch& scratch) const {
    scratch.spectrum.assign(static_cast<std::size_t>(fourier->binCount()), {});
    scratch.lags.resize(static_cast<std::size_t>(fourier->length()));
    for (int k = 0; k < count; ++k)
        scratch.spectrum[static_cast<std::size_t>(first + k)] =
            response[static_cast<std::size_t>(k)] / static_cast<float>(first + k);
    fourier->inverse(scratch.spectrum.data(), scratch.lags.data());
    const int length = fourier->length();
    const auto at = [&](int lag) { return scratch.lags[static_cast<std::size_t>((lag + length) % length)]; };
    const auto height = [&](int lag) { return std::abs(at(lag)); };
    int tallest = 0;
    for (int lag = -reach; lag <= reach; ++lag)
        if (height(lag) > height(tallest)) tallest = lag;
    if (!(height(tallest) > 0.0f)) return std::nullopt;
    int peak = tallest;
    const auto least = static_cast<float>(asTall) * height(tallest);
    for (int lag = std::max(-reach, tallest - static_cast<int>(earlier / step)); lag < tallest; ++lag)
        if (height(lag) >= least && height(lag) >= height(lag - 1) && height(lag) >= height(lag + 1)) {
            peak = lag;
            break;
        }
    const double top = static_cast<double>(height(peak)), sign = at(peak) > 0.0f ? 1.0 : -1.0;
    const int own = static_cast<int>(std::ceil(beside / step));
    double rival = 0.0, opposite = 0.0;
    int rivalAt = peak;
    for (int lag = -reach; lag <= reach; ++lag) {
        const auto value = sign * static_cast<double>(at(lag));
        opposite = std::max(opposite, -value);
        if (std::abs(lag - peak) > own && std::abs(value) > rival) {
            rival = std::abs(value);
            rivalAt = lag;
        }
    }
    if (rival > elsewhere * top || opposite > otherSign * top) return std::nullopt;

    const double before = static_cast<double>(height(peak - 1)), after = static_cast<double>(height(peak + 1));
    const double bend = before - 2.0 * top + after;
    const double lag = step * (peak + (bend < 0.0 ? std::clamp(0.5 * (before - after) / bend, -0.5, 0.5) : 0.0));
    LeadingPeak found;
    found.arrival = {Seconds(lag), Seconds(uncertainty(response, lag, sign)), 1.0 - sure * rival / (elsewhere * top),
                     std::nullopt};
    if (rivalAt != peak) found.arrival.runnerUp = Seconds(step * rivalAt);
    found.polarity = {sign > 0.0 ? Polarity::same : Polarity::inverted, 1.0 - sure * opposite / (otherSign * top)};
    return found;
}

} // namespace spillwright
