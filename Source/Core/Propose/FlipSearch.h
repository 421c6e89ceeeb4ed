#pragma once

#include "Core/Workers.h"

#include <Eigen/Core>

#include <functional>
#include <optional>
#include <span>
#include <vector>

namespace spillwright {

/// value(s) = constant + 2 field's + s'Cs over signs s of +-1: the summation gain of flips for given nudges.
/// Without a field s and -s are worth the same.
struct FlipProblem {
    Eigen::MatrixXd coupling; ///< C, symmetric, zero diagonal.
    Eigen::VectorXd field;
    double constant = 0.0;

    int size() const { return static_cast<int>(field.size()); }
    bool mirrorsAreWorthTheSame() const { return (field.array() == 0.0).all(); }
    double value(std::span<const int> signs) const;
};

/// What is left to choose where some signs are settled: `settled[i]` is +-1, or 0 where sign i stays free. The free
/// ones keep their order; values are the same.
FlipProblem withSettled(const FlipProblem& problem, std::span<const int> settled);

struct RankedSigns {
    std::vector<int> signs; ///< +-1. Of two mirror images that are worth the same: the one whose last sign is +1.
    double value = 0.0;
};

/// Whether a setting may be listed; empty: all may.
using AcceptSigns = std::function<bool(std::span<const int>)>;

constexpr int mostExhaustiveSigns = 24;

/// The `count` best settings, best first, found by looking at every one: 2^(n-1) of them, 2^n with a field. Two values
/// that differ by less than 1e-12 count as equal; then fewer of the rarer sign, then the lower number in binary (bit i:
/// sign i is -1). Same answer for any number of workers. n <= 24. nullopt: stop was asked for.
std::optional<std::vector<RankedSigns>> everyFlip(const FlipProblem& problem, int count, const AcceptSigns& accept,
                                                  Workers& workers, const Watch& watch);

/// The `count` best settings that one-flip climbs from `first` (empty: no flips) and `starts` fixed random settings
/// find, with all one- and two-flip neighbours of the best. Same order as everyFlip. No proof. Same answer for any
/// number of workers. nullopt: stop was asked for.
std::optional<std::vector<RankedSigns>> climbFlips(const FlipProblem& problem, int count, const AcceptSigns& accept,
                                                   std::span<const int> first, int starts, Workers& workers,
                                                   const Watch& watch);

} // namespace spillwright
