#include "Core/Propose/FlipSearch.h"

#include "Core/Propose/GrayWalk.h"
#include "Core/RandomStream.h"

#include <algorithm>
#include <atomic>
#include <bit>
#include <cassert>
#include <cmath>
#include <cstdint>
#include <limits>

namespace spillwright {

double FlipProblem::value(std::span<const int> signs) const {
    double sum = constant;
    for (int i = 0; i < size(); ++i) {
        sum += 2.0 * field[i] * signs[i];
        for (int j = 0; j < i; ++j)
            sum += 2.0 * coupling(j, i) * signs[i] * signs[j];
    }
    return sum;
}

FlipProblem withSettled(const FlipProblem& problem, std::span<const int> settled) {
    std::vector<int> free;
    for (int i = 0; i < problem.size(); ++i)
        if (settled[i] == 0) free.push_back(i);
    const auto n = static_cast<Eigen::Index>(free.size());
    FlipProblem left{Eigen::MatrixXd(n, n), Eigen::VectorXd(n), problem.constant};
    for (Eigen::Index a = 0; a < n; ++a) {
        left.field[a] = problem.field[free[a]];
        for (int j = 0; j < problem.size(); ++j)
            left.field[a] += settled[j] * problem.coupling(free[a], j);
        for (Eigen::Index b = 0; b < n; ++b)
            left.coupling(a, b) = problem.coupling(free[a], free[b]);
    }
    for (int i = 0; i < problem.size(); ++i) {
        left.constant += 2.0 * settled[i] * problem.field[i];
        for (int j = 0; j < i; ++j)
            left.constant += 2.0 * settled[i] * settled[j] * problem.coupling(i, j);
    }
    return left;
}

namespace {

/// The best few, each once.
class Shortlist {
public:
    Shortlist(const FlipProblem& p, int most, const AcceptSigns& may)
        : problem(p), mirrored(p.mirrorsAreWorthTheSame()), count(static_cast<std::size_t>(most)), accept(may) {}

    bool full() const { return entries.size() >= count; }
    double worstValue() const { return entries.back().value; }

    void offer(std::vector<int> signs) {
        if (mirrored && !signs.empty() && signs.back() < 0)
            for (int& sign : signs)
                sign = -sign;
        Entry entry;
        entry.value = problem.value(signs);
        entry.key = std::llround(entry.value * 1e12);
        if (full() && entry.key < entries.back().key) return;
        const auto negative = static_cast<int>(std::count(signs.begin(), signs.end(), -1));
        entry.flips = mirrored ? std::min(negative, problem.size() - negative) : negative;
        entry.signs = std::move(signs);
        insert(std::move(entry));
    }
    void take(const Shortlist& other) {
        for (const auto& entry : other.entries)
            insert(entry);
    }
    std::vector<RankedSigns> ranked() const {
        std::vector<RankedSigns> list;
        for (const auto& entry : entries)
            list.push_back({entry.signs, entry.value});
        return list;
    }

private:
    struct Entry {
        double value;
        std::int64_t key;
        int flips;
        std::vector<int> signs;

        bool operator<(const Entry& other) const {
            if (key != other.key) return key > other.key;
            if (flips != other.flips) return flips < other.flips;
            // The lower number in binary, the last sign being the highest bit.
            return std::lexicographical_compare(other.signs.rbegin(), other.signs.rend(), signs.rbegin(), signs.rend());
        }
    };

    void insert(Entry entry) {
        const auto place = std::lower_bound(entries.begin(), entries.end(), entry);
        if (place == entries.end() && full()) return;
        if (place != entries.end() && place->signs == entry.signs) return;
        if (accept && !accept(entry.signs)) return;
        entries.insert(place, std::move(entry));
        if (entries.size() > count) entries.pop_back();
    }

