#include "Core/Propose/Propose.h"
#include "TestModels.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <thread>

using namespace spillwright;
using namespace spillwright::test;

namespace {

std::vector<Proposal> proposed(const SummationModel& model, const Constraints& constraints, Allow allow, int count = 1,
                               int threads = 2) {
    Workers workers(threads);
    auto result = propose(model, constraints, allow, count, workers, {});
    REQUIRE(result.ok());
    return result.value();
}

bool sameProposals(const std::vector<Proposal>& a, const std::vector<Proposal>& b) {
    return std::equal(a.begin(), a.end(), b.begin(), b.end(), [](const Proposal& x, const Proposal& y) {
        return x.flips == y.flips && x.nudges == y.nudges && x.gain == y.gain && x.upperBound == y.upperBound;
    });
}

/// Rounding of sums of some ten thousand products.
constexpr double rounding = 1e-11;

SummationModel someModel(int tracks, std::uint64_t seed = 1) {
    return manySources(tracks, 4, 0.004, seed, 12.0);
}

Constraints turnedStart(int tracks) {
    Constraints constraints;
    RandomStream random(3);
    constraints.start.resize(tracks);
    constraints.startNudges.resize(tracks);
    for (int i = 0; i < tracks; ++i) {
        constraints.start[i] = random.sign() < 0;
        constraints.startNudges[i] = random.between(-0.001, 0.001);
    }
    return constraints;
}

} // namespace

TEST_CASE("proposed flips are the best of all flips, and proven so") {
    for (int n : {2, 3, 7, 11}) {
        const auto model = someModel(n, n);
        const auto best = proposed(model, {}, Allow::flips, 3);
        const std::vector<double> nudges(n, 0.0);
        double most = 0.0;
        for (int mask = 0; mask < 1 << n; ++mask) {
            std::vector<int> signs(n);
            for (int i = 0; i < n; ++i)
                signs[i] = (mask >> i & 1) ? -1 : 1;
            most = std::max(most, model.gain(signs, nudges));
        }
        CHECK(best.front().gain == Approx(most).epsilon(rounding));
        CHECK(best.front().upperBound == best.front().gain);
        CHECK(best.front().proof == Proof::exhaustive);
        for (const auto& proposal : best) {
            CHECK(proposal.gain == Approx(model.gain(signsOf(proposal.flips), nudges)).epsilon(rounding));
            // Of the mirror images the one with fewer flips, a tie: the first track unflipped.
            const auto flips = std::count(proposal.flips.begin(), proposal.flips.end(), true);
            CHECK(2 * flips <= n);
            if (2 * flips == n) CHECK_FALSE(proposal.flips[0]);
        }
    }
}

TEST_CASE("a reference keeps its polarity, whatever the others need") {
    const auto model = oneSource({0, 0, 0, 0, 0}, {-1, 1, 1, 1, -1}, 0.1);
    Constraints constraints;
    CHECK(proposed(model, constraints, Allow::flips).front().flips ==
          std::vector<bool>{true, false, false, false, true});
    constraints.reference = 0;
    CHECK(proposed(model, constraints, Allow::flips).front().flips ==
          std::vector<bool>{false, true, true, true, false});
    constraints.start = {true, false, false, false, false};
    CHECK(proposed(model, constraints, Allow::flips).front().flips ==
          std::vector<bool>{false, true, true, true, false});
}

TEST_CASE("held tracks stay as the start has them, and the others follow them") {
    const auto model = oneSource({0, 0, 0, 0, 0}, {-1, 1, 1, 1, -1}, 0.1);
    Constraints constraints;
    constraints.held = {false, true, false, false, false};
    constraints.start = {false, true, false, false, false};
    for (const auto allow : {Allow::flips, Allow::nudges}) {
        const auto best = proposed(model, constraints, allow).front();
        CHECK(best.flips == std::vector<bool>{false, true, true, true, false});
        CHECK(best.nudges[1] == 0.0);
    }
    constraints.held.assign(5, true);
    const auto nothing = proposed(model, constraints, Allow::flips, 5);
    REQUIRE(nothing.size() == 1);
    CHECK(nothing.front().flips == constraints.start);
    CHECK(nothing.front().why.empty());
}

