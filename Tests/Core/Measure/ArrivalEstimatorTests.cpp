#include "Core/Measure/ArrivalEstimator.h"

#include "Core/Measure/PairReading.h"
#include "Support/MemorySource.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <numbers>

using namespace spillwright;
using namespace spillwright::test;

namespace {

constexpr double rate = 48000.0;

PairReading readTwo(std::vector<float> first, std::vector<float> second, const ReadingOptions& options = {}) {
    Workers workers(1);
    const auto spectra =
        computeCrossSpectra(MemorySource({std::move(first), std::move(second)}, rate), {}, workers, {});
    REQUIRE(spectra);
    return readPair(*spectra, 0, 1, options);
}

double inSamples(Seconds time) {
    return time.value * rate;
}

} // namespace

TEST_CASE("two equal sources of opposite arrival are two candidates of nearly equal probability") {
    const auto one = pinkNoise(480000, 1), other = pinkNoise(480000, 2);
    const auto reading = readTwo(sum(one, delayed(other, 90.0)), sum(delayed(one, 90.0), other));
    REQUIRE(reading.arrivalCandidates.size() >= 2);
    const auto& best = reading.arrivalCandidates[0];
    const auto& next = reading.arrivalCandidates[1];
    CHECK(best.delay == reading.arrival->delay);
    CHECK(best.probability == reading.arrival->confidence);
    // Chance in the cross-spectrum of the two moves either peak: of 10 s, by a few hundredths of a sample.
    CHECK(std::abs(inSamples(best.delay)) == Approx(90.0).margin(0.2));
    CHECK(inSamples(next.delay) == Approx(-inSamples(best.delay)).margin(0.4));
    CHECK(best.polarity == Polarity::same);
    CHECK(next.polarity == Polarity::same);
    CHECK(next.height > 0.8 * best.height);
    CHECK(reading.arrival->confidence < 0.8);
    double total = 0.0;
    for (const auto& candidate : reading.arrivalCandidates)
        total += candidate.probability;
    CHECK(total == Approx(1.0).epsilon(1e-12));
}
