#include "Core/Propose/WorstOf.h"

#include "Core/Propose/Deadline.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cassert>
#include <cmath>
#include <limits>
#include <numbers>
#include <utility>

namespace spillwright {

namespace {

constexpr int mostTried = 20;          // free units of which every set of flips is tried
constexpr int roundsOfFlips = 12;      // of weights
constexpr int roundsOfNudges = 6;      // the same
constexpr int startsARound = 4;        // best settings of a round that are climbed from
constexpr double turning = 2.0;        // how fast weights move to what fares worst
constexpr double leastShare = 1e-3;    // of any source in the weights
constexpr double pointsAPeriod = 20.0; // of the grid of nudges, at the band's highest frequency
constexpr double alike = 1e-9;         // of what the worst has: rounding
constexpr double deepest = 1e-10;      // -100 dB
constexpr int mostSweeps = 30;

Fault cancelled() {
    return {"propose", "stopped", "", Fault::Kind::cancelled};
}

/// How a setting fares: the worst first, then the mean.
struct Score {
    double least = -std::numeric_limits<double>::infinity();
    double mean = 0.0;
    bool above(const Score& other) const {
        return least > other.least + alike || (least > other.least - alike && mean > other.mean + alike);
    }
};

class Search {
public:
    Search(std::span<const SummationModel> of, std::span<const double> best, const Constraints& constraints, Allow what,
           Workers& with)
        : models(of), bests(best), limits(constraints.completed(of.front().trackCount())), allow(what), workers(with),
          end(limits.time) {
        gatherUnits();
    }

    Result<Proposal> run(const Watch& watch) {
        Proposal proposal;
        proposal.allow = allow;
        std::vector<Placement> starts;
        double bound = std::numeric_limits<double>::infinity();
        const auto freeUnits =
            static_cast<int>(std::count_if(units.begin(), units.end(), [](auto& u) { return u.free; }));
        const bool all = allow == Allow::flips && freeUnits <= mostTried;
        if (all) {
            // Contradictions are told by the search for one sum.
            if (auto one = propose(models.front(), limits, allow, 1, workers, {{}, watch.stop}); !one)
                return one.fault();
            starts.push_back(bestOfAll(watch));
            proposal.proof = Proof::exhaustive;
        } else {
            auto found = rounds(watch, starts, bound, proposal.cutShort);
            if (!found) return found.fault();
            // Never below the flips alone, where they leave nudges as they may be.
            if (allow == Allow::nudges && nudgesMayStay()) {
                auto asked = limits;
                asked.time = end.left(0.1);
                Search flips(models, bests, asked, Allow::flips, workers);
                auto alone = flips.run({{}, watch.stop});
                if (!alone) return alone.fault();
                starts.push_back(placementOf(*alone));
            }
        }
        auto summits = std::move(starts);
        workers.forEach(summits.size(), [&](std::size_t k, int) {
            if (!all && !watch.stopped()) summits[k] = climb(std::move(summits[k]), {}, watch.stop);
        });
        if (watch.stopped()) return cancelled();
        Placement best = summits.front();
        for (const auto& summit : summits)
            if (scoreOf(summit).above(scoreOf(best))) best = summit;
        if (!anyFixed) mirror(best);
        const double full = scoreOf(best).least;
        proposal.upperBound = all ? full : std::max(bound, full);
        proposal.fullGain = full;
        if (!explain(best, proposal, watch)) return cancelled();
        proposal.cutShort = proposal.cutShort || end.passed();
        watch.tell(1.0);
        return proposal;
    }

private:
    struct Unit {
        std::vector<int> tracks;
        bool free = true;     ///< Its sign may turn.
        bool mayMove = false; ///< Its nudge may change.
        bool bystander = false;
    };

