#include "Core/Sources/CloseTracks.h"

#include "Core/Measure/CrossSpectra.h"
#include "Support/MemorySource.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <utility>

using namespace spillwright;
using namespace spillwright::test;

namespace {

constexpr std::size_t second = 48000;

/// Strokes at moments of its own that die away in 0.3 s, in noise of its own.
std::vector<float> player(std::uint64_t seed, double seconds = 30.0) {
    const auto length = static_cast<std::size_t>(seconds * second);
    auto sound = pinkNoise(length, seed);
    Noise noise(seed + 1000);
    double level = 0.0;
    std::size_t next = 0;
    for (std::size_t n = 0; n < length; ++n) {
        if (n == next) {
            level = 0.2 + noise.uniform();
            next += static_cast<std::size_t>((0.3 + 1.4 * noise.uniform()) * second);
        }
        sound[n] *= static_cast<float>(level);
        level *= 1.0 - 1.0 / (0.3 * second);
    }
    return sound;
}

/// One sound after another, each with a level in dB and a delay in samples.
struct Heard {
    const std::vector<float>& sound;
    double levelDb = 0.0;
    std::size_t late = 0;
};
std::vector<float> mixed(const std::vector<Heard>& parts, std::uint64_t seed) {
    auto sum = whiteNoise(parts.front().sound.size(), seed, 1e-5);
    for (const auto& part : parts)
        for (std::size_t n = part.late; n < sum.size(); ++n)
            sum[n] += static_cast<float>(amplitudeOfDecibels(part.levelDb)) * part.sound[n - part.late];
    return sum;
}

CloseTrackGuess guessOf(const std::vector<std::vector<float>>& tracks, const std::vector<CloseHint>& hints = {},
                        int workerCount = 2) {
    const MemorySource source(tracks);
    Workers workers(workerCount);
    const auto spectra = computeCrossSpectra(source, {}, workers, {});
    REQUIRE(spectra);
    std::vector<int> usable;
    for (int t = 0; t < std::ssize(tracks); ++t)
        usable.push_back(t);
    const auto guess = guessCloseTracks(*spectra->windowSpectra(), usable, hints, workers, {});
    REQUIRE(guess);
    return *guess;
}

SourcePlan planOf(const std::vector<std::vector<int>>& closeTracks) {
    SourcePlan plan;
    for (const auto& tracks : closeTracks)
        plan.sources.push_back({tracks});
    return plan;
}

} // namespace

TEST_CASE("a room track is no source, the tracks that it is a sum of are") {
    const auto first = player(1), other = player(2), third = player(3);
    const auto guess = guessOf({
        mixed({{first}, {other, -15, 200}, {third, -18, 250}}, 10),
        mixed({{first, -12, 700}, {other, -14, 800}, {third, -13, 900}}, 11),
        mixed({{other}, {first, -20, 200}, {third, -14, 300}}, 12),
        mixed({{third}, {first, -15, 250}, {other, -17, 300}}, 13),
    });
    CHECK(guess.plan == planOf({{0}, {2}, {3}}));
    CHECK(guess.unsure.empty());
}
