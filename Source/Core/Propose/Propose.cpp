#include "Core/Propose/Propose.h"

#include "Core/Propose/Deadline.h"
#include "Core/Propose/FlipBound.h"
#include "Core/Propose/FlipSearch.h"
#include "Core/Propose/NudgeSearch.h"

#include <algorithm>
#include <atomic>
#include <cassert>
#include <cmath>
#include <limits>
#include <numbers>
#include <numeric>
#include <string>

namespace spillwright {

namespace {

Fault cancelled() {
    return {"propose", "stopped", "", Fault::Kind::cancelled};
}

/// Tracks that move as one: flip and nudge of each are those of the first, times its own sign, plus its own offset.
struct Unit {
    enum class Role {
        free,
        fixed,    ///< Reference or held.
        bystander ///< Coupled to nothing, or by chance alone.
    };
    std::vector<int> tracks;
    std::vector<int> signs;
    std::vector<double> offsets;
    int startSign = 1;       ///< Of the first track.
    double startNudge = 0.0; ///< Of the first track.
    int fixedSign = 1;       ///< Of the first track, where the unit is not free.
    double fixedNudge = 0.0;
    Role role = Role::free;
    double earliest = 0.0, latest = 0.0;  ///< The first track's nudge, so that all stay within the largest.
    int endsEarliest = 0, endsLatest = 0; ///< The tracks that may go no further.
};

class Search {
public:
    /// `flipMatrix`: Q at the start's nudges, where it is not the model's own.
    Search(const SummationModel& m, const Constraints& c, Allow a, Workers& w,
           const Eigen::MatrixXd* flipMatrix = nullptr)
        : model(m), limits(c.completed(m.trackCount())), allow(a), workers(w), end(limits.time) {
        if (flipMatrix) matrix = *flipMatrix;
    }

    /// Nothing, or what contradicts what.
    std::optional<Fault> prepare() {
        if (allow == Allow::nudges && !std::all_of(limits.ownLargestNudge.begin(), limits.ownLargestNudge.end(),
                                                   [](double largest) { return largest >= 0.0; }))
            return Fault{"largest nudge", "is below 0 or no number", "give milliseconds, 0 or more",
                         Fault::Kind::usage};
        gatherUnits();
        for (auto& unit : units)
            if (auto fault = assignRole(unit)) return fault;
        leaveAlone();
        anyFixed = std::any_of(units.begin(), units.end(), [](const Unit& u) { return u.role == Unit::Role::fixed; });
        for (int u = 0; u < static_cast<int>(units.size()); ++u)
            if (units[u].role == Unit::Role::free) free.push_back(u);
        return allow == Allow::nudges ? anchor() : std::nullopt;
    }

    Result<std::vector<Proposal>> flips(int count, const Watch& watch) {
        const auto ranked = rankFlips(count, end.share(0.9), watch);
        if (!ranked) return cancelled();
        std::vector<Proposal> proposals;
        for (const auto& entry : ranked->best) {
            auto proposal = fromUnits(entry.signs, startNudgesOfFree());
            proposal.nudges = limits.startNudges;
            proposal.gain = entry.value;
            proposals.push_back(std::move(proposal));
        }
        if (!weigh(proposals, count, end, watch)) return cancelled();
        bound(proposals, ranked->upperBound, ranked->proof, ranked->cutShort);
        watch.tell(1.0);
        return proposals;
    }