    void gatherUnits() {
        const int count = 1 + *std::max_element(limits.unit.begin(), limits.unit.end());
        units.resize(static_cast<std::size_t>(count));
        const int n = models.front().trackCount();
        for (int track = 0; track < n; ++track)
            units[at(limits.unit[at(track)])].tracks.push_back(track);
        std::erase_if(units, [](const Unit& unit) { return unit.tracks.empty(); });
        for (auto& unit : units) {
            const auto any = [&](auto&& is) { return std::any_of(unit.tracks.begin(), unit.tracks.end(), is); };
            unit.bystander = !any([&](int t) { return !limits.unrelated[at(t)]; });
            const bool fixed = any([&](int t) { return limits.held[at(t)] || limits.reference == t; });
            unit.free = !unit.bystander && !fixed;
            anyFixed = anyFixed || (fixed && !unit.bystander);
        }
        for (auto& unit : units) {
            const bool anchor = std::count(unit.tracks.begin(), unit.tracks.end(), limits.loudest) > 0;
            unit.mayMove = allow == Allow::nudges && unit.free && (anyFixed || !anchor);
        }
    }

    static Placement placementOf(const Proposal& proposal) { return {signsOf(proposal.flips), proposal.nudges, 0.0}; }

    /// How far a unit may be shifted either way so that all of its tracks stay within their limits.
    std::pair<double, double> reachOf(const Unit& unit, const std::vector<double>& nudges) const {
        double earliest = -std::numeric_limits<double>::infinity(), latest = -earliest;
        for (const int track : unit.tracks) {
            earliest = std::max(earliest, -limits.ownLargestNudge[at(track)] - nudges[at(track)]);
            latest = std::min(latest, limits.ownLargestNudge[at(track)] - nudges[at(track)]);
        }
        return {earliest, latest};
    }

    /// Whether the start's nudges lie within the limits, reference or loudest at 0.
    bool nudgesMayStay() const {
        for (std::size_t track = 0; track < limits.startNudges.size(); ++track)
            if (std::abs(limits.startNudges[track]) > limits.ownLargestNudge[track]) return false;
        return startShift() == 0.0;
    }

    /// What is taken off the start's nudges so that reference or loudest stand at 0.
    double startShift() const {
        if (allow == Allow::flips) return 0.0;
        if (limits.reference) return limits.startNudges[at(*limits.reference)];
        return anyFixed ? 0.0 : limits.startNudges[at(limits.loudest)];
    }

    double share(std::size_t k, double gain) const { return gain / bests[k]; }

    Score scoreOf(const std::vector<double>& shares) const {
        Score score{std::numeric_limits<double>::infinity(), 0.0};
        for (const double one : shares) {
            score.least = std::min(score.least, one);
            score.mean += one / static_cast<double>(shares.size());
        }
        return score;
    }

    std::vector<double> sharesOf(const Placement& placement) const {
        std::vector<double> shares;
        for (std::size_t k = 0; k < models.size(); ++k)
            shares.push_back(share(k, models[k].gain(placement.signs, placement.nudges)));
        return shares;
    }
    Score scoreOf(const Placement& placement) const { return scoreOf(sharesOf(placement)); }

    /// Settings to climb from, and the least of the bounds.
    Outcome rounds(const Watch& watch, std::vector<Placement>& starts, double& bound, bool& cutShort) {
        const int count = allow == Allow::flips ? roundsOfFlips : roundsOfNudges;
        auto asked = limits;
        asked.leastWorthDb = 0.0;
        std::vector<double> towards(models.size(), 1.0 / static_cast<double>(models.size()));
        for (int round = 0; round < count; ++round) {
            if (round > 0 && round + 1 < count && end.share(0.6).passed()) continue; // the last is the one with a proof
            double sum = 0.0;
            std::vector<double> weights;
            for (std::size_t k = 0; k < models.size(); ++k)
                sum += weights.emplace_back(towards[k] / bests[k]);
            const auto mean = SummationModel::meanOf(models, weights);
            // The proof of nudges is slow: the last weights are worth it.
            const bool quick = allow == Allow::nudges && round + 1 < count;
            asked.proofTime = quick ? Seconds(0.0) : limits.proofTime;
            asked.time = end.left(quick ? 0.5 / count : 0.5);
            const Watch part{[&](double done) { watch.tell(0.9 * (round + done) / count); }, watch.stop};
            const auto found = propose(mean, asked, allow, startsARound, workers, part);
            if (!found) return found.fault();
            bound = std::min(bound, sum * found->front().upperBound);
            for (const auto& proposal : *found) {
                cutShort = proposal.cutShort;
                starts.push_back(placementOf(proposal));
            }
            const auto shares = sharesOf(starts[starts.size() - found->size()]);
            const auto [low, high] = std::minmax_element(shares.begin(), shares.end());
            const double spread = std::max(*high - *low, alike), least = *low;
            double total = 0.0;
            for (std::size_t k = 0; k < models.size(); ++k)
                total += towards[k] *= std::exp(-turning * (shares[k] - least) / spread / (1.0 + 0.5 * round));
            for (double& one : towards)
                one = std::max(leastShare, one / total);
        }
        return done();
    }

