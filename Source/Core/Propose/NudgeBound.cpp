#include "Core/Propose/NudgeSearch.h"
#include "Core/RandomStream.h"

#include <Eigen/Core>
#include <Eigen/Eigenvalues>

#include <algorithm>
#include <atomic>
#include <cmath>
#include <numbers>
#include <utility>

namespace spillwright {

namespace {

using Eigen::MatrixXd;
using Eigen::VectorXd;

/// The largest that 2 s_i s_j Re sum of A_ij exp(-j omega lag) can be over a range of lags, from above.
double pairCeiling(const NudgeProblem& problem, int i, int j, double step) {
    const auto& a = problem.units[i];
    const auto& b = problem.units[j];
    const bool mayFlip = a.mayFlip || b.mayFlip;
    const double earliest = a.earliest - b.latest, latest = a.latest - b.earliest;
    const auto worth = [&](double lag) {
        const double r = problem.coupling(i, j, lag);
        return mayFlip ? std::abs(r) : r;
    };
    if (!(latest > earliest)) return 2.0 * worth(earliest);
    double bend = 0.0;
    const auto& spectrum = problem.pairs[NudgeProblem::pairIndex(i, j)];
    for (std::size_t k = 0; k < spectrum.size(); ++k)
        bend += problem.angular[k] * problem.angular[k] * std::abs(spectrum[k]);
    if (bend == 0.0) return 0.0;

    // Between two points dt apart a function lies at most dt^2/8 of its largest bend above the higher one: halve the
    // intervals that might hold the largest, until that margin no longer counts.
    struct Interval {
        double from, atFrom, atTo;
    };
    const int points = std::max(1, static_cast<int>(std::ceil((latest - earliest) / step)));
    double width = (latest - earliest) / points;
    std::vector<Interval> open;
    double largest = worth(earliest), before = largest;
    for (int g = 1; g <= points; ++g) {
        const double here = worth(earliest + g * width);
        open.push_back({earliest + (g - 1) * width, before, here});
        largest = std::max(largest, here);
        before = here;
    }
    for (int halving = 0; halving < 7; ++halving) {
        const double margin = width * width / 8.0 * bend;
        std::vector<Interval> next;
        for (const auto& interval : open) {
            if (std::max(interval.atFrom, interval.atTo) + margin <= largest) continue;
            const double middle = interval.from + width / 2.0, atMiddle = worth(middle);
            largest = std::max(largest, atMiddle);
            next.push_back({interval.from, interval.atFrom, atMiddle});
            next.push_back({middle, atMiddle, interval.atTo});
        }
        open = std::move(next);
        width /= 2.0;
    }
    return 2.0 * (largest + width * width / 8.0 * bend);
}

/// The same, whatever the lags.
double magnitudes(const std::vector<std::complex<double>>& spectrum) {
    double sum = 0.0;
    for (const auto& element : spectrum)
        sum += 2.0 * std::abs(element);
    return sum;
}

/// max over complex unit u of u'Hu from above, H Hermitian with zero diagonal: the dual of the semidefinite relaxation,
/// feasible by the least eigenvalue. The deadline ends it after a round.
double phaseCeiling(const Eigen::MatrixXcd& matrix, const Deadline& end) {
    const auto n = matrix.rows();
    // r^2 > n: no spurious local optimum but for exceptions.
    const auto rank = static_cast<Eigen::Index>(std::sqrt(static_cast<double>(n))) + 1;
    RandomStream random(1);
    Eigen::MatrixXcd vectors = Eigen::MatrixXcd::NullaryExpr(rank, n, [&] {
        const double re = random.between(-1.0, 1.0);
        return std::complex<double>(re, random.between(-1.0, 1.0));
    });
    vectors.colwise().normalize();
    Eigen::VectorXcd pull(rank);
    double bound = 1e300;
    for (int round = 0; round < 8; ++round) {
        for (int sweep = 0; sweep < 15; ++sweep)
            for (Eigen::Index i = 0; i < n; ++i) {
                pull.noalias() = vectors * matrix.col(i);
                const double length = pull.norm();
                if (length > 0.0) vectors.col(i) = pull / length;
            }
        const VectorXd y = (vectors * matrix).colwise().norm();
        Eigen::MatrixXcd slack = -matrix;
        slack.diagonal() += y.cast<std::complex<double>>();
        const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXcd> solver(slack, Eigen::EigenvaluesOnly);
        const double rounding = 1e-14 * static_cast<double>(n) * solver.eigenvalues().cwiseAbs().maxCoeff();
        const double lack = std::max(0.0, -solver.eigenvalues()[0]) + rounding;
        const double before = bound;
        bound = std::min(bound, y.sum() + static_cast<double>(n) * lack);
        if (before - bound < 1e-4 * bound || end.passed()) break;
    }
    return bound;
}

} // namespace

std::optional<double> nudgeUpperBound(const NudgeProblem& problem, Workers& workers, const Watch& watch,
                                      const Deadline& end) {
    const int n = problem.size();
    const auto bins = problem.angular.size();
    if (bins == 0 || n < 2) return problem.constant;
    // An eighth of the shortest period between lags; the halving does the rest.
    const double step = 2.0 * std::numbers::pi / (8.0 * problem.angular.back());
    std::vector<std::pair<int, int>> pairs;
    for (int j = 0; j < n; ++j)
        for (int i = 0; i < j; ++i)
            pairs.emplace_back(i, j);
    std::vector<double> ofPair(pairs.size()), ofBin(bins);
    std::atomic<std::size_t> done{0};
    // Bins first, each with its part of the time: of many units theirs is the better bound.
    std::vector<Deadline> endOfBin;
    for (std::size_t bin = 0; bin < bins; ++bin)
        endOfBin.push_back(end.share(static_cast<double>(bin + 1) / static_cast<double>(bins)));
    workers.forEach(pairs.size() + bins, [&](std::size_t item, int worker) {
        if (watch.stopped()) return;
        const bool late = end.passed();
        if (item >= bins) {
            const auto pair = item - bins;
            const auto [i, j] = pairs[pair];
            ofPair[pair] =
                late ? magnitudes(problem.pairs[NudgeProblem::pairIndex(i, j)]) : pairCeiling(problem, i, j, step);
        } else {
            const auto bin = item;
            Eigen::MatrixXcd matrix = Eigen::MatrixXcd::Zero(n, n);
            for (const auto& [i, j] : pairs) {
                matrix(i, j) = problem.pairs[NudgeProblem::pairIndex(i, j)][bin];
                matrix(j, i) = std::conj(matrix(i, j));
            }
            ofBin[bin] = late ? matrix.cwiseAbs().sum() : phaseCeiling(matrix, endOfBin[bin]);
        }
        ++done;
        if (worker == 0) watch.tell(static_cast<double>(done) / static_cast<double>(pairs.size() + bins));
    });
    if (watch.stopped()) return std::nullopt;
    double byPairs = problem.constant, byBins = problem.constant;
    for (const double ceiling : ofPair)
        byPairs += ceiling;
    for (const double ceiling : ofBin)
        byBins += ceiling;
    return std::min(byPairs, byBins);
}

} // namespace spillwright
