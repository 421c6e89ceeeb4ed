#include "Core/Measure/ArrivalKernels.h"

#include "Support/InstructionSets.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstdint>
#include <numbers>
#include <vector>

using namespace spillwright;
using namespace spillwright::kernels;
using namespace spillwright::test;

namespace {

constexpr std::size_t lengths[] = {1, 2, 3, 7, 16, 33, 131}; // whole vectors of any machine, and what is left over

template <class Number>
std::vector<Number> noiseOf(std::size_t count, std::uint64_t seed) {
    std::vector<Number> values(count);
    Noise noise(seed);
    for (auto& value : values)
        value = static_cast<Number>(noise.normal());
    return values;
}

/// Of any size that a cross-spectrum may have, and now and then nothing.
std::vector<std::complex<float>> crossOf(std::size_t count) {
    const auto re = noiseOf<float>(count, 1), im = noiseOf<float>(count, 2);
    std::vector<std::complex<float>> cross;
    for (std::size_t k = 0; k < count; ++k)
        cross.push_back(std::polar(1.0f, re[k]) * im[k] * (k % 5 == 3 ? 0.0f : k % 3 == 0 ? 1e-24f : 1e17f));
    return cross;
}

} // namespace

TEST_CASE("phasors, magnitudes and coherence are those of plain arithmetic on every instruction set") {
    onEveryInstructionSet([&] {
        for (const std::size_t count : lengths) {
            const auto cross = crossOf(count);
            std::vector<float> a(count), b(count), re(count), im(count), magnitudes(count), again(count),
                coherence(count);
            for (std::size_t k = 0; k < count; ++k) {
                a[k] = k % 7 == 6 ? 0.0f : 2.0f * std::abs(cross[k]) + 1e-25f;
                b[k] = 3.0f * std::abs(cross[k]) + 1e-25f;
            }
            conjugatePhasors(cross.data(), count, re.data(), im.data(), magnitudes.data());
            coherences(cross.data(), a.data(), b.data(), count, again.data(), coherence.data());
            REQUIRE(again == magnitudes);
            for (std::size_t k = 0; k < count; ++k) {
                const std::complex<double> exact(cross[k]);
                const double magnitude = std::abs(exact);
                const auto phasor = magnitude > 0.0 ? std::conj(exact) / magnitude : 0.0;
                REQUIRE(std::abs(std::complex<double>(re[k], im[k]) - phasor) < 3e-7);
                REQUIRE(std::abs(static_cast<double>(magnitudes[k]) - magnitude) <= 3e-7 * magnitude);
                const double share = magnitude / static_cast<double>(a[k]) * magnitude / static_cast<double>(b[k]);
                REQUIRE(static_cast<double>(coherence[k]) ==
                        (a[k] > 0.0f ? Approx(share).epsilon(1e-6) : Approx(-1.0)));
            }
        }
    });
}

TEST_CASE("more cross-power than power is a coherence of one, by rounding") {
    const std::complex<float> cross(3.0f, 4.0f);
    const float power = 4.99999f;
    float magnitude = 0.0f, coherence = 0.0f;
    coherences(&cross, &power, &power, 1, &magnitude, &coherence);
    CHECK(magnitude == Approx(5.0));
    CHECK(coherence == 1.0f);
}

TEST_CASE("peaks are found where a plain loop finds them") {
    onEveryInstructionSet([&] {
        for (const std::size_t count : lengths) {
            auto row = noiseOf<float>(count + 2, 3);
            for (float& value : row)
                value = std::round(2.0f * value) / 2.0f; // with plateaus and zeros
            const float* const values = row.data() + 1;
            std::vector<std::uint32_t> expected, places(count + localPeaksRoom);
            for (std::size_t k = 0; k < count; ++k) {
                const float side = values[k] < 0.0f ? -1.0f : 1.0f, here = side * values[k];
                if (here > 0.0f && here > side * values[k - 1] && here >= side * values[k + 1])
                    expected.push_back(static_cast<std::uint32_t>(k));
            }
            places.resize(localPeaks(values, count, places.data()));
            REQUIRE(places == expected);
            for (const float sign : {1.0f, -1.0f}) {
                const auto first = [&](float least) {
                    const auto reaches = [&](float value) { return sign * value >= least; };
                    return static_cast<std::size_t>(std::find_if(values, values + count, reaches) - values);
                };
                float largest = sign * values[0];
                for (std::size_t k = 1; k < count; ++k)
                    largest = std::max(largest, sign * values[k]);
                REQUIRE(placeOfLargest(values, count, sign) == first(largest));
                for (const float least : {0.5f, 2.0f, 100.0f})
                    REQUIRE(firstReaching(values, count, sign, least) == first(least));
            }
        }
    });
}

