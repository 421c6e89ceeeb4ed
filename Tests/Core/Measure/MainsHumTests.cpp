#include "Core/Measure/MainsHum.h"

#include "Support/MemorySource.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <numbers>

using namespace spillwright;
using namespace spillwright::test;

namespace {

constexpr double rate = 48000.0;

/// Strokes of noise that fade between each other, and a mains hum of so much rms a line.
std::vector<float> strokes(double seconds, double mains, double lineRms, std::uint64_t seed) {
    auto sound = whiteNoise(static_cast<std::size_t>(seconds * rate), seed);
    for (std::size_t n = 0; n < sound.size(); ++n) {
        const double t = static_cast<double>(n) / rate;
        sound[n] *= static_cast<float>(std::exp(-std::fmod(t, 0.7) / 0.05));
        for (int line = 1; line <= 8; ++line)
            sound[n] += static_cast<float>(std::numbers::sqrt2 * lineRms *
                                           std::sin(2.0 * std::numbers::pi * mains * line * t + line));
    }
    return sound;
}

CrossSpectra spectraOf(std::vector<float> track, Workers& workers) {
    auto spectra = computeCrossSpectra(MemorySource({std::move(track)}, rate), {}, workers, {});
    REQUIRE(spectra.ok());
    return std::move(spectra).value();
}

} // namespace

TEST_CASE("hum under strokes is found with its frequency and level, and none where there is none") {
    Workers workers(2);
    for (const double mains : {50.03, 59.95}) {
        const auto spectra = spectraOf(strokes(10.0, mains, 0.001, 1), workers);
        const auto hum = steadyHum(spectra, 0);
        REQUIRE(hum);
        CHECK(hum->hertz == Approx(mains).margin(0.1));
        CHECK(hum->lines >= 6); // 2 to 8: lines below sourceBand are not asked
        // Seven lines of -60 dBFS; in the quietest tenth of the windows the strokes have taken some of each away.
        CHECK(hum->level.value < -60.0 + 10.0 * std::log10(7.0) + 0.3);
        CHECK(hum->level.value > -60.0 + 10.0 * std::log10(7.0) - 2.0);
        const auto level = steadyLevelAt(spectra, 0, hum->hertz);
        REQUIRE(level);
        CHECK(level->value == Approx(hum->level.value));
    }
    const auto clean = spectraOf(strokes(10.0, 50.0, 0.0, 1), workers);
    CHECK(!steadyHum(clean, 0));
    const auto level = steadyLevelAt(clean, 0, 50.0);
    REQUIRE(level);
    CHECK(level->value < -65.0);
}

TEST_CASE("of too few windows nothing is said of hum") {
    Workers workers(2);
    const auto spectra = spectraOf(strokes(2.0, 50.0, 0.01, 1), workers);
    CHECK(!steadyHum(spectra, 0));
    CHECK(!steadyLevelAt(spectra, 0, 50.0));
}
