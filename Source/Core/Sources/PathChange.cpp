#include "Core/Sources/PathChange.h"

#include "Core/Measure/Coherence.h"
#include "Core/Measure/WindowSpectra.h"
#include "Core/Statistics.h"
#include "Core/ThirdOctaves.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace spillwright {

namespace {

constexpr double perPeriod = 10.0;            // lags a period of the highest frequency: a parabola is then exact
constexpr double leastTold = 0.05;            // of the frequencies; chance relates one in a hundred
constexpr double leastLikeness = 0.05;        // a peak of chance is lower: some hundred independent frequencies
constexpr std::size_t fewestThirdOctaves = 4; // for a level and its scatter
constexpr double leastLevelScatter = 0.3;     // dB, of a third octave: notes that differ
constexpr double coherentForLevel = 0.5;
constexpr std::size_t fewestBins = 3; // of a third octave, for its level
constexpr double medianCost = 1.2533; // a median scatters so much more than a mean (sqrt(pi / 2))

/// Between two bins the straight line: the response of a window of 0.3 s turns by little from one to the next.
std::complex<float> at(const PathResponse& path, double binWidth, double hertz) {
    const double place = hertz / binWidth - path.firstBin;
    const auto low = static_cast<std::ptrdiff_t>(std::floor(place + 1e-9));
    const auto part = static_cast<float>(std::max(0.0, place - static_cast<double>(low)));
    const auto told = [&](std::ptrdiff_t k) {
        return k >= 0 && k < std::ssize(path.bins) ? path.bins[static_cast<std::size_t>(k)] : std::complex<float>();
    };
    return part < 1e-6f ? told(low) : (1.0f - part) * told(low) + part * told(low + 1);
}

} // namespace

std::optional<PathResponse> pathOfSource(const SpillMap& map, int source, int track) {
    const auto* reading = map.reading(source, track);
    if (reading == nullptr || !reading->level) return std::nullopt;
    return PathResponse{map.firstBin, map.responses[static_cast<std::size_t>(reading - map.readings.data())],
                        reading->levelByThirdOctave};
}

PathResponse pathOfPair(const CrossSpectra& spectra, int from, int to) {
    PathResponse path;
    const auto range = binsWithin(sourceBand, spectra.binWidth(), spectra.binCount());
    path.firstBin = range.firstBin;
    const auto count = static_cast<std::size_t>(std::max(0, range.lastBin - range.firstBin + 1));
    std::vector<std::complex<float>> cross(count), own(count), other(count);
    spectra.copyPair(from, to, range.firstBin, cross);
    spectra.copyPair(from, from, range.firstBin, own);
    spectra.copyPair(to, to, range.firstBin, other);
    path.bins.assign(count, {});
    const double chance = chanceCoherence(spectra.sharedAverages(from, to));
    std::vector<double> levels(count, std::nan(""));
    for (std::size_t k = 0; k < count; ++k) {
        const double powers = static_cast<double>(own[k].real()) * static_cast<double>(other[k].real());
        if (!(powers > 0.0)) continue;
        const double coherence = std::norm(std::complex<double>(cross[k])) / powers;
        if (coherence > chance) path.bins[k] = std::conj(cross[k]) / own[k].real();
        if (coherence > coherentForLevel)
            levels[k] = decibelsOfPower(static_cast<double>(other[k].real()) / static_cast<double>(own[k].real()));
    }
    for (const auto& third : thirdOctaveBins(sourceBand, spectra.binWidth(), spectra.binCount())) {
        std::vector<double> told;
        for (int bin = third.firstBin; bin <= third.lastBin; ++bin)
            if (const double level = levels[static_cast<std::size_t>(bin - range.firstBin)]; !std::isnan(level))
                told.push_back(level);
        path.levels.push_back(told.size() >= fewestBins ? std::optional(Decibels(medianOf(told))) : std::nullopt);
    }
    return path;
}

PathComparison::PathComparison(const CrossSpectra& first, const CrossSpectra& second, Seconds largest)
    : widthA(first.binWidth()), widthB(second.binWidth()) {
    const double top = std::min(sourceBand.high.value, widthB * (second.binCount() - 1));
    range = binsWithin({sourceBand.low, Hertz(top)}, widthA, first.binCount());
    if (range.firstBin > range.lastBin) return;
    int length = 2;
    while (length < perPeriod * (range.lastBin + 1))
        length *= 2;
    fourier = Fourier::ofLength(length);
    step = 1.0 / (widthA * length);
    reach = std::clamp(static_cast<int>(std::floor(largest.value / step)), 1, length / 2 - 2);
    double sum = 0.0;
    for (int bin = range.firstBin; bin <= range.lastBin; ++bin)
        sum += std::pow(bin, wideBandExponent);
    for (int bin = range.firstBin; bin <= range.lastBin; ++bin)
        weights.push_back(static_cast<float>(std::pow(bin, wideBandExponent) / sum));
}