TEST_CASE("a curve at twice the rate is what was sampled, up to two thirds of the highest frequency") {
    onEveryInstructionSet([&] {
        for (const std::size_t count : lengths)
            for (const double share : {0.0, 0.2, 0.5, doublingEdge}) {
                const auto wave = [&](double n) { return std::cos(share * std::numbers::pi * n + 0.3); };
                std::vector<float> values;
                for (int n = -doublingReach; n < static_cast<int>(count) + doublingReach; ++n)
                    values.push_back(static_cast<float>(wave(n)));
                std::vector<float> out(2 * count);
                doubleRate(values.data() + doublingReach, count, out.data());
                for (std::size_t n = 0; n < out.size(); ++n)
                    REQUIRE(std::abs(static_cast<double>(out[n]) - wave(0.5 * static_cast<double>(n))) < 1e-4);
            }
    });
}

TEST_CASE("running sums of coherence are those of plain arithmetic") {
    onEveryInstructionSet([&] {
        for (const std::size_t count : lengths) {
            auto values = noiseOf<float>(count, 4);
            std::vector<std::int32_t> running(count + 1, -7);
            runningCoherence(values.data(), count, 0.2, 0.3, running.data());
            double sum = 0.0;
            REQUIRE(running[0] == 0);
            for (std::size_t k = 0; k < count; ++k) {
                const double value = static_cast<double>(values[k]);
                sum += value < 0.2 ? 0.0 : std::max(0.0, value - 0.3 * (1.0 - value) * (1.0 - value));
                REQUIRE(running[k + 1] == Approx(sum * runningUnit).margin(static_cast<double>(k + 1)));
            }
        }
    });
}

TEST_CASE("maximum-likelihood weights are those of plain arithmetic") {
    onEveryInstructionSet([&] {
        for (const std::size_t count : lengths) {
            auto own = noiseOf<float>(count, 4);
            std::vector<double> weights(count);
            std::vector<std::int32_t> running{0}, low, past;
            for (std::size_t k = 0; k < count; ++k) {
                running.push_back(running.back() +
                                  static_cast<std::int32_t>((k % 16 < 8 ? 0.0 : 0.9 + 0.2 * (k % 2)) * runningUnit));
                low.push_back(static_cast<std::int32_t>(k - std::min<std::size_t>(k, 2)));
                past.push_back(static_cast<std::int32_t>(std::min(count, k + 3)));
            }
            const double total = likelihoodWeights(own.data(), running.data(), low.data(), past.data(), count, 0.2,
                                                   0.95, weights.data());
            double sum = 0.0;
            for (std::size_t k = 0; k < count; ++k) {
                const auto from = static_cast<std::size_t>(low[k]), to = static_cast<std::size_t>(past[k]);
                const double sumBetween = static_cast<double>(running[to] - running[from]) / runningUnit;
                const double mean = std::min(0.95, sumBetween / static_cast<double>(to - from));
                const double trust = std::clamp(static_cast<double>(own[k]) / mean, 0.0, 4.0);
                REQUIRE(weights[k] ==
                        Approx(mean > 0.2 ? mean / (1.0 - mean) * std::sqrt(trust) : 0.0).epsilon(1e-5).margin(1e-12));
                sum += weights[k];
            }
            REQUIRE(total == Approx(sum).margin(1e-12));
        }
    });
}

