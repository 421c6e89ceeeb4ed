#include "Core/Measure/TakeAlignment.h"

#include "Support/MemorySource.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <numbers>

using namespace spillwright;
using namespace spillwright::test;

namespace {

constexpr double rate = 48000.0;

/// A tune and a drum in two tracks: which notes come is the score's, how they are struck the playing's. beat: seconds;
/// begins after `rest` seconds of nothing.
std::vector<std::vector<float>> take(std::uint64_t score, std::uint64_t playing, double beat, int beats,
                                     double rest = 0.0) {
    Noise what(score), how(playing);
    const auto length = static_cast<std::size_t>((rest + beat * beats + 0.2) * rate);
    std::vector<std::vector<float>> tracks(2, std::vector<float>(length));
    for (int n = 0; n < beats; ++n) {
        const double hertz = 262.0 * std::exp2(std::floor(12.0 * what.uniform()) / 12.0);
        const bool drum = what.uniform() < 0.6;
        const double level = 0.1 * std::exp2(how.normal() / 3.0), at = rest + beat * n + 0.005 * how.normal();
        const auto begin = static_cast<std::size_t>(std::max(0.0, at) * rate);
        for (std::size_t k = begin; k < std::min(length, begin + static_cast<std::size_t>(0.9 * beat * rate)); ++k) {
            const double t = static_cast<double>(k - begin) / rate;
            for (int partial = 1; partial <= 4; ++partial)
                tracks[0][k] += static_cast<float>(level / partial * std::exp(-t / 0.2) *
                                                   std::sin(2.0 * std::numbers::pi * partial * hertz * t));
            if (drum && t < 0.1) tracks[1][k] += static_cast<float>(level * std::exp(-t / 0.02) * how.normal());
        }
    }
    return tracks;
}

} // namespace

TEST_CASE("the same tune, slower and after a rest, is found beat by beat") {
    Workers workers(2);
    const MemorySource first(take(3, 1, 0.25, 48)), second(take(3, 2, 0.29, 48, 1.5));
    const auto alignment = alignTakes(first, second, workers, {});
    REQUIRE(alignment.ok());
    CHECK(alignment->confidence() > 0.5);
    std::vector<double> errors;
    for (int beat = 2; beat < 46; ++beat) {
        const auto there = alignment->inSecond(Seconds(0.25 * beat + 0.02));
        REQUIRE(there);
        errors.push_back(std::abs(there->time.value - (1.5 + 0.29 * beat + 0.02)));
        const auto back = alignment->inFirst(there->time);
        REQUIRE(back);
        CHECK(std::abs(back->time.value - (0.25 * beat + 0.02)) < 2.5 * alignment->step().value);
    }
    std::sort(errors.begin(), errors.end());
    CHECK(errors[errors.size() / 2] < 0.03); // a step and a half
    CHECK(errors[errors.size() * 9 / 10] < 0.08);
    CHECK(!alignment->inSecond(Seconds(-1.0)));
    CHECK(!alignment->inFirst(Seconds(0.5))); // the rest
}

TEST_CASE("a part is found within a longer take, at its place") {
    Workers workers(2);
    auto whole = take(3, 1, 0.25, 60);
    std::vector<std::vector<float>> part;
    for (const auto& track : take(3, 2, 0.25, 60))
        part.emplace_back(track.begin() + static_cast<std::ptrdiff_t>(5.0 * rate),
                          track.begin() + static_cast<std::ptrdiff_t>(11.0 * rate));
    const auto alignment = alignTakes(MemorySource(std::move(whole)), MemorySource(std::move(part), rate), workers, {});
    REQUIRE(alignment.ok());
    const auto place = alignment->inSecond(Seconds(8.0));
    REQUIRE(place);
    CHECK(place->time.value == Approx(3.0).margin(0.05));
    CHECK(place->confidence > 0.5);
    CHECK(!alignment->inSecond(Seconds(1.0)));
}

TEST_CASE("another tune is not taken for the same") {
    Workers workers(2);
    const MemorySource first(take(3, 1, 0.25, 48)), second(take(4, 2, 0.25, 48));
    const auto alignment = alignTakes(first, second, workers, {});
    REQUIRE(alignment.ok());
    CHECK(alignment->confidence() < 0.5);
}

TEST_CASE("silence aligns with nothing, and a stop is heeded") {
    Workers workers(2);
    const MemorySource first(take(3, 1, 0.25, 20)), silence({std::vector<float>(3 * 48000)});
    const auto alignment = alignTakes(first, silence, workers, {});
    REQUIRE(alignment.ok());
    CHECK(!alignment->inSecond(Seconds(1.0)));
    CHECK(alignment->confidence() == 0.0);
    const MemorySource nothing({std::vector<float>(10)});
    CHECK(alignTakes(first, nothing, workers, {}).ok());
    std::stop_source stop;
    stop.request_stop();
    const auto stopped = alignTakes(first, first, workers, {{}, stop.get_token()});
    REQUIRE(!stopped.ok());
    CHECK(stopped.fault().kind == Fault::Kind::cancelled);
}