    Result<std::vector<Proposal>> nudges(int count, const Watch& watch) {
        const auto ranked = rankFlips(count, end.share(0.1), part(watch, 0.0, 0.1));
        if (!ranked) return cancelled();
        // The flips' own settings, shifted so that the anchor or reference stands at 0.
        std::vector<Placement> starts;
        std::vector<Proposal> proposals;
        for (const auto& entry : ranked->best) {
            Placement start{entry.signs, startNudgesOfFree(), 0.0};
            bool within = true;
            for (std::size_t k = 0; k < free.size(); ++k) {
                const auto& unit = units[free[k]];
                const double wanted = start.nudges[k] - startShift;
                start.nudges[k] = std::clamp(wanted, unit.earliest, unit.latest);
                within = within && std::abs(start.nudges[k] - wanted) < 1e-12;
            }
            if (within) proposals.push_back(fromUnits(start.signs, start.nudges));
            starts.push_back(std::move(start));
        }

        const bool flipsWithin = !proposals.empty();
        nudgesOfFree = nudgeProblem(false);
        const auto& problem = nudgesOfFree;
        for (auto& start : starts)
            if (problem.size() > static_cast<int>(free.size())) {
                start.signs.push_back(1);
                start.nudges.push_back(0.0);
            } else if (!free.empty() && start.signs[anchorPlace] < 0) { // the anchor stays as it is: the mirror image
                for (int& sign : start.signs)
                    sign = -sign;
            }
        // A few more than asked for, as two may turn out to be one.
        const auto found = searchNudges(problem, count + 3, starts, workers, part(watch, 0.1, 0.4), end.share(0.5));
        if (!found) return cancelled();
        for (const auto& placement : found->best)
            proposals.push_back(fromUnits(placement.signs, placement.nudges));
        for (auto& proposal : proposals) {
            for (double& nudge : proposal.nudges)
                if (std::abs(nudge) < smallestNudge) nudge = 0.0;
            proposal.gain = model.gain(signsOf(proposal.flips), proposal.nudges);
        }
        std::stable_sort(proposals.begin(), proposals.end(),
                         [](const Proposal& a, const Proposal& b) { return a.gain > b.gain; });
        std::vector<Proposal> chosen;
        for (auto& proposal : proposals)
            if (static_cast<int>(chosen.size()) < count &&
                std::none_of(chosen.begin(), chosen.end(),
                             [&](const Proposal& other) { return same(proposal, other); }))
                chosen.push_back(std::move(proposal));

        const double best = chosen.front().gain;
        const bool leaves = count == 1 && limits.leastWorthDb > 0.0;
        const double floor = flipsWithin && leaves ? worthwhileFlips(watch) : 0.0;
        if (!weigh(chosen, count, end.share(0.4), watch, floor)) return cancelled();
        const auto proof = proveNudges(nudgeProblem(true), best, limits.proofTime, workers, part(watch, 0.4, 1.0), {},
                                       end.share(0.95));
        if (!proof) return cancelled();
        bound(chosen, proof->upperBound, proof->branched ? Proof::branchAndBound : Proof::boundOnly,
              proof->cutShort || found->cutShort);
        watch.tell(1.0);
        return chosen;
    }

    /// After prepare(), for Allow::flips.
    std::vector<bool> thatStand(const Proposal& proposal, const Watch& watch) const {
        constexpr int startsElsewhere = 8;
        const auto now = settledOf(proposal);
        Watch quiet;
        quiet.stop = watch.stop;
        const auto best = climbFlips(flipProblem(), 1, {}, now.signs, startsElsewhere, workers, quiet);
        if (!best) return {};
        std::vector<bool> stand(static_cast<std::size_t>(model.trackCount()), true);
        int alike = 0;
        for (std::size_t k = 0; k < free.size(); ++k)
            alike += best->front().signs[k] * now.signs[k];
        const int mirror = !anyFixed && alike < 0 ? -1 : 1;
        for (std::size_t k = 0; k < free.size(); ++k)
            for (const int track : units[free[k]].tracks)
                stand[static_cast<std::size_t>(track)] = mirror * best->front().signs[k] == now.signs[k];
        return stand;
    }

private:
    static Watch part(const Watch& watch, double from, double to) {
        Watch inner;
        inner.stop = watch.stop;
        inner.progress = [&watch, from, to](double done) { watch.tell(from + (to - from) * done); };
        return inner;
    }

    void gatherUnits() {
        const int last = limits.unit.empty() ? -1 : *std::max_element(limits.unit.begin(), limits.unit.end());
        std::vector<Unit> all(last + 1);
        for (int track = 0; track < model.trackCount(); ++track) {
            auto& unit = all[limits.unit[track]];
            const int sign = limits.start[track] ? -1 : 1;
            if (unit.tracks.empty()) {
                unit.startSign = sign;
                unit.startNudge = limits.startNudges[track];
            }
            unit.tracks.push_back(track);
            unit.signs.push_back(sign * unit.startSign);
            unit.offsets.push_back(limits.startNudges[track] - unit.startNudge);
        }
        for (auto& unit : all)
            if (!unit.tracks.empty()) units.push_back(std::move(unit));
        std::sort(units.begin(), units.end(),
                  [](const Unit& a, const Unit& b) { return a.tracks.front() < b.tracks.front(); });
    }