    const FlipProblem& problem;
    bool mirrored;
    std::size_t count;
    const AcceptSigns& accept;
    std::vector<Entry> entries;
};

/// The signs of a problem dealt to the lanes of a walk, the walk, and the blocks that are walked one by one.
class Exhaustion {
public:
    explicit Exhaustion(const FlipProblem& p)
        : problem(p), looked(p.size() - (p.mirrorsAreWorthTheSame() ? 1 : 0)),
          variables(std::max(looked, GrayWalk::laneBits)),
          // 256 blocks where there are enough signs: plenty for any number of workers, and each can be skipped.
          walking(std::max(0, variables - GrayWalk::laneBits - 8)), blockBits(variables - GrayWalk::laneBits - walking),
          coupling(variables * variables), field(variables) {
        double total = 0.0;
        const auto coefficient = [&](int i, int j) { return problem.coupling(i, j); };
        // A mirrored problem keeps its last sign at +1, which then acts on the others like a field.
        const auto fieldOf = [&](int i) {
            return problem.field[i] + (looked < problem.size() ? coefficient(i, looked) : 0.0);
        };
        for (int i = 0; i < looked; ++i) {
            total += std::abs(fieldOf(i));
            for (int j = 0; j < i; ++j)
                total += std::abs(coefficient(i, j));
        }
        scale = total > 0.0 ? 0x1p29 / total : 1.0;
        for (int i = 0; i < looked; ++i) {
            field[i] = static_cast<std::int32_t>(std::lround(scale * fieldOf(i)));
            for (int j = 0; j < looked; ++j)
                if (i != j) at(i, j) = static_cast<std::int32_t>(std::lround(scale * coefficient(i, j)));
        }
        slack = (looked * (looked + 1) / 2) / 2 + 1; // each coefficient is off by half a unit at most
    }

    std::size_t blocks() const { return std::size_t(1) << blockBits; }

    GrayWalk walkOf(std::size_t block) const {
        GrayWalk walk;
        walk.walking = walking;
        walk.coupling.resize(walking * walking);
        walk.field.resize(walking);
        walk.twiceLaneField.resize(walking);
        std::vector<int> signs(variables, 1);
        for (int bit = 0; bit < blockBits; ++bit)
            if (block >> bit & 1) signs[GrayWalk::laneBits + walking + bit] = -1;
        for (int k = 0; k < walking; ++k) {
            const int i = GrayWalk::laneBits + k;
            for (int l = 0; l < walking; ++l)
                walk.coupling[k * walking + l] = at(i, GrayWalk::laneBits + l);
            walk.field[k] = field[i];
            for (int j = GrayWalk::laneBits + walking; j < variables; ++j)
                walk.field[k] += signs[j] * at(i, j);
        }
        // The part of the energy without the lanes' signs, then what those add.
        std::int32_t common = 0;
        for (int i = GrayWalk::laneBits; i < variables; ++i) {
            common += field[i] * signs[i];
            for (int j = GrayWalk::laneBits; j < i; ++j)
                common += at(i, j) * signs[i] * signs[j];
        }
        for (int lane = 0; lane < GrayWalk::lanes; ++lane) {
            std::int32_t energy = common;
            for (int bit = 0; bit < GrayWalk::laneBits; ++bit)
                signs[bit] = (lane >> bit & 1) ? -1 : 1;
            for (int i = 0; i < GrayWalk::laneBits; ++i) {
                std::int32_t own = field[i];
                for (int j = 0; j < variables; ++j)
                    if (j < i || j >= GrayWalk::laneBits) own += at(i, j) * signs[j];
                energy += own * signs[i];
            }
            walk.start[lane] = energy;
            for (int k = 0; k < walking; ++k) {
                std::int32_t own = 0;
                for (int i = 0; i < GrayWalk::laneBits; ++i)
                    own += at(GrayWalk::laneBits + k, i) * signs[i];
                walk.twiceLaneField[k][lane] = 2 * own;
            }
        }
        return walk;
    }