TEST_CASE("linked tracks move together") {
    // The second of the pair would be better off alone the other way up.
    const auto model = oneSource({0, 0, 0, 0.0003}, {1, 1, -1, -1}, 0.1);
    Constraints constraints;
    constraints.unit = {0, 1, 1, 2};
    constraints.startNudges = {0, 0, 0, 0};
    for (const auto allow : {Allow::flips, Allow::nudges})
        for (const auto& proposal : proposed(model, constraints, allow, 4)) {
            CHECK(proposal.flips[1] == proposal.flips[2]);
            CHECK(proposal.nudges[1] == proposal.nudges[2]);
        }
    // What the start has told apart stays apart.
    constraints.start = {false, false, true, false};
    constraints.startNudges = {0, 0, 0.0002, 0};
    for (const auto& proposal : proposed(model, constraints, Allow::nudges, 4)) {
        CHECK(proposal.flips[1] != proposal.flips[2]);
        CHECK(proposal.nudges[2] - proposal.nudges[1] == Approx(0.0002).margin(1e-15));
    }
}

TEST_CASE("tracks that are coupled to nothing are never changed") {
    const auto bins = lowMidBins(12.0);
    std::vector<Eigen::MatrixXcd> matrices;
    for (std::size_t k = 0; k < bins.size(); ++k) {
        Eigen::MatrixXcd matrix = Eigen::MatrixXcd::Zero(4, 4);
        matrix(0, 0) = matrix(1, 1) = matrix(3, 3) = 1.0;
        matrix(0, 1) = matrix(1, 0) = -0.5; // track 2 is silent, track 3 on its own
        matrices.push_back(matrix / (3.0 * static_cast<double>(bins.size())));
    }
    const auto model = SummationModel::fromMatrices(bins, matrices);
    Constraints constraints;
    constraints.start = {false, false, true, true};
    constraints.startNudges = {0, 0, 0.002, 0.003};
    for (const auto allow : {Allow::flips, Allow::nudges})
        for (const auto& proposal : proposed(model, constraints, allow, 3)) {
            CHECK(proposal.flips[2]);
            CHECK(proposal.flips[3]);
            CHECK(proposal.nudges[2] == 0.002);
            CHECK(proposal.nudges[3] == 0.003);
        }
}

TEST_CASE("an unrelated track does not decide between mirror images") {
    // Chance couples track 4 to the others so that it would have four of them flipped.
    const auto bins = lowMidBins(12.0);
    std::vector<Eigen::MatrixXcd> matrices;
    for (std::size_t k = 0; k < bins.size(); ++k) {
        Eigen::MatrixXcd matrix = Eigen::MatrixXcd::Ones(5, 5);
        matrix.row(4).setConstant(-0.01);
        matrix.col(4).setConstant(-0.01);
        matrix(4, 4) = 1.0;
        matrices.push_back(matrix / (5.0 * static_cast<double>(bins.size())));
    }
    const auto model = SummationModel::fromMatrices(bins, matrices);
    Constraints constraints;
    constraints.start = {true, false, false, false, false};
    constraints.unrelated = {false, false, false, false, true};
    for (const auto allow : {Allow::flips, Allow::nudges}) {
        const auto best = proposed(model, constraints, allow).front();
        CHECK(best.flips == std::vector<bool>(5, false));
        CHECK(best.gain == Approx(model.gain(signsOf(best.flips), best.nudges)).epsilon(rounding));
        CHECK(best.upperBound >= best.gain);
    }
    constraints.unrelated.clear();
    constraints.held = {false, false, false, false, true};
    CHECK(proposed(model, constraints, Allow::flips).front().flips == std::vector<bool>{true, true, true, true, false});
}

