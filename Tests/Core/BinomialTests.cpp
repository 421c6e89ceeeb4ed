#include "Core/Binomial.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <vector>

using namespace spillwright;

namespace {

/// The definition, in long double: term after term by Pascal's triangle.
double tailByTriangle(int trials, int atLeast, long double p) {
    std::vector<long double> chance(static_cast<std::size_t>(trials) + 1);
    chance[0] = 1.0L;
    for (int n = 1; n <= trials; ++n)
        for (auto k = static_cast<std::size_t>(n);; --k) {
            chance[k] = chance[k] * (1.0L - p) + (k > 0 ? chance[k - 1] * p : 0.0L);
            if (k == 0) break;
        }
    long double sum = 0.0L;
    for (int k = trials; k >= std::max(0, atLeast); --k)
        sum += chance[static_cast<std::size_t>(k)];
    return static_cast<double>(sum);
}

} // namespace

TEST_CASE("binomial tails are those of scipy, however small") {
    // scipy.stats.binom.sf(k - 1, n, p), scipy 1.10.1.
    const auto agrees = [](int trials, int atLeast, double p, double expected) {
        CAPTURE(trials, atLeast, p);
        CHECK(binomialTail(trials, atLeast, p) == Approx(expected).epsilon(1e-10).margin(0.0));
    };
    agrees(1000, 527, 0.5, 0.04684364573774825);
    agrees(1000, 600, 0.5, 1.364232078032988e-10);
    agrees(1000, 1000, 0.5, 9.332636185032189e-302);
    agrees(1000, 980, 0.5, 3.2341352632446985e-260);
    agrees(1000, 550, 0.6, 0.9994063969170187);
    agrees(1000, 40, 0.03, 0.04373437893478382);
    agrees(999, 500, 0.5, 0.5);
    agrees(1, 1, 0.5, 0.5);
}

TEST_CASE("binomial tails are those of the definition") {
    for (const int trials : {1, 2, 7, 40, 301})
        for (const double p : {0.5, 0.1, 0.7, 0.9})
            for (int atLeast = 0; atLeast <= trials + 1; ++atLeast) {
                CAPTURE(trials, atLeast, p);
                CHECK(binomialTail(trials, atLeast, p) ==
                      Approx(tailByTriangle(trials, atLeast, static_cast<long double>(p))).epsilon(1e-11).margin(0.0));
            }
    CHECK(binomialTail(5, -1, 0.5) == 1.0);
    CHECK(binomialTail(5, 1, 0.0) == 0.0);
    CHECK(binomialTail(5, 5, 1.0) == 1.0);
    CHECK(binomialTail(0, 0, 0.5) == 1.0);
}

TEST_CASE("as many must be right as the tables of blind listening say") {
    // One-sided, for p <= .05, .01, .001; 0: cannot be reached.
    struct Row {
        int trials, at5, at1, at01;
    };
    for (const auto& [trials, at5, at1, at01] : {Row{8, 7, 8, 0},
                                                 {10, 9, 10, 10},
                                                 {12, 10, 11, 12},
                                                 {15, 12, 13, 14},
                                                 {16, 12, 14, 15},
                                                 {20, 15, 16, 18},
                                                 {24, 17, 19, 20},
                                                 {25, 18, 19, 21},
                                                 {30, 20, 22, 24},
                                                 {40, 26, 28, 31},
                                                 {50, 32, 34, 37},
                                                 {1000, 527, 538, 550}}) {
        CAPTURE(trials);
        CHECK(leastCount(trials, 0.05, TestSides::one).value_or(0) == at5);
        CHECK(leastCount(trials, 0.01, TestSides::one).value_or(0) == at1);
        CHECK(leastCount(trials, 0.001, TestSides::one).value_or(0) == at01);
    }
    // Two-sided, from scipy 1.10.1.
    for (const auto& [trials, at5, at1, unused] : {Row{8, 8, 8, 0},
                                                   {16, 13, 14, 0},
                                                   {20, 15, 17, 0},
                                                   {25, 18, 20, 0},
                                                   {50, 33, 35, 0},
                                                   {100, 61, 64, 0},
                                                   {1000, 532, 542, 0}}) {
        CAPTURE(trials, unused);
        CHECK(leastCount(trials, 0.05, TestSides::two).value_or(0) == at5);
        CHECK(leastCount(trials, 0.01, TestSides::two).value_or(0) == at1);
    }
    CHECK_FALSE(leastCount(4, 0.05, TestSides::one));
    CHECK_FALSE(leastCount(5, 0.05, TestSides::two));
    CHECK_FALSE(leastCount(0, 0.05, TestSides::one));
}

TEST_CASE("what guessing makes of a count is exact, upwards or either way") {
    const auto oneSided = [](int right, int trials) { return guessingProbability(trials, right, TestSides::one); };
    CHECK(oneSided(12, 16) == Approx(0.03841).margin(5e-6));
    CHECK(oneSided(14, 16) == Approx(0.00209).margin(5e-6));
    CHECK(oneSided(15, 20) == Approx(0.02069).margin(5e-6));
    CHECK(oneSided(18, 25) == Approx(0.02164).margin(5e-6));
    CHECK(oneSided(20, 30) == Approx(0.04937).margin(5e-6));
    CHECK(oneSided(9, 10) == Approx(0.01074).margin(5e-6));
    CHECK(guessingProbability(16, 12, TestSides::two) == Approx(2.0 * 0.0384063720703125));
    CHECK(guessingProbability(16, 4, TestSides::two) == guessingProbability(16, 12, TestSides::two));
    CHECK(guessingProbability(16, 8, TestSides::two) == 1.0);
    CHECK(guessingProbability(0, 0, TestSides::two) == 1.0);
}

TEST_CASE("the power of a blind test is as the tables say") {
    struct Row {
        int trials;
        double at6, at7, at8, at9;
    };
    for (const auto& [trials, at6, at7, at8, at9] : {Row{16, 0.167, 0.450, 0.798, 0.983},
                                                     {20, 0.126, 0.416, 0.804, 0.989},
                                                     {25, 0.154, 0.512, 0.891, 0.998},
                                                     {50, 0.336, 0.859, 0.997, 1.0}}) {
        CAPTURE(trials);
        CHECK(binomialPower(trials, 0.05, TestSides::one, 0.6) == Approx(at6).margin(5e-4));
        CHECK(binomialPower(trials, 0.05, TestSides::one, 0.7) == Approx(at7).margin(5e-4));
        CHECK(binomialPower(trials, 0.05, TestSides::one, 0.8) == Approx(at8).margin(5e-4));
        CHECK(binomialPower(trials, 0.05, TestSides::one, 0.9) == Approx(at9).margin(5e-4));
    }
    // Two-sided: sf(k - 1) + cdf(n - k) of scipy 1.10.1.
    CHECK(binomialPower(16, 0.05, TestSides::two, 0.7) == Approx(0.245889).margin(5e-7));
    CHECK(binomialPower(50, 0.05, TestSides::two, 0.6) == Approx(0.237057).margin(5e-7));
    CHECK(binomialPower(1000, 0.05, TestSides::two, 0.6) == Approx(0.999994).margin(5e-7));
    CHECK(binomialPower(16, 0.05, TestSides::two, 0.3) == Approx(binomialPower(16, 0.05, TestSides::two, 0.7)));
    CHECK(binomialPower(3, 0.05, TestSides::one, 0.9) == 0.0);
}
