#include "Core/Propose/NudgeSearch.h"
#include "RandomProblems.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <numbers>

using namespace spillwright;
using namespace spillwright::test;

TEST_CASE("what the search says a placement is worth is what it is worth") {
    Workers workers(2);
    const auto problem = randomProblem(6, 0.003, 1);
    const auto found = searchNudges(problem, 5, {}, workers, {})->best;
    REQUIRE(found.size() == 5);
    for (const auto& placement : found)
        CHECK(placement.value == Approx(valueByDefinition(problem, placement)).epsilon(1e-12));
    const auto plain = plainAscent(problem, 1);
    CHECK(plain.value == Approx(valueByDefinition(problem, plain)).epsilon(1e-10)); // kept up to date by increments
}

TEST_CASE("the search stands on a summit, and keeps to what may not move or flip") {
    Workers workers(2);
    auto problem = randomProblem(6, 0.003, 2);
    problem.units[1] = {0.0007, 0.0007, true};   // flips where it is
    problem.units[2] = {-0.001, 0.002, false};   // moves as it is
    problem.units[3] = {0.00031, 0.00032, true}; // hardly moves
    const auto found = searchNudges(problem, 3, {}, workers, {})->best;
    for (const auto& best : found) {
        CHECK(best.signs[0] == 1);
        CHECK(best.nudges[0] == 0.0);
        CHECK(best.nudges[1] == 0.0007);
        CHECK(best.signs[2] == 1);
        for (int i = 0; i < 6; ++i) {
            CHECK(best.nudges[i] >= problem.units[i].earliest);
            CHECK(best.nudges[i] <= problem.units[i].latest);
            for (const double step : {-2e-6, 2e-6}) {
                auto moved = best;
                moved.nudges[i] = std::clamp(best.nudges[i] + step, problem.units[i].earliest, problem.units[i].latest);
                CHECK(valueByDefinition(problem, moved) <= best.value + 1e-12);
            }
            if (problem.units[i].mayFlip) {
                auto flipped = best;
                flipped.signs[i] = -flipped.signs[i];
                CHECK(valueByDefinition(problem, flipped) <= best.value + 1e-12);
            }
        }
    }
}

TEST_CASE("the search is not below a hundred plain ascents", "[long]") {
    Workers workers(2);
    for (const std::uint64_t seed : {3, 4}) {
        const auto problem = randomProblem(10, 0.004, seed);
        const double best = searchNudges(problem, 1, {}, workers, {})->best.front().value;
        for (unsigned start = 0; start < 100; ++start)
            CHECK(plainAscent(problem, start).value <= best + 1e-9);
    }
}

TEST_CASE("two units: the bound over pairs is what a fine grid finds") {
    Workers workers(1);
    for (const std::uint64_t seed : {1, 2, 3}) {
        const auto problem = randomProblem(2, 0.005, seed);
        double most = 0.0;
        for (int step = -20000; step <= 20000; ++step)
            most = std::max(most, problem.constant + 2.0 * std::abs(problem.coupling(0, 1, 0.005 * step / 20000.0)));
        const double bound = *nudgeUpperBound(problem, workers, {});
        CHECK(bound >= most);
        // The grid misses by (0.25 us / 2)^2 omega^2 / 2 = 1e-7, the bound's intervals of 1/1024 period leave 5e-6.
        CHECK(bound <= most + 2e-5);
    }
}

TEST_CASE("one frequency: the bound over phases is reached by three that repel each other") {
    // u'Hu with H = -1 off the diagonal is 3 - |u1 + u2 + u3|^2: 3 at a third of a turn apart. By pairs it would be 6.
    Workers workers(1);
    NudgeProblem problem;
    problem.angular = {2.0 * std::numbers::pi * 300.0};
    problem.units = {{0.0, 0.0, false}, {-0.002, 0.002, true}, {-0.002, 0.002, true}};
    problem.pairs.assign(3, {{-1.0, 0.0}});
    const double bound = *nudgeUpperBound(problem, workers, {});
    CHECK(bound >= 3.0);
    CHECK(bound < 3.001); // the sweeps stop at 1e-4 of it
    CHECK(searchNudges(problem, 1, {}, workers, {})->best.front().value == Approx(3.0).epsilon(1e-9));
}

TEST_CASE("a deadline ends the rounds: the start that was given is climbed from, and that is said") {
    Workers workers(2);
    const auto problem = randomProblem(8, 0.004, 6);
    const Placement start{std::vector<int>(8, 1), std::vector<double>(8, 0.0), 0.0};
    const std::vector<Placement> starts{start};
    const auto cut = searchNudges(problem, 3, starts, workers, {}, Deadline(Seconds(0.0)));
    CHECK(cut->cutShort);
    REQUIRE_FALSE(cut->best.empty());
    CHECK(cut->best.front().value >= climbNudges(problem, problem.compressed(), start, {}).value - 1e-9);
    for (const auto& placement : cut->best)
        CHECK(placement.value == Approx(valueByDefinition(problem, placement)).epsilon(1e-12));
    const auto whole = searchNudges(problem, 3, starts, workers, {});
    const auto inTime = searchNudges(problem, 3, starts, workers, {}, Deadline(Seconds(1e6)));
    CHECK_FALSE(whole->cutShort);
    CHECK_FALSE(inTime->cutShort);
    CHECK(whole->best.front().value >= cut->best.front().value - 1e-9);
    CHECK(inTime->best.front().nudges == whole->best.front().nudges);
}

TEST_CASE("listed placements are distinct") {
    Workers workers(2);
    const auto found = searchNudges(randomProblem(5, 0.004, 8), 8, {}, workers, {})->best;
    for (std::size_t a = 0; a < found.size(); ++a)
        for (std::size_t b = 0; b < a; ++b) {
            double apart = 0.0;
            for (int i = 0; i < 5; ++i)
                apart = std::max(apart, std::abs(found[a].nudges[i] - found[b].nudges[i]));
            CHECK((found[a].signs != found[b].signs || apart > distinctNudge));
        }
}
