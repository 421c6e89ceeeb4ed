#include "Core/Scene/PracticeSounds.h"

#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <complex>
#include <numbers>

using namespace spillwright;

namespace {

constexpr PracticeSound all[] = {PracticeSound::pinkNoise, PracticeSound::drums, PracticeSound::voice};

double rmsDb(const std::vector<float>& samples) {
    double power = 0.0;
    for (const float sample : samples)
        power += static_cast<double>(sample) * static_cast<double>(sample);
    return 10.0 * std::log10(power / static_cast<double>(samples.size()));
}

/// Power between two frequencies, of the first 2^17 samples.
double powerBetween(const std::vector<float>& samples, double rate, double low, double high) {
    std::vector<std::complex<double>> spectrum(1 << 17);
    for (std::size_t n = 0; n < spectrum.size(); ++n)
        spectrum[n] = static_cast<double>(samples.at(n));
    test::transformByHalves(spectrum, -1.0);
    double power = 0.0;
    for (std::size_t k = 1; k < spectrum.size() / 2; ++k) {
        const double hertz = static_cast<double>(k) * rate / static_cast<double>(spectrum.size());
        if (hertz >= low && hertz < high) power += std::norm(spectrum[k]);
    }
    return power;
}

/// Power of one tone in a stretch, under a Hann window.
double powerAt(const std::vector<float>& samples, double rate, double from, double to, double hertz) {
    const auto first = static_cast<std::size_t>(from * rate), last = static_cast<std::size_t>(to * rate);
    std::complex<double> sum;
    for (std::size_t n = first; n < last; ++n) {
        const double place = static_cast<double>(n - first) / static_cast<double>(last - first);
        sum += static_cast<double>(samples.at(n)) * (0.5 - 0.5 * std::cos(2.0 * std::numbers::pi * place)) *
               std::polar(1.0, -2.0 * std::numbers::pi * hertz * static_cast<double>(n) / rate);
    }
    return std::norm(sum);
}

} // namespace

TEST_CASE("every sound of the practice room is a loop of some seconds at one level, at any rate, the same each time") {
    for (const double rate : {8000.0, 44100.0, 48000.0, 96000.0})
        for (const PracticeSound sound : all) {
            CAPTURE(rate, static_cast<int>(sound));
            const auto samples = practiceSound(sound, rate);
            CHECK(static_cast<double>(samples.size()) / rate >= 4.0);
            CHECK(static_cast<double>(samples.size()) / rate <= 9.0);
            CHECK(rmsDb(samples) == Approx(practiceLevel.value).margin(1e-3));
            for (const float sample : samples)
                REQUIRE(std::abs(sample) < 1.0f);
            if (rate == 48000.0) CHECK((samples == practiceSound(sound, rate)));
            // The seam is no larger a step than others.
            float largest = 0.0f;
            for (std::size_t n = 1; n < samples.size(); ++n)
                largest = std::max(largest, std::abs(samples[n] - samples[n - 1]));
            CHECK(std::abs(samples.front() - samples.back()) <= largest);
        }
}

TEST_CASE("pink noise holds the same power in every octave") {
    const auto samples = practiceSound(PracticeSound::pinkNoise, 48000.0);
    REQUIRE(samples.size() == 1 << 18);
    double first = 0.0;
    for (double low = 31.25; low < 16000.0; low *= 2.0) {
        const double power = powerBetween(samples, 48000.0, low, 2.0 * low);
        if (first == 0.0) first = power;
        // Half the loop is looked at: lines that stand 0.18 Hz apart beat within bins of 0.37 Hz. The lowest octave
        // has 85 bins, whose mean is within 1 dB of the truth in 99 of 100; seen through the edge, 0.3 dB of leakage.
        CHECK(10.0 * std::log10(power / first) == Approx(0.0).margin(1.3));
    }
}

TEST_CASE("the voice has the partials of its notes, and the drums reach from the bass to the treble") {
    const auto voice = practiceSound(PracticeSound::voice, 48000.0);
    // The first note, 147 Hz: between two partials there is far less than at one.
    CHECK(powerBetween(voice, 48000.0, 140.0, 154.0) > 20.0 * powerBetween(voice, 48000.0, 214.0, 228.0));
    CHECK(powerBetween(voice, 48000.0, 2000.0, 4000.0) > 1e-3 * powerBetween(voice, 48000.0, 100.0, 1000.0));
    const auto drums = practiceSound(PracticeSound::drums, 48000.0);
    const double whole = powerBetween(drums, 48000.0, 20.0, 20000.0);
    for (double low = 62.5; low < 16000.0; low *= 2.0)
        CHECK(powerBetween(drums, 48000.0, low, 2.0 * low) > 1e-4 * whole);
}

TEST_CASE("a skin falls to its tone, and dies away") {
    constexpr double rate = 48000.0, beat = 0.6;
    const auto drums = practiceSound(PracticeSound::drums, rate);
    struct Stroke {
        double at, hertz, decay;
    };
    for (const auto& stroke : {Stroke{1.5, 52.0, 0.16}, Stroke{6.5, 150.0, 0.22}, Stroke{7.5, 82.0, 0.22}}) {
        CAPTURE(stroke.at);
        const double start = stroke.at * beat;
        const auto power = [&](double from, double to, double hertz) {
            return powerAt(drums, rate, start + from, start + to, hertz);
        };
        // Once it has fallen the tone stands alone: the next fall by half an octave is far below.
        const double tone = power(0.08, 0.28, stroke.hertz);
        CHECK(tone > 100.0 * power(0.08, 0.28, stroke.hertz * 1.45));
        CHECK(tone > 100.0 * power(0.08, 0.28, stroke.hertz / 1.45));
        const double fall = 10.0 * std::log10(power(0.08, 0.18, stroke.hertz) / power(0.18, 0.28, stroke.hertz));
        CHECK(fall == Approx(20.0 * 0.1 / stroke.decay * std::log10(std::numbers::e)).margin(1.5));
    }
}