TEST_CASE("no energy in the band: nothing to propose, all gains are 1") {
    const auto model = SummationModel::fromMatrices({}, {});
    const auto best = proposed(model, {}, Allow::flips);
    REQUIRE(best.size() == 1);
    CHECK(best.front().gain == 1.0);
    CHECK(best.front().upperBound == 1.0);
    CHECK(proposed(model, {}, Allow::nudges).front().upperBound == 1.0);
}

TEST_CASE("constraints that contradict each other are faults") {
    const auto model = someModel(4);
    Workers workers(1);
    Constraints constraints;
    const auto refused = [&](Allow allow) {
        const auto proposals = propose(model, constraints, allow, 1, workers, {});
        return proposals ? std::string() : proposals.fault().line();
    };
    constraints.reference = 1;
    constraints.held = {false, true, false, false};
    constraints.start = {false, true, false, false};
    CHECK(refused(Allow::flips) == "track 2: is held upside down, but a reference keeps polarity +1; release it, or "
                                   "name another reference");
    constraints.start.clear();
    CHECK(propose(model, constraints, Allow::flips, 1, workers, {}).ok());
    constraints.startNudges = {0, 0.001, 0, 0};
    CHECK(refused(Allow::nudges) ==
          "track 2: is held at a nudge, but a reference keeps nudge 0; release it, or name another reference");
    constraints.held.clear();
    CHECK(propose(model, constraints, Allow::nudges, 1, workers, {}).ok());
    constraints.unit = {0, 0, 1, 2};
    constraints.largestNudge = 0.0004; // the linked pair lies 1 ms apart
    CHECK(refused(Allow::nudges) ==
          "track 1 and track 2: linked tracks lie further apart than the largest nudge allows; "
          "allow a larger nudge, or unlink them");
    constraints.largestNudge = -1.0;
    CHECK(refused(Allow::nudges) == "largest nudge: is below 0 or no number; give milliseconds, 0 or more");
    const auto none = propose(model, {}, Allow::flips, 0, workers, {});
    REQUIRE_FALSE(none.ok());
    CHECK(none.fault().line() == "count: is less than one; ask for one proposal or more");
}

TEST_CASE("each change is worth what is lost without it") {
    const int n = 8;
    const auto model = someModel(n, 12);
    auto constraints = turnedStart(n);
    constraints.unit = {0, 0, 1, 2, 3, 4, 5, 6};
    for (const auto allow : {Allow::flips, Allow::nudges}) {
        const auto best = proposed(model, constraints, allow).front();
        REQUIRE_FALSE(best.why.empty());
        std::size_t changed = 0;
        for (int unit = 0; unit < 7; ++unit) {
            const int first = unit == 0 ? 0 : unit + 1;
            if (best.flips[first] != constraints.start[first] ||
                std::abs(best.nudges[first] - constraints.startNudges[first]) > 1e-6)
                ++changed;
        }
        CHECK(best.why.size() == changed);
        double before = 1e300;
        for (const auto& change : best.why) {
            auto signs = signsOf(best.flips);
            auto nudges = best.nudges;
            for (int i = 0; i < n; ++i)
                if (i == change.track || (change.track == 0 && i == 1)) {
                    signs[i] = constraints.start[i] ? -1 : 1;
                    nudges[i] = constraints.startNudges[i];
                }
            const double lost = decibelsOfPower(best.gain) - decibelsOfPower(model.gain(signs, nudges));
            CHECK(change.effectDb == Approx(lost).margin(1e-8));
            CHECK(change.effectDb <= before);
            before = change.effectDb;
        }
        if (allow == Allow::flips) { // one flip taken back cannot be better than the best
            for (const auto& change : best.why)
                CHECK(change.effectDb >= -1e-9);
        }
    }
}

