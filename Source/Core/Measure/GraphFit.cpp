#include "Core/Measure/GraphFit.h"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace spillwright {

namespace {

constexpr double heldBeyond = 1.345; // deviations: 95 % efficient for normal errors (Huber 1981)
constexpr int passes = 8;

/// The lowest node of each one's connected part.
std::vector<std::size_t> lowestOf(std::span<const MeasuredDifference> differences, std::size_t nodes) {
    std::vector<std::size_t> lowest(nodes);
    std::iota(lowest.begin(), lowest.end(), std::size_t(0));
    for (bool changed = true; changed;) {
        changed = false;
        for (const auto& d : differences) {
            const auto low = std::min(lowest[d.first], lowest[d.second]);
            changed |= lowest[d.first] != low || lowest[d.second] != low;
            lowest[d.first] = lowest[d.second] = low;
        }
    }
    return lowest;
}

} // namespace

double GraphFit::variance(std::size_t first, std::size_t second) const {
    const auto a = static_cast<Eigen::Index>(first), b = static_cast<Eigen::Index>(second);
    return covariance(a, a) + covariance(b, b) - 2.0 * covariance(a, b);
}

GraphFit fitGraph(std::span<const MeasuredDifference> differences, std::vector<double> start) {
    GraphFit fit;
    fit.values = std::move(start);
    const auto nodes = static_cast<Eigen::Index>(fit.values.size());
    const auto lowest = lowestOf(differences, fit.values.size());
    double anchor = 1.0;
    for (const auto& d : differences)
        anchor = std::max(anchor, 1.0 / d.variance);
    for (int pass = 0; pass < passes; ++pass) {
        Eigen::MatrixXd laplacian = Eigen::MatrixXd::Zero(nodes, nodes);
        Eigen::VectorXd right = Eigen::VectorXd::Zero(nodes);
        double parts = 0.0;
        for (std::size_t node = 0; node < fit.values.size(); ++node)
            if (lowest[node] == node) { // held at 0, which no difference minds
                laplacian(static_cast<Eigen::Index>(node), static_cast<Eigen::Index>(node)) = anchor;
                parts += 1.0;
            }
        for (const auto& d : differences) {
            const double missed = std::abs(d.value - fit.difference(d.first, d.second)) / std::sqrt(d.variance);
            const double weight = (missed > heldBeyond ? heldBeyond / missed : 1.0) / d.variance;
            const auto a = static_cast<Eigen::Index>(d.first), b = static_cast<Eigen::Index>(d.second);
            laplacian(a, a) += weight;
            laplacian(b, b) += weight;
            laplacian(a, b) -= weight;
            laplacian(b, a) -= weight;
            right(a) -= weight * d.value;
            right(b) += weight * d.value;
        }
        const Eigen::LDLT<Eigen::MatrixXd> solver(laplacian);
        const Eigen::VectorXd values = solver.solve(right);
        fit.values.assign(values.data(), values.data() + values.size());
        if (pass + 1 < passes) continue;
        fit.covariance = solver.solve(Eigen::MatrixXd::Identity(nodes, nodes));
        const double cycles = static_cast<double>(differences.size()) - static_cast<double>(nodes) + parts;
        double squares = 0.0;
        for (const auto& d : differences)
            squares += std::pow(d.value - fit.difference(d.first, d.second), 2) / d.variance;
        fit.residual = cycles > 0.5 ? squares / cycles : 0.0;
    }
    return fit;
}

} // namespace spillwright