    std::optional<Fault> assignRole(Unit& unit) {
        const auto all = [&](const std::vector<bool>& mark) {
            return std::all_of(unit.tracks.begin(), unit.tracks.end(), [&](int t) { return mark[t]; });
        };
        const bool held = std::any_of(unit.tracks.begin(), unit.tracks.end(), [&](int t) { return limits.held[t]; });
        unit.fixedSign = unit.startSign;
        unit.fixedNudge = unit.startNudge;
        const auto member =
            limits.reference ? std::find(unit.tracks.begin(), unit.tracks.end(), *limits.reference) : unit.tracks.end();
        if (member != unit.tracks.end()) {
            const auto place = member - unit.tracks.begin();
            if (held && limits.start[*member])
                return Fault{nameOf(*member), "is held upside down, but a reference keeps polarity +1",
                             "release it, or name another reference", Fault::Kind::usage};
            if (held && allow == Allow::nudges && limits.startNudges[*member] != 0.0)
                return Fault{nameOf(*member), "is held at a nudge, but a reference keeps nudge 0",
                             "release it, or name another reference", Fault::Kind::usage};
            unit.fixedSign = unit.signs[place];
            if (allow == Allow::nudges) unit.fixedNudge = -unit.offsets[place];
            unit.role = Unit::Role::fixed;
        } else if (held) {
            unit.role = Unit::Role::fixed;
        }
        if (all(limits.unrelated)) unit.role = Unit::Role::bystander;
        unit.earliest = -std::numeric_limits<double>::infinity();
        unit.latest = std::numeric_limits<double>::infinity();
        for (std::size_t a = 0; a < unit.tracks.size(); ++a) {
            const double largest = limits.ownLargestNudge[static_cast<std::size_t>(unit.tracks[a])];
            if (const double earliest = -largest - unit.offsets[a]; earliest > unit.earliest) {
                unit.earliest = earliest;
                unit.endsEarliest = unit.tracks[a];
            }
            if (const double latest = largest - unit.offsets[a]; latest < unit.latest) {
                unit.latest = latest;
                unit.endsLatest = unit.tracks[a];
            }
        }
        if (allow == Allow::flips || held || unit.role == Unit::Role::bystander) return std::nullopt;
        if (member != unit.tracks.end()) return outOfReach(unit, *member, unit.fixedNudge);
        if (unit.earliest > unit.latest) return tooFarApart(unit.endsEarliest, unit.endsLatest);
        return std::nullopt;
    }

    const std::string& nameOf(int track) const { return limits.names[static_cast<std::size_t>(track)]; }

    Fault tooFarApart(int a, int b) const {
        const bool grouped = limits.grouped[static_cast<std::size_t>(a)] || limits.grouped[static_cast<std::size_t>(b)];
        return {nameOf(std::min(a, b)) + " and " + nameOf(std::max(a, b)),
                std::string(grouped ? "tracks of one group" : "linked tracks") +
                    " lie further apart than the largest nudge allows",
                std::string("allow a larger nudge, or ") + (grouped ? "leave out the group" : "unlink them"),
                Fault::Kind::usage};
    }

    /// Where the track's being at 0, with its unit's first at a nudge, takes another of them beyond its largest.
    std::optional<Fault> outOfReach(const Unit& unit, int track, double nudge) const {
        if (nudge < unit.earliest) return tooFarApart(track, unit.endsEarliest);
        if (nudge > unit.latest) return tooFarApart(track, unit.endsLatest);
        return std::nullopt;
    }

    /// Units that nothing couples to any that matters.
    void leaveAlone() {
        if (allow == Allow::flips && matrix.size() == 0) matrix = model.flipMatrix(limits.startNudges);
        const auto coupled = [&](int a, int b) {
            if (allow == Allow::flips) return matrix(a, b) != 0.0;
            const auto spectrum = model.weightedPair(std::min(a, b), std::max(a, b));
            return std::any_of(spectrum.begin(), spectrum.end(), [](const auto& s) { return s != 0.0; });
        };
        std::vector<bool> alone(units.size(), true);
        for (std::size_t u = 0; u < units.size(); ++u)
            for (std::size_t v = 0; v < units.size(); ++v) {
                if (u == v || units[u].role == Unit::Role::bystander || units[v].role == Unit::Role::bystander)
                    continue;
                for (const int a : units[u].tracks)
                    for (const int b : units[v].tracks)
                        if (alone[u] && coupled(a, b)) alone[u] = false;
            }
        for (std::size_t u = 0; u < units.size(); ++u)
            if (alone[u]) units[u].role = Unit::Role::bystander;
        if (allow == Allow::nudges) matrix = model.flipMatrix(limits.startNudges);
    }

