#include "Core/Signal/HighPass.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <random>
#include <vector>

using namespace spillwright;

TEST_CASE("a high-pass is 3.01 dB down at its corner, at any rate") {
    // |H|^2 = 1/2 at the corner of any Butterworth filter, and prewarping keeps it there.
    for (Slope slope : slopes)
        for (double rate : {44100.0, 48000.0, 192000.0})
            for (double corner : {20.0, 80.0, 500.0, 10000.0})
                CHECK(decibelsOfAmplitude(std::abs(HighPass(Hertz(corner), rate, slope).responseAt(Hertz(corner)))) ==
                      Approx(-3.0103).margin(1e-4));
}

TEST_CASE("a high-pass falls by 12, 18 or 24 dB an octave and lets the top pass") {
    for (Slope slope : slopes) {
        const HighPass filter(Hertz(1000.0), 48000.0, slope);
        const auto level = [&](double hertz) { return decibelsOfAmplitude(std::abs(filter.responseAt(Hertz(hertz)))); };
        // |H|^2 = 1 / (1 + (fc/f)^(2 n)) of the analogue filter; this far below Nyquist the bilinear transform warps
        // each of the n zeros by tan(x)/x with x = pi/48, 0.0124 dB.
        const int order = inDecibelsPerOctave(slope) / 6;
        CHECK(level(250.0) == Approx(-10.0 * std::log10(1.0 + std::pow(4.0, 2.0 * order))).margin(0.0125 * order));
        CHECK(level(250.0) - level(125.0) == Approx(inDecibelsPerOctave(slope)).epsilon(0.005));
        CHECK(level(20000.0) == Approx(0.0).margin(1e-3));
        CHECK(std::abs(filter.responseAt(Hertz(0.0))) == 0.0);
    }
}

TEST_CASE("the magnitude of a high-pass is Butterworth's at every frequency, warped") {
    // |H|^2 = 1 / (1 + (tan(pi fc/fs) / tan(pi f/fs))^(2 n)): Butterworth 1930 and the bilinear transform.
    for (Slope slope : slopes) {
        const double corner = 3000.0, rate = 44100.0;
        const HighPass filter(Hertz(corner), rate, slope);
        for (double hertz = 1.0; hertz < 22050.0; hertz *= 1.3) {
            const double ratio = std::tan(std::numbers::pi * corner / rate) / std::tan(std::numbers::pi * hertz / rate);
            const double power = 1.0 / (1.0 + std::pow(ratio, 2.0 * inDecibelsPerOctave(slope) / 6.0));
            CHECK(std::norm(filter.responseAt(Hertz(hertz))) == Approx(power).epsilon(1e-9));
        }
    }
}

TEST_CASE("a high-pass has the magnitude and phase of scipy.signal.butter") {
    // scipy 1.10.1: sosfreqz(butter(order, corner, 'highpass', fs=rate, output='sos'), [corner/4, corner, 2 corner]).
    struct Known {
        Slope slope;
        double corner, rate;
        std::complex<double> response[3];
    };
    const Known known[] = {
        {Slope::dB12,
         80.0,
         48000.0,
         {{-0.05836483312814533, 0.022010543235860217},
          {0.0, 0.7071067811862375},
          {0.7058998079029254, 0.6654983117619997}}},
        {Slope::dB12,
         6000.0,
         44100.0,
         {{-0.05221702765732672, 0.01841044441889146},
          {0.0, 0.7071067811865471},
          {0.8226988363616541, 0.5469051504771604}}},
        {Slope::dB18,
         80.0,
         48000.0,
         {{-0.007566257061377067, -0.013668220275192855}, {-0.5, 0.5}, {0.4923359320969108, 0.8615237699548465}}},
        {Slope::dB18,
         6000.0,
         44100.0,
         {{-0.005978442518359365, -0.011607981697220989}, {-0.5, 0.5}, {0.6833190286804348, 0.727474274816321}}},
        {Slope::dB24,
         80.0,
         48000.0,
         {{0.0030878213804662225, -0.002392251992919941},
          {-0.7071067811865613, 0.0},
          {0.20817355756340314, 0.9761012085664375}}},
        {Slope::dB24,
         6000.0,
         44100.0,
         {{0.0025022425798644195, -0.0017872465101458762},
          {-0.707106781186547, 0.0},
          {0.4882653437632326, 0.8723471062569954}}},
    };
    for (const Known& one : known) {
        const HighPass filter(Hertz(one.corner), one.rate, one.slope);
        const double places[] = {0.25, 1.0, 2.0};
        for (int i = 0; i < 3; ++i) // 1e-11: what double leaves where the zeros cancel, on either side
            CHECK(std::abs(filter.responseAt(Hertz(places[i] * one.corner)) - one.response[i]) < 1e-11);
    }
}

