#include "Audition/Guard.h"

#include "Audition/RealTimeTrap.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>
#include <ebur128.h>

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

/// By libebur128, whose true peak is that of ITU-R BS.1770-4, annex 2; of the louder side, in dBTP.
double truePeakDb(const std::vector<float>& left, const std::vector<float>& right, double at) {
    ebur128_state* meter = ebur128_init(2, static_cast<unsigned long>(at), EBUR128_MODE_TRUE_PEAK);
    REQUIRE(meter != nullptr);
    std::vector<float> frames;
    for (std::size_t n = 0; n < left.size(); ++n) {
        frames.push_back(left[n]);
        frames.push_back(right[n]);
    }
    ebur128_add_frames_float(meter, frames.data(), left.size());
    double peaks[2] = {};
    for (unsigned side : {0u, 1u})
        ebur128_true_peak(meter, side, &peaks[side]);
    ebur128_destroy(&meter);
    return decibelsOfAmplitude(std::max(peaks[0], peaks[1]));
}

/// Struck drums and tones that decay, 3 s: sharp onsets, low and high.
std::vector<float> bandPlaying(double at, double loud) {
    std::vector<float> samples(static_cast<std::size_t>(3.0 * at), 0.0f);
    Noise noise(9);
    for (double start : {0.1, 0.35, 0.6, 0.63, 1.2, 1.21, 1.7, 2.2, 2.5}) {
        const double hertz = 60.0 * std::pow(60.0, noise.uniform()), hiss = 0.3 * noise.uniform();
        for (auto n = static_cast<std::size_t>(start * at); n < samples.size(); ++n) {
            const double t = static_cast<double>(n) / at - start;
            samples[n] +=
                static_cast<float>(loud * (0.5 * std::exp(-6.0 * t) * std::cos(2.0 * std::numbers::pi * hertz * t) +
                                           hiss * std::exp(-40.0 * t) * noise.normal()));
        }
    }
    return samples;
}

} // namespace

TEST_CASE("the guard passes bit for bit what has no true peak above the ceiling, late by its look-ahead") {
    for (double at : {44100.0, 48000.0, 96000.0, 192000.0}) {
        // By the outside meter 0.01 dB below the ceiling.
        auto left = whiteNoise(20000, 1), right = whiteNoise(20000, 2);
        const double loudest = std::max(truePeakDb(left, right, at), decibelsOfAmplitude(peakOf(left)));
        const auto scale = static_cast<float>(amplitudeOfDecibels(Guard::ceiling.value - 0.01 - loudest));
        for (auto* side : {&left, &right})
            for (float& sample : *side)
                sample *= scale;
        const auto originalLeft = left, originalRight = right;
        Guard guard(at);
        bool active = false;
        for (int done = 0; done < 20000; done += 1000)
            active = guard.process(left.data() + done, right.data() + done, 1000) || active;
        CHECK_FALSE(active);
        const auto delay = static_cast<std::ptrdiff_t>(guard.lookAhead());
        CHECK(static_cast<double>(delay) <= 0.0018 * at);
        CHECK(std::equal(originalLeft.begin(), originalLeft.end() - delay, left.begin() + delay));
        CHECK(std::equal(originalRight.begin(), originalRight.end() - delay, right.begin() + delay));
        CHECK(std::all_of(left.begin(), left.begin() + delay, [](float x) { return x == 0.0f; }));
    }
}