TEST_CASE("planted delays are found again", "[long]") {
    // A common source within reach: in phase everywhere, G near N less the noise's part.
    RandomStream random(8);
    for (const int n : {3, 8, 24}) {
        std::vector<double> delays(n);
        std::vector<int> signs(n);
        for (int i = 0; i < n; ++i) {
            delays[i] = i == 0 ? 0.0 : random.between(-0.0095, 0.0095);
            signs[i] = i == 0 ? 1 : random.sign();
        }
        const double noise = 0.02;
        const auto model = oneSource(delays, signs, noise);
        Constraints constraints;
        constraints.reference = 0;
        const auto best = proposed(model, constraints, Allow::nudges).front();
        CHECK(best.gain == Approx((n + noise) / (1.0 + noise)).epsilon(1e-6));
        CHECK(best.upperBound >= best.gain);
        for (int i = 0; i < n; ++i) {
            CHECK(best.nudges[i] == Approx(-delays[i]).margin(5e-6));
            CHECK(best.flips[i] == (signs[i] < 0));
        }
    }
}

TEST_CASE("nudges stay within reach, and the loudest track or the reference at 0") {
    const auto model = oneSource({0.0, 0.003, -0.004, 0.001}, {1, 1, 1, 1}, 0.1);
    Constraints constraints;
    constraints.largestNudge = 0.002;
    constraints.loudest = 1;
    for (const auto& proposal : proposed(model, constraints, Allow::nudges, 5)) {
        CHECK(proposal.nudges[1] == 0.0);
        for (const double nudge : proposal.nudges)
            CHECK(std::abs(nudge) <= 0.002);
    }
    constraints.reference = 2;
    for (const auto& proposal : proposed(model, constraints, Allow::nudges, 5)) {
        CHECK(proposal.nudges[2] == 0.0);
        CHECK_FALSE(proposal.flips[2]);
    }
    constraints.largestNudge = 0.0;
    const auto still = proposed(model, constraints, Allow::nudges).front();
    CHECK(still.nudges == std::vector<double>(4, 0.0));
    CHECK(still.gain == Approx(proposed(model, constraints, Allow::flips).front().gain).epsilon(rounding));
}

TEST_CASE("nudges of less than a microsecond are none") {
    Constraints constraints;
    constraints.reference = 0;
    const auto best = proposed(oneSource({0.0, 0.7e-6, -0.002}, {1, 1, 1}, 0.1), constraints, Allow::nudges).front();
    CHECK(best.nudges[1] == 0.0);
    CHECK(best.nudges[2] == Approx(0.002).margin(1e-6));
    for (const auto& change : best.why)
        CHECK(change.track == 2);
}

TEST_CASE("with nudges it is never worse than flips alone, and nothing exceeds the bound", "[long]") {
    for (const std::uint64_t seed : {1, 2, 3, 4}) {
        const int n = 6;
        const auto model = manySources(n, 5, 0.006, seed, 12.0);
        for (const double largest : {0.0003, 0.001, 0.01}) {
            auto constraints = turnedStart(n);
            constraints.startNudges.assign(n, 0.0);
            constraints.largestNudge = largest;
            const auto flips = proposed(model, constraints, Allow::flips).front();
            const auto nudges = proposed(model, constraints, Allow::nudges, 4);
            CHECK(nudges.front().gain >= flips.gain - rounding);
            for (std::size_t k = 0; k + 1 < nudges.size(); ++k)
                CHECK(nudges[k].gain >= nudges[k + 1].gain);
            for (const auto& proposal : nudges)
                CHECK(proposal.gain == Approx(model.gain(signsOf(proposal.flips), proposal.nudges)).epsilon(rounding));
            // Random settings with the loudest at 0 beat neither the bound nor the best that was found.
            RandomStream random(seed);
            for (int trial = 0; trial < 2000; ++trial) {
                std::vector<int> signs(n);
                std::vector<double> times(n);
                for (int i = 0; i < n; ++i) {
                    signs[i] = random.sign();
                    times[i] = i == 0 ? 0.0 : random.between(-largest, largest);
                }
                const double gain = model.gain(signs, times);
                REQUIRE(gain <= nudges.front().upperBound);
                REQUIRE(gain <= nudges.front().gain + rounding);
            }
        }
    }
}

