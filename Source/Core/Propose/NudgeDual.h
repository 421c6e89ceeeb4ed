#pragma once

#include "Core/Propose/DualKernels.h"
#include "Core/Propose/NudgeSearch.h"
#include "Core/Signal/AlignedVector.h"

#include <functional>
#include <stop_token>
#include <vector>

namespace spillwright {

/// Where a unit may be in a part of the problem.
struct UnitRange {
    double earliest = 0.0, latest = 0.0; ///< Seconds.
    bool plus = true, minus = true;      ///< Signs it may have.
};

/// Runs work(0) .. work(items - 1), in any order.
using Spread = std::function<void(std::size_t items, const std::function<void(std::size_t)>& work)>;

/// What every part of one problem has in common: frequencies and lags of the dual bound, and what each pair is worth
/// at each lag.
class DualGrid {
public:
    /// False where lags times pairs or bins are too many for the bound to be had in a few seconds.
    static bool suits(const NudgeProblem& problem);
    /// Left unfinished where stop is asked for.
    DualGrid(const NudgeProblem& problem, Workers& workers, const std::stop_token& stop = {});

    struct Pair {
        double middle = 0.0;         ///< Of the range of lags, seconds.
        int half = 0;                ///< Lags middle + (-half..half) step cover the range.
        AlignedVector<double> worth; ///< Re sum of A exp(-j omega lag), at each lag.
        AlignedVector<double> slope; ///< Its derivative, times step.
        double fourth = 0.0;         ///< Ceiling of its fourth derivative, times step^4.
        double ceiling = 0.0;        ///< Of the magnitude of worth.
    };
    struct Tables {
        kernels::LagTable table;
        AlignedVector<double> cosines, sines, lagCosines, lagSines;
    };

    int units() const { return count; }
    std::size_t width() const { return onLags.table.width; }
    std::size_t multipliers() const { return pairs.size() * 2 * width() + count * width(); }
    bool padding(std::size_t lane) const;

    double step = 0.0; ///< Seconds.
    double constant = 0.0;
    std::vector<double> angular;       ///< Of the dual, by lane; padding 0.
    Tables onLags, betweenLags;        ///< Lags q step and (q + 1/2) step.
    std::vector<Pair> pairs;           ///< As NudgeProblem's.
    std::vector<UnitRange> wholeRange; ///< The problem's.
    std::vector<double> weight;        ///< Of each unit: what its pairs can be worth.
    double scale = 1.0;                ///< Temperatures are in units of this.

private:
    int count = 0;
    void chooseFrequencies(const NudgeProblem& problem, double reach);
    void fill(Tables& tables, double offset, int lags) const;
    void fillPairs(const NudgeProblem& problem, Workers& workers, const std::stop_token& stop);
};

/// The dual of the relaxation of one part of the problem: measures over lag and sign for every pair, one positive
/// semidefinite moment matrix for every frequency of the dual. Any multipliers give a valid bound:
///
///     G <= constant + sum_k sum_i y_ki + sum_{i<j} max over s, lag of
///              2 s (r_ij(lag) - Re sum_k C_k,ij exp(-j omega_k lag)) - 2 Re sum_l E_l,ij exp(-j omega_l lag)
///
/// with Diag(y_k) - C_k (carrying the sign) and Diag(y_l) - E_l positive semidefinite.
/// Multipliers: [pair][real, imaginary][lane] of C and E, then [unit][lane] of y.
class NudgeDual {
public:
    NudgeDual(const DualGrid& grid, const std::vector<UnitRange>& ranges);

    /// The smoothed dual at temperature mu and its gradient: softmax for the largest, -0.7 mu log det for the matrices;
    /// infinite where a matrix is not positive definite.
    double smoothed(const AlignedVector<double>& multipliers, double mu, AlignedVector<double>& gradient,
                    const Spread& spread);
    /// The bound, never smoothed: between neighbouring lags the cubic through values and slopes, from above by its
    /// control points, and the fourth derivative's share, step^4/384; a Cholesky factor that exists, and n times what
    /// its rounding can hide. Infinite where there is none.
    double ceiling(const AlignedVector<double>& multipliers, const Spread& spread);

    /// How decided a pair is by its softmax at these multipliers.
    struct Lean {
        double sign = 0.0;    ///< Mean of the sign.
        double lag = 0.0;     ///< Mean lag, seconds.
        double decided = 0.0; ///< Mean over odd frequencies of |mean of s exp(-j omega lag)|.
    };
    Lean lean(const AlignedVector<double>& multipliers, double mu, int i, int j);

    const std::vector<UnitRange>& range() const { return ranges; }
    static AlignedVector<double> start(const DualGrid& grid, double mu);

private:
    struct PairPart {
        kernels::PairLags lags;
        double from = 0.0, to = 0.0;        ///< Range of the lag, seconds.
        int first = 0, last = 0;            ///< Of the grid's lags, counted from the pair's middle.
        AlignedVector<double> worth, turns; ///< Both sides; real and imaginary parts.
    };
    const double* coefficients(const AlignedVector<double>& multipliers, std::size_t pair) const;
    template <class PairValue>
    bool readAll(const AlignedVector<double>& multipliers, bool inverted, const Spread& spread,
                 const PairValue& pairValue);
    double pairCeiling(std::size_t pair, const double* c) const;

    const DualGrid& grid;
    std::vector<UnitRange> ranges;
    std::vector<PairPart> parts;
    std::vector<AlignedVector<double>> matrixRoom, inverses, diagonals, pairRoom;
    std::vector<double> pairValues;
};

} // namespace spillwright