    /// The free unit that stands still where nothing else does, and how far the start lies from that frame.
    std::optional<Fault> anchor() {
        if (anyFixed) {
            if (limits.reference && !limits.held[*limits.reference]) {
                const bool othersHeld = std::any_of(units.begin(), units.end(), [&](const Unit& u) {
                    return u.role == Unit::Role::fixed &&
                           std::find(u.tracks.begin(), u.tracks.end(), *limits.reference) == u.tracks.end();
                });
                if (!othersHeld) startShift = limits.startNudges[*limits.reference];
            }
            return std::nullopt;
        }
        if (free.empty()) return std::nullopt;
        int track = -1;
        for (std::size_t k = 0; k < free.size(); ++k) {
            const auto& tracks = units[free[k]].tracks;
            if (std::find(tracks.begin(), tracks.end(), limits.loudest) != tracks.end()) {
                track = limits.loudest;
                anchorPlace = k;
            }
        }
        if (track < 0) // the loudest takes no part: the one that brings the most to the band
            for (std::size_t k = 0; k < free.size(); ++k)
                for (const int t : units[free[k]].tracks)
                    if (track < 0 || matrix(t, t) > matrix(track, track)) {
                        track = t;
                        anchorPlace = k;
                    }
        auto& unit = units[free[anchorPlace]];
        const auto place = std::find(unit.tracks.begin(), unit.tracks.end(), track) - unit.tracks.begin();
        const double nudge = -unit.offsets[place];
        if (auto fault = outOfReach(unit, track, nudge)) return fault;
        unit.earliest = unit.latest = nudge;
        startShift = limits.startNudges[track];
        return std::nullopt;
    }

    std::vector<double> startNudgesOfFree() const {
        std::vector<double> nudges;
        for (const int u : free)
            nudges.push_back(units[u].startNudge);
        return nudges;
    }

    // ---- flips

    struct RankedFlips {
        std::vector<RankedSigns> best;
        double upperBound = 1.0;
        Proof proof = Proof::exhaustive;
        bool cutShort = false;
    };

    FlipProblem flipProblem() const {
        const auto n = static_cast<Eigen::Index>(free.size());
        FlipProblem problem{Eigen::MatrixXd::Zero(n, n), Eigen::VectorXd::Zero(n), model.hasEnergy() ? 0.0 : 1.0};
        std::vector<Eigen::Index> place(units.size(), -1);
        for (Eigen::Index k = 0; k < n; ++k)
            place[free[k]] = k;
        for (std::size_t u = 0; u < units.size(); ++u)
            for (std::size_t v = 0; v <= u; ++v) {
                double q = 0.0;
                for (std::size_t a = 0; a < units[u].tracks.size(); ++a)
                    for (std::size_t b = 0; b < units[v].tracks.size(); ++b)
                        q += units[u].signs[a] * units[v].signs[b] * matrix(units[u].tracks[a], units[v].tracks[b]);
                if (u == v)
                    problem.constant += q;
                else if (place[u] >= 0 && place[v] >= 0)
                    problem.coupling(place[u], place[v]) = problem.coupling(place[v], place[u]) = q;
                else if (place[u] >= 0)
                    problem.field[place[u]] += units[v].fixedSign * q;
                else if (place[v] >= 0)
                    problem.field[place[v]] += units[u].fixedSign * q;
                else
                    problem.constant += 2.0 * units[u].fixedSign * units[v].fixedSign * q;
            }
        return problem;
    }

    /// Of two mirror images the one with fewer flips, a tie: the one that leaves the first track alone.
    bool isTheMirrorToTake(std::span<const int> signs) const {
        int flipped = 0, tracks = 0, firstTrack = model.trackCount();
        bool firstFlipped = false;
        for (std::size_t k = 0; k < free.size(); ++k) {
            const auto& unit = units[free[k]];
            for (std::size_t a = 0; a < unit.tracks.size(); ++a) {
                const bool flip = signs[k] * unit.signs[a] < 0;
                ++tracks;
                if (flip) ++flipped;
                if (unit.tracks[a] < firstTrack) {
                    firstTrack = unit.tracks[a];
                    firstFlipped = flip;
                }
            }
        }
        return 2 * flipped != tracks ? 2 * flipped < tracks : !firstFlipped;
    }

