#include "Core/Propose/FlipBound.h"

#include "Core/RandomStream.h"

#include <Eigen/Eigenvalues>

#include <algorithm>
#include <cmath>

namespace spillwright {

namespace {

/// Maximise over signs of m spins, the last of which is +1: constant + x'Mx, M symmetric with zero diagonal.
struct Relaxation {
    Eigen::MatrixXd matrix;
    Eigen::MatrixXd vectors; ///< One column a spin.
    double constant = 0.0;

    int spins() const { return static_cast<int>(matrix.rows()); }

    void sweep() {
        for (int i = 0; i < spins(); ++i) {
            pull.noalias() = vectors * matrix.col(i);
            const double length = pull.norm();
            if (length > 0.0) vectors.col(i) = pull / length;
        }
    }
    /// Weak duality: Diag(y) - M positive semidefinite gives x'Mx <= sum y.
    double bound() const {
        Eigen::VectorXd y = (vectors * matrix).colwise().norm();
        Eigen::MatrixXd slack = -matrix;
        slack.diagonal() += y;
        const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> solver(slack, Eigen::EigenvaluesOnly);
        // The eigenvalues come with an error of some ulps of the largest; ten times that is added.
        const double rounding = 1e-14 * spins() * solver.eigenvalues().cwiseAbs().maxCoeff();
        const double lack = std::max(0.0, -solver.eigenvalues()[0]) + rounding;
        return constant + y.sum() + spins() * lack;
    }

private:
    Eigen::VectorXd pull;
};

Relaxation relax(const FlipProblem& problem) {
    const int n = problem.size();
    Relaxation relaxation;
    relaxation.constant = problem.constant;
    if (problem.mirrorsAreWorthTheSame()) {
        relaxation.matrix = problem.coupling;
    } else { // the field is the coupling to one more spin
        relaxation.matrix.setZero(n + 1, n + 1);
        relaxation.matrix.topLeftCorner(n, n) = problem.coupling;
        relaxation.matrix.col(n).head(n) = problem.field;
        relaxation.matrix.row(n).head(n) = problem.field.transpose();
    }
    // r (r + 1) / 2 > spins: no spurious local optimum but for exceptions (Burer & Monteiro 2005).
    const int spins = relaxation.spins();
    const int rank = static_cast<int>(std::ceil(std::sqrt(2.0 * spins))) + 1;
    RandomStream random(1);
    relaxation.vectors = Eigen::MatrixXd::NullaryExpr(rank, spins, [&] { return random.between(-1.0, 1.0); });
    relaxation.vectors.colwise().normalize();
    return relaxation;
}

/// Sweeps until the bound is at most `enough` or no longer falls by much of the way that is left.
double lower(Relaxation& relaxation, double enough, int sweepsATime, double patience) {
    double bound = relaxation.bound();
    for (int round = 0; round < 40 && bound > enough; ++round) {
        for (int sweep = 0; sweep < sweepsATime; ++sweep)
            relaxation.sweep();
        const double before = bound;
        bound = std::min(bound, relaxation.bound());
        if (round > 0 && before - bound < patience * (bound - enough)) break;
    }
    return bound;
}

/// The spin fixed to a sign and merged into the last one.
Relaxation fixed(const Relaxation& parent, int spin, int sign) {
    const int last = parent.spins() - 1;
    Relaxation child;
    child.constant = parent.constant + 2.0 * sign * parent.matrix(spin, last);
    Eigen::MatrixXd merged = parent.matrix;
    merged.col(last) += sign * parent.matrix.col(spin);
    merged.row(last) += sign * parent.matrix.row(spin);
    merged(last, last) = 0.0;
    child.matrix.resize(last, last);
    child.vectors.resize(parent.vectors.rows(), last);
    const auto from = [&](int i) { return i < spin ? i : i + 1; };
    for (int j = 0; j < last; ++j) {
        for (int i = 0; i < last; ++i)
            child.matrix(i, j) = merged(from(i), from(j));
        child.vectors.col(j) = parent.vectors.col(from(j));
    }
    return child;
}

class BranchAndBound {
public:
    BranchAndBound(const FlipProblem& p, double bestKnown, int nodes, const Deadline& e, const Watch& w)
        : problem(p), watch(w), best(bestKnown), nodesLeft(nodes), end(e) {}

