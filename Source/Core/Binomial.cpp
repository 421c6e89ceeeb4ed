#include "Core/Binomial.h"

#include <algorithm>
#include <cassert>
#include <cmath>

namespace spillwright {

double binomialTail(int trials, int atLeast, double p) {
    assert(trials >= 0 && p >= 0.0 && p <= 1.0);
    if (atLeast <= 0) return 1.0;
    if (atLeast > trials || p == 0.0) return 0.0;
    if (p == 1.0) return 1.0;
    // Where the tail is most of it, the rest is summed: terms then fall from the first one on.
    if (atLeast <= trials * p) return 1.0 - binomialTail(trials, trials - atLeast + 1, 1.0 - p);
    // The first term in logarithms, as it may be smaller than any number; the others as parts of it.
    double logarithm = atLeast * std::log(p) + (trials - atLeast) * std::log1p(-p);
    for (int k = 1; k <= trials - atLeast; ++k)
        logarithm += std::log(static_cast<double>(atLeast + k) / k);
    double sum = 1.0, term = 1.0;
    for (int k = atLeast; k < trials && term > 1e-18 * sum; ++k) {
        term *= static_cast<double>(trials - k) / (k + 1) * (p / (1.0 - p));
        sum += term;
    }
    return std::min(1.0, std::exp(logarithm + std::log(sum)));
}

double guessingProbability(int trials, int count, TestSides sides) {
    if (sides == TestSides::one) return binomialTail(trials, count, 0.5);
    return std::min(1.0, 2.0 * binomialTail(trials, std::max(count, trials - count), 0.5));
}

std::optional<int> leastCount(int trials, double level, TestSides sides) {
    for (int count = trials / 2; count <= trials; ++count)
        if (guessingProbability(trials, count, sides) <= level) return count;
    return std::nullopt;
}

double binomialPower(int trials, double level, TestSides sides, double p) {
    const auto least = leastCount(trials, level, sides);
    if (!least) return 0.0;
    const double above = binomialTail(trials, *least, p);
    return sides == TestSides::one ? above : std::min(1.0, above + binomialTail(trials, *least, 1.0 - p));
}

} // namespace spillwright
