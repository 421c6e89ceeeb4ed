#pragma once

#include "Core/Propose/FlipSearch.h"
#include "Core/RandomStream.h"

#include <algorithm>
#include <bit>
#include <chrono>
#include <cstdint>

namespace spillwright::bench {

inline double secondsSince(std::chrono::steady_clock::time_point start) {
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}

inline FlipProblem randomFlips(int n, std::uint64_t seed) {
    RandomStream random(seed);
    FlipProblem problem{Eigen::MatrixXd::Zero(n, n), Eigen::VectorXd::Zero(n), 0.0};
    for (int i = 0; i < n; ++i)
        for (int j = 0; j < i; ++j)
            problem.coupling(i, j) = problem.coupling(j, i) = random.between(-1.0, 1.0);
    return problem;
}

/// The floor: a bare Gray-code walk, one setting a step, n multiply-adds each, in double. The best value.
inline double bareWalk(const FlipProblem& problem) {
    const int n = problem.size() - 1; // the last sign stays
    Eigen::VectorXd fields = problem.coupling.rowwise().sum();
    Eigen::VectorXd signs = Eigen::VectorXd::Ones(problem.size());
    double value = problem.coupling.sum(), best = value;
    for (std::uint32_t step = 1; step < std::uint32_t(1) << n; ++step) {
        const int k = std::countr_zero(step);
        value -= 4.0 * signs[k] * fields[k];
        fields -= 2.0 * signs[k] * problem.coupling.col(k);
        signs[k] = -signs[k];
        best = std::max(best, value);
    }
    return best;
}

} // namespace spillwright::bench