TEST_CASE("two tracks: the bound of flips with nudges is reached") {
    // The best lag of the only pair is both the answer and the bound; what is left is the margin between grid points,
    // (83 us / 128)^2 / 8 omega^2, below 1e-6 of the sum.
    const auto model = manySources(2, 3, 0.003, 5);
    const auto best = proposed(model, {}, Allow::nudges).front();
    CHECK(best.upperBound - best.gain < 1e-5);
}

TEST_CASE("a two-track search agrees with a fine grid", "[long]") {
    const auto model = manySources(3, 4, 0.004, 21, 12.0);
    Constraints constraints;
    constraints.largestNudge = 0.002;
    const auto best = proposed(model, constraints, Allow::nudges).front();
    double most = 0.0;
    const int steps = 200;
    for (int mask = 0; mask < 4; ++mask)
        for (int a = -steps; a <= steps; ++a)
            for (int b = -steps; b <= steps; ++b) {
                const double x = a * 0.002 / steps, y = b * 0.002 / steps;
                const int s = mask & 1 ? -1 : 1, t = mask & 2 ? -1 : 1;
                most = std::max(most, 1.0 + 2.0 * (s * model.coupling(1, 0, x) + t * model.coupling(2, 0, y) +
                                                   s * t * model.coupling(1, 2, x - y)));
            }
    // Off by 5 us at most a track: omega^2 (5 us)^2 of a sum below 3, at most 1e-3.
    CHECK(best.gain >= most);
    CHECK(best.gain <= most + 1e-3);
}

TEST_CASE("the same answer for any number of workers") {
    const auto model = manySources(9, 5, 0.006, 4, 12.0);
    for (const auto allow : {Allow::flips, Allow::nudges}) {
        const auto one = proposed(model, turnedStart(9), allow, 4, 1);
        CHECK(sameProposals(one, proposed(model, turnedStart(9), allow, 4, 2)));
        CHECK(sameProposals(one, proposed(model, turnedStart(9), allow, 4, 5)));
    }
}

TEST_CASE("proposals of one rung are distinct") {
    const auto model = manySources(6, 5, 0.006, 9, 12.0);
    for (const auto allow : {Allow::flips, Allow::nudges}) {
        const auto list = proposed(model, {}, allow, 6);
        CHECK(list.size() == 6);
        for (std::size_t a = 0; a < list.size(); ++a)
            for (std::size_t b = 0; b < a; ++b) {
                double apart = 0.0;
                for (int i = 0; i < 6; ++i)
                    apart = std::max(apart, std::abs(list[a].nudges[i] - list[b].nudges[i]));
                CHECK((list[a].flips != list[b].flips || apart > 50e-6));
            }
    }
}

TEST_CASE("thirty and more units: found, bounded, and proven by branch and bound") {
    std::vector<int> signs(36);
    RandomStream random(2);
    for (int& sign : signs)
        sign = random.sign();
    const auto model = oneSource(std::vector<double>(36, 0.0), signs, 1.0, 12.0);
    const auto list = proposed(model, {}, Allow::flips, 3);
    CHECK(list.front().gain == Approx(37.0 / 2.0));
    CHECK(list.front().proof == Proof::branchAndBound);
    CHECK(list.front().upperBound == list.front().gain);
    CHECK(list[1].gain < list[0].gain);
    CHECK(list[1].upperBound == list[0].upperBound);
}