    std::optional<RankedFlips> rankFlips(int count, const Deadline& until, const Watch& watch) {
        const auto problem = flipProblem();
        AcceptSigns accept;
        if (!anyFixed && !problem.mirrorsAreWorthTheSame())
            accept = [this](std::span<const int> signs) { return isTheMirrorToTake(signs); };
        RankedFlips result;
        if (problem.size() <= mostExhaustiveSigns) {
            auto best = everyFlip(problem, count, accept, workers, watch);
            if (!best) return std::nullopt;
            result.best = std::move(*best);
            result.upperBound = result.best.front().value;
        } else {
            auto best = climbFlips(problem, count, accept, {}, climbs, workers, watch);
            if (!best) return std::nullopt;
            watch.tell(0.1);
            const auto proof =
                proveFlips(problem, best->front().value, mostNodes, earlier(Deadline(limits.proofTime), until), watch);
            if (!proof) return std::nullopt;
            if (proof->better) best = climbFlips(problem, count, accept, *proof->better, climbs, workers, watch);
            if (!best) return std::nullopt;
            result.best = std::move(*best);
            // Where bystanders tell mirror images apart by chance, the one to take may be the lesser.
            result.upperBound = proof->upperBound;
            result.proof = proof->proven ? Proof::branchAndBound : Proof::boundOnly;
            result.cutShort = proof->cutShort;
        }
        if (!anyFixed)
            for (auto& entry : result.best)
                if (!isTheMirrorToTake(entry.signs))
                    for (int& sign : entry.signs)
                        sign = -sign;
        return result;
    }

    // ---- nudges

    /// Free units, then one that stands for all fixed ones, then (for the bound) one for the bystanders.
    NudgeProblem nudgeProblem(bool withBystanders) const {
        struct Member {
            int track, sign;
            double offset;
        };
        std::vector<std::vector<Member>> groups;
        NudgeProblem problem;
        problem.constant = model.hasEnergy() ? 0.0 : 1.0;
        for (std::size_t k = 0; k < free.size(); ++k) {
            const auto& unit = units[free[k]];
            groups.emplace_back();
            for (std::size_t a = 0; a < unit.tracks.size(); ++a)
                groups.back().push_back({unit.tracks[a], unit.signs[a], unit.offsets[a]});
            // Of mirror images that are worth the same the anchor's side is taken; bystanders tell them apart.
            const bool stands = !anyFixed && k == anchorPlace;
            problem.units.push_back({unit.earliest, unit.latest, !stands || withBystanders});
        }
        for (const auto role : {Unit::Role::fixed, Unit::Role::bystander}) {
            if (role == Unit::Role::bystander && !withBystanders) continue;
            std::vector<Member> members;
            for (const auto& unit : units)
                if (unit.role == role)
                    for (std::size_t a = 0; a < unit.tracks.size(); ++a)
                        members.push_back(
                            {unit.tracks[a], unit.fixedSign * unit.signs[a], unit.fixedNudge + unit.offsets[a]});
            if (members.empty()) continue;
            groups.push_back(std::move(members));
            problem.units.push_back({0.0, 0.0, false});
        }
        for (const double f : model.frequencies())
            problem.angular.push_back(2.0 * std::numbers::pi * f);
        const auto bins = problem.angular.size();
        for (std::size_t j = 0; j < groups.size(); ++j)
            for (std::size_t i = 0; i <= j; ++i) {
                std::vector<std::complex<double>> sum(bins);
                for (const auto& a : groups[i])
                    for (const auto& b : groups[j])
                        for (std::size_t k = 0; k < bins; ++k)
                            sum[k] += static_cast<double>(a.sign * b.sign) *
                                      std::polar(1.0, -problem.angular[k] * (a.offset - b.offset)) *
                                      model.weighted(static_cast<int>(k), a.track, b.track);
                if (i == j)
                    for (const auto& value : sum)
                        problem.constant += value.real();
                else
                    problem.pairs.push_back(std::move(sum));
            }
        return problem;
    }

    // ---- from units to tracks

    /// A setting from the free units' signs and nudges; where nothing is fixed, of its mirror images the one to take.
    Proposal fromUnits(const std::vector<int>& unitSigns, const std::vector<double>& unitNudges) const {
        return fromUnits(unitSigns, unitNudges, !anyFixed && !isTheMirrorToTake(unitSigns) ? -1 : 1);
    }
    Proposal fromUnits(const std::vector<int>& unitSigns, const std::vector<double>& unitNudges, int mirror) const {
        Proposal proposal;
        proposal.allow = allow;
        proposal.flips.resize(model.trackCount());
        proposal.nudges.resize(model.trackCount());
        const auto write = [&](const Unit& unit, int sign, double nudge) {
            for (std::size_t a = 0; a < unit.tracks.size(); ++a) {
                proposal.flips[unit.tracks[a]] = sign * unit.signs[a] < 0;
                proposal.nudges[unit.tracks[a]] = nudge + unit.offsets[a];
            }
        };
        for (const auto& unit : units)
            write(unit, unit.fixedSign, unit.fixedNudge);
        for (std::size_t k = 0; k < free.size(); ++k)
            write(units[free[k]], mirror * unitSigns[k], unitNudges[k]);
        return proposal;
    }

