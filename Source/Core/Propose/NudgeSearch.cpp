#include "Core/Propose/NudgeSearch.h"

#include "Core/Propose/FlipSearch.h"
#include "Core/RandomStream.h"

#include <Eigen/Cholesky>

#include <algorithm>
#include <array>
#include <atomic>
#include <cassert>
#include <cmath>
#include <numbers>
#include <numeric>

namespace spillwright {

double NudgeProblem::coupling(int i, int j, double lag) const {
    assert(i < j);
    const auto& spectrum = pairs[pairIndex(i, j)];
    double sum = 0.0;
    for (std::size_t k = 0; k < angular.size(); ++k)
        sum += spectrum[k].real() * std::cos(angular[k] * lag) + spectrum[k].imag() * std::sin(angular[k] * lag);
    return sum;
}

double NudgeProblem::largestNudge() const {
    double largest = 0.0;
    for (const auto& unit : units)
        largest = std::max({largest, -unit.earliest, unit.latest});
    return largest;
}

BandCompression NudgeProblem::compressed() const {
    return compressBand(angular, 2.0 * largestNudge());
}

namespace {

using Eigen::ArrayXd;
using Eigen::MatrixXd;
using Eigen::VectorXd;

/// What may end a round early.
struct Until {
    std::stop_token stop;
    Deadline end;

    bool over() const { return stop.stop_requested() || end.passed(); }
};

/// The problem on a few frequencies, laid out for increments, with a grid of nudges.
struct Landscape {
    int units = 0;
    std::vector<NudgeProblem::Unit> limits;
    double constant = 0.0;
    ArrayXd angular;
    MatrixXd real, imaginary; ///< A_mi in column i * units + m, one row a frequency; zero for m = i.
    double firstNudge = 0.0, step = 0.0;
    MatrixXd table; ///< Row g: cosines, then sines, of the angular frequencies times nudge g.

    int frequencies() const { return static_cast<int>(angular.size()); }
    double nudgeAt(int g) const { return firstNudge + g * step; }
    bool moves(int i) const { return limits[i].latest > limits[i].earliest; }
    bool fixed(int i) const { return !moves(i) && !limits[i].mayFlip; }
};

// Of the time until the deadline: the first rounds, and then, of what is left, those from the best of them.
constexpr double shareOfRounds = 0.5, shareOfExploring = 0.7;

Landscape layOut(const NudgeProblem& problem, const BandCompression& band) {
    Landscape land;
    land.units = problem.size();
    land.limits = problem.units;
    land.constant = problem.constant;
    const auto bins = static_cast<Eigen::Index>(problem.angular.size());
    const auto count = static_cast<Eigen::Index>(band.nodes.size());
    land.angular = Eigen::Map<const ArrayXd>(band.nodes.data(), count);
    land.real.setZero(count, land.units * land.units);
    land.imaginary.setZero(count, land.units * land.units);
    for (int j = 0; j < land.units; ++j)
        for (int i = 0; i < j; ++i) {
            const Eigen::Map<const Eigen::VectorXcd> spectrum(problem.pairs[NudgeProblem::pairIndex(i, j)].data(),
                                                              bins);
            const VectorXd re = band.weights.transpose() * spectrum.real();
            const VectorXd im = band.weights.transpose() * spectrum.imag();
            land.real.col(j * land.units + i) = re;
            land.imaginary.col(j * land.units + i) = im;
            land.real.col(i * land.units + j) = re;
            land.imaginary.col(i * land.units + j) = -im;
        }
    return land;
}

/// Adds the grid: some twenty points a period of the highest frequency (83 us at the low-mids' 562 Hz).
void addGrid(Landscape& land, double largest) {
    const double finest = 2.0 * std::numbers::pi / (21.4 * land.angular.maxCoeff());
    const int half = largest > 0.0 ? static_cast<int>(std::ceil(largest / finest)) : 0;
    land.firstNudge = -largest;
    land.step = half > 0 ? largest / half : 0.0;
    const int count = land.frequencies();
    land.table.resize(2 * half + 1, 2 * count);
    for (int g = 0; g <= 2 * half; ++g) {
        land.table.row(g).head(count) = (land.angular * land.nudgeAt(g)).cos().transpose();
        land.table.row(g).tail(count) = (land.angular * land.nudgeAt(g)).sin().transpose();
    }
}

/// Flips and nudges of all units, and what the others pull each towards: c_i = sum over j of A_ij conj(u_j), with
/// u_i = s_i exp(-j omega t_i), kept up to date by increments. Unit i is then worth 2 s_i F_i(t_i) with
/// F_i(t) = Re sum of c_i exp(-j omega t).
class Walker {
public:
    explicit Walker(const Landscape& l)
        : land(l), signs(l.units, 1), nudges(l.units, 0.0), placed(l.units, false),
          phaseReal(MatrixXd::Zero(l.frequencies(), l.units)), phaseImaginary(phaseReal),
          pull(2 * l.frequencies(), l.units), deltaReal(l.frequencies()), deltaImaginary(l.frequencies()) {
        pull.setZero();
    }

