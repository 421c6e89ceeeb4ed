#include "Core/Propose/NudgeProof.h"

#include "Core/Propose/Descent.h"
#include "Core/Propose/NudgeDual.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <memory>
#include <numeric>

namespace spillwright {

namespace {

using Multipliers = AlignedVector<double>;

// Temperatures are in units of DualGrid::scale. Found by trial.
constexpr std::array rootLevels{3e-3, 1e-3, 3e-4, 1e-4, 3e-5, 1e-5};
constexpr int rootSteps = 80;                         ///< At each temperature.
constexpr std::array furtherLevels{1e-4, 3e-5, 1e-5}; ///< From where rootLevels ended, for as long as it pays.
constexpr double leastFallDb = 0.003;
constexpr std::array partLevels{3e-4, 1e-4, 3e-5};
constexpr int partSteps = 50;          // fewer: more parts a second, and a proof that takes longer
constexpr std::size_t partsAtOnce = 4; ///< That are branched; twice as many are bounded.
constexpr double workOfProof = 2e10;   ///< Additions and multiplications, about: some 10 s on one core.
// More parts than can be bounded are needed where more units are left further apart than this.
constexpr int unitsToBranch = 12;
constexpr double gapToBranchDb = 0.15;
constexpr double leastRange = 2e-6; ///< Seconds; narrower ranges are not cut.

// Shares of the progress: the first bounds, then the whole, then branch and bound.
constexpr double firstShare = 0.1, wholeShare = 0.3;

constexpr double shareOfFirst = 0.4; ///< Of the time until the end, for the first bounds; the dual is the better one.

double proven(double best) {
    return best * std::pow(10.0, provenGapDb / 10.0);
}

/// What every step of the descent asks.
struct Limit {
    const Watch& watch;
    Deadline end;

    bool late() const { return end.passed(); }
    bool over() const { return watch.stopped() || late(); }
};

/// Multipliers and the smallest bound they gave.
struct Lowered {
    Multipliers multipliers;
    double bound = std::numeric_limits<double>::infinity();
    int steps = 0;
};

/// Lowers the dual level by level until its bound is at most `enough`.
template <std::size_t count>
Lowered lower(NudgeDual& dual, const DualGrid& grid, Multipliers start, const std::array<double, count>& levels,
              int stepsALevel, double enough, const Spread& spread, const Limit& limit,
              const std::function<void(double)>& lowered) {
    Descent descent(std::move(start));
    Lowered result;
    for (std::size_t l = 0; l < count; ++l) {
        const double mu = levels[l] * grid.scale;
        // Where time is short every level has its part of it.
        const Limit own{limit.watch, limit.end.share(1.0 / static_cast<double>(count - l))};
        const Descent::Function function = [&](const Multipliers& at, Multipliers& gradient) {
            ++result.steps;
            return dual.smoothed(at, mu, gradient, spread);
        };
        descent.begin(function);
        for (int step = 0; step < stepsALevel && !own.over(); ++step)
            if (!descent.step(function)) break;
        if (limit.watch.stopped()) break;
        const double bound = dual.ceiling(descent.place(), spread);
        if (bound < result.bound) {
            result.bound = bound;
            if (lowered) lowered(bound);
        }
        if (result.bound <= enough || limit.late()) break;
    }
    result.multipliers = descent.place();
    return result;
}

/// Where exactly one unit or none keeps its sign, mirror images make it free to choose which: the one the others are
/// best judged against, strongly coupled and at one place if any is.
void chooseMirror(NudgeProblem& problem, std::vector<double> weight) {
    int kept = 0;
    for (const auto& unit : problem.units)
        kept += unit.mayFlip ? 0 : 1;
    if (kept > 1) return;
    const double most = *std::max_element(weight.begin(), weight.end());
    for (int u = 0; u < problem.size(); ++u)
        if (problem.units[u].earliest == problem.units[u].latest) weight[u] += most;
    const auto strongest = std::max_element(weight.begin(), weight.end()) - weight.begin();
    for (auto& unit : problem.units)
        unit.mayFlip = true;
    problem.units[static_cast<std::size_t>(strongest)].mayFlip = false;
}

std::vector<double> weightsOf(const NudgeProblem& problem) {
    std::vector<double> weight(static_cast<std::size_t>(problem.size()));
    for (int j = 0; j < problem.size(); ++j)
        for (int i = 0; i < j; ++i)
            for (const auto& element : problem.pairs[NudgeProblem::pairIndex(i, j)]) {
                weight[i] += std::abs(element);
                weight[j] += std::abs(element);
            }
    return weight;
}

/// A part of the problem that is still open.
struct Part {
    double bound = 0.0;
    std::vector<UnitRange> ranges;
    std::shared_ptr<const Multipliers> from; ///< Its own, or its parent's.
    int unit = -1;                           ///< To be branched; -1: none can be.
    bool bySign = false;
    double cut = 0.0; ///< Else: seconds.
};

class Proving {
public:
    Proving(const NudgeProblem& p, double b, Limit l, Workers& w, const std::function<void(double)>& tell)
        : problem(p), best(b), enough(proven(b)), limit(l), workers(w), lowered(tell) {}