    static bool same(const Proposal& a, const Proposal& b) {
        if (a.flips != b.flips) return false;
        for (std::size_t t = 0; t < a.nudges.size(); ++t)
            if (std::abs(a.nudges[t] - b.nudges[t]) > distinctNudge) return false;
        return true;
    }

    static void bound(std::vector<Proposal>& proposals, double upperBound, Proof proof, bool cutShort) {
        // The best itself is no more than a bound that rounding put a hair below it.
        for (const auto& proposal : proposals)
            upperBound = std::max(upperBound, proposal.fullGain);
        for (auto& proposal : proposals) {
            proposal.upperBound = upperBound;
            proposal.proof = proof;
            proposal.cutShort = cutShort;
        }
    }

    // ---- what is worth it

    /// The free units as a proposal has them.
    struct Settled {
        std::vector<int> signs; ///< Of each unit's first track, as they are heard.
        std::vector<double> nudges;
        double gain = 1.0;
    };
    Settled settledOf(const Proposal& proposal) const {
        Settled settled{{}, {}, proposal.gain};
        for (const int u : free) {
            const int first = units[u].tracks.front();
            settled.signs.push_back(proposal.flips[first] ? -1 : 1);
            settled.nudges.push_back(proposal.nudges[first]);
        }
        return settled;
    }

    bool flipStands(const Settled& now, std::size_t k) const { return now.signs[k] == units[free[k]].startSign; }
    bool nudgeStands(const Settled& now, std::size_t k) const {
        return std::abs(now.nudges[k] - units[free[k]].startNudge) < smallestNudge;
    }
    bool changed(const Settled& now, std::size_t k) const { return !flipStands(now, k) || !nudgeStands(now, k); }

    /// The unit that the others' nudges are reckoned from. None for flips, nor where something is fixed.
    std::optional<std::size_t> standing() const {
        return anyFixed || allow == Allow::flips ? std::nullopt : std::optional(anchorPlace);
    }

    /// The best that is near where some units are as they were at the start. What stands as at the start stays.
    Settled replaced(const Settled& now, const std::vector<bool>& back, const std::stop_token& stop) const {
        return allow == Allow::flips ? replacedFlips(now, back, stop) : replacedNudges(now, back, stop);
    }

    Settled replacedFlips(const Settled& now, const std::vector<bool>& back, const std::stop_token& stop) const {
        std::vector<int> settled(free.size(), 0), first;
        for (std::size_t k = 0; k < free.size(); ++k) {
            if (back[k] || flipStands(now, k))
                settled[k] = units[free[k]].startSign;
            else
                first.push_back(now.signs[k]);
        }
        constexpr int startsToReplace = 20;
        Watch quiet;
        quiet.stop = stop;
        const auto left = withSettled(flipsOfStart, settled);
        Settled result = now;
        Workers alone(1); // the workers take a unit each
        const auto best = climbFlips(left, 1, {}, first, startsToReplace, alone, quiet);
        if (!best) return result;
        result.gain = best->front().value;
        auto sign = best->front().signs.begin();
        for (std::size_t k = 0; k < free.size(); ++k)
            result.signs[k] = settled[k] != 0 ? settled[k] : *sign++;
        return result;
    }