    /// Offers every setting of the block whose energy may reach `threshold`; the list, once full, raises it.
    void collect(std::size_t block, std::int64_t threshold, Shortlist& list) const {
        const auto walk = walkOf(block);
        GrayStepper stepper(walk);
        auto energies = walk.start;
        const auto scan = [&] {
            for (int lane = 0; lane < GrayWalk::lanes; ++lane) {
                if (energies[lane] < threshold || lane >> std::min(looked, GrayWalk::laneBits)) continue;
                std::uint32_t mask = static_cast<std::uint32_t>(lane) | stepper.negative() << GrayWalk::laneBits |
                                     static_cast<std::uint32_t>(block) << (GrayWalk::laneBits + walking);
                std::vector<int> signs(problem.size(), 1);
                for (int i = 0; i < looked; ++i)
                    if (mask >> i & 1) signs[i] = -1;
                list.offer(std::move(signs));
                if (list.full()) threshold = std::max(threshold, energyOf(list.worstValue()) - slack);
            }
        };
        scan();
        for (std::uint32_t step = 1; step <= stepper.steps(); ++step) {
            const auto flip = stepper.next(step);
            const auto& own = walk.twiceLaneField[flip.sign];
            const std::int32_t sign = flip.wasPositive ? 1 : -1;
            std::int32_t most = std::numeric_limits<std::int32_t>::min();
            for (int lane = 0; lane < GrayWalk::lanes; ++lane) {
                energies[lane] += flip.common - sign * own[lane];
                most = std::max(most, energies[lane]);
            }
            if (most >= threshold) scan();
        }
    }

    std::int64_t slack; ///< No energy is further than this from the exact one.

private:
    std::int32_t& at(int i, int j) { return coupling[i * variables + j]; }
    std::int32_t at(int i, int j) const { return coupling[i * variables + j]; }
    std::int64_t energyOf(double value) const {
        double fixed = problem.constant;
        if (looked < problem.size()) fixed += 2.0 * problem.field[looked];
        return static_cast<std::int64_t>(std::floor((value - fixed) / 2.0 * scale));
    }

