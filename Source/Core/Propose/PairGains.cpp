#include "Core/Propose/PairGains.h"

#include "Core/ThirdOctaves.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace spillwright {

PairGains::PairGains(const SummationModel& model, Band band)
    : tracks(model.trackCount()), frequencies(model.frequencies()) {
    const auto octaves = thirdOctavesOf(band);
    for (const auto& octave : octaves)
        shares.push_back(octave.share);
    for (double hertz : frequencies) {
        std::size_t octave = 0;
        while (octave + 1 < octaves.size() && hertz >= octaves[octave].high)
            ++octave;
        thirdOctave.push_back(static_cast<int>(octave));
    }

    const auto n = static_cast<std::size_t>(tracks);
    bandPowers.assign(shares.size(), std::vector<double>(n, 0.0));
    cross.resize(n * (n - (n > 0)) / 2 * frequencies.size());
    for (std::size_t bin = 0; bin < frequencies.size(); ++bin) {
        for (int j = 0; j < tracks; ++j) {
            bandPowers[static_cast<std::size_t>(thirdOctave[bin])][static_cast<std::size_t>(j)] +=
                model.weighted(static_cast<int>(bin), j, j).real();
            for (int i = 0; i < j; ++i)
                cross[pairIndex(i, j) * frequencies.size() + bin] = model.weighted(static_cast<int>(bin), i, j);
        }
    }
}

std::vector<double> PairGains::gains(std::span<const int> signs, std::span<const double> nudges) const {
    const std::size_t bins = frequencies.size();
    const auto n = static_cast<std::size_t>(tracks);
    std::vector<std::complex<float>> turn(n * bins); // s e^{-j 2 pi f nudge}
    for (std::size_t i = 0; i < n; ++i)
        for (std::size_t bin = 0; bin < bins; ++bin)
            turn[i * bins + bin] =
                std::complex<float>(std::polar(1.0, -2.0 * std::numbers::pi * frequencies[bin] * nudges[i]) *
                                    static_cast<double>(signs[i]));

    std::vector<double> result(n * (n - (n > 0)) / 2, 1.0);
    std::vector<double> crossPower(shares.size());
    for (std::size_t j = 1; j < n; ++j) {
        for (std::size_t i = 0; i < j; ++i) {
            const std::size_t pair = pairIndex(static_cast<int>(i), static_cast<int>(j));
            std::fill(crossPower.begin(), crossPower.end(), 0.0);
            for (std::size_t bin = 0; bin < bins; ++bin) {
                const auto wi = turn[i * bins + bin], wj = turn[j * bins + bin], s = cross[pair * bins + bin];
                const float re = wi.real() * wj.real() + wi.imag() * wj.imag();
                const float im = wi.imag() * wj.real() - wi.real() * wj.imag();
                crossPower[static_cast<std::size_t>(thirdOctave[bin])] +=
                    static_cast<double>(2.0f * (re * s.real() - im * s.imag()));
            }
            double gain = 0.0, counted = 0.0;
            for (std::size_t b = 0; b < shares.size(); ++b) {
                const double alone = bandPowers[b][i] + bandPowers[b][j];
                if (!(alone > 0.0)) continue;
                gain += shares[b] * (1.0 + crossPower[b] / alone);
                counted += shares[b];
            }
            if (counted > 0.0) result[pair] = std::max(0.0, gain / counted);
        }
    }
    return result;
}

} // namespace spillwright