TEST_CASE("no true peak leaves the guard above the ceiling, whatever the signal and the rate") {
    // Measured by libebur128; Guard::excess is what the gain's own movement may leave.
    for (double at : {44100.0, 48000.0, 88200.0, 96000.0, 192000.0}) {
        double worst = -100.0;
        const auto hear = [&](std::vector<float> left, std::vector<float> right) {
            Guard guard(at);
            guard.process(left.data(), right.data(), static_cast<int>(left.size()));
            worst = std::max(worst, truePeakDb(left, right, at));
        };
        // Sines whose samples miss their crests, from the start and after a quiet while.
        for (double hertz : {997.0, 5000.0, 15000.0, 19000.0, at / 8, at / 6, at / 4, at / 3, 0.45 * at})
            for (double turns : {0.0, 0.05, 0.125, 0.25, 0.385})
                for (double loudDb : {-0.5, 3.0, 20.0}) {
                    std::vector<float> left(4000), right(4000);
                    for (std::size_t n = 0; n < left.size(); ++n) {
                        const double level = amplitudeOfDecibels(loudDb) * (n > 1500 ? 1.0 : 0.05);
                        left[n] = static_cast<float>(
                            level * std::sin(2.0 * std::numbers::pi * (hertz / at * static_cast<double>(n) + turns)));
                        right[n] = 0.3f * left[n];
                    }
                    hear(left, right);
                }
        for (double loud : {0.3, 1.0, 4.0})
            hear(whiteNoise(20000, 5, loud), whiteNoise(20000, 6, loud));
        hear(bandPlaying(at, 3.0), bandPlaying(at, 2.0));
        INFO(at << " Hz");
        CHECK(worst <= Guard::ceiling.value + Guard::excess.value);
        CHECK(worst > Guard::ceiling.value - 0.05);
    }
}

TEST_CASE("a sine whose samples all miss its crests comes out with its crests at the ceiling") {
    // A quarter of the rate at 45 degrees: every sample is the crest by the square root of two, 3.01 dB below it.
    std::vector<float> left(48000), right(48000, 0.0f);
    for (std::size_t n = 0; n < left.size(); ++n)
        left[n] = static_cast<float>(1.2 * std::sin(std::numbers::pi * (0.5 * static_cast<double>(n) + 0.25)));
    REQUIRE(peakOf(left) < limit); // the samples alone would pass
    Guard guard(rate);
    CHECK(guard.process(left.data(), right.data(), 48000));
    const double crest = static_cast<double>(std::abs(left.back())) * std::sqrt(2.0);
    // The 48 taps are 0.033 dB short at half of Nyquist.
    CHECK(decibelsOfAmplitude(crest) == Approx(Guard::ceiling.value).margin(0.04));
}

TEST_CASE("samples up to the safe peak have no true peak above the ceiling, and just above it they may") {
    for (double at : {48000.0, 96000.0, 192000.0}) {
        // The worst there is: samples as large as may be, each with the sign of the tap that it meets half-way between
        // two samples.
        const auto worstCase = [](float peak) {
            std::vector<float> samples(400, 0.0f);
            for (int n = 150; n < 250; ++n) {
                const int away = n < 200 ? 199 - n : n - 200; // from either side of the middle
                samples[static_cast<std::size_t>(n)] = away % 2 == 0 ? peak : -peak;
            }
            return samples;
        };
        const auto active = [&](float peak) {
            auto left = worstCase(peak), right = std::vector<float>(400, 0.0f);
            return Guard(at).process(left.data(), right.data(), 400);
        };
        const float safe = Guard(at).safePeak();
        CHECK_FALSE(active(safe));
        CHECK(active(safe * 1.0001f));
    }
    CHECK(decibelsOfAmplitude(static_cast<double>(Guard(48000.0).safePeak())) == Approx(-6.4).margin(0.05));
    CHECK(decibelsOfAmplitude(static_cast<double>(Guard(96000.0).safePeak())) == Approx(-8.26).margin(0.05));
}

TEST_CASE("the guard gives the same bits however a stretch is cut into calls, and allocates nothing") {
    const auto originalLeft = bandPlaying(rate, 1.5), originalRight = bandPlaying(rate, 0.4);
    const int length = static_cast<int>(originalLeft.size());
    auto left = originalLeft, right = originalRight;
    Guard whole(rate);
    whole.process(left.data(), right.data(), length);
    for (int step : {1, 7, 32, 33, 129}) {
        auto cutLeft = originalLeft, cutRight = originalRight;
        Guard guard(rate);
        const auto before = RealTimeTrap::allocations();
        {
            const RealTimeTrap trap;
            for (int done = 0; done < length; done += step)
                guard.process(cutLeft.data() + done, cutRight.data() + done, std::min(step, length - done));
        }
        CHECK(RealTimeTrap::allocations() == before);
        CHECK(cutLeft == left);
        CHECK(cutRight == right);
    }
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
    CHECK(largestStep < (1.0 - 0.89 / 4.2) / std::ceil(Guard::lookAheadTime.value * rate) + 1e-6);
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