TEST_CASE("the time for the proof holds for flips too: the answer is there, its bound valid, and that is said") {
    const auto model = denseRandom(36, 1);
    const auto whole = proposed(model, {}, Allow::flips).front();
    REQUIRE(whole.proof == Proof::branchAndBound);
    CHECK_FALSE(whole.cutShort);
    Constraints constraints;
    constraints.proofTime = Seconds(0.0);
    const auto cut = proposed(model, constraints, Allow::flips, 2);
    for (const auto& proposal : cut) {
        CHECK(proposal.cutShort);
        CHECK(proposal.proof == Proof::boundOnly);
        CHECK(proposal.upperBound > whole.gain);
        CHECK(decibelsOfPower(proposal.upperBound / whole.gain) < 0.5); // the whole's own bound, no branch
    }
    CHECK(cut.front().gain <= whole.gain);
    REQUIRE_FALSE(cut.front().why.empty());
    CHECK(cut.front().why.front().worthDb);
    constraints.proofTime = Seconds(1e6);
    CHECK(sameProposals({whole}, proposed(model, constraints, Allow::flips)));
}

TEST_CASE("flips with nudges without time: never below flips alone, the bound valid, and that is said") {
    for (const std::uint64_t seed : {1, 2}) {
        const auto model = manySources(8, 6, 0.006, seed, 12.0);
        Constraints constraints;
        constraints.largestNudge = 0.004;
        const auto flips = proposed(model, constraints, Allow::flips).front();
        const auto whole = proposed(model, constraints, Allow::nudges, 3);
        CHECK_FALSE(whole.front().cutShort);
        constraints.time = Seconds(0.0);
        const auto cut = proposed(model, constraints, Allow::nudges, 3);
        CHECK(cut.front().gain >= flips.gain - rounding);
        CHECK(cut.front().gain <= whole.front().gain + rounding);
        for (const auto& proposal : cut) {
            CHECK(proposal.cutShort);
            CHECK(proposal.proof == Proof::boundOnly);
            CHECK(proposal.upperBound >= whole.front().upperBound);
            CHECK(proposal.gain == Approx(model.gain(signsOf(proposal.flips), proposal.nudges)).epsilon(rounding));
            for (const auto& change : proposal.why) // nobody had the time to look
                CHECK_FALSE(change.worthDb);
        }
        constraints.time = Seconds(1e6);
        CHECK(sameProposals(whole, proposed(model, constraints, Allow::nudges, 3)));
    }
}

TEST_CASE("no time with more units than can all be looked at: flips and nudges are there, with a valid bound") {
    const auto model = manySources(28, 6, 0.006, 3, 24.0);
    Constraints constraints;
    constraints.largestNudge = 0.001;
    const auto whole = proposed(model, constraints, Allow::flips).front();
    constraints.time = Seconds(0.0);
    const auto flips = proposed(model, constraints, Allow::flips).front();
    const auto nudges = proposed(model, constraints, Allow::nudges).front();
    CHECK(flips.cutShort);
    CHECK(flips.upperBound >= whole.gain - rounding);
    CHECK(nudges.cutShort);
    CHECK(nudges.gain >= flips.gain - rounding);
    CHECK(nudges.upperBound >= nudges.gain);
    CHECK(nudges.upperBound >= whole.gain);
}

TEST_CASE("a search that is told to stop stops soon") {
    const auto model = manySources(24, 12, 0.006, 1);
    for (const auto allow : {Allow::flips, Allow::nudges}) {
        std::stop_source source;
        Watch watch;
        watch.stop = source.get_token();
        int told = 0;
        watch.progress = [&](double) {
            if (++told == 3) source.request_stop();
        };
        Workers workers(2);
        const auto result = propose(model, {}, allow, 1, workers, watch);
        REQUIRE_FALSE(result.ok());
        CHECK(result.fault().kind == Fault::Kind::cancelled);
        CHECK(told >= 3);
    }
}

TEST_CASE("progress rises from 0 to 1") {
    const auto model = someModel(8);
    for (const auto allow : {Allow::flips, Allow::nudges}) {
        Watch watch;
        double last = 0.0;
        bool rises = true;
        watch.progress = [&](double done) {
            rises = rises && done >= last && done <= 1.0;
            last = done;
        };
        Workers workers(2);
        REQUIRE(propose(model, {}, allow, 1, workers, watch).ok());
        CHECK(rises);
        CHECK(last == 1.0);
    }
}

