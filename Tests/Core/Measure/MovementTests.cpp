#include "Core/Measure/Movement.h"

#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <cmath>

using namespace spillwright;
using namespace spillwright::test;

namespace {

constexpr double microsecond = 1e-6;

template <class Lag>
std::vector<StretchArrival> seriesOf(std::size_t count, double uncertainty, const Lag& lag) {
    std::vector<StretchArrival> arrivals;
    for (std::size_t k = 0; k < count; ++k) {
        const double time = 5.1 * (static_cast<double>(k) + 0.5);
        arrivals.push_back({Seconds(time), Seconds(lag(time)), Seconds(uncertainty)});
    }
    return arrivals;
}

/// Normal; one in ten five times as wide.
double heavy(Noise& noise) {
    return noise.normal() * (noise.uniform() < 0.1 ? 5.0 : 1.0);
}

constexpr double chance = 1e-4;

} // namespace

TEST_CASE("an arrival that holds still is said to move as seldom as promised") {
    // Three questions (line, step, wander) of `chance` each; 3000 series: 0.9 expected. Heavy tails and scatter beyond
    // the stated uncertainties included.
    int moved = 0, trials = 0;
    for (const std::size_t count : {std::size_t(4), std::size_t(8), std::size_t(16), std::size_t(47)})
        for (std::uint64_t seed = 0; seed < 750; ++seed, ++trials) {
            Noise noise(seed * 50 + count);
            const bool tails = seed % 2 == 0;
            const auto series = seriesOf(count, 5 * microsecond, [&](double) {
                return 5 * microsecond * (tails ? heavy(noise) : noise.normal());
            });
            moved += movementOf(series, chance)->kind != MovementKind::still;
        }
    CAPTURE(moved, trials);
    CHECK(moved <= 4); // Poisson of mean 0.9: more once in 500
}

TEST_CASE("the interval of a drift holds the truth in 95 % of recordings, few stretches included") {
    for (const std::size_t count : {std::size_t(4), std::size_t(8), std::size_t(47)}) {
        int held = 0;
        constexpr int trials = 1000;
        double squares = 0.0;
        for (std::uint64_t seed = 0; seed < trials; ++seed) {
            Noise noise(seed * 70 + count);
            const auto m =
                movementOf(seriesOf(count, 5 * microsecond,
                                    [&](double time) { return 0.3e-6 * time + 5 * microsecond * heavy(noise); }),
                           chance);
            const double error = m->driftPpm - 0.3;
            held += std::abs(error) < 1.96 * m->driftPpmUncertainty;
            squares += error * error;
        }
        const double share = static_cast<double>(held) / trials;
        CAPTURE(count, share, std::sqrt(squares / trials));
        // 0.7 % scatter of a share of 95 %; with four stretches of heavy tails the interval may miss a few more.
        CHECK(share > (count == 4 ? 0.91 : 0.93));
    }
}

TEST_CASE("the slope is as good as the bound of a straight line allows") {
    // sigma_slope = sigma sqrt(12)/(h K^1.5): 10 us, 10 s, 60 points: 0.0075 ppm (computed).
    double squares = 0.0;
    constexpr int trials = 300;
    for (std::uint64_t seed = 0; seed < trials; ++seed) {
        Noise noise(seed + 9000);
        std::vector<StretchArrival> series;
        for (int k = 0; k < 60; ++k)
            series.push_back({Seconds(10.0 * k), Seconds(10e-6 * noise.normal()), Seconds(10e-6)});
        squares += std::pow(movementOf(series, chance)->driftPpm, 2);
    }
    // 95 % efficient: 1.026; 4 % scatter of 300 trials, three of those.
    CHECK(std::sqrt(squares / trials) / 0.0075 == Approx(1.026).margin(0.13));
}

TEST_CASE("drift, step and wandering are told apart, with their sizes") {
    Noise noise(5);
    const auto drift = movementOf(
        seriesOf(40, 3 * microsecond, [&](double t) { return -1.5e-6 * t + 3 * microsecond * heavy(noise); }), chance);
    CHECK(drift->kind == MovementKind::drifts);
    CHECK(drift->driftPpm == Approx(-1.5).margin(3 * drift->driftPpmUncertainty));

    const auto step =
        movementOf(seriesOf(40, 3 * microsecond,
                            [&](double t) { return (t > 83.0 ? -0.42e-3 : 0.0) + 3 * microsecond * heavy(noise); }),
                   chance);
    CHECK(step->kind == MovementKind::steps);
    REQUIRE(step->stepTime);
    CHECK(step->stepTime->value == Approx(83.0).margin(5.1 / 2 + 0.1));
    CHECK(step->step.value == Approx(-0.42e-3).margin(3 * step->stepUncertainty.value));
    CHECK(step->stepUncertainty.value < 3 * microsecond);

    const auto wander =
        movementOf(seriesOf(40, 3 * microsecond,
                            [&](double t) { return 0.2e-3 * std::sin(t / 20.0) + 3 * microsecond * heavy(noise); }),
                   chance);
    CHECK(wander->kind == MovementKind::wanders);
    CHECK(wander->range.value == Approx(0.4e-3).margin(0.03e-3));

    // Two values between which the arrival hops at random: sources that take turns.
    const auto turns =
        movementOf(seriesOf(40, 3 * microsecond, [&](double) { return noise.uniform() < 0.4 ? 1e-3 : 0.0; }), chance);
    CHECK(turns->kind == MovementKind::wanders);
}

TEST_CASE("too few stretches say nothing of movement") {
    CHECK_FALSE(movementOf(seriesOf(3, 1e-6, [](double t) { return 1e-4 * t; }), chance));
    CHECK(movementOf(seriesOf(4, 1e-6, [](double t) { return 1e-4 * t; }), chance)->kind == MovementKind::drifts);
}

TEST_CASE("lone stretches far off neither make a drift nor hide one") {
    Noise noise(8);
    for (const double slope : {0.0, 0.5e-6}) {
        auto series =
            seriesOf(30, 3 * microsecond, [&](double t) { return slope * t + 3 * microsecond * noise.normal(); });
        series[2].lag = Seconds(1e-3);
        series[28].lag = Seconds(-2e-3);
        series[15].lag = Seconds(0.7e-3);
        const auto m = movementOf(series, chance);
        CHECK(m->driftPpm == Approx(slope * 1e6).margin(3 * m->driftPpmUncertainty));
        CHECK(m->driftPpmUncertainty < 0.03);
    }
}