    std::optional<FlipProof> run() {
        auto root = relax(problem);
        tolerance = 1e-9 * (root.matrix.cwiseAbs().sum() + std::abs(problem.constant));
        std::vector<int> spins(root.spins());
        for (int i = 0; i < root.spins(); ++i)
            spins[i] = i;
        signs.assign(root.spins(), 1);
        rootBound = lower(root, best + tolerance, 10, 0.02);
        visit(root, rootBound, spins);
        if (watch.stopped()) return std::nullopt;
        FlipProof proof;
        proof.proven = open <= best + tolerance;
        proof.upperBound = proof.proven ? best : open;
        proof.cutShort = !proof.proven && late;
        if (found) proof.better = std::move(found);
        return proof;
    }

private:
    /// `bound` is that of the node; spins are the numbers of its spins in the root.
    void visit(Relaxation& node, double bound, const std::vector<int>& spins) {
        if (bound <= best + tolerance || watch.stopped()) return;
        const int last = node.spins() - 1;
        if (last <= 8) {
            enumerate(node, spins);
            return;
        }
        late = late || end.passed();
        if (nodesLeft <= 0 || late) {
            open = std::max(open, bound);
            return;
        }
        round(node, spins);
        // The spin that the relaxation is least decided about, among those that matter.
        int spin = 0;
        double most = -1.0;
        for (int i = 0; i < last; ++i) {
            const double decided = std::abs(node.vectors.col(i).dot(node.vectors.col(last)));
            const double weight = (1.0 - decided) * node.matrix.col(i).cwiseAbs().sum();
            if (weight > most) {
                most = weight;
                spin = i;
            }
        }
        const int likely = node.vectors.col(spin).dot(node.vectors.col(last)) < 0.0 ? -1 : 1;
        auto rest = spins;
        rest.erase(rest.begin() + spin);
        for (const int sign : {likely, -likely}) {
            auto child = fixed(node, spin, sign);
            --nodesLeft;
            const double childBound = std::min(bound, lower(child, best + tolerance, 8, 0.05));
            signs[spins[spin]] = sign;
            visit(child, childBound, rest);
        }
    }

    /// The signs of the node's vectors along the last one, then one-flip climbs: a better setting ends the search
    /// sooner.
    void round(const Relaxation& node, const std::vector<int>& spins) {
        const int count = node.spins();
        Eigen::VectorXd x = (node.vectors.transpose() * node.vectors.col(count - 1)).unaryExpr([](double projection) {
            return projection < 0.0 ? -1.0 : 1.0;
        });
        x[count - 1] = 1.0;
        Eigen::VectorXd fields = node.matrix * x;
        for (;;) {
            int worst = 0;
            for (int i = 1; i + 1 < count; ++i)
                if (x[i] * fields[i] < x[worst] * fields[worst]) worst = i;
            if (x[worst] * fields[worst] > -1e-13) break;
            fields -= 2.0 * x[worst] * node.matrix.col(worst);
            x[worst] = -x[worst];
        }
        keepIfBetter(node.constant + x.dot(node.matrix * x), x, spins);
    }

    void enumerate(const Relaxation& node, const std::vector<int>& spins) {
        const int free = node.spins() - 1;
        Eigen::VectorXd x(node.spins());
        x[free] = 1.0;
        for (int mask = 0; mask < 1 << free; ++mask) {
            for (int i = 0; i < free; ++i)
                x[i] = (mask >> i & 1) ? -1.0 : 1.0;
            keepIfBetter(node.constant + x.dot(node.matrix * x), x, spins);
        }
    }

    void keepIfBetter(double value, const Eigen::VectorXd& x, const std::vector<int>& spins) {
        if (value <= best + tolerance) return;
        best = value;
        auto all = signs;
        for (int i = 0; i < static_cast<int>(spins.size()); ++i)
            all[spins[i]] = x[i] < 0.0 ? -1 : 1;
        all.resize(problem.size()); // without the spin that stood for the field, which is +1
        found = std::move(all);
    }

    const FlipProblem& problem;
    const Watch& watch;
    double best;
    int nodesLeft;
    Deadline end;
    bool late = false;
    double tolerance = 0.0;
    double rootBound = 0.0;
    double open = -1e300; ///< The largest bound of a node that was left unexplored.
    std::vector<int> signs;
    std::optional<std::vector<int>> found;
};

} // namespace

double flipUpperBound(const FlipProblem& problem) {
    if (problem.size() == 0) return problem.constant;
    auto relaxation = relax(problem);
    double bound = relaxation.bound();
    for (int round = 0; round < 50; ++round) {
        for (int sweep = 0; sweep < 20; ++sweep)
            relaxation.sweep();
        const double before = bound;
        bound = std::min(bound, relaxation.bound());
        if (round > 0 && before - bound < 1e-7 * std::abs(bound)) break;
    }
    return bound;
}

std::optional<FlipProof> proveFlips(const FlipProblem& problem, double best, int mostNodes, const Deadline& end,
                                    const Watch& watch) {
    if (problem.size() == 0) return FlipProof{problem.constant, true, false, std::nullopt};
    return BranchAndBound(problem, best, mostNodes, end, watch).run();
}

} // namespace spillwright
