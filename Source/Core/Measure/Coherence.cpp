#include "Core/Measure/Coherence.h"

#include "Core/Measure/ArrivalKernels.h"
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
    constexpr double near = 1e-12;
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
        const double before = y;
        y = std::max(0.0, y - (y - estimate - side * ninetyFive * here) / slope);
        if (std::abs(y - before) <= near) break;
    }
    return y;
}

} // namespace

double chanceCoherence(double effectiveAverages) {
    return effectiveAverages > 1.0 ? 1.0 - std::pow(0.01, 1.0 / (effectiveAverages - 1.0)) : 1.0;
}

namespace {

kernels::CoherenceBias biasOf(double n) {
    return {1.0 / n, 2.0 / (n + 1.0), 3.0 / (n + 2.0)};
}

} // namespace

double unbiasedCoherence(double estimate, double n) {
    const auto [first, second, third] = biasOf(n);
    const double x = 1.0 - estimate;
    return 1.0 - x * (1.0 + first * x * (1.0 + second * x * (1.0 + third * x)));
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

CoherenceMean::CoherenceMean(const std::vector<Cell>& cells) {
    double power = 0.0, square = 0.0, ofPowers = 0.0, ofSquares = 0.0;
    for (std::size_t k = 0; k < cells.size(); ++k) {
        const auto powerOf = [&](std::size_t i) { return cells[i].weight * cells[i].weight / cells[i].averages; };
        const auto squareOf = [&](std::size_t i) { return powerOf(i) / cells[i].averages; };
        ofPowers += powerOf(k);
        ofSquares += squareOf(k);
        for (std::size_t next = k + 1; next < std::min(k + 3, cells.size()); ++next) {
            const double alike = likenessOfPools(cells[k].pool, cells[next].pool);
            power += 2.0 * alike * std::sqrt(powerOf(k) * powerOf(next));
            square += 2.0 * alike * alike * std::sqrt(squareOf(k) * squareOf(next));
        }
        if (runs.empty() || runs.back().averages != cells[k].averages) {
            fillUp();
            runs.push_back({cells[k].averages, places.size(), 0});
        }
        add(cells[k].pool.firstBin, cells[k].weight, powerOf(k), squareOf(k));
    }
    fillUp();
    if (!(ofPowers > 0.0)) return;
    sharedPower = 1.0 + power / ofPowers;
    sharedSquare = 1.0 + square / ofSquares;
}

void CoherenceMean::add(int place, double weight, double power, double square) {
    places.push_back(place);
    cellWeights.push_back(static_cast<float>(weight));
    cellPowers.push_back(static_cast<float>(power));
    cellSquares.push_back(static_cast<float>(square));
    ++runs.back().count;
}

void CoherenceMean::fillUp() {
    while (places.size() % kernels::cellsAtOnce != 0)
        add(places.back(), 0.0, 0.0, 0.0);
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
    return CoherenceMean(cells);
}

CoherenceEstimate CoherenceMean::of(std::span<const float> estimates, double n, double kept) const {
    if (n < fewestAverages) return {};
    kernels::CoherenceSums sums;
    for (const auto& run : runs)
        kernels::addCoherences(estimates.data(),
                               {places.data() + run.first, cellWeights.data() + run.first,
                                cellPowers.data() + run.first, cellSquares.data() + run.first},
                               run.count, biasOf(n * run.averages), sums);
    const double total = sums.weights;
    if (!(total > 0.0)) return {};
    const double mean = std::clamp(sums.coherence / total, -1.0, 1.0 - incoherent), left = 1.0 - mean;
    // Where the bins differ, as of a tune, the mean's variance is not that of its value in every bin: the ratio of both
    // is kept as the value moves to either end.
    const double powerScale = sums.powers / (total * total), squareScale = sums.squares / (total * total);
    const double linearOfMean = sums.powers * mean * left * left;
    const double squareOfMean = sums.squares * left * left * left * left;
    constexpr double clearly = 4.0; // standard deviations of chance, from which on it can be told
    constexpr double leastRatio = 0.01, mostRatio = 4.0;
    const bool told = mean > clearly * std::sqrt(sharedSquare * squareScale) / n;
    const double unevenLinear = told ? std::clamp(sums.linear / linearOfMean, leastRatio, mostRatio) : 1.0;
    const double unevenSquare = told ? std::clamp(sums.square / squareOfMean, leastRatio, mostRatio) : 1.0;
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
