#include "Core/Signal/HighPass.h"

#include <catch2/catch.hpp>

#include <numbers>
#include <random>
#include <vector>

using namespace spillwright;

TEST_CASE("a high-pass is 3.01 dB down at its corner, at any rate") {
    // |H|^2 = 1/2 at the corner of any Butterworth filter, and prewarping keeps it there.
    for (double rate : {44100.0, 48000.0, 192000.0})
        for (double corner : {20.0, 80.0, 500.0, 10000.0})
            CHECK(decibelsOfAmplitude(std::abs(HighPass(Hertz(corner), rate).responseAt(Hertz(corner)))) ==
                  Approx(-3.0103).margin(1e-4));
}

TEST_CASE("a high-pass falls by 12 dB an octave and lets the top pass") {
    const HighPass filter(Hertz(1000.0), 48000.0);
    const auto level = [&](double hertz) { return decibelsOfAmplitude(std::abs(filter.responseAt(Hertz(hertz)))); };
    // |H| = (f/fc)^2 / sqrt(1 + (f/fc)^4) of the analogue filter: -24.099 dB and -36.125 dB at 1/4 and 1/8; the
    // bilinear transform's warping is below 0.02 dB this far below Nyquist.
    CHECK(level(250.0) == Approx(-24.10).margin(0.05));
    CHECK(level(250.0) - level(125.0) == Approx(12.03).margin(0.03));
    CHECK(level(20000.0) == Approx(0.0).margin(1e-3));
    CHECK(std::abs(filter.responseAt(Hertz(0.0))) == 0.0);
}

TEST_CASE("a filtered impulse has the response that is reckoned with, in magnitude and phase") {
    HighPass filter(Hertz(120.0), 48000.0);
    std::vector<float> impulse(16384, 0.0f); // long after the -100 dB of settlingSamples()
    impulse[0] = 1.0f;
    filter.process(impulse.data(), 5000); // in two calls: the state is kept between them
    filter.process(impulse.data() + 5000, 16384 - 5000);
    for (double hertz : {30.0, 120.0, 300.0, 5000.0, 23000.0}) {
        std::complex<double> sum;
        for (std::size_t n = 0; n < impulse.size(); ++n)
            sum += static_cast<double>(impulse[n]) *
                   std::polar(1.0, -2.0 * std::numbers::pi * hertz / 48000.0 * static_cast<double>(n));
        // Outputs are rounded to single precision: 2^-25 of each, whose magnitudes add up to about 2.5.
        CHECK(std::abs(sum - filter.responseAt(Hertz(hertz))) < 2.5 / (1 << 25));
    }
}

TEST_CASE("advancing a high-pass leaves the state that filtering leaves") {
    std::mt19937 random(4);
    std::uniform_real_distribution<float> even(-1.0f, 1.0f);
    std::vector<float> samples(7003);
    for (auto& sample : samples)
        sample = even(random) + 0.5f;
    for (int count : {0, 1, 7, 8, 500, 7003}) {
        HighPass filtered(Hertz(35.0), 44100.0), advanced(Hertz(35.0), 44100.0);
        std::vector<float> past{0.3f, -0.2f, 0.9f};
        filtered.process(past.data(), 3);
        advanced.setState(filtered.state());
        auto copy = samples;
        filtered.process(copy.data(), count);
        advanced.advance(samples.data(), count);
        // Rounding of double, amplified by the filter's long memory (1400 samples): 1e-16 * 1e4.
        CHECK(advanced.state().first == Approx(filtered.state().first).margin(1e-12));
        CHECK(advanced.state().second == Approx(filtered.state().second).margin(1e-12));
    }
}

TEST_CASE("the past of a high-pass has died away after the settling time, and not long before") {
    for (double corner : {20.0, 80.0, 500.0}) {
        const HighPass filter(Hertz(corner), 48000.0);
        const auto left = [&](int samples) {
            HighPass resting = filter;
            resting.setState({1.0, -1.0});
            std::vector<float> silence(static_cast<std::size_t>(samples), 0.0f);
            resting.advance(silence.data(), samples);
            return decibelsOfAmplitude(std::hypot(resting.state().first, resting.state().second) / std::hypot(1, 1));
        };
        // A conjugate pair turns as it decays; 6 dB is room for that.
        CHECK(left(filter.settlingSamples()) < HighPass::settledDb + 6.0);
        CHECK(left(filter.settlingSamples() / 2) > HighPass::settledDb / 2.0 - 12.0);
    }
}

TEST_CASE("a high-pass stays stable for corners that no filter can have") {
    for (double corner : {-10.0, 0.0, 24000.0, 30000.0, 1e9}) {
        HighPass filter(Hertz(corner), 48000.0);
        std::vector<float> samples(48000, 1.0f);
        filter.process(samples.data(), 48000);
        for (float sample : samples)
            REQUIRE(std::abs(sample) <= 1.0f);
    }
}

TEST_CASE("high-passes are the same filter when corner and rate agree, whatever has passed through them") {
    HighPass used(Hertz(80.0), 48000.0);
    std::vector<float> samples(10, 1.0f);
    used.process(samples.data(), 10);
    CHECK(used.sameFilter(HighPass(Hertz(80.0), 48000.0)));
    CHECK_FALSE(used.sameFilter(HighPass(Hertz(80.1), 48000.0)));
}
