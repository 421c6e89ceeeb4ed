#include "Core/Sources/PathChange.h"

#include "Support/MemorySource.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <numbers>

using namespace spillwright;
using namespace spillwright::test;

namespace {

constexpr double rate = 48000.0;

/// A pair: noise, and the same through three paths, its straight way `late` samples later, scaled by `gain`.
CrossSpectra pairOf(std::uint64_t seed, double late, double gain, Workers& workers, double asRate = rate) {
    const auto sound = whiteNoise(4 * 48000, seed);
    const auto heard = filtered(sound, asRate, [&](double hertz) {
        const auto path = [&](double ms, double level) {
            return std::polar(level, -2.0 * std::numbers::pi * hertz * ms * 1e-3);
        };
        // the straight way may shift; two walls stay
        return gain * (path(2.0 + 1e3 * late / rate, 1.0) + path(7.1, 0.4) + path(11.3, -0.3));
    });
    auto other = heard;
    const auto hiss = whiteNoise(other.size(), seed + 77, 0.005);
    for (std::size_t n = 0; n < other.size(); ++n)
        other[n] += hiss[n];
    auto spectra = computeCrossSpectra(MemorySource({sound, other}, asRate), {}, workers, {});
    REQUIRE(spectra.ok());
    return std::move(spectra).value();
}

std::optional<PathChange> changeOf(const CrossSpectra& a, const CrossSpectra& b) {
    PathComparison::Scratch scratch;
    return PathComparison(a, b, Seconds(0.02)).of(pathOfPair(a, 0, 1), pathOfPair(b, 0, 1), scratch);
}

} // namespace

TEST_CASE("the way between two tracks is the same whatever is played") {
    Workers workers(2);
    const auto change = changeOf(pairOf(1, 0.0, 1.0, workers), pairOf(2, 0.0, 1.0, workers));
    REQUIRE(change);
    CHECK(std::abs(change->later.value) < 0.01e-3);
    CHECK(change->polarity == Polarity::same);
    CHECK(change->likeness > 0.95);
    CHECK(change->asItWas > 0.95);
    REQUIRE(change->louder);
    CHECK(std::abs(change->louder->value) < 0.1); // 0.1 dB: 170 averages leave less in the median of twenty octaves
}

TEST_CASE("a straight way that comes ten samples later is told to a hundredth of a millisecond, the walls staying") {
    Workers workers(2);
    const auto before = pairOf(1, 0.0, 1.0, workers), after = pairOf(2, 10.0, 1.0, workers);
    const auto change = changeOf(before, after);
    REQUIRE(change);
    CHECK(inMilliseconds(change->later) == Approx(10.0 / 48.0).margin(0.01));
    CHECK(change->likeness > change->asItWas + 0.2);
    const auto back = changeOf(after, before);
    REQUIRE(back);
    CHECK(inMilliseconds(back->later) == Approx(-10.0 / 48.0).margin(0.01));
}

TEST_CASE("upside down and 3 dB lower are told as such") {
    Workers workers(2);
    const auto change = changeOf(pairOf(1, 0.0, 1.0, workers), pairOf(2, 0.0, -std::pow(10.0, -3.0 / 20.0), workers));
    REQUIRE(change);
    CHECK(change->polarity == Polarity::inverted);
    CHECK(change->asItWas < -0.9);
    REQUIRE(change->louder);
    CHECK(change->louder->value == Approx(-3.0).margin(0.1));
}

TEST_CASE("a take at another rate is read at the same frequencies") {
    Workers workers(2);
    const auto change = changeOf(pairOf(1, 0.0, 1.0, workers), pairOf(2, 0.0, 1.0, workers, 44100.0));
    REQUIRE(change);
    CHECK(std::abs(change->later.value) < 0.01e-3);
    CHECK(change->likeness > 0.9);
}

TEST_CASE("what two takes do not have in common tells nothing") {
    Workers workers(2);
    auto unrelated =
        computeCrossSpectra(MemorySource({whiteNoise(4 * 48000, 5), whiteNoise(4 * 48000, 6)}, rate), {}, workers, {});
    REQUIRE(unrelated.ok());
    const auto change = changeOf(pairOf(1, 0.0, 1.0, workers), *unrelated);
    CHECK((!change || change->likeness < 0.5));
    CHECK(!pathOfSource(SpillMap(), 0, 0));
}
