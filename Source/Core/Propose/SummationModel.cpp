#include "Core/Propose/SummationModel.h"

#include "Core/Signal/HighPass.h"
#include "Core/ThirdOctaves.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <iterator>
#include <numbers>
#include <numeric>

namespace spillwright {

namespace {

std::vector<int> allTracks(std::size_t count) {
    std::vector<int> tracks(count);
    std::iota(tracks.begin(), tracks.end(), 0);
    return tracks;
}

} // namespace

std::vector<std::complex<double>> mixResponse(const TrackAdjustment& adjustment, int binCount, double binWidth,
                                              double sampleRate) {
    const double gain = adjustment.muted ? 0.0 : amplitudeOfDecibels(adjustment.gain.value);
    std::vector<std::complex<double>> response(binCount, gain);
    if (adjustment.highPass) {
        const HighPass filter(*adjustment.highPass, sampleRate, adjustment.highPassSlope);
        for (int bin = 0; bin < binCount; ++bin)
            response[bin] *= filter.responseAt(Hertz(bin * binWidth));
    }
    return response;
}

std::vector<int> signsOf(const std::vector<bool>& flips) {
    std::vector<int> signs;
    for (const bool flip : flips)
        signs.push_back(flip ? -1 : 1);
    return signs;
}

SummationModel::SummationModel(const CrossSpectra& spectra, std::span<const int> chosen,
                               std::span<const TrackAdjustment> adjustments, Band band,
                               std::span<const PanGains> pans) {
    *this = ofTracks(
        chosen, spectra.binCount(), spectra.binWidth(), spectra.sampleRate(),
        [&](int bin, int i, int j) { return spectra.at(bin, i, j); }, adjustments, band, pans);
}

SummationModel SummationModel::fromSpectra(int binCount, double binWidth, const SpectrumAt& at,
                                           std::span<const TrackAdjustment> adjustments, Band band) {
    SummationModel model;
    model.tracks = allTracks(adjustments.size());
    model.build(binCount, binWidth, 2.0 * (binCount - 1) * binWidth, at, adjustments, band);
    return model;
}

void SummationModel::build(int binCount, double binWidth, double sampleRate, const SpectrumAt& at,
                           std::span<const TrackAdjustment> adjustments, Band band) {
    const int n = trackCount();
    assert(static_cast<int>(adjustments.size()) == n);
    std::vector<std::vector<std::complex<double>>> response;
    for (const auto& adjustment : adjustments)
        response.push_back(mixResponse(adjustment, binCount, binWidth, sampleRate));

    struct Part {
        double weight; // omega_b / P0_b
        int firstBin, lastBin;
    };
    std::vector<Part> parts;
    double shares = 0.0;
    for (const auto& octave : thirdOctaveBins(band, binWidth, binCount)) {
        double power = 0.0;
        for (int bin = octave.firstBin; bin <= octave.lastBin; ++bin)
            for (int i = 0; i < n; ++i)
                power += std::norm(response[i][bin]) * at(bin, i, i).real();
        if (!(power > 0.0)) continue;
        parts.push_back({octave.share / power, octave.firstBin, octave.lastBin});
        shares += octave.share;
    }
    std::vector<double> weights;
    std::vector<int> bins;
    for (const auto& part : parts)
        for (int bin = part.firstBin; bin <= part.lastBin; ++bin) {
            bins.push_back(bin);
            binFrequencies.push_back(bin * binWidth);
            weights.push_back(part.weight / shares);
        }
    pairSpectra.resize(pairIndex(0, n) * bins.size());
    auto* out = pairSpectra.data();
    for (int j = 0; j < n; ++j)
        for (int i = 0; i <= j; ++i)
            for (std::size_t b = 0; b < bins.size(); ++b)
                *out++ = overlap(i, j) * weights[b] * response[i][bins[b]] * std::conj(response[j][bins[b]]) *
                         at(bins[b], i, j);
    computeInPhase();
}

SummationModel SummationModel::ofTracks(std::span<const int> chosen, int binCount, double binWidth, double sampleRate,
                                        const SpectrumAt& at, std::span<const TrackAdjustment> adjustments, Band band,
                                        std::span<const PanGains> pans) {
    SummationModel model;
    model.tracks.assign(chosen.begin(), chosen.end());
    model.places.assign(pans.begin(), pans.end());
    model.build(
        binCount, binWidth, sampleRate,
        [&](int bin, int i, int j) { return at(bin, model.tracks[i], model.tracks[j]); }, adjustments, band);
    return model;
}

SummationModel SummationModel::meanOf(std::span<const SummationModel> models, std::span<const double> weights) {
    assert(!models.empty() && models.size() == weights.size());
    SummationModel mean;
    mean.tracks = models.front().tracks;
    mean.places = models.front().places;
    double total = 0.0;
    for (std::size_t k = 0; k < models.size(); ++k) {
        if (!models[k].hasEnergy()) continue;
        total += weights[k];
        std::vector<double> both;
        std::set_union(mean.binFrequencies.begin(), mean.binFrequencies.end(), models[k].binFrequencies.begin(),
                       models[k].binFrequencies.end(), std::back_inserter(both));
        mean.binFrequencies = std::move(both);
    }
    const std::size_t bins = mean.binFrequencies.size(), pairs = pairIndex(0, mean.trackCount());
    mean.pairSpectra.resize(pairs * bins);
    mean.inPhase = total > 0.0 ? 0.0 : 1.0;
    for (std::size_t k = 0; k < models.size(); ++k) {
        if (!models[k].hasEnergy()) continue;
        const double share = weights[k] / total;
        mean.inPhase += share * models[k].inPhase;
        const auto& own = models[k].binFrequencies;
        for (std::size_t b = 0; b < own.size(); ++b) {
            const auto place = std::lower_bound(mean.binFrequencies.begin(), mean.binFrequencies.end(), own[b]);
            const auto bin = static_cast<std::size_t>(place - mean.binFrequencies.begin());
            for (std::size_t pair = 0; pair < pairs; ++pair)
                mean.pairSpectra[pair * bins + bin] += share * models[k].pairSpectra[pair * own.size() + b];
        }
    }
    return mean;
}

SummationModel SummationModel::fromMatrices(std::vector<double> frequencies,
                                            std::span<const Eigen::MatrixXcd> weighted) {
    assert(frequencies.size() == weighted.size());
    SummationModel model;
    model.tracks = allTracks(weighted.empty() ? 0 : weighted.front().rows());
    model.binFrequencies = std::move(frequencies);
    for (int j = 0; j < model.trackCount(); ++j)
        for (int i = 0; i <= j; ++i)
            for (const auto& matrix : weighted)
                model.pairSpectra.push_back(matrix(i, j));
    model.computeInPhase();
    return model;
}

double SummationModel::overlap(int i, int j) const {
    if (places.empty() || i == j) return 1.0;
    const auto& a = places[static_cast<std::size_t>(i)];
    const auto& b = places[static_cast<std::size_t>(j)];
    return a.left * b.left + a.right * b.right;
}

void SummationModel::computeInPhase() {
    if (!hasEnergy()) return;
    inPhase = 0.0;
    for (std::size_t bin = 0; bin < binFrequencies.size(); ++bin) {
        double left = 0.0, right = 0.0;
        for (int i = 0; i < trackCount(); ++i) {
            const double amplitude = std::sqrt(std::max(0.0, weightedPair(i, i)[bin].real()));
            const PanGains place = places.empty() ? PanGains{1.0, 0.0} : places[static_cast<std::size_t>(i)];
            left += place.left * amplitude;
            right += place.right * amplitude;
        }
        inPhase += left * left + right * right;
    }
}

std::span<const std::complex<double>> SummationModel::weightedPair(int i, int j) const {
    assert(0 <= i && i <= j && j < trackCount());
    return std::span(pairSpectra).subspan(pairIndex(i, j) * binFrequencies.size(), binFrequencies.size());
}

std::complex<double> SummationModel::weighted(int bin, int i, int j) const {
    return i <= j ? weightedPair(i, j)[bin] : std::conj(weightedPair(j, i)[bin]);
}

double SummationModel::coupling(int i, int j, double lag) const {
    if (i > j) return coupling(j, i, -lag);
    const auto spectrum = weightedPair(i, j);
    double sum = 0.0;
    if (lag == 0.0) {
        for (const auto& value : spectrum)
            sum += value.real();
    } else {
        for (std::size_t bin = 0; bin < spectrum.size(); ++bin) {
            const double phase = 2.0 * std::numbers::pi * binFrequencies[bin] * lag;
            sum += spectrum[bin].real() * std::cos(phase) + spectrum[bin].imag() * std::sin(phase);
        }
    }
    return sum;
}

Eigen::MatrixXd SummationModel::flipMatrix(std::span<const double> nudges) const {
    const int n = trackCount();
    assert(static_cast<int>(nudges.size()) == n);
    Eigen::MatrixXd matrix(n, n);
    for (int j = 0; j < n; ++j)
        for (int i = 0; i <= j; ++i)
            matrix(i, j) = matrix(j, i) = coupling(i, j, nudges[i] - nudges[j]);
    return matrix;
}

double SummationModel::gain(std::span<const int> signs, std::span<const double> nudges) const {
    if (!hasEnergy()) return 1.0;
    assert(static_cast<int>(signs.size()) == trackCount());
    assert(static_cast<int>(nudges.size()) == trackCount());
    double sum = 0.0;
    for (int j = 0; j < trackCount(); ++j) {
        for (int i = 0; i < j; ++i)
            sum += 2.0 * signs[i] * signs[j] * coupling(i, j, nudges[i] - nudges[j]);
        sum += coupling(j, j, 0.0);
    }
    return sum;
}

double SummationModel::lowMidCoherence(double gain) const {
    const double range = inPhase - 1.0;
    return range > 1e-12 ? (gain - 1.0) / range : 0.0; // below that the difference is rounding
}

} // namespace spillwright
