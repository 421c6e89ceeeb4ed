// What the loudness of settings of a demo recording is predicted to be, against libebur128 on their rendered sums.

#include "Demo/DemoRecording.h"
#include "Media/Recording.h"
#include "Support/RenderedLoudness.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

using namespace spillwright;

TEST_CASE("on the demo the loudness of a setting is that of its rendered sum", "[long]") {
    const auto sessions = demoSessions();
    REQUIRE_FALSE(sessions.empty());
    const test::TemporaryFolder folder;
    Workers workers;
    REQUIRE(computeDemo(sessions.front().sceneFile, folder / "demo", workers, {}));
    const auto recording = Recording::open(folder / "demo");
    REQUIRE(recording);
    const auto& source = **recording;
    const auto cases = test::loudnessCases(source.trackCount());
    for (const double seconds : {2.0, 10.0, 60.0}) {
        LoudnessOptions options;
        options.from = std::min<std::int64_t>(std::llround(20.3 * source.sampleRate()), source.length() / 3);
        options.to =
            std::min<std::int64_t>(source.length(), options.from + std::llround(seconds * source.sampleRate()));
        CHECK(test::loudnessErrors(sessions.front().name, source, options, cases).worst < 0.1);
        options.round = true;
        const int rounds = static_cast<int>(std::ceil(30.0 / seconds));
        test::loudnessErrors(sessions.front().name + ", round and round", source, options, cases, rounds);
    }
}
