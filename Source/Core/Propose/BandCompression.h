#pragma once

#include <Eigen/Core>

#include <span>
#include <vector>

namespace spillwright {

/// A few frequencies that stand for many where only lags within +-reach are asked for:
/// exp(-j omega_f lag) = sum over nodes k of weights(f, k) exp(-j nodes_k lag), to within `error`.
struct BandCompression {
    std::vector<double> nodes; ///< Radians a second.
    Eigen::MatrixXd weights;   ///< Frequencies x nodes.
    double error = 0.0;        ///< Largest seen.
};

constexpr double compressionError = 1e-6;

/// Least squares over the lags, with as many nodes as the error asks for, at most as many as frequencies.
/// `angular` ascending.
BandCompression compressBand(std::span<const double> angular, double reach);

} // namespace spillwright