// ---- what each change is worth -------------------------------------------------------------------------------------

TEST_CASE("a flip is worth what the best of the others cannot make up for") {
    constexpr int n = 9;
    for (const int seed : {1, 2, 3, 4, 5}) {
        const auto model = someModel(n, static_cast<std::uint64_t>(seed));
        Constraints constraints;
        constraints.reference = 0;
        const auto best = proposed(model, constraints, Allow::flips).front();
        const std::vector<double> nudges(n, 0.0);
        int flipped = 0;
        for (int i = 0; i < n; ++i)
            flipped |= static_cast<int>(best.flips[static_cast<std::size_t>(i)]) << i;
        for (const auto& change : best.why) {
            double without = 0.0;
            for (int mask = 0; mask < 1 << n; ++mask) {
                if ((mask & ~flipped) != 0 || (mask >> change.track & 1) != 0) continue; // none in its stead
                std::vector<int> signs(n);
                for (int i = 0; i < n; ++i)
                    signs[static_cast<std::size_t>(i)] = (mask >> i & 1) ? -1 : 1;
                without = std::max(without, model.gain(signs, nudges));
            }
            REQUIRE(change.worthDb);
            CHECK(*change.worthDb == Approx(decibelsOfPower(best.gain / without)).margin(1e-9));
            CHECK(*change.worthDb <= change.effectDb + 1e-9);
        }
    }
}

TEST_CASE("what is worth less than is asked for is left out, and said") {
    // Two tracks that need each other, a third that hardly matters.
    const auto model = oneSource({0.0, 0.0, 0.0, 0.0}, {1, -1, 1, 1}, 0.3);
    std::vector<Eigen::MatrixXcd> matrices;
    Eigen::VectorXd level(4);
    level << 1.0, 1.0, 1.0, 0.003;
    for (std::size_t k = 0; k < model.frequencies().size(); ++k) {
        Eigen::MatrixXcd matrix(4, 4);
        for (int i = 0; i < 4; ++i)
            for (int j = 0; j < 4; ++j)
                matrix(i, j) = level[i] * level[j] * (i == 3 || j == 3 ? -1.0 : 1.0) * (i == 3 && j == 3 ? -1.0 : 1.0) *
                               model.weighted(static_cast<int>(k), i, j);
        matrices.push_back(matrix);
    }
    const auto lopsided = SummationModel::fromMatrices(model.frequencies(), matrices);
    Constraints constraints;
    const auto all = proposed(lopsided, constraints, Allow::flips).front();
    CHECK(all.flips == std::vector<bool>{false, true, false, true});
    CHECK(all.leftOut.empty());
    constraints.leastWorthDb = 0.1;
    for (const auto allow : {Allow::flips, Allow::nudges}) {
        const auto best = proposed(lopsided, constraints, allow).front();
        CHECK(best.flips == std::vector<bool>{false, true, false, false});
        REQUIRE(best.why.size() == 1);
        REQUIRE(best.leftOut.size() == 1);
        CHECK(best.leftOut.front().track == 3);
        CHECK(*best.leftOut.front().worthDb > 0.0);
        CHECK(*best.leftOut.front().worthDb < 0.1);
        CHECK(best.gain == Approx(lopsided.gain(signsOf(best.flips), best.nudges)).epsilon(rounding));
        CHECK(decibelsOfPower(best.fullGain / best.gain) == Approx(*best.leftOut.front().worthDb).margin(1e-6));
        CHECK(best.upperBound >= best.fullGain);
    }
    // Where several are asked for, each is as good as can be.
    const auto several = proposed(lopsided, constraints, Allow::flips, 2);
    CHECK(several.front().flips == all.flips);
}

