#pragma once

#include "Core/Propose/NudgeSearch.h"
#include "Core/RandomStream.h"

#include <complex>
#include <numbers>

namespace spillwright::test {

/// Couplings of any size and phase; the first unit stands still.
inline NudgeProblem randomProblem(int units, double largest, std::uint64_t seed, int bins = 40) {
    RandomStream random(seed);
    NudgeProblem problem;
    for (int k = 0; k < bins; ++k)
        problem.angular.push_back(2.0 * std::numbers::pi * (180.0 + 380.0 * k / bins));
    for (int j = 0; j < units; ++j) {
        problem.units.push_back(j == 0 ? NudgeProblem::Unit{0.0, 0.0, false}
                                       : NudgeProblem::Unit{-largest, largest, true});
        for (int i = 0; i < j; ++i) {
            problem.pairs.emplace_back();
            for (int k = 0; k < bins; ++k)
                problem.pairs.back().push_back(std::polar(random.uniform() / bins, random.between(0.0, 6.3)));
        }
    }
    problem.constant = 1.0;
    return problem;
}

inline double valueByDefinition(const NudgeProblem& problem, const Placement& placement) {
    double sum = problem.constant;
    for (int j = 0; j < problem.size(); ++j)
        for (int i = 0; i < j; ++i)
            for (std::size_t k = 0; k < problem.angular.size(); ++k) {
                const auto u = [&](int unit) {
                    return std::polar(static_cast<double>(placement.signs[unit]),
                                      -problem.angular[k] * placement.nudges[unit]);
                };
                sum += 2.0 * (problem.pairs[NudgeProblem::pairIndex(i, j)][k] * u(i) * std::conj(u(j))).real();
            }
    return sum;
}

/// Signs and nudges within each unit's limits.
inline Placement randomPlacement(const NudgeProblem& problem, RandomStream& random) {
    Placement placement;
    for (const auto& unit : problem.units) {
        placement.signs.push_back(unit.mayFlip ? random.sign() : 1);
        placement.nudges.push_back(random.between(unit.earliest, unit.latest));
    }
    placement.value = valueByDefinition(problem, placement);
    return placement;
}

} // namespace spillwright::test
