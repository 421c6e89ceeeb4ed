#include "Core/Propose/Descent.h"
#include "Core/Propose/NudgeDual.h"
#include "Core/Propose/NudgeProof.h"
#include "RandomProblems.h"
#include "Support/InstructionSets.h"
#include "TestModels.h"

#include <catch2/catch.hpp>

#include <chrono>
#include <cmath>
#include <thread>

using namespace spillwright;
using namespace spillwright::test;

namespace {

const Spread alone = [](std::size_t items, const std::function<void(std::size_t)>& work) {
    for (std::size_t item = 0; item < items; ++item)
        work(item);
};

/// Multipliers inside the domain, of the size that problems call for.
AlignedVector<double> randomMultipliers(const DualGrid& grid, RandomStream& random) {
    auto multipliers = NudgeDual::start(grid, 1.0);
    const std::size_t width = grid.width(), y = grid.pairs.size() * 2 * width;
    for (std::size_t at = 0; at < multipliers.size(); ++at) {
        if (grid.padding(at % width)) continue;
        multipliers[at] = at < y ? random.between(-0.02, 0.02) : random.between(0.1, 0.3);
    }
    return multipliers;
}

/// Units of every kind: ranges off any grid, one held that may flip, one of a fixed sign, one that hardly moves.
NudgeProblem mixedProblem(std::uint64_t seed) {
    auto problem = randomProblem(6, 0.002, seed);
    problem.units[1] = {0.00071, 0.00071, true};
    problem.units[2] = {-0.00113, 0.00197, false};
    problem.units[3] = {0.00031, 0.00032, true};
    problem.units[4] = {-0.0017, -0.0002, true};
    return problem;
}

double gapDb(double bound, double value) {
    return 10.0 * std::log10(bound / value);
}

} // namespace

TEST_CASE("any multipliers give a bound that no placement exceeds, on every instruction set") {
    Workers workers(1);
    RandomStream random(1);
    const auto problem = mixedProblem(1);
    const DualGrid grid(problem, workers);
    NudgeDual dual(grid, grid.wholeRange);
    double most = 0.0;
    for (int k = 0; k < 3000; ++k)
        most = std::max(most, randomPlacement(problem, random).value);
    const auto multipliers = randomMultipliers(grid, random);
    onEveryInstructionSet([&] {
        const double bound = dual.ceiling(multipliers, alone);
        CHECK(std::isfinite(bound));
        CHECK(bound >= most);
    });
}

TEST_CASE("without multipliers for the matrices the dual is the sum over pairs at their best") {
    Workers workers(1);
    for (const std::uint64_t seed : {1, 2, 3}) {
        const auto problem = randomProblem(4, 0.003, seed);
        const DualGrid grid(problem, workers);
        double byPairs = problem.constant;
        for (int j = 0; j < 4; ++j)
            for (int i = 0; i < j; ++i) {
                const double reach = i == 0 ? 0.003 : 0.006;
                double most = 0.0;
                for (int g = -12000; g <= 12000; ++g)
                    most = std::max(most, std::abs(problem.coupling(i, j, reach * g / 12000.0)));
                byPairs += 2.0 * most;
            }
        const auto nothing = NudgeDual::start(grid, 1e-12); // y of 7e-13 an element
        const double bound = NudgeDual(grid, grid.wholeRange).ceiling(nothing, alone);
        CHECK(bound >= byPairs - 1e-12);
        // The fourth derivative's share, (2 pi / 21.4)^4 / 384 = 2e-5 of the couplings' sum, and the fine grid's miss:
        // (0.25 us omega)^2 / 8 = 1e-7 of it.
        double couplings = 0.0;
        for (const auto& spectrum : problem.pairs)
            for (const auto& element : spectrum)
                couplings += 2.0 * std::abs(element);
        CHECK(bound <= byPairs + 3e-5 * couplings);
    }
}

TEST_CASE("the gradient of the smoothed dual is its slope, on every instruction set") {
    Workers workers(1);
    RandomStream random(2);
    const auto problem = mixedProblem(2);
    const DualGrid grid(problem, workers);
    NudgeDual dual(grid, grid.wholeRange);
    auto multipliers = randomMultipliers(grid, random);
    AlignedVector<double> gradient(multipliers.size()), unused(multipliers.size());
    onEveryInstructionSet([&] {
        (void)dual.smoothed(multipliers, 0.01, gradient, alone);
        for (int k = 0; k < 40; ++k) {
            const auto at = static_cast<std::size_t>(random.below(static_cast<int>(multipliers.size())));
            if (grid.padding(at % grid.width())) {
                CHECK(std::abs(gradient[at]) < 1e-12);
                continue;
            }
            const double kept = multipliers[at], step = 1e-6;
            multipliers[at] = kept + step;
            const double above = dual.smoothed(multipliers, 0.01, unused, alone);
            multipliers[at] = kept - step;
            const double below = dual.smoothed(multipliers, 0.01, unused, alone);
            multipliers[at] = kept;
            // Rounding of values of about 10 over 2e-6, and third derivatives of 1 / mu^2.
            CHECK(gradient[at] == Approx((above - below) / (2.0 * step)).margin(1e-7));
        }
    });
}