TEST_CASE("a filtered impulse has the response that is reckoned with, in magnitude and phase") {
    for (Slope slope : slopes) {
        HighPass filter(Hertz(120.0), 48000.0, slope);
        std::vector<float> impulse(16384, 0.0f); // long after the -100 dB of settlingSamples()
        impulse[0] = 1.0f;
        filter.process(impulse.data(), 5000); // in two calls: the state is kept between them
        filter.process(impulse.data() + 5000, 16384 - 5000);
        double magnitudes = 0.0;
        for (float sample : impulse)
            magnitudes += std::abs(static_cast<double>(sample));
        for (double hertz : {30.0, 120.0, 300.0, 5000.0, 23000.0}) {
            std::complex<double> sum;
            for (std::size_t n = 0; n < impulse.size(); ++n)
                sum += static_cast<double>(impulse[n]) *
                       std::polar(1.0, -2.0 * std::numbers::pi * hertz / 48000.0 * static_cast<double>(n));
            // Outputs are rounded to single precision: 2^-25 of each at most.
            CHECK(std::abs(sum - filter.responseAt(Hertz(hertz))) < magnitudes / (1 << 25));
        }
    }
}

TEST_CASE("advancing a high-pass leaves the state that filtering leaves") {
    std::mt19937 random(4);
    std::uniform_real_distribution<float> even(-1.0f, 1.0f);
    std::vector<float> samples(7003);
    for (auto& sample : samples)
        sample = even(random) + 0.5f;
    for (Slope slope : slopes)
        for (int count : {0, 1, 7, 8, 500, 7003}) {
            HighPass filtered(Hertz(35.0), 44100.0, slope), advanced(Hertz(35.0), 44100.0, slope);
            std::vector<float> past{0.3f, -0.2f, 0.9f};
            filtered.process(past.data(), 3);
            advanced.setState(filtered.state());
            auto copy = samples;
            filtered.process(copy.data(), count);
            advanced.advance(samples.data(), count);
            // Rounding of double, amplified by the filter's long memory (2600 samples): 1e-16 * 1e4.
            for (std::size_t i = 0; i < filtered.state().parts.size(); ++i)
                CHECK(advanced.state().parts[i] == Approx(filtered.state().parts[i]).margin(1e-12));
        }
}

TEST_CASE("the past of a high-pass has died away after the settling time, and not long before") {
    // What a constant of 1 that ends still gives out: filtered silence after it.
    for (Slope slope : slopes)
        for (double corner : {20.0, 80.0, 500.0}) {
            HighPass filter(Hertz(corner), 48000.0, slope);
            const int settling = filter.settlingSamples();
            std::vector<float> samples(200000, 1.0f);
            std::fill(samples.begin() + 100000, samples.end(), 0.0f);
            filter.process(samples.data(), 200000);
            const auto peakFrom = [&](int silent) {
                float peak = 0.0f;
                for (auto n = static_cast<std::size_t>(100000 + silent); n < samples.size(); ++n)
                    peak = std::max(peak, std::abs(samples[n]));
                return decibelsOfAmplitude(static_cast<double>(peak));
            };
            INFO(corner << " Hz, " << inDecibelsPerOctave(slope) << " dB an octave");
            // The pairs of poles start out of phase, up to 1.4 and 2.4 times the whole.
            CHECK(peakFrom(settling) < HighPass::settledDb + 7.6);
            CHECK(peakFrom(settling / 2) > HighPass::settledDb / 2.0 - 12.0);
        }
}

TEST_CASE("a high-pass stays stable for corners that no filter can have") {
    for (Slope slope : slopes)
        for (double corner : {-10.0, 0.0, 24000.0, 30000.0, 1e9}) {
            HighPass filter(Hertz(corner), 48000.0, slope);
            std::vector<float> samples(48000, 1.0f);
            filter.process(samples.data(), 48000);
            for (float sample : samples)
                REQUIRE(std::abs(sample) <= 1.0f);
        }
}

TEST_CASE("high-passes are the same filter when corner, rate and slope agree, whatever has passed through them") {
    HighPass used(Hertz(80.0), 48000.0);
    std::vector<float> samples(10, 1.0f);
    used.process(samples.data(), 10);
    CHECK(used.sameFilter(HighPass(Hertz(80.0), 48000.0)));
    CHECK_FALSE(used.sameFilter(HighPass(Hertz(80.1), 48000.0)));
    CHECK_FALSE(used.sameFilter(HighPass(Hertz(80.0), 48000.0, Slope::dB18)));
}
