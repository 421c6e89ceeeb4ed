#include "ScarceMemory.h"

#include "Core/Measure/CrossSpectra.h"
#include "Core/Propose/LoudnessModel.h"
#include "Core/Sources/CloseTracks.h"
#include "Core/Sources/SourceSound.h"
#include "Core/Sources/SpillMap.h"
#include "Support/MemorySource.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

using namespace spillwright;
using namespace spillwright::test;

namespace {

constexpr std::size_t length = 8 * 16000;
constexpr int usable[] = {0, 1, 2};

/// Three players, each loud in seconds of his own, and a little of each in the others' microphones.
MemorySource band() {
    std::vector<std::vector<float>> players, tracks;
    for (std::size_t k = 0; k < 3; ++k) {
        players.push_back(whiteNoise(length, k));
        for (std::size_t n = 0; n < length; ++n)
            players.back()[n] *= n / 16000 % 3 == k ? 1.0f : 0.01f;
    }
    for (std::size_t k = 0; k < 3; ++k) {
        tracks.push_back(players[k]);
        for (std::size_t n = 0; n < length; ++n)
            tracks[k][n] += 0.1f * players[(k + 1) % 3][n];
    }
    return MemorySource(std::move(tracks), 16000.0);
}

/// Lets each allocation of 8 KiB or more fail in turn: `run` says so in one line that names the memory, and what is
/// there when all are granted is what was there before. The number of allocations that failed.
template <class Run>
int eachFails(const Run& run) {
    constexpr std::size_t least = 8192;
    for (int passed = 0;; ++passed) {
        INFO("after " << passed);
        const ScarceMemory scarce(least, passed);
        const auto result = run();
        if (!scarce.met()) {
            CHECK(result.ok());
            return passed;
        }
        REQUIRE_FALSE(result.ok());
        REQUIRE(result.fault().where == "memory");
        REQUIRE(result.fault().what.find("too little of it") == 0);
        REQUIRE_FALSE(result.fault().mend.empty());
    }
}

} // namespace

TEST_CASE("where memory is too little, whichever allocation it was, measuring says so and leaves nothing behind") {
    const auto source = band();
    Workers workers(2);
    int failed = eachFails([&] { return computeCrossSpectra(source, {}, workers, {}); });
    failed += eachFails([&] { return computeLoudnessModel(source, {}, workers, {}); });

    const auto spectra = computeCrossSpectra(source, {}, workers, {});
    REQUIRE(spectra);
    const CloseHint hints[3]{};
    failed += eachFails([&] { return guessCloseTracks(*spectra->windowSpectra(), usable, hints, workers, {}); });
    const SourcePlan plan{{Source{{0}}, Source{{1}}, Source{{2}}}};
    failed += eachFails([&] { return readSpillMap(*spectra, plan, usable, {}, workers, {}); });
    const auto map = readSpillMap(*spectra, plan, usable, {}, workers, {});
    REQUIRE(map);
    failed += eachFails([&] { return soundOfSource(source, *map, 0, usable, {1000, 40000}, workers, {}); });
#if defined(__GLIBC__) && !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)
    CHECK(failed > 20); // some in each
#endif
}