TEST_CASE("sums over cells of coherence are those of plain arithmetic, and leave out what does not sound") {
    onEveryInstructionSet([&] {
        for (const std::size_t count : {cellsAtOnce, 5 * cellsAtOnce}) {
            auto estimates = noiseOf<float>(3 * count, 4);
            for (auto& estimate : estimates)
                estimate = std::min(1.0f, 0.5f * estimate + 0.3f);
            std::vector<std::int32_t> places;
            for (std::size_t k = 0; k < count; ++k)
                places.push_back(static_cast<std::int32_t>((7 * k) % (3 * count)));
            const auto weights = noiseOf<float>(count, 5), powers = noiseOf<float>(count, 6),
                       squares = noiseOf<float>(count, 7);
            CoherenceSums sums, expected;
            sums.coherence = expected.coherence = 3.0;
            addCoherences(estimates.data(), {places.data(), weights.data(), powers.data(), squares.data()}, count,
                          {0.25, 0.4, 0.5}, sums);
            int silent = 0;
            for (std::size_t k = 0; k < count; ++k) {
                const double estimate = static_cast<double>(estimates[static_cast<std::size_t>(places[k])]);
                silent += estimate < 0.0;
                if (estimate < 0.0) continue;
                const double w = static_cast<double>(weights[k]), p = static_cast<double>(powers[k]),
                             q = static_cast<double>(squares[k]);
                const double x = 1.0 - estimate, left = x * (1.0 + 0.25 * x * (1.0 + 0.4 * x * (1.0 + 0.5 * x)));
                expected.coherence += w * (1.0 - left);
                expected.weights += w;
                expected.powers += p;
                expected.squares += q;
                expected.linear += p * (1.0 - left) * left * left;
                expected.square += q * std::pow(left, 4);
            }
            REQUIRE(silent > 0);
            CHECK(sums.coherence == Approx(expected.coherence).margin(1e-9));
            CHECK(sums.weights == Approx(expected.weights).margin(1e-9));
            CHECK(sums.powers == Approx(expected.powers).margin(1e-9));
            CHECK(sums.squares == Approx(expected.squares).margin(1e-9));
            CHECK(sums.linear == Approx(expected.linear).margin(1e-9));
            CHECK(sums.square == Approx(expected.square).margin(1e-9));
        }
    });
}

TEST_CASE("turned phasors and their sums are those of plain arithmetic") {
    const Turn turn{0.7, -2.9};
    onEveryInstructionSet([&] {
        for (const std::size_t count : lengths) {
            const auto re = noiseOf<float>(count, 4), im = noiseOf<float>(count, 5), light = noiseOf<float>(count, 8);
            const auto weights = noiseOf<double>(count, 6), omega = noiseOf<double>(count, 7);
            std::vector<double> turnedRe(count), turnedIm(count);
            turnPhasors(re.data(), im.data(), count, turn, turnedRe.data(), turnedIm.data());
            std::vector<std::complex<float>> weighed(count);
            weigh(re.data(), im.data(), light.data(), count, weighed.data());
            TurnedSums expected;
            double product = 0.0;
            for (std::size_t k = 0; k < count; ++k) {
                const auto exact = std::complex<double>(re[k], im[k]) *
                                   std::polar(1.0, turn.first + static_cast<double>(k) * turn.step);
                REQUIRE(std::abs(std::complex<double>(turnedRe[k], turnedIm[k]) - exact) < 1e-12);
                REQUIRE(weighed[k] == std::complex<float>(light[k] * re[k], light[k] * im[k]));
                expected.value += weights[k] * exact.real();
                expected.slope -= weights[k] * omega[k] * exact.imag();
                expected.bend -= weights[k] * omega[k] * omega[k] * exact.real();
                product += weights[k] * omega[k] * turnedIm[k];
            }
            const auto sums = turnedSums(re.data(), im.data(), weights.data(), omega.data(), count, turn);
            REQUIRE(sums.value == Approx(expected.value).margin(1e-11));
            REQUIRE(sums.slope == Approx(expected.slope).margin(1e-11));
            REQUIRE(sums.bend == Approx(expected.bend).margin(1e-11));
            REQUIRE(sumOfProducts(weights.data(), omega.data(), turnedIm.data(), count) ==
                    Approx(product).margin(1e-11));
        }
    });
}