    // ---- flips

    /// Of each source, G over signs of the units against a placement: G = x' A x.
    std::vector<Eigen::MatrixXd> unitMatrices(const Placement& of) const {
        std::vector<Eigen::MatrixXd> matrices;
        const auto count = static_cast<Eigen::Index>(units.size());
        for (const auto& model : models) {
            const auto tracks = model.flipMatrix(of.nudges);
            Eigen::MatrixXd matrix = Eigen::MatrixXd::Zero(count, count);
            for (Eigen::Index u = 0; u < count; ++u)
                for (Eigen::Index v = 0; v < count; ++v)
                    for (const int i : units[static_cast<std::size_t>(u)].tracks)
                        for (const int j : units[static_cast<std::size_t>(v)].tracks)
                            matrix(u, v) += of.signs[at(i)] * of.signs[at(j)] * tracks(i, j);
            matrices.push_back(std::move(matrix));
        }
        return matrices;
    }

    /// The units' signs against a placement, with what each source then has and what turning each unit would add.
    struct Signs {
        Eigen::VectorXd x;
        std::vector<double> gains;
        std::vector<Eigen::VectorXd> fields; ///< [source][unit] sum over the others of A x.
    };
    Signs untouched(const std::vector<Eigen::MatrixXd>& matrices) const {
        Signs signs{Eigen::VectorXd::Ones(static_cast<Eigen::Index>(units.size())), {}, {}};
        for (const auto& matrix : matrices) {
            signs.gains.push_back(matrix.sum());
            signs.fields.push_back(matrix.rowwise().sum() - matrix.diagonal());
        }
        return signs;
    }
    static void turn(Signs& signs, const std::vector<Eigen::MatrixXd>& matrices, Eigen::Index unit) {
        for (std::size_t k = 0; k < matrices.size(); ++k) {
            signs.gains[k] -= 4.0 * signs.x[unit] * signs.fields[k][unit];
            const double own = signs.fields[k][unit];
            signs.fields[k] -= 2.0 * signs.x[unit] * matrices[k].col(unit);
            signs.fields[k][unit] = own;
        }
        signs.x[unit] = -signs.x[unit];
    }
    Score scoreOfGains(const std::vector<double>& gains) const {
        auto shares = gains;
        for (std::size_t k = 0; k < shares.size(); ++k)
            shares[k] = share(k, gains[k]);
        return scoreOf(shares);
    }
    void apply(const Eigen::VectorXd& x, Placement& to) const {
        for (std::size_t u = 0; u < units.size(); ++u)
            if (x[static_cast<Eigen::Index>(u)] < 0.0)
                for (const int track : units[u].tracks)
                    to.signs[at(track)] = -to.signs[at(track)];
    }