    void clear() {
        std::fill(placed.begin(), placed.end(), false);
        phaseReal.setZero();
        phaseImaginary.setZero();
        pull.setZero();
    }
    void set(const std::vector<int>& toSigns, const std::vector<double>& toNudges) {
        clear();
        for (int i = 0; i < land.units; ++i)
            place(i, toSigns[i], toNudges[i]);
    }

    void place(int i, int sign, double nudge) {
        signs[i] = sign;
        nudges[i] = nudge;
        placed[i] = true;
        deltaReal = sign * (land.angular * nudge).cos() - phaseReal.col(i).array();
        deltaImaginary = -sign * (land.angular * nudge).sin() - phaseImaginary.col(i).array();
        phaseReal.col(i).array() += deltaReal;
        phaseImaginary.col(i).array() += deltaImaginary;
        const int count = land.frequencies();
        const auto re = land.real.middleCols(i * land.units, land.units).array();
        const auto im = land.imaginary.middleCols(i * land.units, land.units).array();
        // A conj(d)
        pull.topRows(count).array() += re.colwise() * deltaReal + im.colwise() * deltaImaginary;
        pull.bottomRows(count).array() += im.colwise() * deltaReal - re.colwise() * deltaImaginary;
    }

    double value() const {
        const int count = land.frequencies();
        return land.constant + phaseReal.cwiseProduct(pull.topRows(count)).sum() -
               phaseImaginary.cwiseProduct(pull.bottomRows(count)).sum();
    }
    Placement placement() const { return {signs, nudges, value()}; }

    /// F and its first two derivatives.
    std::array<double, 3> worthAt(const VectorXd& c, double nudge) const {
        const int count = land.frequencies();
        double f = 0.0, slope = 0.0, bend = 0.0;
        for (int k = 0; k < count; ++k) {
            const double omega = land.angular[k];
            const double cosine = std::cos(omega * nudge), sine = std::sin(omega * nudge);
            const double along = c[k] * cosine + c[count + k] * sine;
            f += along;
            slope += omega * (c[count + k] * cosine - c[k] * sine);
            bend -= omega * omega * along;
        }
        return {f, slope, bend};
    }

    struct Peak {
        int sign = 1;
        double nudge = 0.0;
        double height = -1e300; ///< s F.
    };
    /// The best place on the grid within a range for a pull c.
    Peak bestOnGrid(const VectorXd& c, double earliest, double latest, bool mayFlip) {
        Peak best;
        const auto look = [&](double f, double nudge) {
            const double height = mayFlip ? std::abs(f) : f;
            if (height > best.height) best = {mayFlip && f < 0.0 ? -1 : 1, nudge, height};
        };
        worths.noalias() = land.table * c;
        const int points = static_cast<int>(worths.size());
        const double tiny = 1e-9 * land.step;
        for (int g = 0; g < points; ++g)
            if (land.nudgeAt(g) >= earliest - tiny && land.nudgeAt(g) <= latest + tiny)
                look(worths[g], land.nudgeAt(g));
        best.nudge = std::clamp(best.nudge, earliest, latest);
        // Ends of the range that lie off the grid.
        for (const double end : {earliest, latest})
            if (points == 1 || std::abs(std::remainder(end - land.firstNudge, land.step)) > tiny)
                look(worthAt(c, end)[0], end);
        return best;
    }
    /// A few Newton steps up from a peak of the grid, never further than a grid step away or out of the range.
    void refine(const VectorXd& c, Peak& peak, double earliest, double latest) const {
        if (!(latest > earliest)) return;
        double nudge = peak.nudge;
        for (int round = 0; round < 3; ++round) {
            const auto [f, slope, bend] = worthAt(c, nudge);
            if (peak.sign * f > peak.height) {
                peak.height = peak.sign * f;
                peak.nudge = nudge;
            }
            if (peak.sign * bend >= 0.0) return;
            const double next = std::clamp(nudge - slope / bend, std::max(earliest, nudge - land.step),
                                           std::min(latest, nudge + land.step));
            if (std::abs(next - nudge) < 1e-10) return;
            nudge = next;
        }
        const double last = peak.sign * worthAt(c, nudge)[0];
        if (last > peak.height) {
            peak.height = last;
            peak.nudge = nudge;
        }
    }

