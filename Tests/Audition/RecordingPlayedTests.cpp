#include "Rig.h"
#include "Support/TemporaryFolder.h"
#include "Support/TestWav.h"

#include "Media/Render.h"

#include <filesystem>

using namespace spillwright;
using namespace spillwright::test;

namespace {

std::vector<float> samplesOf(const SampleSource& source, int track) {
    std::vector<float> samples(static_cast<std::size_t>(source.length()));
    for (int group = 0; group < static_cast<int>(source.groups().size()); ++group) {
        const auto& members = source.groups()[static_cast<std::size_t>(group)];
        std::vector<std::vector<float>> read(members.size(), samples);
        std::vector<float*> into;
        for (auto& one : read)
            into.push_back(one.data());
        auto reader = source.openGroup(group);
        REQUIRE(reader.ok());
        REQUIRE((*reader)->read(0, static_cast<int>(samples.size()), into).ok());
        for (std::size_t k = 0; k < members.size(); ++k)
            if (members[k] == track) return read[k];
    }
    return samples;
}

} // namespace

TEST_CASE("what is played from a folder is what is rendered from it") {
    const TemporaryFolder folder;
    const auto recordingFolder = folder.path() / "recording", sumFolder = folder.path() / "sum";
    std::filesystem::create_directories(recordingFolder);
    std::filesystem::create_directories(sumFolder);
    const std::size_t length = 150000;
    writeWav(recordingFolder / "01 kick.wav", whiteNoise(length, 1, 0.05));
    writeWav(recordingFolder / "02 snare.wav", whiteNoise(length / 2, 2, 0.05));
    writeWav(recordingFolder / "03 piano.wav", whiteNoise(2 * length, 3, 0.05), 48000, 2);
    writeWav(recordingFolder / "04 bass.wav", whiteNoise(137000, 4, 0.05), 44100);
    auto recording = Recording::open(recordingFolder);
    REQUIRE(recording.ok());
    REQUIRE((*recording)->trackCount() == 5);

    std::vector<TrackAdjustment> adjustments(5);
    adjustments[0].flip = true;
    adjustments[1].nudge = milliseconds(1.2345);
    adjustments[2].nudge = milliseconds(-3.0);
    adjustments[2].highPass = Hertz(60.0);
    adjustments[3].gain = Decibels(-2.0);
    adjustments[4].nudge = milliseconds(-0.777);
    adjustments[4].pan = 0.3;
    adjustments[4].highPass = Hertz(90.0);
    const auto rendered =
        render(**recording, adjustments, {folder.path() / "tracks", sumFolder / "sum.wav", SampleFormat::float32}, {});
    REQUIRE(rendered.ok());
    auto sum = Recording::open(sumFolder);
    REQUIRE(sum.ok());

    Rig rig(*recording, (*recording)->tracks());
    rig.player.setAdjustments(adjustments);
    rig.player.play();
    const int played = static_cast<int>((*recording)->length());
    rig.run(played, 512);
    CHECK(rig.player.meters().dropouts == 0);
    // The same chains on the same samples: single precision apart, far below the -90 dB that is asked for.
    CHECK(differenceDb(rig.left, samplesOf(**sum, 0), fadeSamples, played - guardDelay(), guardDelay()) < -120.0);
    CHECK(differenceDb(rig.right, samplesOf(**sum, 1), fadeSamples, played - guardDelay(), guardDelay()) < -120.0);
}

TEST_CASE("a file that is cut off on disk while it plays stops the sound and is named") {
    const TemporaryFolder folder;
    const auto snare = folder.path() / "snare.wav";
    writeWav(folder.path() / "kick.wav", whiteNoise(1 << 19, 1, 0.05));
    writeWav(snare, whiteNoise(1 << 19, 2, 0.05));
    auto recording = Recording::open(folder.path());
    REQUIRE(recording.ok());
    Rig rig(*recording, (*recording)->tracks());
    rig.player.play();
    rig.run(20000);
    std::filesystem::resize_file(snare, 100);
    while (rig.player.playing() && rig.left.size() < (1 << 20))
        rig.run(256);
    CHECK_FALSE(rig.player.playing());
    rig.run(10000, 256, false);
    CHECK_THAT(rig.player.trouble(), Catch::Contains("snare.wav") && Catch::Contains(": ") && Catch::Contains("; "));
    CHECK(rig.left.back() == 0.0f);
}
