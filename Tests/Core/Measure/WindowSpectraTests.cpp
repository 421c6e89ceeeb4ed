#include "Core/Measure/WindowSpectra.h"

#include "Core/Measure/CrossSpectra.h"
#include "Core/Measure/Kernels.h"
#include "Support/InstructionSets.h"
#include "Support/MemorySource.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <cstring>
#include <numbers>
#include <utility>

using namespace spillwright;
using namespace spillwright::test;

namespace {

CrossSpectra spectraOf(const MemorySource& source, int workerCount = 2) {
    Workers workers(workerCount);
    auto spectra = computeCrossSpectra(source, {}, workers, {});
    REQUIRE(spectra);
    return std::move(spectra).value();
}

/// X(bin) of one window by the definition, in double.
std::complex<double> binByHand(const std::vector<float>& x, std::int64_t start, int window, int bin) {
    std::complex<double> value;
    for (int n = 0; n < window; ++n)
        value += std::polar(0.5 - 0.5 * std::cos(2.0 * std::numbers::pi * n / window),
                            -2.0 * std::numbers::pi * bin * n / window) *
                 static_cast<double>(x[static_cast<std::size_t>(start + n)]);
    return value;
}

} // namespace

TEST_CASE("kept windows are the spectra of their own moment, each part within 2^-8") {
    const MemorySource source({whiteNoise(48000 * 4, 1), whiteNoise(48000 * 4, 2)});
    const auto spectra = spectraOf(source);
    const WindowSpectra* windows = spectra.windowSpectra();
    REQUIRE(windows);
    REQUIRE(windows->windows() == spectra.windows());
    REQUIRE(std::ssize(windows->kept()) == spectra.windows()); // few enough: all of them
    CHECK(windows->firstBin() * spectra.binWidth() >= sourceBand.low.value);
    CHECK((windows->firstBin() + windows->binCount() - 1) * spectra.binWidth() <= sourceBand.high.value);
    for (const auto& [track, window, bin] :
         {std::array{0, 0, 31}, std::array{1, 7, 512}, std::array{0, 21, 3000}, std::array{1, 21, 47}}) {
        const auto expected =
            binByHand(source.track(track), window * spectra.windowLength() / 2, spectra.windowLength(), bin);
        const auto kept =
            kernels::keptValue(windows->spectrum(track, window)[static_cast<std::size_t>(bin - windows->firstBin())]);
        // Eight significant bits, rounded; and the transform in single precision.
        CHECK(std::abs(static_cast<double>(kept.real()) - expected.real()) <=
              0x1p-8 * std::abs(expected.real()) + 1e-3);
        CHECK(std::abs(static_cast<double>(kept.imag()) - expected.imag()) <=
              0x1p-8 * std::abs(expected.imag()) + 1e-3);
    }
}

TEST_CASE("the third-octave powers of all windows average to those of the cross-spectra") {
    const MemorySource source({pinkNoise(48000 * 9, 1), whiteNoise(48000 * 9, 2)});
    const auto spectra = spectraOf(source);
    const auto& windows = *spectra.windowSpectra();
    REQUIRE(windows.bands().size() == 20); // 100, 125, 160 ... 8000 Hz
    for (int track = 0; track < 2; ++track)
        for (int band = 0; band < 20; ++band) {
            const auto& bins = windows.bands()[static_cast<std::size_t>(band)];
            double whole = 0.0, mean = 0.0;
            for (int bin = bins.firstBin; bin <= bins.lastBin; ++bin)
                whole += spectra.power(bin, track);
            std::vector<float> powers(static_cast<std::size_t>(windows.windows()));
            windows.copyPowers(track, band, powers);
            for (const float power : powers)
                mean += static_cast<double>(power) / static_cast<double>(powers.size());
            CHECK(std::abs(decibelsOfPower(mean / whole)) < 0.02); // each is rounded to 2^-8 of itself
        }
}

TEST_CASE("of a long recording the kept windows are spread evenly and stay within their memory") {
    const int tracks = GENERATE(1, 24, 64);
    const WindowSpectra windows(tracks, 21000, 48000.0 / 16384, 8193);
    const auto kept = windows.kept();
    REQUIRE_FALSE(kept.empty());
    CHECK(kept.size() >= (tracks == 64 ? 170u : 230u));
    CHECK(kept.size() <= 240u);
    CHECK(static_cast<std::size_t>(tracks) * kept.size() * static_cast<std::size_t>(windows.binCount()) * 4 <=
          (tracks == 64 ? 2 : 1) * windowSpectraBytes);
    const double step = 21000.0 / static_cast<double>(kept.size());
    for (std::size_t k = 0; k < kept.size(); ++k)
        CHECK(std::abs(static_cast<double>(kept[k]) - (static_cast<double>(k) + 0.5) * step) <= 1.0);
}

TEST_CASE("single windows are the same bytes for any number of workers, and come back from the store") {
    std::vector<std::vector<float>> samples;
    for (std::uint64_t track = 0; track < 5; ++track)
        samples.push_back(whiteNoise(48000 * 7, track + 1));
    const MemorySource source(samples, 48000.0, {{0}, {1, 2, 3, 4}});
    const auto one = spectraOf(source, 1);
    const auto bytesOf = [](const CrossSpectra& spectra) {
        std::vector<std::byte> bytes;
        WindowSpectra::visit(*spectra.windowSpectra(), [&](auto part) {
            const auto some = std::as_bytes(part);
            bytes.insert(bytes.end(), some.begin(), some.end());
            return true;
        });
        return bytes;
    };
    CHECK(bytesOf(one) == bytesOf(spectraOf(source, 3)));

    std::vector<std::byte> stored;
    REQUIRE(one.store([&](std::span<const std::byte> part) {
        stored.insert(stored.end(), part.begin(), part.end());
        return true;
    }));
    CHECK(stored.size() == one.storedBytes());
    std::size_t at = 0;
    const auto back = CrossSpectra::load(5, 48000.0, one.from(), one.to(), [&](std::span<std::byte> part) {
        std::memcpy(part.data(), stored.data() + at, part.size());
        at += part.size();
        return true;
    });
    REQUIRE(back);
    CHECK(at == stored.size());
    CHECK(bytesOf(*back) == bytesOf(one));
    CHECK(back->windowSpectra()->power(3, 17, 12) > 0.0f);
}

TEST_CASE("an average over some stretches keeps no single windows") {
    const MemorySource source({whiteNoise(48000 * 4, 1)});
    const auto spectra = spectraOf(source);
    Workers workers(1);
    const std::vector<float> weights(static_cast<std::size_t>(spectra.stretches()), 1.0f);
    CHECK_FALSE(spectra.restrictedTo(weights, workers).windowSpectra());
}

TEST_CASE("spectra are packed to nearest, whatever their number") {
    onEveryInstructionSet([] {
        std::vector<std::complex<float>> values;
        Noise noise(3);
        for (int n = 0; n < 37; ++n)
            values.push_back({static_cast<float>(noise.normal()), static_cast<float>(1e6 * noise.normal())});
        std::vector<std::uint32_t> packed(values.size());
        kernels::packKept(values.data(), values.size(), packed.data());
        for (std::size_t n = 0; n < values.size(); ++n) {
            const auto back = kernels::keptValue(packed[n]);
            CHECK(std::abs(back.real() - values[n].real()) <= 0x1p-8f * std::abs(values[n].real()));
            CHECK(std::abs(back.imag() - values[n].imag()) <= 0x1p-8f * std::abs(values[n].imag()));
        }
    });
}