    /// Moves a unit to where the others want it most. Returns what was won.
    double settle(int i) {
        if (land.fixed(i)) return 0.0;
        const auto& limit = land.limits[i];
        const int count = land.frequencies();
        const VectorXd& c = own = pull.col(i);
        const double now = phaseReal.col(i).dot(c.head(count)) - phaseImaginary.col(i).dot(c.tail(count));
        auto peak = bestOnGrid(c, limit.earliest, limit.latest, limit.mayFlip);
        refine(c, peak, limit.earliest, limit.latest);
        const double won = 2.0 * (peak.height - now);
        if (won <= 1e-13) return 0.0;
        place(i, peak.sign, peak.nudge);
        return won;
    }
    double sweep() {
        double won = 0.0;
        for (int i = 0; i < land.units; ++i)
            won += settle(i);
        return won;
    }

    /// Newton's method over all nudges at once, signs as they are; units at an end that pull outwards are held there.
    double climbTogether() {
        const double before = value();
        double now = before;
        const int count = land.frequencies();
        for (int round = 0; round < 12; ++round) {
            std::vector<int> free;
            VectorXd gradient(land.units);
            for (int i = 0; i < land.units; ++i) {
                // d/dt_i = 2 Re sum of -j omega u_i c_i
                gradient[i] = 2.0 * (land.angular * (phaseReal.col(i).array() * pull.col(i).tail(count).array() +
                                                     phaseImaginary.col(i).array() * pull.col(i).head(count).array()))
                                        .sum();
                const auto& limit = land.limits[i];
                if (!land.moves(i)) continue;
                if (nudges[i] >= limit.latest && gradient[i] >= 0.0) continue;
                if (nudges[i] <= limit.earliest && gradient[i] <= 0.0) continue;
                free.push_back(i);
            }
            if (free.empty()) break;
            const MatrixXd bends = bendMatrix();
            const auto freeCount = static_cast<Eigen::Index>(free.size());
            MatrixXd downward(freeCount, freeCount);
            VectorXd slope(freeCount);
            for (Eigen::Index a = 0; a < freeCount; ++a) {
                slope[a] = gradient[free[a]];
                for (Eigen::Index b = 0; b < freeCount; ++b)
                    downward(a, b) = -bends(free[a], free[b]);
            }
            const double size = downward.diagonal().cwiseAbs().maxCoeff() + 1e-300;
            const auto oldSigns = signs;
            const auto oldNudges = nudges;
            double shift = 0.0;
            double won = 0.0;
            for (int attempt = 0; attempt < 8 && won <= 0.0; ++attempt) {
                MatrixXd shifted = downward;
                shifted.diagonal().array() += shift;
                shift = std::max(4.0 * shift, 1e-3 * size);
                const Eigen::LLT<MatrixXd> factor(shifted);
                if (factor.info() != Eigen::Success) continue;
                const VectorXd move = factor.solve(slope);
                auto target = oldNudges;
                for (Eigen::Index a = 0; a < freeCount; ++a) {
                    const auto& limit = land.limits[free[a]];
                    target[free[a]] = std::clamp(oldNudges[free[a]] + move[a], limit.earliest, limit.latest);
                }
                set(oldSigns, target);
                won = value() - now;
            }
            if (won <= 0.0) {
                set(oldSigns, oldNudges);
                break;
            }
            now += won;
            if (won < 1e-12 * std::abs(now)) break;
        }
        return now - before;
    }

