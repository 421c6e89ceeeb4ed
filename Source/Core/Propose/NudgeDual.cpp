#include "Core/Propose/NudgeDual.h"

#include <Eigen/Core>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>

namespace spillwright {

namespace {

using kernels::dualPadding;
using kernels::lagPadding;

constexpr double barrier = 0.7;
constexpr std::size_t pairsAtOnce = 16;
constexpr double infinite = std::numeric_limits<double>::infinity();

std::size_t padded(std::size_t count, std::size_t to) {
    return (count + to - 1) / to * to;
}

/// Some twenty lags a period of the highest frequency, and a whole number from 0 to the largest nudge.
double stepOf(const NudgeProblem& problem, double largest) {
    const double finest = 2.0 * std::numbers::pi / (21.4 * problem.angular.back());
    return largest > 0.0 ? largest / std::ceil(largest / finest) : finest;
}

/// Largest value of a cubic given by its control points, from above: they enclose it, and ever closer as it is halved.
double largestOfCubic(const std::array<double, 4>& b, int halvings, double known) {
    const double above = std::max({b[0], b[1], b[2], b[3]});
    if (above <= known || halvings == 0) return above;
    const double p = (b[0] + b[1]) / 2.0, q = (b[1] + b[2]) / 2.0, r = (b[2] + b[3]) / 2.0;
    const double pq = (p + q) / 2.0, qr = (q + r) / 2.0, middle = (pq + qr) / 2.0;
    const double most = std::max(known, middle);
    return std::max(largestOfCubic({b[0], p, pq, middle}, halvings - 1, most),
                    largestOfCubic({middle, qr, r, b[3]}, halvings - 1, most));
}

/// The part of a cubic on 0..1 that lies between two places.
std::array<double, 4> cut(std::array<double, 4> b, double from, double to) { // from < to
    const auto upTo = [](std::array<double, 4> points, double t) {
        for (int level = 1; level < 4; ++level)
            for (int i = 3; i >= level; --i)
                points[i] += (points[i - 1] - points[i]) * (1.0 - t);
        return points;
    };
    const auto reversed = [](const std::array<double, 4>& p) { return std::array{p[3], p[2], p[1], p[0]}; };
    if (to != 1.0) b = upTo(b, to);
    if (from != 0.0) b = reversed(upTo(reversed(b), 1.0 - from / to));
    return b;
}

} // namespace

bool DualGrid::suits(const NudgeProblem& problem) {
    if (problem.size() < 2 || problem.angular.empty() || !(problem.angular.back() > 0.0)) return false;
    const double largest = problem.largestNudge();
    const double lags = 4.0 * largest / stepOf(problem, largest) + 1.0;
    const auto pairs = static_cast<double>(problem.pairs.size());
    return lags * pairs <= 4e6 && lags * pairs * static_cast<double>(problem.angular.size()) <= 6e8;
}

DualGrid::DualGrid(const NudgeProblem& problem, Workers& workers, const std::stop_token& stop)
    : constant(problem.constant), count(problem.size()) {
    const double largest = problem.largestNudge();
    step = stepOf(problem, largest);
    for (const auto& unit : problem.units)
        wholeRange.push_back({unit.earliest, unit.latest, true, unit.mayFlip});
    chooseFrequencies(problem, 2.0 * largest);
    fillPairs(problem, workers, stop);
}

/// Across the band as closely as 2 / lags asks for; even ones from below it to twice its frequencies, where few lags
/// leave room for them (found by trial).
void DualGrid::chooseFrequencies(const NudgeProblem& problem, double reach) {
    const double low = problem.angular.front(), high = problem.angular.back();
    const double cycles = (high - low) * 2.0 * reach / (2.0 * std::numbers::pi);
    const auto odd = static_cast<std::size_t>(std::clamp(std::ceil(cycles) + 1.0, 5.0, 48.0));
    const std::size_t even = odd <= 8 ? 5 : 0;
    auto& table = onLags.table;
    table.oddCount = odd;
    table.evenCount = even;
    table.evenFrom = padded(odd, dualPadding);
    table.width = table.evenFrom + padded(even, dualPadding);
    angular.assign(table.width, 0.0);
    for (std::size_t k = 0; k < odd; ++k)
        angular[k] = low + (high - low) * static_cast<double>(k) / static_cast<double>(odd - 1);
    for (std::size_t k = 0; k < even; ++k)
        angular[table.evenFrom + k] = 0.84 * low + (1.7 * high - 0.84 * low) * static_cast<double>(k) / 4.0;
    betweenLags.table = table;
}

bool DualGrid::padding(std::size_t lane) const {
    const auto& table = onLags.table;
    return lane < table.evenFrom ? lane >= table.oddCount : lane - table.evenFrom >= table.evenCount;
}

void DualGrid::fill(Tables& tables, double offset, int lags) const {
    auto& table = tables.table;
    table.lags = padded(static_cast<std::size_t>(lags), lagPadding);
    for (auto* values : {&tables.cosines, &tables.sines, &tables.lagCosines, &tables.lagSines})
        values->assign(table.width * table.lags, 0.0);
    for (std::size_t k = 0; k < table.width; ++k)
        for (std::size_t q = 0; q < table.lags; ++q) {
            if (padding(k)) continue;
            const double phase = angular[k] * step * (static_cast<double>(q) + offset);
            tables.cosines[k * table.lags + q] = tables.lagCosines[q * table.width + k] = std::cos(phase);
            tables.sines[k * table.lags + q] = tables.lagSines[q * table.width + k] = std::sin(phase);
        }
    table.cosines = tables.cosines.data();
    table.sines = tables.sines.data();
    table.lagCosines = tables.lagCosines.data();
    table.lagSines = tables.lagSines.data();
}

void DualGrid::fillPairs(const NudgeProblem& problem, Workers& workers, const std::stop_token& stop) {
    const auto bins = static_cast<Eigen::Index>(problem.angular.size());
    pairs.resize(problem.pairs.size());
    int most = 0;
    for (int j = 0; j < count; ++j)
        for (int i = 0; i < j; ++i) {
            auto& pair = pairs[NudgeProblem::pairIndex(i, j)];
            const double from = wholeRange[i].earliest - wholeRange[j].latest;
            const double to = wholeRange[i].latest - wholeRange[j].earliest;
            pair.middle = (from + to) / 2.0;
            pair.half = std::max(0, static_cast<int>(std::ceil((to - from) / (2.0 * step) - 1e-6)));
            most = std::max(most, pair.half);
        }
    fill(onLags, 0.0, most + 1);
    fill(betweenLags, 0.5, most + 1);

    const Eigen::Map<const Eigen::ArrayXd> omega(problem.angular.data(), bins);
    Eigen::MatrixXd cosines(most + 1, bins), sines(most + 1, bins);
    for (int q = 0; q <= most; ++q) {
        cosines.row(q) = (omega * (q * step)).cos().matrix().transpose();
        sines.row(q) = (omega * (q * step)).sin().matrix().transpose();
    }
    constexpr std::size_t block = 32;
    workers.forEach((pairs.size() + block - 1) / block, [&](std::size_t item, int) {
        if (stop.stop_requested()) return;
        const std::size_t begin = item * block, end = std::min(pairs.size(), begin + block);
        const auto columns = static_cast<Eigen::Index>(end - begin);
        Eigen::MatrixXd re(bins, 2 * columns), im(bins, 2 * columns); // values, then slopes
        for (std::size_t p = begin; p < end; ++p) {
            const Eigen::Map<const Eigen::ArrayXcd> spectrum(problem.pairs[p].data(), bins);
            const auto column = static_cast<Eigen::Index>(p - begin);
            const Eigen::ArrayXd c = (omega * pairs[p].middle).cos(), s = (omega * pairs[p].middle).sin();
            re.col(column) = spectrum.real() * c + spectrum.imag() * s;
            im.col(column) = spectrum.imag() * c - spectrum.real() * s;
            re.col(columns + column) = step * omega * im.col(column).array();
            im.col(columns + column) = -step * omega * re.col(column).array();
            pairs[p].fourth = ((omega * step).square().square() * spectrum.abs()).sum();
        }
        const Eigen::MatrixXd along = cosines * re, across = sines * im;
        for (std::size_t p = begin; p < end; ++p) {
            auto& pair = pairs[p];
            const auto column = static_cast<Eigen::Index>(p - begin);
            const auto lags = static_cast<std::size_t>(2 * pair.half + 1);
            pair.worth.resize(lags);
            pair.slope.resize(lags);
            for (int g = -pair.half; g <= pair.half; ++g) {
                const double side = g < 0 ? -1.0 : 1.0;
                const auto at = static_cast<std::size_t>(g + pair.half);
                pair.worth[at] = along(std::abs(g), column) + side * across(std::abs(g), column);
                pair.slope[at] = along(std::abs(g), columns + column) + side * across(std::abs(g), columns + column);
                pair.ceiling = std::max(pair.ceiling, std::abs(pair.worth[at]));
            }
        }
    });
    weight.assign(static_cast<std::size_t>(count), 0.0);
    double sum = 0.0;
    for (int j = 0; j < count; ++j)
        for (int i = 0; i < j; ++i) {
            const double ceiling = pairs[NudgeProblem::pairIndex(i, j)].ceiling;
            weight[i] += ceiling;
            weight[j] += ceiling;
            sum += 2.0 * ceiling;
        }
    scale = std::max(sum, 1e-12) / 2.5; // tried on sessions whose pairs are worth about that
}

// ---- one part of the problem

NudgeDual::NudgeDual(const DualGrid& g, const std::vector<UnitRange>& r) : grid(g), ranges(r) {
    const int n = grid.units();
    const std::size_t width = grid.width();
    parts.resize(grid.pairs.size());
    pairValues.resize(parts.size());
    for (int j = 0; j < n; ++j)
        for (int i = 0; i < j; ++i) {
            const std::size_t p = NudgeProblem::pairIndex(i, j);
            const auto& whole = grid.pairs[p];
            auto& part = parts[p];
            part.from = ranges[i].earliest - ranges[j].latest;
            part.to = ranges[i].latest - ranges[j].earliest;
            const auto place = [&](double lag) { return (lag - whole.middle) / grid.step; };
            part.first = std::clamp(static_cast<int>(std::floor(place(part.from) + 1e-6)), -whole.half, whole.half);
            part.last = std::clamp(static_cast<int>(std::ceil(place(part.to) - 1e-6)), part.first, whole.half);
            const int lags = part.last - part.first + 1;
            const bool onLags = lags % 2 == 1;
            auto& of = part.lags;
            of.table = onLags ? &grid.onLags.table : &grid.betweenLags.table;
            of.count = static_cast<std::size_t>((lags + 1) / 2);
            of.middleCounts = onLags;
            of.same = (ranges[i].plus && ranges[j].plus) || (ranges[i].minus && ranges[j].minus);
            of.opposite = (ranges[i].plus && ranges[j].minus) || (ranges[i].minus && ranges[j].plus);
            const std::size_t rows = padded(of.count, lagPadding);
            part.worth.assign(2 * rows, 0.0);
            for (std::size_t q = 0; q < of.count; ++q) {
                const auto middle = part.first + (lags - 1) / 2; // the lower of the two where lags are even
                const auto away = static_cast<int>(q);
                part.worth[q] = whole.worth[static_cast<std::size_t>(middle + away + (onLags ? 0 : 1) + whole.half)];
                part.worth[rows + q] = whole.worth[static_cast<std::size_t>(middle - away + whole.half)];
            }
            of.later = part.worth.data();
            of.earlier = part.worth.data() + rows;
            const double middle = whole.middle + grid.step * (part.first + part.last) / 2.0;
            part.turns.resize(2 * width);
            for (std::size_t k = 0; k < width; ++k) {
                part.turns[k] = std::cos(grid.angular[k] * middle);
                part.turns[width + k] = -std::sin(grid.angular[k] * middle);
            }
            of.turns = part.turns.data();
        }
    const auto triangle = static_cast<std::size_t>(n) * (n + 1) / 2 * 2 * dualPadding;
    const std::size_t groups = width / dualPadding;
    matrixRoom.assign(groups, AlignedVector<double>(2 * triangle));
    inverses.assign(groups, AlignedVector<double>(triangle));
    diagonals.assign(groups, AlignedVector<double>(static_cast<std::size_t>(n) * dualPadding));
    pairRoom.assign((parts.size() + pairsAtOnce - 1) / pairsAtOnce,
                    AlignedVector<double>(5 * grid.onLags.table.lags + 4 * width));
}

AlignedVector<double> NudgeDual::start(const DualGrid& grid, double mu) {
    AlignedVector<double> multipliers(grid.multipliers(), 0.0);
    const std::size_t width = grid.width(), from = grid.pairs.size() * 2 * width;
    for (std::size_t at = from; at < multipliers.size(); ++at)
        multipliers[at] = grid.padding((at - from) % width) ? 1.0 : barrier * mu;
    return multipliers;
}

const double* NudgeDual::coefficients(const AlignedVector<double>& multipliers, std::size_t pair) const {
    return multipliers.data() + pair * 2 * grid.width();
}

/// Factors all matrices (with their inverses) and asks pairValue(pair, room) of all pairs, into pairValues. False: a
/// matrix is not positive definite.
template <class PairValue>
bool NudgeDual::readAll(const AlignedVector<double>& multipliers, bool inverted, const Spread& spread,
                        const PairValue& pairValue) {
    const std::size_t width = grid.width(), groups = width / dualPadding;
    const double* y = coefficients(multipliers, parts.size());
    std::vector<char> definite(groups);
    spread(groups + pairRoom.size(), [&](std::size_t item) {
        if (item < groups) {
            const std::size_t lane = item * dualPadding;
            definite[item] =
                kernels::factorDual(grid.units(), multipliers.data() + lane, y + lane, width, matrixRoom[item].data(),
                                    diagonals[item].data(), inverted ? inverses[item].data() : nullptr);
            return;
        }
        const std::size_t room = item - groups, begin = room * pairsAtOnce;
        for (std::size_t p = begin; p < std::min(parts.size(), begin + pairsAtOnce); ++p)
            pairValues[p] = pairValue(p, room);
    });
    return std::find(definite.begin(), definite.end(), 0) == definite.end();
}

double NudgeDual::smoothed(const AlignedVector<double>& multipliers, double mu, AlignedVector<double>& gradient,
                           const Spread& spread) {
    const auto n = static_cast<std::size_t>(grid.units());
    const std::size_t width = grid.width(), groups = width / dualPadding;
    const double* y = coefficients(multipliers, parts.size());
    const bool definite = readAll(multipliers, true, spread, [&](std::size_t p, std::size_t room) {
        return kernels::softestMax(parts[p].lags, coefficients(multipliers, p), mu, pairRoom[room].data(),
                                   gradient.data() + p * 2 * width);
    });
    if (!definite) return infinite;

    double value = grid.constant;
    for (const double v : pairValues)
        value += v;
    const double strength = barrier * mu;
    for (std::size_t group = 0; group < groups; ++group) {
        const auto& inverse = inverses[group];
        for (std::size_t l = 0; l < dualPadding; ++l) {
            const std::size_t lane = group * dualPadding + l;
            if (grid.padding(lane)) {
                for (std::size_t u = 0; u < n; ++u)
                    gradient[parts.size() * 2 * width + u * width + lane] = 0.0;
                continue;
            }
            for (std::size_t u = 0; u < n; ++u) {
                value += y[u * width + lane] - 2.0 * strength * std::log(diagonals[group][u * dualPadding + l]);
                gradient[parts.size() * 2 * width + u * width + lane] =
                    1.0 - strength * inverse[(u * (u + 1) / 2 + u) * 2 * dualPadding + l];
            }
        }
        for (std::size_t j = 1; j < n; ++j)
            for (std::size_t i = 0; i < j; ++i) {
                double* row = gradient.data() + (j * (j - 1) / 2 + i) * 2 * width + group * dualPadding;
                const double* element = inverse.data() + (j * (j + 1) / 2 + i) * 2 * dualPadding;
                for (std::size_t l = 0; l < dualPadding; ++l) { // C = 0 in the padding, and so is the inverse there
                    row[l] += 2.0 * strength * element[l];
                    row[width + l] -= 2.0 * strength * element[dualPadding + l];
                }
            }
    }
    return value;
}

double NudgeDual::pairCeiling(std::size_t p, const double* c) const {
    const auto& part = parts[p];
    const auto& whole = grid.pairs[p];
    const auto& table = *part.lags.table;
    const std::size_t width = table.width;
    // Turned to the middle; then the slopes' coefficients, times step.
    AlignedVector<double> turned(2 * width), sloped(2 * width);
    double fourth = 2.0 * whole.fourth;
    for (std::size_t k = 0; k < width; ++k) {
        const double re = c[k], im = c[width + k], a = part.turns[k], b = part.turns[width + k];
        const double omega = grid.angular[k] * grid.step;
        turned[k] = re * a - im * b;
        turned[width + k] = re * b + im * a;
        sloped[k] = omega * turned[width + k];
        sloped[width + k] = -omega * turned[k];
        fourth += 2.0 * omega * omega * omega * omega * std::hypot(re, im);
    }
    const std::size_t rows = table.lags;
    AlignedVector<double> room(8 * rows);
    for (int kind = 0; kind < 4; ++kind) { // odd, odd slopes, even, even slopes
        const bool even = kind >= 2;
        const std::size_t from = even ? table.evenFrom : 0;
        kernels::wavesAtLags(table, (kind % 2 == 0 ? turned : sloped).data(), from,
                             from + (even ? table.evenCount : table.oddCount), part.lags.count,
                             room.data() + 2 * kind * rows, room.data() + (2 * kind + 1) * rows);
    }
    const int lags = part.last - part.first + 1;
    const auto wave = [&](int kind, int g) {
        const int away = 2 * g - (lags - 1); // from the middle, in half steps
        const auto q = static_cast<std::size_t>(std::abs(away) / 2);
        return room[static_cast<std::size_t>(2 * kind + (away < 0 ? 1 : 0)) * rows + q];
    };
    const double start = (part.from - whole.middle) / grid.step - part.first;
    const double end = (part.to - whole.middle) / grid.step - part.first;
    double most = -infinite;
    for (const double sign : {1.0, -1.0}) {
        if (!(sign > 0.0 ? part.lags.same : part.lags.opposite)) continue;
        double value = 0.0, slope = 0.0;
        for (int g = 0; g < lags; ++g) {
            const auto at = static_cast<std::size_t>(g + part.first + whole.half);
            const double lastValue = value, lastSlope = slope;
            value = 2.0 * sign * (whole.worth[at] - wave(0, g)) - 2.0 * wave(2, g);
            slope = 2.0 * sign * (whole.slope[at] - wave(1, g)) - 2.0 * wave(3, g);
            if (lags == 1) // what a range of a millionth of a step may hold besides
                most = std::max(most, value + std::abs(slope) * std::max(std::abs(start), std::abs(end)));
            if (g == 0) continue;
            // The outermost cubics reach to the ends of the range, be it a hair beyond the lags.
            const double from = g == 1 ? start : 0.0, to = g == lags - 1 ? end - (g - 1) : 1.0;
            const auto cubic = cut({lastValue, lastValue + lastSlope / 3.0, value - slope / 3.0, value}, from, to);
            most = std::max(most, largestOfCubic(cubic, 6, most));
        }
    }
    return most + (lags > 1 ? fourth / 384.0 : 0.0);
}

double NudgeDual::ceiling(const AlignedVector<double>& multipliers, const Spread& spread) {
    const auto n = static_cast<std::size_t>(grid.units());
    const std::size_t width = grid.width();
    const double* y = coefficients(multipliers, parts.size());
    const bool definite = readAll(multipliers, false, spread, [&](std::size_t p, std::size_t) {
        return pairCeiling(p, coefficients(multipliers, p));
    });
    if (!definite) return infinite;
    double value = grid.constant, size = std::abs(grid.constant), traces = 0.0;
    for (const double v : pairValues) {
        value += v;
        size += std::abs(v);
    }
    for (std::size_t u = 0; u < n; ++u)
        for (std::size_t lane = 0; lane < width; ++lane)
            if (!grid.padding(lane)) traces += y[u * width + lane];
    // What a factor that exists can hide is (n + 1) units of rounding of the trace (Rump, BIT 46, 2006), complex
    // numbers some times that; all sums here are of numbers of one size.
    const double rounding = 16.0 * static_cast<double>(n + 2) * std::numeric_limits<double>::epsilon();
    return value + traces + rounding * (static_cast<double>(n) * traces + size);
}

NudgeDual::Lean NudgeDual::lean(const AlignedVector<double>& multipliers, double mu, int i, int j) {
    const std::size_t p = NudgeProblem::pairIndex(i, j), width = grid.width();
    const auto& part = parts[p];
    const auto& table = *part.lags.table;
    AlignedVector<double> gradient(2 * width);
    kernels::softestMax(part.lags, coefficients(multipliers, p), mu, pairRoom[0].data(), gradient.data());
    Lean lean;
    for (std::size_t k = 0; k < table.oddCount; ++k)
        lean.decided += std::hypot(gradient[k], gradient[width + k]) / 2.0 / static_cast<double>(table.oddCount);
    // The shares are still in the room: differences of the signs, and their sums.
    const double* room = pairRoom[0].data();
    const double middle = grid.pairs[p].middle + grid.step * (part.first + part.last) / 2.0;
    double sum = 0.0, signs = 0.0, lags = 0.0;
    for (std::size_t q = 0; q < part.lags.count; ++q) {
        const double away = grid.step * (static_cast<double>(q) + (part.lags.middleCounts ? 0.0 : 0.5));
        const double later = room[2 * table.lags + q], earlier = room[3 * table.lags + q];
        sum += later + earlier;
        lags += away * (later - earlier);
        signs += room[q] + room[table.lags + q];
    }
    lean.sign = signs / sum;
    lean.lag = middle + lags / sum;
    return lean;
}

} // namespace spillwright
