#include "Core/Measure/MainsHum.h"

#include "Support/MemorySource.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <numbers>
#include <tuple>
#include <utility>
#include <vector>

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

TEST_CASE("a line or three that another recording has not are hum, whatever plays over them") {
    Workers workers(2);
    const auto with = [](const std::vector<std::pair<double, double>>& lines, std::uint64_t seed) { // Hz, amplitude
        auto sound = strokes(12.0, 50.0, 0.0, seed);
        for (std::size_t n = 0; n < sound.size(); ++n) {
            sound[n] *= 0.1f;
            for (const auto& [hertz, amplitude] : lines)
                sound[n] += static_cast<float>(
                    amplitude * std::sin(2.0 * std::numbers::pi * hertz * static_cast<double>(n) / rate + hertz));
        }
        return sound;
    };
    const auto before = spectraOf(with({}, 1), workers);
    for (const auto& [lines, mains, level] :
         {std::tuple(std::vector<std::pair<double, double>>{{50.0, 0.05}, {100.0, 0.025}, {150.0, 0.025}}, 50.0, -27.3),
          std::tuple(std::vector<std::pair<double, double>>{{50.0, 0.02}}, 50.0, -37.0),
          std::tuple(std::vector<std::pair<double, double>>{{59.97, 0.02}}, 59.97, -37.0),
          std::tuple(std::vector<std::pair<double, double>>{{100.04, 0.02}}, 50.02, -37.0)}) {
        CAPTURE(mains, level);
        const auto after = spectraOf(with(lines, 2), workers);
        const auto hum = addedHum(after, 0, before, 0);
        REQUIRE(hum);
        CHECK(hum->lines == static_cast<int>(lines.size()));
        CHECK(hum->hertz == Approx(mains).margin(0.1));
        CHECK(hum->level.value == Approx(level).margin(1.0));
        CHECK(!addedHum(before, 0, after, 0));
        const auto again = spectraOf(with(lines, 3), workers); // both have it
        CHECK(!addedHum(again, 0, after, 0));
        CHECK(!addedHum(after, 0, again, 0));
    }
    for (std::uint64_t seed = 4; seed < 6; ++seed)
        CHECK(!addedHum(spectraOf(with({}, seed), workers), 0, before, 0));
}

TEST_CASE("notes near the mains are no hum") {
    Workers workers(2);
    /// One note over and over, or notes in turn; they fade with so many seconds.
    const auto bass = [](const std::vector<double>& notes, double beat, double fade) {
        auto sound = whiteNoise(static_cast<std::size_t>(12.0 * rate), 9);
        for (std::size_t n = 0; n < sound.size(); ++n) {
            const double t = static_cast<double>(n) / rate;
            const double hertz = notes[static_cast<std::size_t>(t / beat) % notes.size()];
            sound[n] =
                0.0001f * sound[n] + static_cast<float>(0.1 * std::exp(-std::fmod(t, beat) / fade) *
                                                        std::sin(2.0 * std::numbers::pi * hertz * std::fmod(t, beat)));
        }
        return sound;
    };
    const auto before = spectraOf(bass({82.4, 110.0}, 0.5, 0.4), workers);
    for (const auto& notes :
         {std::vector{98.0}, std::vector{49.0}, std::vector{100.0, 130.8, 150.0}, std::vector{49.0, 61.7, 50.0},
          std::vector{61.7}, std::vector{146.8, 98.0}, std::vector{100.0}}) {
        CAPTURE(notes);
        for (const double fade : {0.2, 0.3})
            CHECK(!addedHum(spectraOf(bass(notes, 0.5, fade), workers), 0, before, 0));
        if (notes.front() != 100.0) // held without an end
            CHECK(!addedHum(spectraOf(bass(notes, 24.0, 1e9), workers), 0, before, 0));
    }
}

TEST_CASE("of too few windows nothing is said of hum") {
    Workers workers(2);
    const auto spectra = spectraOf(strokes(2.0, 50.0, 0.01, 1), workers);
    CHECK(!steadyHum(spectra, 0));
    CHECK(!steadyLevelAt(spectra, 0, 50.0));
}