    void ascend(const std::stop_token& stop, double enough) {
        for (int round = 0; round < 100 && !stop.stop_requested(); ++round) {
            double won = 0.0;
            for (int sweeps = 0; sweeps < 50; ++sweeps) {
                const double step = sweep();
                won += step;
                if (step < 2e-3 || stop.stop_requested()) break;
            }
            won += climbTogether();
            won += sweep();
            if (won < enough) break;
        }
    }

    const Landscape& land;
    std::vector<int> signs;
    std::vector<double> nudges;
    std::vector<bool> placed;
    MatrixXd phaseReal, phaseImaginary; ///< u, one column a unit.
    MatrixXd pull;                      ///< c, real parts above imaginary ones, one column a unit.
    VectorXd worths;                    ///< F on the grid, for reuse.

private:
    /// Second derivatives: for i != j 2 sum of omega^2 Re(A_ij u_i conj(u_j)), each row summing to 0.
    MatrixXd bendMatrix() const {
        MatrixXd bends = MatrixXd::Zero(land.units, land.units);
        const ArrayXd squares = land.angular.square();
        for (int j = 0; j < land.units; ++j) {
            const auto re = land.real.middleCols(j * land.units, land.units);
            const auto im = land.imaginary.middleCols(j * land.units, land.units);
            // A_ij conj(u_j), weighted
            const ArrayXd ur = squares * phaseReal.col(j).array(), ui = squares * phaseImaginary.col(j).array();
            for (int i = 0; i < j; ++i) {
                const auto xr = re.col(i).array() * ur + im.col(i).array() * ui;
                const auto xi = im.col(i).array() * ur - re.col(i).array() * ui;
                bends(i, j) = bends(j, i) =
                    2.0 * (xr * phaseReal.col(i).array() - xi * phaseImaginary.col(i).array()).sum();
            }
        }
        bends.diagonal() = -bends.rowwise().sum();
        return bends;
    }

