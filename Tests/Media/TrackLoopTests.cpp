#include "Media/TrackLoop.h"

#include "Support/MemorySource.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <numbers>

using namespace spillwright;
using namespace spillwright::test;

namespace {

std::vector<float> tone(std::size_t length, double hertz, double rate) {
    std::vector<float> samples(length);
    for (std::size_t n = 0; n < length; ++n)
        samples[n] = static_cast<float>(0.5 * std::sin(2.0 * std::numbers::pi * hertz * static_cast<double>(n) / rate));
    return samples;
}

} // namespace

TEST_CASE("a loop of a track is its stretch, and only its end gives way to what leads to its beginning") {
    const auto noise = whiteNoise(60000, 1);
    const MemorySource source({whiteNoise(60000, 2), noise}, 48000.0, {{0, 1}});
    const auto loop = trackLoop(source, 1, 10000, 30000, 48000.0);
    REQUIRE(loop);
    REQUIRE(loop->size() == 20000);
    CHECK(std::equal(loop->begin(), loop->end() - 480, noise.begin() + 10000));
    CHECK(loop->back() == noise[9999]); // then comes sample 10000 again
}

TEST_CASE("a loop at another rate is the same sound, without a step at its seam") {
    const MemorySource source({tone(44100 * 3, 100.0, 44100.0)}, 44100.0);
    const auto loop = trackLoop(source, 0, 44100, 2 * 44100, 48000.0); // 100 periods
    REQUIRE(loop);
    REQUIRE(loop->size() == 48000);
    const auto expected = tone(48000, 100.0, 48000.0);
    for (std::size_t n = 100; n < 47000; ++n)
        REQUIRE(std::abs((*loop)[n] - expected[n]) < 1e-4f);
    CHECK(std::abs(loop->front() - loop->back()) < 1.1f * 0.5f * static_cast<float>(2.0 * std::numbers::pi / 480.0));
}

TEST_CASE("a loop is cut at 20 s and at the recording's end; nothing and next to nothing are faults") {
    const MemorySource source({whiteNoise(25 * 8000, 1)}, 8000.0);
    CHECK(trackLoop(source, 0, 0, 1 << 30, 8000.0)->size() == 160000);
    CHECK(trackLoop(source, 0, 24 * 8000, 1 << 30, 8000.0)->size() == 8000);
    CHECK(trackLoop(source, 0, -5, 8000, 8000.0)->size() == 8000);
    CHECK(trackLoop(source, 0, 25 * 8000, 1 << 30, 8000.0).fault().line() ==
          "loop: holds nothing; choose a stretch of the recording");
    CHECK(trackLoop(source, 0, 0, 100, 8000.0).fault().line() ==
          "loop: is shorter than 20 ms; choose a longer stretch");
}