    /// Every set of flips, from one to the next by one turn.
    Placement bestOfAll(const Watch& watch) const {
        Placement best{signsOf(limits.start), limits.startNudges, 0.0};
        const auto matrices = unitMatrices(best);
        std::vector<Eigen::Index> free;
        for (std::size_t u = 0; u < units.size(); ++u)
            if (units[u].free) free.push_back(static_cast<Eigen::Index>(u));
        if (!anyFixed && !free.empty()) free.pop_back(); // the other half are mirror images
        Signs signs = untouched(matrices);
        Score top = scoreOfGains(signs.gains);
        Eigen::VectorXd x = signs.x;
        const std::uint64_t sets = std::uint64_t(1) << free.size();
        for (std::uint64_t set = 1; set < sets; ++set) {
            if (set % 4096 == 0 && watch.stopped()) break;
            turn(signs, matrices, free[static_cast<std::size_t>(std::countr_zero(set))]);
            if (const Score score = scoreOfGains(signs.gains); score.above(top)) {
                top = score;
                x = signs.x;
            }
        }
        apply(x, best);
        return best;
    }

    /// One or two units turned over at a time, the best first, until none helps. True: something did.
    bool turnUnits(Placement& placement, const std::vector<bool>& frozen) const {
        const auto matrices = unitMatrices(placement);
        Signs signs = untouched(matrices);
        bool any = false;
        for (int step = 0; step < mostSweeps; ++step) {
            Score top = scoreOfGains(signs.gains);
            Eigen::Index first = -1, second = -1;
            for (Eigen::Index u = 0; u < signs.x.size(); ++u) {
                if (!mayTurn(u, frozen)) continue;
                for (Eigen::Index v = u; v < signs.x.size(); ++v) {
                    if (!mayTurn(v, frozen)) continue;
                    auto gains = signs.gains;
                    for (std::size_t k = 0; k < gains.size(); ++k) {
                        gains[k] -= 4.0 * signs.x[u] * signs.fields[k][u];
                        if (v != u)
                            gains[k] -= 4.0 * signs.x[v] * signs.fields[k][v] -
                                        8.0 * signs.x[u] * signs.x[v] * matrices[k](u, v);
                    }
                    if (const Score score = scoreOfGains(gains); score.above(top)) {
                        top = score;
                        first = u;
                        second = v;
                    }
                }
            }
            if (first < 0) break;
            turn(signs, matrices, first);
            if (second != first) turn(signs, matrices, second);
            any = true;
        }
        apply(signs.x, placement);
        return any;
    }
    bool mayTurn(Eigen::Index unit, const std::vector<bool>& frozen) const {
        const auto u = static_cast<std::size_t>(unit);
        return units[u].free && (frozen.empty() || !frozen[u]);
    }

    // ---- nudges

    using Phasors = std::vector<std::vector<std::complex<double>>>; ///< [track][frequency] e^{-j omega nudge}

    Phasors phasorsOf(std::size_t k, const std::vector<double>& nudges) const {
        Phasors phasors;
        for (const double nudge : nudges)
            phasors.push_back(turned(k, nudge));
        return phasors;
    }
    std::vector<std::complex<double>> turned(std::size_t k, double nudge) const {
        std::vector<std::complex<double>> phasor;
        for (const double hertz : models[k].frequencies())
            phasor.push_back(std::polar(1.0, -2.0 * std::numbers::pi * hertz * nudge));
        return phasor;
    }

    /// G changes by Re sum of pull (sign e^{-j omega shift} - 1) as a unit is turned over and moved.
    std::vector<std::complex<double>> pullOn(std::size_t k, const Unit& unit, const Placement& placement,
                                             const Phasors& phasors) const {
        const auto& model = models[k];
        std::vector<std::complex<double>> pull(model.frequencies().size());
        for (const int i : unit.tracks)
            for (int j = 0; j < model.trackCount(); ++j) {
                if (std::find(unit.tracks.begin(), unit.tracks.end(), j) != unit.tracks.end()) continue;
                const double both = 2.0 * placement.signs[at(i)] * placement.signs[at(j)];
                const auto pair = model.weightedPair(std::min(i, j), std::max(i, j));
                for (std::size_t b = 0; b < pull.size(); ++b)
                    pull[b] += both * (i < j ? pair[b] : std::conj(pair[b])) * phasors[at(i)][b] *
                               std::conj(phasors[at(j)][b]);
            }
        return pull;
    }