TEST_CASE("multipliers outside the domain give no bound") {
    Workers workers(1);
    const auto problem = randomProblem(4, 0.002, 5);
    const DualGrid grid(problem, workers);
    NudgeDual dual(grid, grid.wholeRange);
    auto multipliers = NudgeDual::start(grid, 0.1);
    multipliers[0] = 0.5; // |C_01| above sqrt(y_0 y_1) = 0.07
    AlignedVector<double> gradient(multipliers.size());
    CHECK(std::isinf(dual.ceiling(multipliers, alone)));
    CHECK(std::isinf(dual.smoothed(multipliers, 0.01, gradient, alone)));
}

TEST_CASE("the bound of a part holds for every placement within it") {
    Workers workers(1);
    RandomStream random(3);
    const auto problem = randomProblem(5, 0.004, 6);
    const DualGrid grid(problem, workers);
    const auto multipliers = randomMultipliers(grid, random);
    const double whole = NudgeDual(grid, grid.wholeRange).ceiling(multipliers, alone);
    for (int trial = 0; trial < 30; ++trial) {
        auto part = problem;
        auto ranges = grid.wholeRange;
        for (int u = 1; u < 5; ++u) {
            auto& unit = part.units[u];
            const double a = random.between(-0.004, 0.004), b = random.between(-0.004, 0.004);
            unit = {std::min(a, b), std::max(a, b), random.below(2) == 0};
            if (random.below(4) == 0) unit.latest = unit.earliest;
            ranges[u] = {unit.earliest, unit.latest, true, unit.mayFlip};
        }
        const double bound = NudgeDual(grid, ranges).ceiling(multipliers, alone);
        CHECK(bound <= whole + 1e-9);
        for (int k = 0; k < 300; ++k)
            REQUIRE(randomPlacement(part, random).value <= bound);
    }
}

TEST_CASE("what is proven is not exceeded, and the bound only falls") {
    Workers workers(2);
    RandomStream random(4);
    for (const std::uint64_t seed : {1, 2, 3}) {
        const auto problem = seed == 3 ? mixedProblem(seed) : randomProblem(4, 0.0015, seed);
        const double best = searchNudges(problem, 1, {}, workers, {})->best.front().value;
        std::vector<double> bounds;
        const auto proof =
            proveNudges(problem, best, std::nullopt, workers, {}, [&](double bound) { bounds.push_back(bound); });
        REQUIRE(bounds.size() >= 2);
        for (std::size_t k = 1; k < bounds.size(); ++k)
            CHECK(bounds[k] < bounds[k - 1]);
        CHECK(bounds.front() == *nudgeUpperBound(problem, workers, {}));
        CHECK(bounds.back() == proof->upperBound);
        CHECK(proof->upperBound >= best);
        CHECK(gapDb(proof->upperBound, best) <= provenGapDb);
        CHECK_FALSE(proof->cutShort);
        for (int k = 0; k < 20000; ++k)
            REQUIRE(randomPlacement(problem, random).value <= proof->upperBound);
    }
}

TEST_CASE("three units on a fine grid: branch and bound agrees") {
    Workers workers(2);
    const auto problem = randomProblem(3, 0.002, 7);
    double most = 0.0;
    constexpr int points = 400; // 10 us apart
    for (int a = 0; a <= points; ++a)
        for (int b = 0; b <= points; ++b) {
            const double ta = -0.002 + 0.004 * a / points, tb = -0.002 + 0.004 * b / points;
            const double r01 = problem.coupling(0, 1, -ta), r02 = problem.coupling(0, 2, -tb),
                         r12 = problem.coupling(1, 2, ta - tb);
            const double products[] = {r01 + r02 + r12, r01 - r02 - r12, -r01 + r02 - r12, -r01 - r02 + r12};
            most = std::max(most, problem.constant + 2.0 * *std::max_element(std::begin(products), std::end(products)));
        }
    const auto proof = proveNudges(problem, most, std::nullopt, workers, {});
    CHECK(proof->upperBound >= most);
    CHECK(gapDb(proof->upperBound, most) <= provenGapDb);
}