TEST_CASE("leaving out adds no change that was not there") {
    std::size_t leftOut = 0;
    const auto look = [&](const SummationModel& model, Allow allow, bool turned, double leastWorthDb) {
        Constraints constraints;
        if (turned) constraints.start = turnedStart(model.trackCount()).start;
        constraints.largestNudge = 0.001;
        const auto full = proposed(model, constraints, allow).front();
        constraints.leastWorthDb = leastWorthDb;
        const auto lean = proposed(model, constraints, allow).front();
        leftOut += lean.leftOut.size();
        CHECK(decibelsOfPower(lean.fullGain / lean.gain) <
              leastWorthDb * static_cast<double>(lean.leftOut.size()) + 1e-9);
        for (const auto& change : lean.why) {
            const auto before =
                std::find_if(full.why.begin(), full.why.end(), [&](const auto& c) { return c.track == change.track; });
            REQUIRE(before != full.why.end());
            CHECK((before->kind == change.kind || before->kind == Proposal::Change::Kind::flipAndNudge));
        }
    };
    for (const bool turned : {false, true}) {
        for (std::uint64_t seed = 1; seed <= 40; ++seed)
            look(denseRandom(10, seed), Allow::flips, turned, 0.5);
        for (const std::uint64_t seed : {3, 4})
            look(manySources(7, 7, 0.006, seed, 24.0), Allow::nudges, turned, 0.8);
    }
    CHECK(leftOut > 20);
}

TEST_CASE("with nudges no change that is kept is worth less than is asked for", "[long]") {
    for (const int seed : {1, 2, 3}) {
        const auto model = playersInARoom(9, 4, static_cast<std::uint64_t>(seed), 12.0);
        Constraints constraints;
        constraints.largestNudge = 0.002;
        const auto full = proposed(model, constraints, Allow::nudges).front();
        constraints.leastWorthDb = 0.1;
        const auto lean = proposed(model, constraints, Allow::nudges).front();
        CHECK(lean.why.size() <= full.why.size());
        for (const auto& change : lean.why)
            if (change.worthDb) CHECK(*change.worthDb >= 0.1 - 1e-9);
        CHECK(lean.gain <= full.gain * (1.0 + 1e-6));
        CHECK(decibelsOfPower(lean.fullGain / lean.gain) < 0.1 * static_cast<double>(lean.leftOut.size()) + 1e-6);
        CHECK(sameProposals({lean}, proposed(model, constraints, Allow::nudges, 1, 1)));
    }
}

TEST_CASE("a track's own largest nudge holds, and that of its unit with it") {
    for (const double side : {1.0, -1.0}) { // later, and earlier than the reference
        const std::vector<double> delays{0.0, side * 0.003, side * 0.004, side * 0.002};
        const auto model = oneSource(delays, {1, 1, 1, 1}, 0.1, 12.0);
        Constraints constraints;
        constraints.reference = 0;
        constraints.ownLargestNudge = {0.01, 0.001, 0.01, 0.0};
        auto best = proposed(model, constraints, Allow::nudges).front();
        CHECK(std::abs(best.nudges[1]) <= 0.001 + 1e-12);
        CHECK(std::abs(best.nudges[2]) > 0.0015); // it lies between the two that may hardly move
        CHECK(best.nudges[3] == 0.0);
        constraints.unit = {0, 1, 1, 2};
        best = proposed(model, constraints, Allow::nudges).front();
        CHECK(std::abs(best.nudges[2]) <= 0.001 + 1e-12);
        CHECK(best.nudges[1] == best.nudges[2]);
    }
}

TEST_CASE("with nudges, leaving out leaves no less than the flips alone have", "[long]") {
    std::size_t leftOut = 0;
    for (const std::uint64_t seed : {1u, 2u, 3u, 4u}) {
        const auto model = someModel(8, seed);
        Constraints constraints;
        constraints.largestNudge = 0.001;
        constraints.leastWorthDb = 0.8;
        const auto flips = proposed(model, constraints, Allow::flips).front();
        const auto nudges = proposed(model, constraints, Allow::nudges).front();
        CHECK(nudges.gain >= flips.gain - rounding);
        leftOut += nudges.leftOut.size();
    }
    CHECK(leftOut > 0);
}