/// By how the slope of the peak scatters over third octaves, against its curvature.
double PathComparison::uncertainty(const std::vector<std::complex<float>>& turned, double lag, double sign) const {
    double squares = 0.0, curvature = 0.0;
    for (const auto& third : thirdOctaveBins(sourceBand, widthA, range.lastBin + 1)) {
        double slope = 0.0;
        for (int bin = third.firstBin; bin <= third.lastBin; ++bin) {
            const double omega = 2.0 * std::numbers::pi * widthA * bin;
            const auto left = std::complex<double>(turned[static_cast<std::size_t>(bin - range.firstBin)]) *
                              std::polar(sign, omega * lag);
            slope -= omega * left.imag();
            curvature += omega * omega * left.real();
        }
        squares += slope * slope;
    }
    return curvature > 0.0 ? std::sqrt(squares) / curvature : reach * step;
}

std::optional<PathChange> PathComparison::of(const PathResponse& first, const PathResponse& second,
                                             Scratch& scratch) const {
    if (weights.empty()) return std::nullopt;
    scratch.spectrum.assign(static_cast<std::size_t>(fourier->binCount()), {});
    scratch.lags.resize(static_cast<std::size_t>(fourier->length()));
    scratch.turned.assign(weights.size(), {});
    double told = 0.0, unmoved = 0.0;
    for (int bin = range.firstBin; bin <= range.lastBin; ++bin) {
        const auto product = at(first, widthA, widthA * bin) * std::conj(at(second, widthB, widthA * bin));
        const float size = std::abs(product);
        if (!(size > 0.0f)) continue;
        const auto k = static_cast<std::size_t>(bin - range.firstBin);
        // A track that hears it later by t has exp(-j w t) in its response, and the product exp(+j w t).
        scratch.turned[k] = product * (weights[k] / size);
        told += static_cast<double>(weights[k]);
        unmoved += static_cast<double>(scratch.turned[k].real());
        // halved: the transform counts each bin twice; conjugated: so that later lies at positive lags
        scratch.spectrum[static_cast<std::size_t>(bin)] = std::conj(0.5f * scratch.turned[k]);
    }
    if (told < leastTold) return std::nullopt;
    fourier->inverse(scratch.spectrum.data(), scratch.lags.data());
    const int length = fourier->length();
    const auto correlation = [&](int lag) {
        return static_cast<double>(scratch.lags[static_cast<std::size_t>((lag + length) % length)]);
    };
    int peak = 0;
    for (int lag = -reach; lag <= reach; ++lag)
        if (std::abs(correlation(lag)) > std::abs(correlation(peak))) peak = lag;
    const double top = std::abs(correlation(peak)), sign = correlation(peak) >= 0.0 ? 1.0 : -1.0;
    if (top < leastLikeness * told) return std::nullopt;
    const double left = sign * correlation(peak - 1), right = sign * correlation(peak + 1),
                 bend = left - 2.0 * top + right;
    const double lag = step * (peak + (bend < 0.0 ? std::clamp(0.5 * (left - right) / bend, -0.5, 0.5) : 0.0));

    PathChange change;
    change.later = Seconds(lag);
    change.polarity = sign > 0.0 ? Polarity::same : Polarity::inverted;
    change.likeness = std::min(1.0, top / told);
    change.asItWas = std::clamp(unmoved / told, -1.0, 1.0);
    change.uncertainty = Seconds(uncertainty(scratch.turned, -lag, sign));

    std::vector<double> differences;
    for (std::size_t c = 0; c < std::min(first.levels.size(), second.levels.size()); ++c)
        if (first.levels[c] && second.levels[c])
            differences.push_back(second.levels[c]->value - first.levels[c]->value);
    if (differences.size() >= fewestThirdOctaves) {
        const double middle = medianOf(differences);
        for (auto& difference : differences)
            difference = std::abs(difference - middle);
        const double scatter = std::max(leastLevelScatter, madToDeviation * medianOf(differences));
        change.louder = Decibels(middle);
        change.louderUncertainty = Decibels(medianCost * scatter / std::sqrt(static_cast<double>(differences.size())));
    }
    return change;
}

} // namespace spillwright