    Settled replacedNudges(const Settled& now, const std::vector<bool>& back, const std::stop_token& stop) const {
        const auto stands = standing();
        const int mirror = stands ? now.signs[*stands] : 1; // the anchor's sign is +1 in the problem
        auto problem = nudgesOfFree;
        Placement start{now.signs, now.nudges, 0.0};
        std::vector<bool> staysPut(free.size(), false);
        for (std::size_t k = 0; k < free.size(); ++k) {
            start.signs[k] *= mirror;
            if (k == stands) continue;
            const auto& unit = units[free[k]];
            staysPut[k] = back[k] || flipStands(now, k);
            if (staysPut[k]) {
                if (mirror * unit.startSign < 0) turnOver(problem, static_cast<int>(k));
                problem.units[k].mayFlip = false;
                start.signs[k] = 1;
            }
            if (back[k]) start.nudges[k] = std::clamp(unit.startNudge - startShift, unit.earliest, unit.latest);
            if (back[k] || nudgeStands(now, k)) problem.units[k].earliest = problem.units[k].latest = start.nudges[k];
        }
        start.signs.resize(static_cast<std::size_t>(problem.size()), 1);
        start.nudges.resize(start.signs.size(), 0.0);
        const bool asWide = problem.largestNudge() == nudgesOfFree.largestNudge();
        const auto summit = climbNudges(problem, asWide ? bandOfNudges : problem.compressed(), start, stop);
        Settled result = now;
        for (std::size_t k = 0; k < free.size(); ++k) {
            result.signs[k] = staysPut[k] ? units[free[k]].startSign : mirror * summit.signs[k];
            result.nudges[k] = std::abs(summit.nudges[k]) < smallestNudge ? 0.0 : summit.nudges[k];
        }
        const auto proposal = fromUnits(result.signs, result.nudges, 1);
        result.gain = model.gain(signsOf(proposal.flips), proposal.nudges);
        return result;
    }

    /// What the flips alone have without those that are not worth it.
    double worthwhileFlips(const Watch& watch) const {
        auto asked = limits;
        asked.proofTime = Seconds(0.0);
        asked.time = end.left(0.1);
        Search alone(model, asked, Allow::flips, workers);
        if (alone.prepare()) return 0.0;
        const auto found = alone.flips(1, {{}, watch.stop});
        return found ? found->front().gain : 0.0;
    }

    static void turnOver(NudgeProblem& problem, int own) {
        for (int i = 0; i < problem.size(); ++i)
            if (i != own)
                for (auto& value : problem.pairs[NudgeProblem::pairIndex(std::min(i, own), std::max(i, own))])
                    value = -value;
    }

    /// What the changes bring, and what each of the best proposal is worth; where it is the only one that was asked
    /// for, those that are not worth it are taken back, the least first, until the deadline or until G would be below
    /// `floor`. False: stop was asked for.
    bool weigh(std::vector<Proposal>& proposals, int count, const Deadline& until, const Watch& watch,
               double floor = 0.0) {
        for (auto& proposal : proposals) {
            proposal.fullGain = proposal.gain;
            explain(proposal);
        }
        if (proposals.empty() || free.empty()) return true;
        if (allow == Allow::flips)
            flipsOfStart = flipProblem();
        else
            bandOfNudges = nudgesOfFree.compressed();
        Settled now = settledOf(proposals.front());
        std::vector<bool> back(free.size(), false);
        std::vector<std::pair<std::size_t, double>> left; // places among the free ones, and what they would bring
        std::vector<std::optional<double>> worth;
        for (;;) {
            worth.assign(free.size(), std::nullopt);
            std::vector<Settled> without(free.size());
            std::atomic<bool> late{false};
            workers.forEach(free.size(), [&](std::size_t k, int) {
                if (back[k] || k == standing() || !changed(now, k) || watch.stopped()) return;
                if (until.passed()) {
                    late = true;
                    return;
                }
                auto more = back;
                more[k] = true;
                without[k] = replaced(now, more, watch.stop);
                worth[k] = decibelsOfPower(now.gain) - decibelsOfPower(std::max(without[k].gain, 1e-10));
            });
            if (watch.stopped()) return false;
            std::optional<std::size_t> least;
            for (std::size_t k = 0; k < free.size(); ++k)
                if (worth[k] && (!least || *worth[k] < *worth[*least])) least = k;
            if (count > 1 || late || !least || !(*worth[*least] < limits.leastWorthDb)) break;
            if (without[*least].gain < floor) break;
            left.emplace_back(*least, *worth[*least]);
            back[*least] = true;
            now = without[*least];
        }
        auto& best = proposals.front();
        if (!left.empty()) {
            const auto all = best;
            auto kept = fromUnits(now.signs, allow == Allow::flips ? startNudgesOfFree() : now.nudges, 1);
            if (allow == Allow::flips) kept.nudges = limits.startNudges;
            best.flips = kept.flips;
            best.nudges = kept.nudges;
            best.gain = now.gain;
            best.why.clear();
            explain(best);
            for (const auto& [k, brings] : left) {
                const int first = units[free[k]].tracks.front();
                const auto change =
                    std::find_if(all.why.begin(), all.why.end(), [first](const auto& c) { return c.track == first; });
                const auto kind = change != all.why.end() ? change->kind : Proposal::Change::Kind::flip;
                best.leftOut.push_back({first, kind, brings, brings});
            }
        }
        for (std::size_t k = 0; k < free.size(); ++k)
            for (auto& change : best.why)
                if (change.track == units[free[k]].tracks.front()) change.worthDb = worth[k];
        return true;
    }

