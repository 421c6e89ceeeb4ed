#pragma once

#include "DeskFixture.h"

#include "Desk/OtherTake.h"
#include "Support/SpillingBand.h"

namespace spillwright::test {

/// What the second take differs in from spillingBand, which is the first.
namespace secondTake {

/// Its file, numbered in the order of the tracks.
inline std::string fileName(std::size_t track) {
    return "0" + std::to_string(track + 1) + " " + spillingBand::names()[track];
}

inline constexpr std::size_t lateSamples = 2 * 48000; ///< Every moment comes 2 s later ...
inline constexpr double lateSeconds = 2.0;
inline constexpr float level = 0.5f; ///< ... and softer by 6.02 dB; "kick out" is upside down.
inline constexpr double softerDb = 6.0206;

/// The same playing before microphones with a noise of their own, one of which the first take has not got.
inline void write(const std::filesystem::path& folder) {
    const auto tracks = spillingBand::tracks();
    for (std::size_t t = 0; t < tracks.size(); ++t) {
        const auto& name = spillingBand::names()[t];
        if (name == "dead") {
            writeWav(folder / (fileName(t) + ".wav"), std::vector<float>(lateSamples + spillingBand::length, 0.0f));
            continue;
        }
        std::vector<float> later(lateSamples, 0.0f);
        later.insert(later.end(), tracks[t].begin(), tracks[t].end());
        for (auto& sample : later)
            sample *= name == "kick out" ? -level : level;
        const auto length = later.size();
        writeWav(folder / (fileName(t) + ".wav"),
                 mixed(std::move(later), noise(length, static_cast<unsigned>(60 + t), 2e-5f)));
    }
    writeWav(folder / "talkback.wav", noise(lateSamples + spillingBand::length, 77, 0.01f));
}

/// Other playing altogether, of the same tracks.
inline void writeOtherPlaying(const std::filesystem::path& folder) {
    for (unsigned t = 0; t < 5; ++t)
        writeWav(folder / (fileName(t) + ".wav"), noise(spillingBand::length, 500 + t, 0.1f));
}

} // namespace secondTake

/// The track of that name.
inline int trackCalled(const desk::Controller& take, const std::string& name) {
    for (int track = 0; track < take.trackCount(); ++track)
        if (take.tracks()[static_cast<std::size_t>(track)].name == name) return track;
    FAIL("no track is called " << name);
    return -1;
}

/// The first take in a player without a device, and another take beside it.
struct TwoTakes {
    JuceWithoutDisplay juce;
    MeasuredBand band{spillingBand::write};
    TemporaryFolder folder;
    Player player;
    std::unique_ptr<desk::OtherTake> other;

    explicit TwoTakes(const std::function<void(const std::filesystem::path&)>& write = secondTake::write) {
        write(folder.path());
        player.open(band.controller.recording());
    }
    desk::Controller& controller() { return band.controller; }
    void openOther(const std::filesystem::path& from) {
        other = std::make_unique<desk::OtherTake>(controller(), player, from);
    }
    bool waitForOther(const std::function<bool()>& condition) {
        return waitFor(controller(), [&] {
            other->poll();
            return condition();
        });
    }
    /// Until there is nothing more to wait for.
    void settle() {
        openOther(folder.path());
        REQUIRE(waitForOther([&] { return other->settled() && !controller().readingLoudness(); }));
    }
    void hear(bool second) {
        other->hear(second);
        REQUIRE(waitForOther([&] { return other->secondHeard() == second; }));
    }
    double position() const { return static_cast<double>(player.position()) / 48000.0; }
};

} // namespace spillwright::test
