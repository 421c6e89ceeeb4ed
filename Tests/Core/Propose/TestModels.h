#pragma once

#include "Core/Propose/SummationModel.h"
#include "Core/RandomStream.h"

#include <Eigen/Core>

#include <complex>
#include <numbers>
#include <vector>

namespace spillwright::test {

inline std::vector<double> lowMidBins(double width = 2.93) {
    std::vector<double> bins;
    for (double f = 178.0; f < 562.0; f += width)
        bins.push_back(f);
    return bins;
}

/// One source heard by every track, delayed and turned, under noise of each track's own: S_ij = a_i a_j* + noise.
inline SummationModel oneSource(const std::vector<double>& delays, const std::vector<int>& signs, double noisePower,
                                double binWidth = 2.93) {
    const auto bins = lowMidBins(binWidth);
    const auto n = static_cast<Eigen::Index>(delays.size());
    std::vector<Eigen::MatrixXcd> matrices;
    for (const double f : bins) {
        Eigen::VectorXcd a(n);
        for (Eigen::Index i = 0; i < n; ++i)
            a[i] = static_cast<double>(signs[i]) * std::polar(1.0, -2.0 * std::numbers::pi * f * delays[i]);
        Eigen::MatrixXcd matrix = a * a.adjoint();
        matrix.diagonal().array() += noisePower;
        matrices.push_back(matrix / (static_cast<double>(bins.size()) * static_cast<double>(n) * (1.0 + noisePower)));
    }
    return SummationModel::fromMatrices(bins, matrices);
}

/// Several sources, each heard everywhere with a level, sign and delay of its own: as rugged as it gets.
inline SummationModel manySources(int tracks, int sources, double longestDelay, std::uint64_t seed,
                                  double binWidth = 2.93) {
    const auto bins = lowMidBins(binWidth);
    RandomStream random(seed);
    Eigen::MatrixXd level(tracks, sources), delay(tracks, sources);
    for (int i = 0; i < tracks; ++i)
        for (int s = 0; s < sources; ++s) {
            level(i, s) = random.sign() * std::exp(random.between(-1.5, 0.0));
            delay(i, s) = random.between(-longestDelay, longestDelay);
        }
    std::vector<Eigen::MatrixXcd> matrices;
    double energy = 0.0;
    for (const double f : bins) {
        Eigen::MatrixXcd a(tracks, sources);
        for (int i = 0; i < tracks; ++i)
            for (int s = 0; s < sources; ++s)
                a(i, s) = level(i, s) * std::polar(1.0, -2.0 * std::numbers::pi * f * delay(i, s));
        matrices.push_back(a * a.adjoint());
        energy += matrices.back().trace().real();
    }
    for (auto& matrix : matrices)
        matrix /= energy;
    return SummationModel::fromMatrices(bins, matrices);
}

} // namespace spillwright::test
