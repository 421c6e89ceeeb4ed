#include "Core/Signal/TrackChain.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <complex>
#include <numbers>
#include <random>
#include <vector>

using namespace spillwright;

namespace {

constexpr double rate = 48000.0;

std::vector<float> noise(int count) {
    std::mt19937 random(5);
    std::uniform_real_distribution<float> even(-1.0f, 1.0f);
    std::vector<float> samples(static_cast<std::size_t>(count));
    for (auto& sample : samples)
        sample = even(random);
    return samples;
}

TrackAdjustment adjusted(bool flip, double nudgeMs, double gainDb, double highPassHz, Slope slope = Slope::dB12) {
    TrackAdjustment adjustment;
    adjustment.flip = flip;
    adjustment.nudge = milliseconds(nudgeMs);
    adjustment.gain = Decibels(gainDb);
    if (highPassHz > 0.0) adjustment.highPass = Hertz(highPassHz);
    adjustment.highPassSlope = slope;
    return adjustment;
}

} // namespace

TEST_CASE("the chain of a track is s g H(f) e^{-j 2 pi f nudge}") {
    const int before = 3000, after = 20000;
    std::vector<float> impulse(static_cast<std::size_t>(before + after) + 6000, 0.0f);
    const float* zero = impulse.data() + 3000 + before;
    impulse[3000 + before] = 1.0f;
    for (const auto& adjustment :
         {adjusted(true, 0.0, 0.0, 0.0), adjusted(false, 2.9137, -6.0, 80.0),
          adjusted(true, -7.3331, 4.0, 300.0, Slope::dB18), adjusted(false, 50.0, 0.0, 90.0, Slope::dB24)}) {
        TrackChain chain(adjustment, rate);
        std::vector<float> out(static_cast<std::size_t>(before + after));
        chain.process(zero - before, out.data(), before + after);
        for (double hertz : {100.0, 1000.0, 9000.0, 20000.0}) {
            const double omega = 2.0 * std::numbers::pi * hertz;
            std::complex<double> heard;
            for (int n = 0; n < before + after; ++n)
                heard += static_cast<double>(out[static_cast<std::size_t>(n)]) *
                         std::polar(1.0, -omega * (n - before) / rate);
            std::complex<double> weight = (adjustment.flip ? -1.0 : 1.0) * amplitudeOfDecibels(adjustment.gain.value) *
                                          std::polar(1.0, -omega * adjustment.nudge.value);
            if (adjustment.highPass)
                weight *= HighPass(*adjustment.highPass, rate, adjustment.highPassSlope).responseAt(Hertz(hertz));
            INFO(hertz << " Hz, nudge " << inMilliseconds(adjustment.nudge) << " ms");
            CHECK(decibelsOfAmplitude(std::abs(heard - weight) / std::abs(weight)) < FractionalDelay::errorDb);
        }
    }
}

TEST_CASE("a flip and a whole nudge change no bit but the sign") {
    const auto samples = noise(1000);
    TrackChain chain(adjusted(true, -1.0, 0.0, 0.0), rate);
    std::vector<float> out(500);
    chain.process(samples.data() + 200, out.data(), 500);
    for (int n = 0; n < 500; ++n)
        REQUIRE(out[static_cast<std::size_t>(n)] == -samples[static_cast<std::size_t>(200 + 48 + n)]);
}

TEST_CASE("a muted track is silent") {
    auto adjustment = adjusted(false, 0.4, 3.0, 80.0);
    adjustment.muted = true;
    TrackChain chain(adjustment, rate);
    CHECK(chain.muted());
    const auto samples = noise(1000);
    std::vector<float> out(100, 7.0f);
    chain.process(samples.data() + 500, out.data(), 100);
    CHECK(std::count(out.begin(), out.end(), 0.0f) == 100);
}

