#include "Core/Scene/PracticeSounds.h"

#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <complex>

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