    /// What the sources have where a unit is turned and shifted.
    class Moved {
    public:
        Moved(const Search& search, std::vector<std::vector<std::complex<double>>> pulling, std::vector<double> gains)
            : of(search), pulls(std::move(pulling)), now(std::move(gains)) {
            for (std::size_t k = 0; k < pulls.size(); ++k)
                for (const auto& value : pulls[k])
                    now[k] -= value.real();
        }
        /// At shift, shift + step ..., `count` of them: [place] the scores with sign +1 and with -1.
        std::vector<std::array<Score, 2>> scores(double shift, double step, std::size_t count) const {
            std::vector<std::vector<double>> alongs(pulls.size(), std::vector<double>(count));
            for (std::size_t k = 0; k < pulls.size(); ++k)
                for (std::size_t b = 0; b < pulls[k].size(); ++b) {
                    const double omega = 2.0 * std::numbers::pi * of.models[k].frequencies()[b];
                    auto phasor = pulls[k][b] * std::polar(1.0, -omega * shift);
                    const auto onward = std::polar(1.0, -omega * step);
                    for (std::size_t place = 0; place < count; ++place) {
                        alongs[k][place] += phasor.real();
                        phasor *= onward;
                    }
                }
            std::vector<std::array<Score, 2>> all(count);
            std::vector<double> gains(pulls.size());
            for (std::size_t place = 0; place < count; ++place)
                for (const std::size_t side : {0u, 1u}) {
                    for (std::size_t k = 0; k < pulls.size(); ++k)
                        gains[k] = now[k] + (side == 0 ? alongs[k][place] : -alongs[k][place]);
                    all[place][side] = of.scoreOfGains(gains);
                }
            return all;
        }

        std::vector<double> gains(double shift, bool turnedOver) const {
            auto all = now;
            for (std::size_t k = 0; k < pulls.size(); ++k)
                for (std::size_t b = 0; b < pulls[k].size(); ++b) {
                    const double angle = -2.0 * std::numbers::pi * of.models[k].frequencies()[b] * shift;
                    all[k] += (turnedOver ? -1.0 : 1.0) * (pulls[k][b] * std::polar(1.0, angle)).real();
                }
            return all;
        }

    private:
        const Search& of;
        std::vector<std::vector<std::complex<double>>> pulls;
        std::vector<double> now; ///< Without the unit's couplings.
    };

    /// The best place and sign of one unit, the others as they are. True: it moved.
    bool placeUnit(const Unit& unit, Placement& placement, std::vector<Phasors>& phasors,
                   std::vector<double>& gains) const {
        const auto [earliest, latest] = reachOf(unit, placement.nudges);
        if (!(latest >= earliest)) return false;
        std::vector<std::vector<std::complex<double>>> pulls;
        for (std::size_t k = 0; k < models.size(); ++k)
            pulls.push_back(pullOn(k, unit, placement, phasors[k]));
        const Moved moved(*this, std::move(pulls), gains);

        const Score before = scoreOfGains(gains);
        Score top = before;
        double shift = 0.0;
        std::size_t side = 0;
        const auto look = [&](double from, double step, std::size_t count) {
            const auto scores = moved.scores(from, step, count);
            for (std::size_t place = 0; place < count; ++place)
                for (const std::size_t sign : {0u, 1u})
                    if (scores[place][sign].above(top)) {
                        top = scores[place][sign];
                        shift = from + static_cast<double>(place) * step;
                        side = sign;
                    }
        };
        look(0.0, 0.0, 1);
        if (unit.mayMove && latest > earliest) {
            const auto count = static_cast<std::size_t>(std::ceil((latest - earliest) / gridStep())) + 1;
            double step = (latest - earliest) / static_cast<double>(count - 1);
            look(earliest, step, count);
            for (; step > smallestNudge; step *= 0.5)
                for (const double near : {shift - 0.5 * step, shift + 0.5 * step})
                    look(std::clamp(near, earliest, latest), 0.0, 1);
        }
        if (!top.above(before)) return false;
        for (const int track : unit.tracks) {
            placement.nudges[at(track)] += shift;
            if (side == 1) placement.signs[at(track)] = -placement.signs[at(track)];
            for (std::size_t k = 0; k < models.size(); ++k)
                phasors[k][at(track)] = turned(k, placement.nudges[at(track)]);
        }
        gains = moved.gains(shift, side == 1);
        return true;
    }