    void explain(Proposal& proposal) const {
        const auto signs = signsOf(proposal.flips);
        for (const auto& unit : units) {
            const int first = unit.tracks.front();
            const bool flipped = proposal.flips[first] != limits.start[first];
            const bool nudged = std::abs(proposal.nudges[first] - unit.startNudge) >= smallestNudge;
            if (!flipped && !nudged) continue;
            Proposal::Change change;
            change.track = first;
            change.kind = Proposal::Change::kindOf(flipped, nudged);
            double without = proposal.gain;
            for (std::size_t a = 0; a < unit.tracks.size(); ++a) {
                const int i = unit.tracks[a];
                for (int j = 0; j < model.trackCount(); ++j) {
                    if (std::find(unit.tracks.begin(), unit.tracks.end(), j) != unit.tracks.end()) continue;
                    const int back = unit.startSign * unit.signs[a];
                    const double lag = proposal.nudges[i] - proposal.nudges[j];
                    const double backLag = unit.startNudge + unit.offsets[a] - proposal.nudges[j];
                    without +=
                        2.0 * signs[j] * (back * model.coupling(i, j, backLag) - signs[i] * model.coupling(i, j, lag));
                }
            }
            // Below -100 dB it is as good as silence.
            change.effectDb = decibelsOfPower(proposal.gain) - decibelsOfPower(std::max(without, 1e-10));
            proposal.why.push_back(change);
        }
        std::stable_sort(proposal.why.begin(), proposal.why.end(),
                         [](const auto& a, const auto& b) { return a.effectDb > b.effectDb; });
    }

    static constexpr int climbs = 240;
    static constexpr int mostNodes = 4000;

    const SummationModel& model;
    Constraints limits;
    Allow allow;
    Workers& workers;
    Deadline end;
    std::vector<Unit> units;
    std::vector<int> free;       ///< Numbers of the free units.
    bool anyFixed = false;       ///< Reference or held tracks that are coupled to others: no mirror images.
    std::size_t anchorPlace = 0; ///< Among the free ones, where nothing is fixed.
    double startShift = 0.0;     ///< To be taken off the start's nudges so that reference or anchor stand at 0.
    Eigen::MatrixXd matrix;      ///< Q at the start's nudges.
    FlipProblem flipsOfStart;    ///< For Allow::flips.
    NudgeProblem nudgesOfFree;   ///< For Allow::nudges.
    BandCompression bandOfNudges;
};

} // namespace

Constraints Constraints::completed(int tracks) const {
    const auto n = static_cast<std::size_t>(tracks);
    Constraints all = *this;
    if (all.unit.empty()) {
        all.unit.resize(n);
        std::iota(all.unit.begin(), all.unit.end(), 0);
    }
    assert(all.unit.size() == n);
    for (std::size_t track = all.names.size(); track < n; ++track)
        all.names.push_back("track " + std::to_string(track + 1));
    all.grouped.resize(n);
    all.held.resize(n);
    all.start.resize(n);
    all.startNudges.resize(n);
    all.unrelated.resize(n);
    all.ownLargestNudge.resize(n, largestNudge);
    return all;
}

Result<std::vector<Proposal>> propose(const SummationModel& model, const Constraints& constraints, Allow allow,
                                      int count, Workers& workers, const Watch& watch) {
    if (count < 1) return Fault{"count", "is less than one", "ask for one proposal or more", Fault::Kind::usage};
    Search search(model, constraints, allow, workers);
    if (auto fault = search.prepare()) return *fault;
    if (watch.stopped()) return cancelled();
    return allow == Allow::flips ? search.flips(count, watch) : search.nudges(count, watch);
}

std::vector<bool> flipsThatStand(const SummationModel& model, const Constraints& constraints, const Proposal& proposal,
                                 const Eigen::MatrixXd& matrix, const Watch& watch) {
    auto limits = constraints;
    limits.startNudges = proposal.nudges;
    Workers alone(1);
    Search search(model, limits, Allow::flips, alone, &matrix);
    if (search.prepare()) return {};
    return search.thatStand(proposal, watch);
}

} // namespace spillwright