TEST_CASE("a chain reads no sample outside the reach that it states") {
    for (double nudgeMs : {0.0, 0.013, -0.4, 5.0, -30.17}) {
        const TrackChain chain(adjusted(false, nudgeMs, 0.0, 0.0), rate);
        const int from = 4000, count = 50;
        const auto first = from - chain.samplesBefore(), last = from + count - 1 + chain.samplesAfter();
        const auto samples = noise(8000);
        auto others = samples;
        for (int n = 0; n < 8000; ++n)
            if (n < first || n > last) others[static_cast<std::size_t>(n)] = 1e30f;
        std::vector<float> expected(count), out(count);
        TrackChain(chain).process(samples.data() + from, expected.data(), count);
        TrackChain(chain).process(others.data() + from, out.data(), count);
        CHECK(out == expected);
    }
}

TEST_CASE("a settled chain goes on as if it had always run") {
    const auto samples = noise(40000);
    const int from = 30000, count = 3000;
    for (const auto& adjustment :
         {adjusted(false, 0.0, 0.0, 20.0), adjusted(true, 3.00417, -3.0, 20.0), adjusted(false, -2.5521, 0.0, 80.0),
          adjusted(false, 1.2, 0.0, 0.0), adjusted(false, 0.4131, 0.0, 20.0, Slope::dB18),
          adjusted(false, 0.0, 0.0, 20.0, Slope::dB24), adjusted(true, -1.30073, 0.0, 20.0, Slope::dB24)}) {
        TrackChain always(adjustment, rate), settled(adjustment, rate);
        std::vector<float> expected(static_cast<std::size_t>(from + count) - 1000), out(count);
        always.process(samples.data() + 1000, expected.data(), from + count - 1000);
        settled.settle(samples.data() + from);
        settled.process(samples.data() + from, out.data(), count);
        double worst = 0.0;
        for (int n = 0; n < count; ++n)
            worst = std::max(worst, std::abs(static_cast<double>(out[static_cast<std::size_t>(n)]) -
                                             static_cast<double>(expected[static_cast<std::size_t>(from - 1000 + n)])));
        // The forgotten past is 100 dB down on a state of some hundredths of full scale; and single precision.
        CHECK(decibelsOfAmplitude(worst) < HighPass::settledDb);
    }
}

TEST_CASE("the longest settling lets the steepest high-pass from 20 Hz up die away") {
    for (double at : {44100.0, 48000.0, 192000.0})
        for (Slope slope : slopes)
            CHECK(TrackChain(adjusted(false, 0.0, 0.0, 20.0, slope), at).settlingSamples() ==
                  HighPass(Hertz(20.0), at, slope).settlingSamples());
}

TEST_CASE("a chain can take over from another of the same nudge and high-pass, whatever its gain and flip") {
    const auto samples = noise(4000);
    TrackChain running(adjusted(false, 0.31, 0.0, 80.0), rate), next(adjusted(true, 0.31, 0.0, 80.0), rate);
    std::vector<float> out(1000), expected(1000);
    running.process(samples.data() + 1000, out.data(), 1000);
    REQUIRE(next.canContinue(running));
    CHECK_FALSE(next.sameTreatment(running));
    next.continueFrom(running);
    running.process(samples.data() + 2000, expected.data(), 1000);
    next.process(samples.data() + 2000, out.data(), 1000);
    for (std::size_t n = 0; n < out.size(); ++n)
        REQUIRE(out[n] == -expected[n]);
    CHECK_FALSE(next.canContinue(TrackChain(adjusted(true, 0.32, 0.0, 80.0), rate)));
    CHECK_FALSE(next.canContinue(TrackChain(adjusted(true, 0.31, 0.0, 81.0), rate)));
    CHECK_FALSE(next.canContinue(TrackChain(adjusted(true, 0.31, 0.0, 0.0), rate)));
    const TrackChain steeper(adjusted(true, 0.31, 0.0, 80.0, Slope::dB24), rate);
    CHECK_FALSE(next.canContinue(steeper));
    CHECK_FALSE(next.sameTreatment(steeper));
    CHECK(next.sameTreatment(TrackChain(adjusted(true, 0.31, 0.0, 80.0), rate)));
}