    NudgeProof run(double known) {
        proof.upperBound = known;
        if (known <= enough || !DualGrid::suits(problem)) return proof;
        NudgeProblem turned = problem;
        chooseMirror(turned, weightsOf(problem));
        const DualGrid grid(turned, workers, limit.watch.stop);
        reference = referenceOf(grid);
        if (limit.over()) return ended();
        auto root = lowerWhole(grid);
        proof.steps = root.steps;
        proof.parts = 1;
        keep(root.bound);
        if (proof.upperBound <= enough || limit.over()) return ended();
        const double gapDb = 10.0 * std::log10(proof.upperBound / best);
        if (grid.units() <= unitsToBranch || gapDb <= gapToBranchDb)
            branch(grid, std::move(root));
        else
            lowerFurther(grid, std::move(root));
        return ended();
    }

private:
    NudgeProof ended() {
        proof.cutShort = proof.upperBound > enough && limit.late();
        return proof;
    }

    void keep(double bound) {
        if (bound >= proof.upperBound) return;
        proof.upperBound = bound;
        if (lowered) lowered(bound);
    }

    Lowered lowerWhole(const DualGrid& grid) {
        NudgeDual dual(grid, grid.wholeRange);
        auto root = lower(dual, grid, NudgeDual::start(grid, rootLevels[0] * grid.scale), rootLevels, rootSteps, enough,
                          spread, limit, [this, done = 0.0](double bound) mutable {
                              keep(bound);
                              done += 1.0 / static_cast<double>(rootLevels.size());
                              limit.watch.tell(firstShare + (wholeShare - firstShare) * done);
                          });
        return root;
    }

    void lowerFurther(const DualGrid& grid, Lowered root) {
        NudgeDual dual(grid, grid.wholeRange);
        const int mostSteps = mostStepsOf(grid);
        while (proof.steps < mostSteps && !limit.over()) {
            const double before = proof.upperBound;
            root = lower(dual, grid, std::move(root.multipliers), furtherLevels, rootSteps, enough, spread, limit,
                         [this](double bound) { keep(bound); });
            proof.steps += root.steps;
            limit.watch.tell(wholeShare +
                             (1.0 - wholeShare) * std::min(1.0, static_cast<double>(proof.steps) / mostSteps));
            if (proof.upperBound <= enough || 10.0 * std::log10(before / proof.upperBound) < leastFallDb) return;
        }
    }

    static int mostStepsOf(const DualGrid& grid) {
        const double lags = static_cast<double>(grid.onLags.table.lags), n = grid.units();
        const double costOfStep = static_cast<double>(grid.width()) * (lags * n * n + 2.0 * n * n * n);
        return static_cast<int>(std::min(1e9, workOfProof / costOfStep));
    }

    /// The unit that keeps its sign and, if one does, its place.
    static int referenceOf(const DualGrid& grid) {
        int chosen = 0;
        double most = -1.0;
        for (int u = 0; u < grid.units(); ++u) {
            const auto& range = grid.wholeRange[u];
            const double worth = grid.weight[u] + (range.minus ? 0.0 : 1e6 * grid.scale) +
                                 (range.latest > range.earliest ? 0.0 : 1e3 * grid.scale);
            if (worth > most) {
                most = worth;
                chosen = u;
            }
        }
        return chosen;
    }

    /// Which unit of a part to branch, and how.
    void chooseBranch(const DualGrid& grid, NudgeDual& dual, Part& part) const {
        double most = -1.0;
        for (int u = 0; u < grid.units(); ++u) {
            const auto& range = part.ranges[u];
            const bool signOpen = range.plus && range.minus;
            const bool placeOpen = range.latest - range.earliest > leastRange;
            if (u == reference || (!signOpen && !placeOpen)) continue;
            const auto lean =
                dual.lean(*part.from, partLevels.back() * grid.scale, std::min(u, reference), std::max(u, reference));
            const double worth = (1.0 - lean.decided) * grid.weight[u];
            if (worth <= most) continue;
            most = worth;
            part.unit = u;
            part.bySign = signOpen && (!placeOpen || std::abs(lean.sign) < 0.98);
            part.cut = cutOf(grid, range, part.ranges[reference], u < reference ? lean.lag : -lean.lag);
        }
    }

