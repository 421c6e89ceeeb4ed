#include "Audition/Guard.h"

#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <vector>

using namespace spillwright;
using namespace spillwright::test;

namespace {

constexpr double rate = 48000.0;
const float limit = static_cast<float>(amplitudeOfDecibels(Guard::ceiling.value));

float peakOf(const std::vector<float>& samples) {
    float peak = 0.0f;
    for (float sample : samples)
        peak = std::max(peak, std::abs(sample));
    return peak;
}

} // namespace

TEST_CASE("the guard passes what stays below the ceiling bit for bit, late by its look-ahead") {
    auto left = whiteNoise(20000, 1), right = whiteNoise(20000, 2);
    for (auto* side : {&left, &right})
        for (float& sample : *side)
            sample = std::clamp(sample * 4.0f, -limit, limit); // to the ceiling itself
    const auto originalLeft = left, originalRight = right;
    Guard guard(rate);
    bool active = false;
    for (int done = 0; done < 20000; done += 1000)
        active = guard.process(left.data() + done, right.data() + done, 1000) || active;
    CHECK_FALSE(active);
    const auto delay = static_cast<std::size_t>(guard.lookAhead());
    CHECK(delay <= 0.002 * rate);
    CHECK(std::equal(originalLeft.begin(), originalLeft.end() - guard.lookAhead(), left.begin() + guard.lookAhead()));
    CHECK(
        std::equal(originalRight.begin(), originalRight.end() - guard.lookAhead(), right.begin() + guard.lookAhead()));
    CHECK(std::all_of(left.begin(), left.begin() + static_cast<std::ptrdiff_t>(delay),
                      [](float x) { return x == 0.0f; }));
}

TEST_CASE("the guard holds whatever comes below the ceiling") {
    for (double loud : {2.0, 50.0, 1e6}) {
        auto left = whiteNoise(48000, 3, loud), right = whiteNoise(48000, 4, loud * 0.1);
        left[30000] = std::numeric_limits<float>::max();
        right[31000] = std::numeric_limits<float>::infinity();
        left[32000] = std::numeric_limits<float>::quiet_NaN();
        Guard guard(rate);
        CHECK(guard.process(left.data(), right.data(), 48000));
        CHECK(peakOf(left) <= limit);
        CHECK(peakOf(right) <= limit);
        CHECK(std::all_of(left.begin(), left.end(), [](float x) { return std::isfinite(x); }));
    }
}

TEST_CASE("the guard turns down both sides alike, without a click, and comes back to exactly 1") {
    // A low tone that steps up by 18 dB for a second: what is heard divided by what came in is the gain.
    const int length = 5 * 48000;
    std::vector<float> left(length), right(length);
    for (int n = 0; n < length; ++n) {
        const double level = n >= 48000 && n < 96000 ? 4.0 : 0.5;
        left[static_cast<std::size_t>(n)] =
            static_cast<float>(level * std::sin(2.0 * std::numbers::pi * 100.0 * n / rate) + 0.2);
        right[static_cast<std::size_t>(n)] = 0.1f;
    }
    const auto original = left;
    Guard guard(rate);
    guard.process(left.data(), right.data(), length);
    const auto delay = static_cast<std::size_t>(guard.lookAhead());
    double largestStep = 0.0, previous = 1.0;
    for (std::size_t n = delay; n < left.size(); ++n) {
        const double gain = static_cast<double>(right[n]) / static_cast<double>(0.1f);
        REQUIRE(std::abs(static_cast<double>(left[n]) - gain * static_cast<double>(original[n - delay])) < 1e-6);
        largestStep = std::max(largestStep, std::abs(gain - previous));
        previous = gain;
    }
    // From 1 to 0.89 / 4.2 in a straight line over the look-ahead, and nowhere faster; 1e-6 for single precision.
    CHECK(largestStep < (1.0 - 0.89 / 4.2) / static_cast<double>(delay + 1) + 1e-6);
    CHECK(right.back() == 0.1f);
}

TEST_CASE("the guard reduces no more than the peak needs") {
    std::vector<float> left(4800, 0.0f), right(4800, 0.0f);
    left[2000] = 4.0f;
    Guard guard(rate);
    guard.process(left.data(), right.data(), 4800);
    // The peak itself comes out at the ceiling: within the 2^-30 of the gain's steps and single precision.
    CHECK(left[static_cast<std::size_t>(2000 + guard.lookAhead())] == Approx(limit).epsilon(1e-6));
}
