#include "Core/Propose/BandCompression.h"

#include <Eigen/QR>

#include <algorithm>
#include <cmath>
#include <numbers>

namespace spillwright {

namespace {

/// Rows: cosines, then sines, of the frequencies (off the middle, which leaves the fit as it is) at the lags.
Eigen::MatrixXd waves(std::span<const double> angular, double middle, double reach, int lags) {
    Eigen::MatrixXd rows(2 * lags, angular.size());
    for (std::size_t f = 0; f < angular.size(); ++f)
        for (int l = 0; l < lags; ++l) {
            const double phase = (angular[f] - middle) * reach * l / (lags - 1);
            rows(l, f) = std::cos(phase);
            rows(lags + l, f) = std::sin(phase);
        }
    return rows;
}

BandCompression uncompressed(std::span<const double> angular) {
    const auto count = static_cast<Eigen::Index>(angular.size());
    return {{angular.begin(), angular.end()}, Eigen::MatrixXd::Identity(count, count), 0.0};
}

BandCompression compressStretch(std::span<const double> angular, double reach) {
    const double low = angular.front(), high = angular.back();
    const double middle = (low + high) / 2.0, half = (high - low) / 2.0;
    // Cycles across the band and the lags of both signs: the number of freedoms, which a few more fit closely.
    const double freedoms = 2.0 * half * reach / std::numbers::pi;
    for (int count = static_cast<int>(freedoms) + 7; count < static_cast<int>(angular.size()); count += 2) {
        BandCompression compression;
        for (int k = 0; k < count; ++k) {
            const double chebyshev = -std::cos(std::numbers::pi * (2 * k + 1) / (2.0 * count));
            const double even = -1.0 + 2.0 * k / (count - 1);
            compression.nodes.push_back(middle + half * (chebyshev + even) / 2.0);
        }
        const int lags = 4 * count;
        const auto wanted = waves(angular, middle, reach, lags);
        const auto given = waves(compression.nodes, middle, reach, lags);
        Eigen::CompleteOrthogonalDecomposition<Eigen::MatrixXd> solver(given.rows(), given.cols());
        solver.setThreshold(1e-7); // smaller pivots would make large weights that cancel
        solver.compute(given);
        const Eigen::MatrixXd fit = solver.solve(wanted);
        const Eigen::MatrixXd missed = given * fit - wanted;
        compression.error =
            std::sqrt((missed.topRows(lags).array().square() + missed.bottomRows(lags).array().square()).maxCoeff());
        compression.weights = fit.transpose();
        if (compression.error < compressionError) return compression;
    }
    return uncompressed(angular);
}

} // namespace

BandCompression compressBand(std::span<const double> angular, double reach) {
    BandCompression whole;
    if (angular.empty()) return whole;
    if (!(reach > 0.0)) { // no lags: one frequency stands for all
        whole.nodes = {angular.front()};
        whole.weights = Eigen::MatrixXd::Ones(static_cast<Eigen::Index>(angular.size()), 1);
        return whole;
    }
    // The fit's cost grows with the cube of its width, so a wide band is cut into stretches of some tens of nodes.
    const double mostFreedoms = 40.0;
    const double width = mostFreedoms * std::numbers::pi / reach;
    const auto stretches = static_cast<int>(std::ceil((angular.back() - angular.front()) / width + 1e-9));
    std::vector<BandCompression> parts;
    std::size_t from = 0;
    Eigen::Index nodes = 0;
    for (int stretch = 1; stretch <= std::max(1, stretches); ++stretch) {
        const double end = angular.front() + (angular.back() - angular.front()) * stretch / std::max(1, stretches);
        std::size_t to = from;
        while (to < angular.size() && (stretch >= stretches || angular[to] <= end))
            ++to;
        if (to == from) continue;
        parts.push_back(compressStretch(angular.subspan(from, to - from), reach));
        nodes += static_cast<Eigen::Index>(parts.back().nodes.size());
        from = to;
    }
    whole.weights = Eigen::MatrixXd::Zero(static_cast<Eigen::Index>(angular.size()), nodes);
    Eigen::Index row = 0, column = 0;
    for (const auto& part : parts) {
        whole.nodes.insert(whole.nodes.end(), part.nodes.begin(), part.nodes.end());
        whole.weights.block(row, column, part.weights.rows(), part.weights.cols()) = part.weights;
        whole.error = std::max(whole.error, part.error);
        row += part.weights.rows();
        column += part.weights.cols();
    }
    return whole;
}

} // namespace spillwright