TEST_CASE("one source: everything in phase is proven best by the pairs alone") {
    Workers workers(1);
    const auto problem = nudgesOf(oneSource({0.0, 0.0004, -0.0007, 0.0002}, {1, -1, 1, -1}, 0.1), 0.001);
    const double best = searchNudges(problem, 1, {}, workers, {})->best.front().value;
    CHECK(best == Approx(4.1 / 1.1).epsilon(1e-6)); // (N + noise) / (1 + noise)
    const auto proof = proveNudges(problem, best, std::nullopt, workers, {});
    CHECK(gapDb(proof->upperBound, best) < 1e-3);
    CHECK_FALSE(proof->branched);
    CHECK(proof->steps == 0);
}

TEST_CASE("mirror images are not proven twice: it does not matter which unit keeps its sign") {
    Workers workers(1);
    auto problem = nudgesOf(playersInARoom(6, 4, 3), 0.002);
    const double best = searchNudges(problem, 1, {}, workers, {})->best.front().value;
    const auto first = proveNudges(problem, best, std::nullopt, workers, {});
    problem.units[0].mayFlip = true;
    problem.units[4].mayFlip = false;
    const auto other = proveNudges(problem, best, std::nullopt, workers, {});
    CHECK(first->upperBound == other->upperBound);
    CHECK(first->parts == other->parts);
}

TEST_CASE("the proof is the same for any number of workers") {
    const auto problem = randomProblem(5, 0.0012, 3);
    std::vector<NudgeProof> proofs;
    for (const int count : {1, 2, 3}) {
        Workers workers(count);
        const double best = searchNudges(problem, 1, {}, workers, {})->best.front().value;
        proofs.push_back(*proveNudges(problem, best, std::nullopt, workers, {}));
    }
    CHECK(proofs[0].branched);
    for (const auto& proof : proofs) {
        CHECK(proof.upperBound == proofs[0].upperBound);
        CHECK(proof.steps == proofs[0].steps);
        CHECK(proof.parts == proofs[0].parts);
    }
}

TEST_CASE("a proof without time says so and still holds") {
    Workers workers(1);
    RandomStream random(5);
    const auto problem = nudgesOf(manySources(10, 10, 0.006, 1), 0.01);
    const auto proof = proveNudges(problem, 1.0, Seconds(0.0), workers, {});
    CHECK(proof->cutShort);
    CHECK(proof->upperBound == *nudgeUpperBound(problem, workers, {}));
    const auto none = proveNudges(problem, 1.0, std::nullopt, workers, {}, {}, Deadline(Seconds(0.0)));
    CHECK(none->cutShort);
    CHECK(none->upperBound >= proof->upperBound);
    double magnitudes = problem.constant; // what no lags and signs exceed
    for (const auto& spectrum : problem.pairs)
        for (const auto& element : spectrum)
            magnitudes += 2.0 * std::abs(element);
    CHECK(none->upperBound == Approx(magnitudes).epsilon(1e-9));
    for (int k = 0; k < 200; ++k)
        CHECK(randomPlacement(problem, random).value <= proof->upperBound);
}

TEST_CASE("a proof that is told to stop stops soon") {
    Workers workers(2);
    const auto problem = nudgesOf(manySources(12, 12, 0.006, 1), 0.01);
    for (const int after : {20, 300}) { // ms: in the first bounds; in branch and bound
        std::stop_source source;
        std::thread stopper([&] {
            std::this_thread::sleep_for(std::chrono::milliseconds(after));
            source.request_stop();
        });
        const auto proof = proveNudges(problem, 1.0, std::nullopt, workers, {{}, source.get_token()});
        stopper.join();
        CHECK_FALSE(proof);
    }
}

TEST_CASE("the descent finds the lowest point of a function with an edge") {
    // sum of i x_i - log x_i: least at x_i = 1 / i.
    const Descent::Function function = [](const Descent::Vector& x, Descent::Vector& slope) {
        double value = 0.0;
        for (std::size_t i = 0; i < x.size(); ++i) {
            if (!(x[i] > 0.0)) return std::numeric_limits<double>::infinity();
            const double a = static_cast<double>(i + 1);
            value += a * x[i] - std::log(x[i]);
            slope[i] = a - 1.0 / x[i];
        }
        return value;
    };
    Descent descent(Descent::Vector(20, 1.0));
    descent.begin(function);
    double before = descent.value();
    for (int step = 0; step < 100 && descent.step(function); ++step) {
        CHECK(descent.value() <= before);
        before = descent.value();
    }
    for (std::size_t i = 0; i < 20; ++i)
        CHECK(descent.place()[i] == Approx(1.0 / static_cast<double>(i + 1)).epsilon(1e-5));
}
