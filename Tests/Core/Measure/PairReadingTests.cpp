#include "Core/Measure/PairReading.h"

#include "Support/MemorySource.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <cmath>

using namespace spillwright;
using namespace spillwright::test;

namespace {

constexpr double rate = 48000.0;
constexpr double sampleSeconds = 1.0 / rate;

CrossSpectra spectraOf(std::vector<std::vector<float>> tracks, double atRate = rate) {
    Workers workers(2);
    auto spectra = computeCrossSpectra(MemorySource(std::move(tracks), atRate), {}, workers, {});
    REQUIRE(spectra);
    return std::move(spectra).value();
}

PairReading readTwo(std::vector<float> first, std::vector<float> second, const ReadingOptions& options = {}) {
    return readPair(spectraOf({std::move(first), std::move(second)}), 0, 1, options);
}

} // namespace

TEST_CASE("recovers 3.25 samples, the second later, the same way up") {
    const auto music = pinkNoise(48000 * 10, 1);
    const auto reading = readTwo(music, delayed(music, 3.25));
    REQUIRE(reading.related);
    REQUIRE(reading.arrival);
    CHECK(reading.arrival->delay.value / sampleSeconds == Approx(3.25).margin(0.01));
    CHECK(reading.polarity->polarity == Polarity::same);
}
