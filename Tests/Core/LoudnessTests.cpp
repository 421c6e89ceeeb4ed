#include "Core/Loudness.h"

#include "Support/RenderedLoudness.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cfenv>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>

using namespace spillwright;

TEST_CASE("K-weighting has the gains that the standard's calibration tone and its curves ask for") {
    // A full-scale sine of 997 Hz reads -3.01 LKFS: -0.691 + 10 lg(|K|^2 / 2) (ITU-R BS.1770-4, annex 1).
    CHECK(decibelsOfPower(kWeighting(Hertz(997.0))) == Approx(0.691).margin(0.005));
    // The shelf rises by 4 dB towards high frequencies, the high-pass falls by 12 dB an octave (figures 2 and 4).
    CHECK(decibelsOfPower(kWeighting(Hertz(10000.0))) == Approx(4.0).margin(0.1));
    CHECK(decibelsOfPower(kWeighting(Hertz(10.0)) / kWeighting(Hertz(5.0))) == Approx(12.0).margin(0.6));
    CHECK(kWeighting(Hertz(0.0)) == 0.0);
}

TEST_CASE("at 48 kHz K-weighting has the coefficients of the standard") {
    // ITU-R BS.1770, tables 1 and 2 (from memory).
    for (const double hertz : {20.0, 38.0, 100.0, 997.0, 1682.0, 5000.0, 20000.0}) {
        const auto z = std::polar(1.0, -2.0 * std::numbers::pi * hertz / 48000.0);
        const auto shelf = (1.53512485958697 - 2.69169618940638 * z + 1.19839281085285 * z * z) /
                           (1.0 - 1.69065929318241 * z + 0.73248077421585 * z * z);
        const auto highPass = (1.0 - 2.0 * z + z * z) / (1.0 - 1.99004745483398 * z + 0.99007225036621 * z * z);
        CHECK(kWeighting(Hertz(hertz)) == Approx(std::norm(shelf * highPass)).epsilon(1e-9));
    }
}

TEST_CASE("K-weighted noise has the loudness that libebur128 gives it, at any rate") {
    for (const double rate : {32000.0, 44100.0, 48000.0, 96000.0, 192000.0}) {
        auto noise = test::pinkNoise(static_cast<std::size_t>(2.0 * rate), 5, rate);
        std::vector<float> left;
        for (const float sample : noise) {
            left.push_back(sample);
            left.push_back(0.0f);
        }
        const auto expected = test::measuredLoudness(left, rate);
        KFilter filter(rate);
        filter.process(noise.data(), 1000); // cut anywhere, it goes on
        filter.process(noise.data() + 1000, static_cast<int>(noise.size()) - 1000);
        std::vector<double> blocks;
        const auto step = static_cast<std::size_t>(rate / 10.0);
        for (std::size_t from = 0; from + 4 * step <= noise.size(); from += step) {
            double sum = 0.0;
            for (std::size_t n = from; n < from + 4 * step; ++n)
                sum += static_cast<double>(noise[n]) * static_cast<double>(noise[n]);
            blocks.push_back(sum / static_cast<double>(4 * step));
        }
        CHECK(*gatedLoudness(blocks) == Approx(*expected).margin(0.001));
    }
}

TEST_CASE("what rings on after a sound is cut off before numbers become too small to be quick") {
    KFilter filter(48000.0);
    std::vector<float> sound = test::whiteNoise(4800, 1);
    filter.process(sound.data(), 4800);
    std::vector<float> silence(480);
    for (int n = 0; n < 300;
         ++n, std::fill(silence.begin(), silence.end(), 0.0f)) // 3 s: unless cut off, the state has shrunk to 10^-310
        filter.process(silence.data(), 480);
    std::feclearexcept(FE_ALL_EXCEPT);
    filter.process(silence.data(), 480);
    CHECK(std::fetestexcept(FE_UNDERFLOW) == 0);
    CHECK(silence == std::vector<float>(480));
}

TEST_CASE("the gates leave out what is silent, and what is 10 LU below the rest") {
    const auto power = [](double lufs) { return std::pow(10.0, (lufs + 0.691) / 10.0); };
    const auto loudness = [&](std::initializer_list<double> blocks) {
        std::vector<double> powers;
        for (const double lufs : blocks)
            powers.push_back(power(lufs));
        return gatedLoudness(powers);
    };
    CHECK_FALSE(gatedLoudness({}));
    CHECK_FALSE(loudness({-71.0, -std::numeric_limits<double>::infinity()}));
    CHECK(*loudness({-69.0, -71.0}) == Approx(-69.0));
    CHECK(*loudness({-20.0, -20.0, -75.0}) == Approx(-20.0));
    CHECK(*loudness({-20.0, -60.0}) == Approx(-20.0));
    // The mean of two is 10 lg((1 + 10^-1.25) / 2) = -2.77 dB from the first, the gate 10 LU below it.
    CHECK(*loudness({-20.0, -32.5}) == Approx(-22.77).margin(0.005));
    CHECK(*loudness({-20.0, -32.9}) == Approx(-20.0));
    CHECK(*loudness({-20.0, -32.5, -75.0}) == Approx(-22.77).margin(0.005)); // silence does not lower the gate
}