    double gridStep() const {
        double highest = 0.0;
        for (const auto& model : models)
            highest = std::max(highest, model.frequencies().back());
        return 1.0 / (pointsAPeriod * highest);
    }

    /// Unit by unit, and two turned at once, until nothing helps. Frozen units stay.
    Placement climb(Placement placement, const std::vector<bool>& frozen, const std::stop_token& stop) const {
        if (allow == Allow::flips) {
            turnUnits(placement, frozen);
            return placement;
        }
        std::vector<Phasors> phasors;
        std::vector<double> gains;
        for (std::size_t k = 0; k < models.size(); ++k) {
            phasors.push_back(phasorsOf(k, placement.nudges));
            gains.push_back(models[k].gain(placement.signs, placement.nudges));
        }
        for (int sweep = 0; sweep < mostSweeps && !end.passed(); ++sweep) {
            bool moved = false;
            for (std::size_t u = 0; u < units.size() && !stop.stop_requested() && !end.passed(); ++u)
                if (mayTurn(static_cast<Eigen::Index>(u), frozen) && placeUnit(units[u], placement, phasors, gains))
                    moved = true;
            if (!moved && !turnUnits(placement, frozen)) break;
            for (std::size_t k = 0; k < models.size(); ++k)
                gains[k] = models[k].gain(placement.signs, placement.nudges);
            if (stop.stop_requested()) break;
        }
        return placement;
    }

    // ---- what is proposed

    /// The mirror image with fewer flips; of two alike the one in which the first track is not flipped.
    void mirror(Placement& placement) const {
        int flipped = 0, all = 0;
        bool first = false;
        for (const auto& unit : units) {
            if (unit.bystander) continue;
            for (const int track : unit.tracks) {
                if (all++ == 0) first = placement.signs[at(track)] < 0;
                flipped += placement.signs[at(track)] < 0;
            }
        }
        if (2 * flipped < all || (2 * flipped == all && !first)) return;
        for (const auto& unit : units)
            for (const int track : unit.tracks)
                if (!unit.bystander) placement.signs[at(track)] = -placement.signs[at(track)];
    }

    bool flippedIn(const Placement& placement, const Unit& unit) const {
        const auto track = at(unit.tracks.front());
        return (placement.signs[track] < 0) != limits.start[track];
    }
    bool nudgedIn(const Placement& placement, const Unit& unit) const {
        const auto track = at(unit.tracks.front());
        return std::abs(placement.nudges[track] - limits.startNudges[track]) >= smallestNudge;
    }
    bool changedIn(const Placement& placement, const Unit& unit) const {
        return unit.free && (flippedIn(placement, unit) || nudgedIn(placement, unit));
    }
    /// As at the start, as far as the limits go.
    void putBack(const Unit& unit, Placement& placement) const {
        for (const int track : unit.tracks)
            placement.signs[at(track)] = limits.start[at(track)] ? -1 : 1;
        if (allow == Allow::flips) return;
        const auto [earliest, latest] = reachOf(unit, limits.startNudges);
        const double shift = std::clamp(-startShift(), earliest, latest);
        for (const int track : unit.tracks)
            placement.nudges[at(track)] = limits.startNudges[at(track)] + shift;
    }