    const FlipProblem& problem;
    int looked;    ///< Signs of the problem that vary.
    int variables; ///< With idle ones added to fill the lanes.
    int walking, blockBits;
    std::vector<std::int32_t> coupling, field;
    double scale;
};

/// What acts on each sign: turning sign i over is worth -4 s_i fields_i.
Eigen::VectorXd fieldsAt(const FlipProblem& problem, std::span<const int> signs) {
    Eigen::VectorXd fields = problem.field;
    for (int j = 0; j < problem.size(); ++j)
        fields += signs[j] * problem.coupling.col(j);
    return fields;
}

/// One flip at a time, the one that is worth the most, until none is worth anything.
void climb(const FlipProblem& problem, std::span<int> signs) {
    const int n = problem.size();
    if (n == 0) return;
    auto fields = fieldsAt(problem, signs);
    for (;;) {
        int worst = 0;
        for (int i = 1; i < n; ++i)
            if (signs[i] * fields[i] < signs[worst] * fields[worst]) worst = i;
        if (signs[worst] * fields[worst] > -1e-13) return;
        fields -= 2.0 * signs[worst] * problem.coupling.col(worst);
        signs[worst] = -signs[worst];
    }
}

std::vector<int> mirrorOf(std::vector<int> signs) {
    for (int& sign : signs)
        sign = -sign;
    return signs;
}

/// All that differ by one flip or two. What they are worth follows from the fields; only what may be listed is reckoned
/// out.
void offerNeighbours(const FlipProblem& problem, std::vector<int> signs, Shortlist& list) {
    const auto fields = fieldsAt(problem, signs);
    const double value = problem.value(signs);
    const double rounding =
        1e-12 * (1.0 + problem.coupling.cwiseAbs().sum() + 2.0 * problem.field.cwiseAbs().sum() + std::abs(value));
    const auto mayBeListed = [&](double gain) { return !list.full() || value + gain >= list.worstValue() - rounding; };
    for (int i = 0; i < problem.size(); ++i) {
        const double alone = -4.0 * signs[i] * fields[i];
        signs[i] = -signs[i];
        if (mayBeListed(alone)) list.offer(signs);
        for (int j = 0; j < i; ++j) {
            // Sign i is turned over by now.
            const double both = alone - 4.0 * signs[j] * (fields[j] + 2.0 * signs[i] * problem.coupling(j, i));
            if (!mayBeListed(both)) continue;
            signs[j] = -signs[j];
            list.offer(signs);
            signs[j] = -signs[j];
        }
        signs[i] = -signs[i];
    }
}

} // namespace

std::optional<std::vector<RankedSigns>> everyFlip(const FlipProblem& problem, int count, const AcceptSigns& accept,
                                                  Workers& workers, const Watch& watch) {
    assert(problem.size() <= mostExhaustiveSigns && count > 0);
    if (problem.size() == 0) return std::vector<RankedSigns>{{{}, problem.constant}};
    const Exhaustion exhaustion(problem);
    std::vector<std::int32_t> largest(exhaustion.blocks());
    std::atomic<std::size_t> done{0};
    workers.forEach(largest.size(), [&](std::size_t block, int worker) {
        if (watch.stopped()) return;
        largest[block] = largestEnergy(exhaustion.walkOf(block));
        ++done;
        if (worker == 0) watch.tell(0.9 * static_cast<double>(done) / static_cast<double>(largest.size()));
    });
    // `reach` blocks hold a setting at least as good as the reach-th largest of their bests, so that many settings lie
    // above it. Where some of them may not be listed, look deeper.
    auto sorted = largest;
    std::sort(sorted.rbegin(), sorted.rend());
    for (auto reach = static_cast<std::size_t>(count);; reach *= 4) {
        if (watch.stopped()) return std::nullopt;
        const bool all = reach > sorted.size();
        const std::int64_t threshold =
            all ? std::numeric_limits<std::int64_t>::min() : std::int64_t(sorted[reach - 1]) - 2 * exhaustion.slack;
        std::vector<Shortlist> lists(largest.size(), Shortlist(problem, count, accept));
        workers.forEach(largest.size(), [&](std::size_t block, int) {
            if (largest[block] >= threshold && !watch.stopped()) exhaustion.collect(block, threshold, lists[block]);
        });
        Shortlist list(problem, count, accept);
        for (const auto& part : lists)
            list.take(part);
        if (watch.stopped()) return std::nullopt;
        if (all || list.full()) return list.ranked();
    }
}

std::optional<std::vector<RankedSigns>> climbFlips(const FlipProblem& problem, int count, const AcceptSigns& accept,
                                                   std::span<const int> first, int starts, Workers& workers,
                                                   const Watch& watch) {
    RandomStream random(1);
    std::vector<std::vector<int>> settings(static_cast<std::size_t>(starts) + 1,
                                           std::vector<int>(static_cast<std::size_t>(problem.size()), 1));
    if (!first.empty()) settings.front().assign(first.begin(), first.end());
    for (std::size_t start = 1; start < settings.size(); ++start)
        for (int& sign : settings[start])
            sign = random.sign();
    constexpr std::size_t together = 8; // a climb takes microseconds
    workers.forEach((settings.size() + together - 1) / together, [&](std::size_t part, int) {
        for (std::size_t start = part * together; start < std::min(settings.size(), (part + 1) * together); ++start)
            if (!watch.stopped()) climb(problem, settings[start]);
    });
    if (watch.stopped()) return std::nullopt;

    Shortlist list(problem, count, accept);
    const AcceptSigns anyMay;
    Shortlist best(problem, 1, anyMay);
    const bool mirrorToo = accept && !problem.mirrorsAreWorthTheSame();
    for (const auto& summit : settings) {
        best.offer(summit);
        list.offer(summit);
        if (mirrorToo) list.offer(mirrorOf(summit));
    }
    const auto summit = best.ranked().front().signs;
    offerNeighbours(problem, summit, list);
    if (mirrorToo) offerNeighbours(problem, mirrorOf(summit), list);
    return list.ranked();
}

} // namespace spillwright
