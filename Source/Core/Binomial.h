#pragma once

#include <optional>

namespace spillwright {

/// Whether a test looks for one outcome alone (more right answers than by guessing), or for either (one of two is
/// preferred, whichever).
enum class TestSides { one, two };

/// P(X >= atLeast) of `trials` (0 to 10000) independent trials, each with the chance `p` (0..1): the exact sum, within
/// 1e-11 of itself however small, down to the smallest double.
double binomialTail(int trials, int atLeast, double p);

/// The chance that mere guessing (p = 1/2) comes out as `count` of `trials` does or further from the middle: upwards
/// alone, or either way.
double guessingProbability(int trials, int count, TestSides sides);

/// The least count with a guessing probability of at most `level`, below 1/2; nullopt: so few trials cannot reach it.
std::optional<int> leastCount(int trials, double level, TestSides sides);

/// The chance to reach leastCount(trials, level, sides), either way where there are two, if each trial has the chance
/// `p` in truth. 0 where it cannot be reached.
double binomialPower(int trials, double level, TestSides sides, double p);

} // namespace spillwright
