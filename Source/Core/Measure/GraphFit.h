#pragma once

#include <Eigen/Dense>

#include <cstddef>
#include <span>
#include <vector>

namespace spillwright {

/// A measured difference of two nodes: value = x_second - x_first, with its variance.
struct MeasuredDifference {
    std::size_t first = 0;
    std::size_t second = 0;
    double value = 0.0;
    double variance = 1.0;
};

/// Values of nodes from measured differences. In each connected part of the graph the lowest node is 0.
struct GraphFit {
    std::vector<double> values;
    Eigen::MatrixXd covariance; ///< Of independent differences; only that of nodes that hang together means anything.
    /// Mean of squared residual over variance, one a free cycle; 0 where the graph has none.
    double residual = 0.0;

    double difference(std::size_t first, std::size_t second) const { return values[second] - values[first]; }
    /// Variance of that difference: the effective resistance of the graph with conductances 1/variance.
    double variance(std::size_t first, std::size_t second) const;
};

/// Weighted least squares, iterated with residuals beyond 1.345 deviations held (Huber 1981), from the given values.
/// O(nodes^3).
GraphFit fitGraph(std::span<const MeasuredDifference> differences, std::vector<double> start);

} // namespace spillwright
