#include "Core/Measure/Coherence.h"

#include "Core/Measure/WindowOverlap.h"
#include "Core/Statistics.h"

#include <algorithm>
#include <cmath>

namespace spillwright {

namespace {

constexpr double incoherent = 1e-9; // least 1 - C: float sums know no better
constexpr double fewestAverages = 2.0;

/// Scatter of -ln(1 - C): variance `linear` C + `square` (1-C)^2.
struct Scatter {
    double linear = 0.0;
    double square = 0.0;
    double variance(double incoherence) const {
        return linear * (1.0 - incoherence) + square * incoherence * incoherence;
    }
};

/// The place to which `estimate` is 1.96 of that place's own scatter away, above (side 1) or below it (-1). By
/// Newton's steps from beyond, on a function that bends one way only.
double end(double estimate, const Scatter& scatter, double side) {
    constexpr int steps = 8;
    const auto deviation = [&](double incoherence) { return std::sqrt(scatter.variance(incoherence)); };
    if (side < 0.0 && estimate <= ninetyFive * deviation(1.0)) return 0.0;
    double y = side < 0.0 ? 0.0
                          : std::max(estimate, 0.0) + ninetyFive * std::sqrt(scatter.linear + scatter.square) +
                                ninetyFive * ninetyFive * scatter.linear;
    for (int step = 0; step < steps; ++step) {
        const double incoherence = std::exp(-y);
        const double here = deviation(incoherence);
        const double bend =
            (scatter.linear * incoherence - 2.0 * scatter.square * incoherence * incoherence) / here / 2.0;
        const double slope = 1.0 - side * ninetyFive * bend;
        if (!(slope > 0.0)) break;
        y = std::max(0.0, y - (y - estimate - side * ninetyFive * here) / slope);
    }
    return y;
}

} // namespace

double chanceCoherence(double effectiveAverages) {
    return effectiveAverages > 1.0 ? 1.0 - std::pow(0.01, 1.0 / (effectiveAverages - 1.0)) : 1.0;
}

namespace {

/// Takes the bias out of estimates of n averages.
struct Unbiased {
    double first, second, third;
    explicit Unbiased(double n) : first(1.0 / n), second(2.0 / (n + 1.0)), third(3.0 / (n + 2.0)) {}
    double operator()(double estimate) const {
        const double x = 1.0 - estimate;
        return 1.0 - x * (1.0 + first * x * (1.0 + second * x * (1.0 + third * x)));
    }
};

} // namespace

double unbiasedCoherence(double estimate, double n) {
    return Unbiased(n)(estimate);
}

namespace {

/// Covariance of the sums over two pools, for bins of variance 1.
double inCommon(const Pool& a, const Pool& b) {
    double sum = 0.0;
    for (int i = a.firstBin; i < a.firstBin + a.bins; ++i)
        for (int j = std::max(b.firstBin, i - 2); j <= std::min(b.firstBin + b.bins - 1, i + 2); ++j)
            sum += hannNeighbours[static_cast<std::size_t>(std::abs(i - j))];
    return sum;
}

} // namespace

double likenessOfPools(const Pool& a, const Pool& b) {
    return inCommon(a, b) / std::sqrt(inCommon(a, a) * inCommon(b, b));
}

double averagesOfPool(const Pool& pool) {
    return pool.bins * pool.bins / inCommon(pool, pool);
}

CoherenceMean::CoherenceMean(int firstBin, const std::vector<double>& weights)
    : CoherenceMean([&] {
          std::vector<Cell> single;
          for (const double weight : weights)
              single.push_back({{firstBin + static_cast<int>(single.size()), 1}, weight, 1.0});
          return single;
      }()) {}

CoherenceMean::CoherenceMean(std::vector<Cell> of) : cells(std::move(of)) {
    double power = 0.0, square = 0.0, powers = 0.0, squares = 0.0;
    for (std::size_t k = 0; k < cells.size(); ++k) {
        const auto scatter = [&](std::size_t i) { return cells[i].weight / std::sqrt(cells[i].averages); };
        const auto scatterOfSquare = [&](std::size_t i) { return cells[i].weight / cells[i].averages; };
        powers += scatter(k) * scatter(k);
        squares += scatterOfSquare(k) * scatterOfSquare(k);
        for (std::size_t next = k + 1; next < std::min(k + 3, cells.size()); ++next) {
            const double alike = likenessOfPools(cells[k].pool, cells[next].pool);
            power += 2.0 * alike * scatter(k) * scatter(next);
            square += 2.0 * alike * alike * scatterOfSquare(k) * scatterOfSquare(next);
        }
    }
    if (!(powers > 0.0)) return;
    sharedPower = 1.0 + power / powers;
    sharedSquare = 1.0 + square / squares;
}

CoherenceMean CoherenceMean::overOctaves(const ThirdOctaveBins& range, std::span<const Pool> pools) {
    std::vector<Cell> cells;
    auto pool = pools.begin();
    for (int bin = range.firstBin; bin <= range.lastBin; ++bin) {
        while (pool != pools.end() && pool->firstBin + pool->bins <= bin)
            ++pool;
        const bool pooled = pool != pools.end() && pool->firstBin <= bin;
        if (!cells.empty() && bin < cells.back().pool.firstBin + cells.back().pool.bins)
            cells.back().weight += 1.0 / bin;
        else
            cells.push_back({pooled ? *pool : Pool{bin, 1}, 1.0 / bin, pooled ? averagesOfPool(*pool) : 1.0});
    }
    return CoherenceMean(std::move(cells));
}

CoherenceEstimate CoherenceMean::of(std::span<const float> estimates, double n, double kept) const {
    if (n < fewestAverages) return {};
    double sum = 0.0, total = 0.0, powers = 0.0, squares = 0.0, linear = 0.0, square = 0.0;
    double averages = 1.0;
    Unbiased unbiased(n);
    for (const Cell& cell : cells) {
        const double estimate = static_cast<double>(estimates[static_cast<std::size_t>(cell.pool.firstBin)]);
        if (estimate < 0.0) continue;
        if (cell.averages != averages) {
            averages = cell.averages;
            unbiased = Unbiased(n * averages);
        }
        const double coherence = unbiased(estimate);
        const double incoherence = (1.0 - coherence) * (1.0 - coherence);
        const double power = cell.weight * cell.weight / cell.averages, ofSquare = power / cell.averages;
        sum += cell.weight * coherence;
        total += cell.weight;
        powers += power;
        squares += ofSquare;
        linear += power * coherence * incoherence;
        square += ofSquare * incoherence * incoherence;
    }
    if (!(total > 0.0)) return {};
    const double mean = std::clamp(sum / total, -1.0, 1.0 - incoherent), left = 1.0 - mean;
    // Where the bins differ, as of a tune, the mean's variance is not that of its value in every bin: the ratio of both
    // is kept as the value moves to either end.
    const double powerScale = powers / (total * total), squareScale = squares / (total * total);
    const double linearOfMean = powers * mean * left * left, squareOfMean = squares * left * left * left * left;
    constexpr double clearly = 4.0; // standard deviations of chance, from which on it can be told
    constexpr double leastRatio = 0.01, mostRatio = 4.0;
    const bool told = mean > clearly * std::sqrt(sharedSquare * squareScale) / n;
    const double unevenLinear = told ? std::clamp(linear / linearOfMean, leastRatio, mostRatio) : 1.0;
    const double unevenSquare = told ? std::clamp(square / squareOfMean, leastRatio, mostRatio) : 1.0;
    const Scatter scatter{2.0 / n * sharedPower * powerScale * unevenLinear,
                          sharedSquare * squareScale / (n * n) * unevenSquare};
    const double place = -std::log(left) - 0.5 * scatter.variance(left); // a logarithm's mean is not that mean's
    const auto coherenceAt = [&](double y) { return std::clamp((1.0 - std::exp(-y)) / kept, 0.0, 1.0); };
    CoherenceEstimate result;
    result.value = std::clamp(mean / kept, 0.0, 1.0);
    result.low = std::min(result.value, coherenceAt(end(place, scatter, -1.0)));
    result.high = std::max(result.value, coherenceAt(end(place, scatter, 1.0)));
    return result;
}

} // namespace spillwright
