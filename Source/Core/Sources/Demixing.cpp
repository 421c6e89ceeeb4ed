#include "Core/Sources/Demixing.h"

#include "Core/Measure/Kernels.h"
#include "Core/Signal/AlignedVector.h"
#include "Core/Sources/DemixingKernels.h"

#include <Eigen/LU>

#include <algorithm>
#include <cmath>

namespace spillwright {

namespace {

constexpr int sweeps = 12;          // more bring nothing, and wander where sources are nearly alike
constexpr float leastPower = 1e-6f; // of a source's mean, in a window
constexpr float imagined = 0.01f; // noise that each track is thought to hold beside, of its power: steadies the matrix

} // namespace

std::optional<DemixedBand> demix(const WindowSpectra& windows, int band, std::span<const int> closeTracks,
                                 std::span<const int> leaders, const Watch& watch) {
    const auto& range = windows.bands()[static_cast<std::size_t>(band)];
    const auto bins = static_cast<std::size_t>(std::max(0, range.lastBin - range.firstBin + 1));
    const auto sources = closeTracks.size(), kept = windows.kept().size();
    DemixedBand demixed;
    demixed.firstBin = range.firstBin;
    demixed.powers = Eigen::ArrayXXf::Zero(static_cast<Eigen::Index>(kept), static_cast<Eigen::Index>(sources));
    if (bins == 0) return demixed;

    // A row holds a source in every kept window, and then its row of the matrix: as many windows more, in each of which
    // one track alone holds the imagined noise. So what is done to the sources is done to the matrix.
    const std::size_t length =
        (kept + sources + kernels::demixingPadding - 1) / kernels::demixingPadding * kernels::demixingPadding;
    const float ofMatrix = std::sqrt(imagined * static_cast<float>(kept));
    AlignedVector<float> rows(bins * sources * 2 * length), weights(sources * length), squares(length);
    std::vector<float> scales(bins * sources, 1.0f);
    const auto at = [&](std::size_t bin) {
        return kernels::DemixedBin{rows.data() + bin * sources * 2 * length, length, static_cast<int>(sources)};
    };
    for (std::size_t k = 0; k < sources; ++k)
        for (std::size_t t = 0; t < kept; ++t) {
            const auto spectrum = windows.spectrum(closeTracks[k], static_cast<int>(t));
            const auto first = static_cast<std::size_t>(range.firstBin - windows.firstBin());
            for (std::size_t bin = 0; bin < bins; ++bin) {
                const auto value = kernels::keptValue(spectrum[first + bin]);
                const auto of = at(bin);
                of.re(static_cast<int>(k))[t] = value.real();
                of.im(static_cast<int>(k))[t] = value.imag();
            }
        }
    for (std::size_t bin = 0; bin < bins; ++bin)
        for (int k = 0; k < at(bin).sources; ++k) {
            float *re = at(bin).re(k), *im = at(bin).im(k);
            double power = 0.0;
            for (std::size_t t = 0; t < kept; ++t)
                power += static_cast<double>(re[t]) * static_cast<double>(re[t]) +
                         static_cast<double>(im[t]) * static_cast<double>(im[t]);
            if (power > 0.0) {
                const double mean = std::sqrt(power / static_cast<double>(kept));
                scales[bin * sources + static_cast<std::size_t>(k)] = static_cast<float>(mean);
                for (std::size_t t = 0; t < kept; ++t) {
                    re[t] = static_cast<float>(static_cast<double>(re[t]) / mean);
                    im[t] = static_cast<float>(static_cast<double>(im[t]) / mean);
                }
            }
            re[kept + static_cast<std::size_t>(k)] = ofMatrix;
        }

    const auto weigh = [&] { // by the power that all bins of a source have in a window
        std::fill(weights.begin(), weights.end(), 0.0f);
        for (std::size_t bin = 0; bin < bins; ++bin)
            for (int k = 0; k < at(bin).sources; ++k)
                kernels::addSquares(at(bin).re(k), at(bin).im(k), kept,
                                    weights.data() + static_cast<std::size_t>(k) * length);
        for (std::size_t k = 0; k < sources; ++k) {
            float* const of = weights.data() + k * length;
            std::transform(of, of + kept, of,
                           [&](float sum) { return 1.0f / std::max(leastPower, sum / static_cast<float>(bins)); });
            std::fill(of + kept, of + kept + sources, 1.0f);
        }
    };
    for (int round = 0; round < sweeps; ++round) {
        if (watch.stopped()) return std::nullopt;
        weigh();
        for (std::size_t bin = 0; bin < bins; ++bin)
            kernels::sweep(at(bin), leaders.data(), weights.data(), static_cast<float>(kept), squares.data());
    }

    // Back to what each source is in its close track.
    const auto size = static_cast<Eigen::Index>(sources);
    std::vector<float> sums(kept);
    for (std::size_t bin = 0; bin < bins; ++bin) {
        const auto of = at(bin);
        Eigen::MatrixXcd matrix(size, size);
        for (Eigen::Index k = 0; k < size; ++k)
            for (Eigen::Index m = 0; m < size; ++m) {
                const auto place = kept + static_cast<std::size_t>(m);
                matrix(k, m) = std::complex<double>(static_cast<double>(of.re(static_cast<int>(k))[place]),
                                                    static_cast<double>(of.im(static_cast<int>(k))[place])) /
                               static_cast<double>(ofMatrix);
            }
        const Eigen::MatrixXcd mixing = matrix.partialPivLu().inverse();
        const float* const scale = scales.data() + bin * sources;
        for (Eigen::Index k = 0; k < size; ++k) {
            const auto back = mixing(k, k) * static_cast<double>(scale[k]);
            const auto power = static_cast<float>(std::norm(back));
            std::fill(sums.begin(), sums.end(), 0.0f);
            kernels::addSquares(of.re(static_cast<int>(k)), of.im(static_cast<int>(k)), kept, sums.data());
            for (std::size_t t = 0; t < kept; ++t)
                demixed.powers(static_cast<Eigen::Index>(t), k) += power * sums[t];
            for (Eigen::Index m = 0; m < size; ++m)
                matrix(k, m) *= back / static_cast<double>(scale[m]);
        }
        demixed.unmixing.push_back(std::move(matrix));
    }
    return demixed;
}

} // namespace spillwright
