#pragma once

#include "Core/Propose/NudgeSearch.h"
#include "Core/Propose/SummationModel.h"
#include "Core/RandomStream.h"

#include <Eigen/Core>
#include <Eigen/Eigenvalues>

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

/// Couplings of every unit with every other, bell-shaped: the worst there is. Scaled so that none of them sounds louder
/// than it can: the matrix is positive semidefinite, its smallest eigenvalue 0.
inline SummationModel denseRandom(int n, std::uint64_t seed) {
    RandomStream random(seed);
    Eigen::MatrixXd matrix = Eigen::MatrixXd::Zero(n, n);
    for (int j = 0; j < n; ++j)
        for (int i = 0; i < j; ++i)
            matrix(i, j) = matrix(j, i) = random.bell();
    const double lowest = Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd>(matrix).eigenvalues()[0];
    matrix.diagonal().array() -= lowest;
    matrix /= matrix.trace();
    return SummationModel::fromMatrices({300.0}, std::vector<Eigen::MatrixXcd>{matrix.cast<std::complex<double>>()});
}

/// Players in a room of 8 m by 6 m, one to two close tracks each, the rest of the tracks anywhere: direct sound by the
/// distance, and a diffuse share that no two tracks have in common.
inline SummationModel playersInARoom(int tracks, int players, std::uint64_t seed, double binWidth = 2.93) {
    const auto bins = lowMidBins(binWidth);
    RandomStream random(seed);
    const auto place = [&] {
        const double x = random.between(0.0, 8.0), y = random.between(0.0, 6.0);
        return Eigen::Vector3d(x, y, random.between(0.3, 1.5));
    };
    std::vector<Eigen::Vector3d> sources, microphones;
    for (int s = 0; s < players; ++s)
        sources.push_back(place());
    for (int i = 0; i < tracks; ++i) {
        Eigen::Vector3d at = place() + Eigen::Vector3d(0.0, 0.0, 1.0);
        if (i < tracks * 3 / 4)
            at = sources[static_cast<std::size_t>(i % players)] +
                 Eigen::Vector3d(random.between(-0.3, 0.3), random.between(-0.3, 0.3), random.between(0.1, 0.3));
        microphones.push_back(at);
    }
    Eigen::MatrixXd level(tracks, players), delay(tracks, players);
    Eigen::VectorXd diffuse(tracks);
    for (int i = 0; i < tracks; ++i) {
        const int polarity = random.sign();
        for (int s = 0; s < players; ++s) {
            const double distance = (microphones[i] - sources[s]).norm();
            level(i, s) = polarity / distance;
            delay(i, s) = distance / 343.2;
        }
        const double loudness = level.row(i).norm(); // tracks are about as loud as each other in a balance
        level.row(i) *= std::exp(random.between(-0.7, 0.0)) / loudness;
        diffuse[i] = 0.2 * players / (loudness * loudness); // critical distance 2.2 m
    }
    std::vector<Eigen::MatrixXcd> matrices;
    double energy = 0.0;
    for (const double f : bins) {
        Eigen::MatrixXcd a(tracks, players);
        for (int i = 0; i < tracks; ++i)
            for (int s = 0; s < players; ++s)
                a(i, s) = level(i, s) * std::polar(1.0, -2.0 * std::numbers::pi * f * delay(i, s));
        matrices.push_back(a * a.adjoint());
        matrices.back().diagonal().array() += diffuse.array();
        energy += matrices.back().trace().real();
    }
    for (auto& matrix : matrices)
        matrix /= energy;
    return SummationModel::fromMatrices(bins, matrices);
}

/// The model's problem with every track a unit of its own and the first standing still.
inline NudgeProblem nudgesOf(const SummationModel& model, double largest) {
    NudgeProblem problem;
    for (const double f : model.frequencies())
        problem.angular.push_back(2.0 * std::numbers::pi * f);
    for (int j = 0; j < model.trackCount(); ++j) {
        problem.units.push_back(j == 0 ? NudgeProblem::Unit{0.0, 0.0, false}
                                       : NudgeProblem::Unit{-largest, largest, true});
        problem.constant += model.coupling(j, j, 0.0);
        for (int i = 0; i < j; ++i) {
            const auto spectrum = model.weightedPair(i, j);
            problem.pairs.emplace_back(spectrum.begin(), spectrum.end());
        }
    }
    return problem;
}

} // namespace spillwright::test