    /// What each change is worth, and without those that are not. False: stop was asked for.
    bool explain(Placement best, Proposal& proposal, const Watch& watch) {
        std::vector<bool> back(units.size(), false); // put back for good
        for (;;) {
            const double now = scoreOf(best).least;
            auto asAtStart = back;
            for (std::size_t u = 0; u < units.size(); ++u)
                asAtStart[u] = asAtStart[u] || !changedIn(best, units[u]);
            std::vector<std::optional<Proposal::Change>> changes(units.size());
            std::vector<Placement> without(units.size());
            workers.forEach(units.size(), [&](std::size_t u, int) {
                if (asAtStart[u] || watch.stopped()) return;
                const bool late = end.passed();
                const auto kind = Proposal::Change::kindOf(flippedIn(best, units[u]), nudgedIn(best, units[u]));
                Proposal::Change change{units[u].tracks.front(), kind, 0.0, std::nullopt};
                const auto loses = [&](const Placement& placement) {
                    return decibelsOfPower(now / std::max(scoreOf(placement).least, deepest));
                };
                without[u] = best;
                putBack(units[u], without[u]);
                change.effectDb = loses(without[u]);
                changes[u] = change;
                if (late) return;
                // None that stands as it stood is changed in its stead.
                auto frozen = asAtStart;
                frozen[u] = true;
                without[u] = climb(without[u], frozen, watch.stop);
                changes[u]->worthDb = loses(without[u]);
            });
            if (watch.stopped()) return false;
            std::optional<std::size_t> least;
            for (std::size_t u = 0; u < units.size(); ++u)
                if (changes[u] && changes[u]->worthDb && (!least || *changes[u]->worthDb < *changes[*least]->worthDb))
                    least = u;
            const bool better = least && *changes[*least]->worthDb < 0.0; // the others, placed anew, without it
            if (!better && (end.passed() || !least || !(*changes[*least]->worthDb < limits.leastWorthDb))) {
                for (const auto& change : changes)
                    if (change) proposal.why.push_back(*change);
                break;
            }
            if (!better) {
                auto left = *changes[*least];
                left.effectDb = *left.worthDb;
                proposal.leftOut.push_back(left);
            }
            back[*least] = true;
            best = without[*least];
            proposal.fullGain = std::max(proposal.fullGain, scoreOf(best).least);
        }
        std::stable_sort(proposal.why.begin(), proposal.why.end(),
                         [](const auto& a, const auto& b) { return a.effectDb > b.effectDb; });
        proposal.gain = scoreOf(best).least;
        proposal.upperBound = std::max(proposal.upperBound, proposal.fullGain);
        for (const int sign : best.signs)
            proposal.flips.push_back(sign < 0);
        for (double& nudge : best.nudges)
            if (std::abs(nudge) < smallestNudge) nudge = 0.0;
        proposal.nudges = best.nudges;
        return true;
    }

    static std::size_t at(int track) { return static_cast<std::size_t>(track); }

    std::span<const SummationModel> models;
    std::span<const double> bests;
    Constraints limits;
    Allow allow;
    Workers& workers;
    std::vector<Unit> units;
    bool anyFixed = false; ///< Reference or held tracks: no mirror images.
    Deadline end;
};

} // namespace

Result<std::vector<double>> bestsAlone(std::span<const SummationModel> models, const Constraints& constraints,
                                       Allow allow, Workers& workers, const Watch& watch) {
    auto asked = constraints;
    asked.leastWorthDb = 0.0;
    asked.proofTime = Seconds(0.0); // only the search matters
    const Deadline until(constraints.time);
    std::vector<double> bests;
    for (const auto& model : models) {
        asked.time = until.left(1.0 / static_cast<double>(models.size() - bests.size()));
        const auto best = propose(model, asked, allow, 1, workers, {{}, watch.stop});
        if (!best) return best.fault();
        bests.push_back(best->front().gain);
    }
    return bests;
}

Result<Proposal> proposeForWorst(std::span<const SummationModel> models, std::span<const double> bests,
                                 const Constraints& constraints, Allow allow, Workers& workers, const Watch& watch) {
    assert(!models.empty() && models.size() == bests.size());
    return Search(models, bests, constraints, allow, workers).run(watch);
}

} // namespace spillwright