    /// At the mean lag, on a whole step where the range has some, and off its ends.
    static double cutOf(const DualGrid& grid, const UnitRange& range, const UnitRange& other, double lag) {
        const double width = range.latest - range.earliest;
        const double place = std::clamp((other.earliest + other.latest) / 2.0 + lag, range.earliest + 0.15 * width,
                                        range.latest - 0.15 * width);
        if (width < 4.0 * grid.step) return place;
        return range.earliest + std::round((place - range.earliest) / grid.step) * grid.step;
    }

    static std::array<std::vector<UnitRange>, 2> halves(const Part& part) {
        std::array<std::vector<UnitRange>, 2> both{part.ranges, part.ranges};
        auto &first = both[0][part.unit], &second = both[1][part.unit];
        if (part.bySign) {
            first.minus = false;
            second.plus = false;
        } else {
            first.latest = part.cut;
            second.earliest = part.cut;
        }
        return both;
    }

    void branch(const DualGrid& grid, Lowered root) {
        std::vector<Part> open(1);
        open[0].bound = root.bound;
        open[0].ranges = grid.wholeRange;
        open[0].from = std::make_shared<const Multipliers>(std::move(root.multipliers));
        {
            NudgeDual dual(grid, grid.wholeRange);
            chooseBranch(grid, dual, open[0]);
        }
        const auto less = [](const Part& a, const Part& b) { return a.bound < b.bound; };
        const double before = proof.upperBound;
        double closed = 0.0; // the largest bound of the parts that are done with
        const Spread alone = [](std::size_t items, const std::function<void(std::size_t)>& work) {
            for (std::size_t item = 0; item < items; ++item)
                work(item);
        };
        const int mostSteps = mostStepsOf(grid);
        while (!open.empty() && !limit.over() && proof.steps < mostSteps) {
            std::vector<Part> batch;
            while (!open.empty() && batch.size() < partsAtOnce) {
                std::pop_heap(open.begin(), open.end(), less);
                batch.push_back(std::move(open.back()));
                open.pop_back();
            }
            std::vector<Part> children(2 * batch.size());
            std::vector<int> steps(children.size());
            for (std::size_t c = 0; c < children.size(); ++c) {
                const auto& parent = batch[c / 2];
                if (parent.unit < 0) {
                    children[c] = parent;
                    continue;
                }
                children[c].ranges = halves(parent)[c % 2];
                children[c].bound = parent.bound;
                children[c].from = parent.from;
            }
            workers.forEach(children.size(), [&](std::size_t c, int) {
                auto& child = children[c];
                if (batch[c / 2].unit < 0 || limit.over()) return;
                NudgeDual dual(grid, child.ranges);
                auto result = lower(dual, grid, *child.from, partLevels, partSteps, enough, alone, limit, {});
                steps[c] = result.steps;
                child.bound = std::min(child.bound, result.bound);
                if (child.bound <= enough) return;
                child.from = std::make_shared<const Multipliers>(std::move(result.multipliers));
                chooseBranch(grid, dual, child);
            });
            if (limit.watch.stopped()) return;
            proof.steps += std::accumulate(steps.begin(), steps.end(), 0);
            proof.parts += static_cast<int>(children.size());
            for (auto& child : children)
                if (child.bound <= enough || child.unit < 0) {
                    closed = std::max(closed, child.bound);
                } else {
                    open.push_back(std::move(child));
                    std::push_heap(open.begin(), open.end(), less);
                }
            const double bound = std::max(closed, open.empty() ? best : std::max(best, open.front().bound));
            keep(bound);
            limit.watch.tell(wholeShare +
                             (1.0 - wholeShare) * std::min(1.0, static_cast<double>(proof.steps) / mostSteps));
        }
        proof.branched = proof.upperBound < before;
    }

    const NudgeProblem& problem;
    double best, enough;
    Limit limit;
    Workers& workers;
    const std::function<void(double)>& lowered;
    const Spread spread = [this](std::size_t items, const std::function<void(std::size_t)>& work) {
        workers.forEach(items, [&](std::size_t item, int) { work(item); });
    };
    int reference = 0;
    NudgeProof proof;
};

} // namespace

std::optional<NudgeProof> proveNudges(const NudgeProblem& problem, double best, std::optional<Seconds> time,
                                      Workers& workers, const Watch& watch,
                                      const std::function<void(double bound)>& lowered, const Deadline& end) {
    const Limit limit{watch, earlier(Deadline(time), end)};
    const Watch first{[&](double done) { watch.tell(firstShare * done); }, watch.stop};
    const auto known = nudgeUpperBound(problem, workers, first, end.share(shareOfFirst));
    if (!known) return std::nullopt;
    if (lowered) lowered(*known);
    const auto proof = Proving(problem, best, limit, workers, lowered).run(*known);
    if (watch.stopped()) return std::nullopt;
    return proof;
}

} // namespace spillwright