    ArrayXd deltaReal, deltaImaginary;
    VectorXd own;
};

/// Units placed one after another, each time the one that is pulled hardest by those that lie already, where it is
/// pulled to. Weights of e^(+-spread) make every growth another.
void grow(Walker& walker, RandomStream& random, double spread) {
    const auto& land = walker.land;
    walker.clear();
    int lying = 0;
    for (int i = 0; i < land.units; ++i)
        if (land.fixed(i)) {
            walker.place(i, 1, land.limits[i].earliest);
            ++lying;
        }
    while (lying < land.units) {
        int next = -1;
        double most = -1.0;
        Walker::Peak where;
        for (int i = 0; i < land.units; ++i) {
            if (walker.placed[i]) continue;
            const auto& limit = land.limits[i];
            const VectorXd c = walker.pull.col(i);
            const auto peak = walker.bestOnGrid(c, limit.earliest, limit.latest, limit.mayFlip);
            const double weighed = std::max(0.0, peak.height) * std::exp(spread * random.between(-1.0, 1.0));
            if (weighed > most) {
                most = weighed;
                next = i;
                where = peak;
            }
        }
        walker.place(next, where.sign, where.nudge);
        ++lying;
    }
}

void scatter(Walker& walker, RandomStream& random, int i) {
    const auto& limit = walker.land.limits[i];
    if (walker.land.fixed(i)) return;
    const int sign = limit.mayFlip ? random.sign() : 1;
    walker.place(i, sign, random.between(limit.earliest, limit.latest));
}

void scatterAll(Walker& walker, RandomStream& random) {
    walker.clear();
    for (int i = 0; i < walker.land.units; ++i) {
        walker.place(i, 1, walker.land.limits[i].earliest);
        scatter(walker, random, i);
    }
}

/// Each unit in turn drawn from exp(2 s F(t) / temperature) over the grid, from `hot` down to a fiftieth of it.
void anneal(Walker& walker, RandomStream& random, double hot, int sweeps, const Until& until) {
    const auto& land = walker.land;
    scatterAll(walker, random);
    ArrayXd weights;
    for (int sweep = 0; sweep < sweeps && !until.over(); ++sweep) {
        const double temperature = hot * std::pow(0.02, static_cast<double>(sweep) / std::max(1, sweeps - 1));
        for (int i = 0; i < land.units; ++i) {
            if (!land.moves(i)) {
                walker.settle(i);
                continue;
            }
            const auto& limit = land.limits[i];
            walker.worths.noalias() = land.table * walker.pull.col(i);
            const auto points = walker.worths.size();
            weights.resize(2 * points); // +1 first, then -1
            weights << walker.worths.array(), -walker.worths.array();
            weights = (2.0 / temperature * (weights - weights.maxCoeff())).exp();
            for (Eigen::Index g = 0; g < points; ++g) {
                const double nudge = land.nudgeAt(static_cast<int>(g));
                if (nudge < limit.earliest || nudge > limit.latest) weights[g] = weights[points + g] = 0.0;
            }
            if (!limit.mayFlip) weights.tail(points) = 0.0;
            double draw = random.uniform() * weights.sum();
            Eigen::Index chosen = 0;
            while (chosen + 1 < 2 * points && (draw -= weights[chosen]) >= 0.0)
                ++chosen;
            if (weights[chosen] == 0.0) continue;
            walker.place(i, chosen < points ? 1 : -1,
                         std::clamp(land.nudgeAt(static_cast<int>(chosen % points)), limit.earliest, limit.latest));
        }
    }
}

/// Size of a typical pull on a unit: the temperature at which annealing begins.
double typicalPull(const Landscape& land) {
    double sum = 0.0;
    const int count = land.frequencies();
    VectorXd spectrum(2 * count);
    for (int j = 0; j < land.units; ++j)
        for (int i = 0; i < j; ++i) {
            spectrum << land.real.col(j * land.units + i), land.imaginary.col(j * land.units + i);
            const double most = (land.table * spectrum).cwiseAbs().maxCoeff();
            sum += 2.0 * most * most;
        }
    return std::sqrt(sum / std::max(1, land.units)) + 1e-12;
}

/// A group of units that hold together now, grown from a random one.
std::vector<int> groupOf(const Walker& walker, RandomStream& random) {
    const auto& land = walker.land;
    std::vector<int> movable;
    for (int i = 0; i < land.units; ++i)
        if (land.moves(i)) movable.push_back(i);
    const int most = std::clamp(static_cast<int>(movable.size()) / 2, 1, 8);
    const int size = 1 + random.below(most);
    std::vector<int> group{movable[random.below(static_cast<int>(movable.size()))]};
    const auto holds = [&](int i, int j) {
        const auto re = land.real.col(j * land.units + i).array(), im = land.imaginary.col(j * land.units + i).array();
        const auto ur = walker.phaseReal.col(j).array(), ui = walker.phaseImaginary.col(j).array();
        return ((re * ur + im * ui) * walker.phaseReal.col(i).array() -
                (im * ur - re * ui) * walker.phaseImaginary.col(i).array())
            .sum();
    };
    while (static_cast<int>(group.size()) < size) {
        int next = -1;
        double most2 = -1e300;
        for (const int i : movable) {
            if (std::find(group.begin(), group.end(), i) != group.end()) continue;
            double hold = 0.0;
            for (const int j : group)
                hold += holds(i, j);
            hold *= std::exp(0.5 * random.between(-1.0, 1.0));
            if (hold > most2) {
                most2 = hold;
                next = i;
            }
        }
        group.push_back(next);
    }
    return group;
}

/// Moves the group as a whole to another peak of what the rest wants of it, sign included.
void moveGroup(Walker& walker, const std::vector<int>& group, RandomStream& random) {
    const auto& land = walker.land;
    const int count = land.frequencies();
    double earliest = -1e300, latest = 1e300;
    bool mayFlip = true;
    ArrayXd cr = ArrayXd::Zero(count), ci = ArrayXd::Zero(count);
    for (const int i : group) {
        earliest = std::max(earliest, land.limits[i].earliest - walker.nudges[i]);
        latest = std::min(latest, land.limits[i].latest - walker.nudges[i]);
        mayFlip = mayFlip && land.limits[i].mayFlip;
        ArrayXd pr = walker.pull.col(i).head(count).array(), pi = walker.pull.col(i).tail(count).array();
        for (const int j : group) { // without what the group's own members want
            if (i == j) continue;
            const auto re = land.real.col(j * land.units + i).array();
            const auto im = land.imaginary.col(j * land.units + i).array();
            const auto ur = walker.phaseReal.col(j).array(), ui = walker.phaseImaginary.col(j).array();
            pr -= re * ur + im * ui;
            pi -= im * ur - re * ui;
        }
        cr += walker.phaseReal.col(i).array() * pr - walker.phaseImaginary.col(i).array() * pi;
        ci += walker.phaseReal.col(i).array() * pi + walker.phaseImaginary.col(i).array() * pr;
    }
    VectorXd c(2 * count);
    c << cr, ci;
    walker.worths.noalias() = land.table * c;
    std::vector<Walker::Peak> peaks;
    for (Eigen::Index g = 1; g + 1 < walker.worths.size(); ++g) {
        const double nudge = land.nudgeAt(static_cast<int>(g));
        if (nudge < earliest || nudge > latest) continue;
        for (const int sign : {1, -1}) {
            if (sign < 0 && !mayFlip) continue;
            const double height = sign * walker.worths[g];
            const bool here = sign > 0 && std::abs(nudge) <= 2.0 * land.step;
            if (!here && height >= sign * walker.worths[g - 1] && height > sign * walker.worths[g + 1])
                peaks.push_back({sign, nudge, height});
        }
    }
    if (peaks.empty()) return;
    std::sort(peaks.begin(), peaks.end(), [](const auto& a, const auto& b) { return a.height > b.height; });
    std::size_t rank = 0;
    while (rank + 1 < peaks.size() && random.uniform() < 0.5)
        ++rank;
    for (const int i : group)
        walker.place(i, peaks[rank].sign * walker.signs[i],
                     std::clamp(walker.nudges[i] + peaks[rank].nudge, land.limits[i].earliest, land.limits[i].latest));
}

bool differ(const Placement& a, const Placement& b) {
    for (std::size_t i = 0; i < a.signs.size(); ++i)
        if (a.signs[i] != b.signs[i] || std::abs(a.nudges[i] - b.nudges[i]) > distinctNudge) return true;
    return false;
}

/// The best distinct ones, best first; of equals the earlier.
std::vector<Placement> distinct(std::vector<Placement> all, std::size_t count) {
    std::stable_sort(all.begin(), all.end(), [](const auto& a, const auto& b) { return a.value > b.value; });
    std::vector<Placement> chosen;
    for (auto& placement : all) {
        if (chosen.size() >= count) break;
        if (std::all_of(chosen.begin(), chosen.end(), [&](const auto& other) { return differ(placement, other); }))
            chosen.push_back(std::move(placement));
    }
    return chosen;
}

/// Perturbs and climbs again until nothing better was found for a while; keeps every summit it stood on.
std::vector<Placement> explore(Walker& walker, const Placement& start, RandomStream& random, const Until& until) {
    const auto& land = walker.land;
    std::vector<Placement> summits;
    Placement best = start;
    std::vector<int> movable;
    for (int i = 0; i < land.units; ++i)
        if (!land.fixed(i)) movable.push_back(i);
    const bool anyMoves =
        std::any_of(movable.begin(), movable.end(), [&](int i) { return land.moves(i); }) && land.table.rows() > 1;
    int failures = 0;
    while (failures < 2 * land.units && !movable.empty() && !until.over()) {
        walker.set(best.signs, best.nudges);
        if (anyMoves && random.below(4) != 0) {
            moveGroup(walker, groupOf(walker, random), random);
        } else {
            for (int left = 1 + random.below(3); left > 0; --left)
                scatter(walker, random, movable[random.below(static_cast<int>(movable.size()))]);
        }
        for (int sweeps = 0; sweeps < 20; ++sweeps)
            if (walker.sweep() < 5e-3) break;
        if (walker.value() > 0.995 * best.value) {
            walker.ascend(until.stop, 1e-5);
            summits.push_back(walker.placement());
        }
        if (walker.value() > best.value + 1e-9) {
            best = walker.placement();
            failures = 0;
        } else {
            ++failures;
        }
    }
    return summits;
}

/// The flips that are best for the placement's nudges, found by looking at all of them.
std::optional<bool> settleFlips(const NudgeProblem& problem, Placement& placement, Workers& workers,
                                const Watch& watch) {
    std::vector<int> free;
    for (int i = 0; i < problem.size(); ++i)
        if (problem.units[i].mayFlip) free.push_back(i);
    const int n = static_cast<int>(free.size());
    if (n > mostExhaustiveSigns || n == 0) return false;
    std::vector<int> place(problem.size(), -1);
    for (int a = 0; a < n; ++a)
        place[free[a]] = a;
    FlipProblem flips{MatrixXd::Zero(n, n), VectorXd::Zero(n), problem.constant};
    for (int j = 0; j < problem.size(); ++j)
        for (int i = 0; i < j; ++i) {
            const double q = problem.coupling(i, j, placement.nudges[i] - placement.nudges[j]);
            if (place[i] >= 0 && place[j] >= 0)
                flips.coupling(place[i], place[j]) = flips.coupling(place[j], place[i]) = q;
            else if (place[i] >= 0)
                flips.field[place[i]] += q;
            else if (place[j] >= 0)
                flips.field[place[j]] += q;
            else
                flips.constant += 2.0 * q;
        }
    Watch quiet;
    quiet.stop = watch.stop;
    const auto best = everyFlip(flips, 1, {}, workers, quiet);
    if (!best) return std::nullopt;
    if (best->front().value <= placement.value + 1e-9) return false;
    for (int a = 0; a < n; ++a)
        placement.signs[free[a]] = best->front().signs[a];
    return true;
}

double exactValue(const NudgeProblem& problem, const Placement& placement) {
    double sum = problem.constant;
    for (int j = 0; j < problem.size(); ++j)
        for (int i = 0; i < j; ++i)
            sum += 2.0 * placement.signs[i] * placement.signs[j] *
                   problem.coupling(i, j, placement.nudges[i] - placement.nudges[j]);
    return sum;
}

/// Runs work for each item with a walker of the worker's own, and gathers what it returns in the items' order.
template <class Work>
std::vector<Placement> gather(const Landscape& land, std::size_t items, Workers& workers, const Watch& watch,
                              double from, double to, const Work& work) {
    std::vector<std::vector<Placement>> found(items);
    std::vector<std::optional<Walker>> walkers(workers.count());
    std::atomic<std::size_t> done{0};
    workers.forEach(items, [&](std::size_t item, int worker) {
        if (watch.stopped()) return;
        auto& walker = walkers[worker];
        if (!walker) walker.emplace(land);
        found[item] = work(item, *walker);
        ++done;
        if (worker == 0) watch.tell(from + (to - from) * static_cast<double>(done) / static_cast<double>(items));
    });
    std::vector<Placement> all;
    for (auto& part : found)
        all.insert(all.end(), part.begin(), part.end());
    return all;
}

} // namespace

std::optional<FoundNudges> searchNudges(const NudgeProblem& problem, int count, std::span<const Placement> starts,
                                        Workers& workers, const Watch& watch, const Deadline& end) {
    const double largest = problem.largestNudge();
    std::vector<Placement> given(starts.begin(), starts.end());
    for (auto& start : given)
        start.value = exactValue(problem, start);
    if (problem.angular.empty()) return FoundNudges{distinct(std::move(given), static_cast<std::size_t>(count)), false};

    auto land = layOut(problem, problem.compressed());
    addGrid(land, largest);
    if (watch.stopped()) return std::nullopt;
    const double hot = typicalPull(land);

    // Fewer rounds where each costs more than that of some sixty units in the low-mids.
    const double cost = static_cast<double>(land.table.size()) * land.units;
    const int most = land.units > 32 ? 200 : 60;
    const int rounds = std::clamp(static_cast<int>(most * 1e6 / cost), 12, most);
    const auto firstItems = given.size() + static_cast<std::size_t>(rounds);
    const Until rounding{watch.stop, end.share(shareOfRounds)};
    std::atomic<bool> cutShort{false};
    auto summits = gather(land, firstItems, workers, watch, 0.0, 0.5,
                          [&](std::size_t item, Walker& walker) -> std::vector<Placement> {
                              const bool inAnyCase = item <= given.size();
                              if (!inAnyCase && rounding.end.passed()) {
                                  cutShort = true;
                                  return {};
                              }
                              RandomStream random(1 + item);
                              if (item < given.size()) {
                                  walker.set(given[item].signs, given[item].nudges);
                              } else {
                                  const int round = static_cast<int>(item - given.size());
                                  if (round % 3 == 0)
                                      grow(walker, random, round == 0 ? 0.0 : 0.7);
                                  else if (round % 3 == 1)
                                      scatterAll(walker, random);
                                  else
                                      anneal(walker, random, hot, 40 << std::min(round / 12, 2), rounding);
                              }
                              walker.ascend(watch.stop, 1e-5);
                              return {walker.placement()};
                          });
    if (watch.stopped()) return std::nullopt;

    const auto bases = distinct(summits, 8);
    const Until exploring{watch.stop, end.share(shareOfExploring)};
    const auto more = gather(land, bases.size(), workers, watch, 0.5, 0.9, [&](std::size_t item, Walker& walker) {
        RandomStream random(1000001 + item);
        return explore(walker, bases[item], random, exploring);
    });
    if (watch.stopped()) return std::nullopt;
    summits.insert(summits.end(), more.begin(), more.end());

    cutShort = cutShort || exploring.end.passed();

    // The last few: flips settled exactly, then every bin counts.
    auto finalists = distinct(std::move(summits), static_cast<std::size_t>(count) + 3);
    Walker walker(land);
    for (auto& finalist : finalists) {
        if (end.passed()) break;
        const auto changed = settleFlips(problem, finalist, workers, watch);
        if (!changed) return std::nullopt;
        if (!*changed) continue;
        walker.set(finalist.signs, finalist.nudges);
        walker.ascend(watch.stop, 1e-6);
        finalist = walker.placement();
    }
    BandCompression all{{problem.angular.begin(), problem.angular.end()}, {}, 0.0};
    all.weights = MatrixXd::Identity(static_cast<Eigen::Index>(problem.angular.size()),
                                     static_cast<Eigen::Index>(problem.angular.size()));
    const auto exact = layOut(problem, all);
    auto polished = gather(exact, finalists.size(), workers, watch, 0.9, 1.0,
                           [&](std::size_t item, Walker& last) -> std::vector<Placement> {
                               last.set(finalists[item].signs, finalists[item].nudges);
                               last.climbTogether();
                               auto placement = last.placement();
                               placement.value = exactValue(problem, placement);
                               return {placement};
                           });
    if (watch.stopped()) return std::nullopt;
    return FoundNudges{distinct(std::move(polished), static_cast<std::size_t>(count)), cutShort};
}

Placement climbNudges(const NudgeProblem& problem, const BandCompression& band, const Placement& start,
                      const std::stop_token& stop) {
    Placement summit = start;
    if (!problem.angular.empty()) {
        auto land = layOut(problem, band);
        addGrid(land, problem.largestNudge());
        Walker walker(land);
        walker.set(start.signs, start.nudges);
        walker.ascend(stop, 1e-6);
        summit = walker.placement();
    }
    summit.value = exactValue(problem, summit);
    return summit;
}

Placement plainAscent(const NudgeProblem& problem, unsigned seed) {
    BandCompression all{{problem.angular.begin(), problem.angular.end()}, {}, 0.0};
    all.weights = MatrixXd::Identity(static_cast<Eigen::Index>(problem.angular.size()),
                                     static_cast<Eigen::Index>(problem.angular.size()));
    auto land = layOut(problem, all);
    addGrid(land, problem.largestNudge());
    Walker walker(land);
    RandomStream random(seed);
    scatterAll(walker, random);
    for (int sweep = 0; sweep < 1000; ++sweep)
        if (walker.sweep() < 1e-6) break;
    return walker.placement();
}

} // namespace spillwright
