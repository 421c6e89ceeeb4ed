#include "Rig.h"

using namespace spillwright;
using namespace spillwright::test;

namespace {

constexpr double rate = 48000.0;

std::shared_ptr<const SampleSource> sourceOf(std::vector<std::vector<float>> tracks, double sampleRate = rate) {
    return std::make_shared<MemorySource>(std::move(tracks), sampleRate);
}

std::vector<std::vector<float>> noise(std::uint64_t seed, int seconds = 20) {
    std::vector<std::vector<float>> tracks;
    for (std::uint64_t track = 0; track < 2; ++track)
        tracks.push_back(whiteNoise(static_cast<std::size_t>(seconds * rate), seed + track, 0.05));
    return tracks;
}

double rms(const std::vector<float>& samples, std::size_t from, std::size_t to) {
    double power = 0.0;
    for (std::size_t n = from; n < to; ++n)
        power += static_cast<double>(samples[n]) * static_cast<double>(samples[n]);
    return std::sqrt(power / static_cast<double>(to - from));
}

/// Plays for a second, changes over to the same place, and plays on.
void changeOverAtOnePlace(Rig& rig, int blocks = 188, Decibels louder = {}) {
    Rig::waitUntil([&] { return rig.player.besideReady(); });
    rig.player.play();
    rig.run(blocks * 256);
    rig.player.seek(rig.player.position(), Player::Which::beside);
    Rig::waitUntil([&] { return rig.player.besideReady(); });
    rig.player.changeOver(louder);
    rig.run(blocks * 256);
}

} // namespace

TEST_CASE("two takes that are the same change over unheard") {
    const auto tracks = noise(1);
    Rig once(sourceOf(tracks)), changed(sourceOf(tracks));
    changed.player.openBeside(sourceOf(tracks), plainTracks(2));
    once.player.play();
    once.run(2 * 188 * 256);
    changeOverAtOnePlace(changed);
    // What is left is the rounding of two fades that add up to 1 in single precision.
    CHECK(differenceDb(changed.left, once.left, 0, std::ssize(once.left), 0) < -120.0);
}

TEST_CASE("after changing over the other one is heard under its own mix, from its own place, and what was said stays") {
    const auto first = noise(10), second = noise(20);
    Rig rig(sourceOf(first));
    rig.player.openBeside(sourceOf(second), plainTracks(2));
    TrackAdjustment flipped;
    flipped.flip = true;
    HeardMix mix;
    mix.adjustments = {flipped, {}};
    rig.player.hear(mix, Player::Which::beside);
    rig.player.setLoop(48000, 96000, Player::Which::beside);
    CHECK(rig.player.loopTo() == std::ssize(first[0])); // of the one that is heard
    Rig::waitUntil([&] { return rig.player.besideReady(); });
    rig.player.play();
    rig.run(100 * 256);
    const auto left = rig.player.position();
    rig.player.seek(60000, Player::Which::beside);
    Rig::waitUntil([&] { return rig.player.besideReady(); });
    rig.player.changeOver({});
    CHECK(rig.player.playing());
    CHECK(rig.player.loopFrom() == 48000);
    const std::size_t from = rig.left.size();
    rig.run(100 * 256);
    CHECK(rig.player.position() == 60000 + 100 * 256);
    std::vector<float> expected(100 * 256);
    for (std::size_t n = 0; n < expected.size(); ++n)
        expected[n] = 0.70710678f * (second[1][60000 + n] - second[0][60000 + n]);
    const auto shift = static_cast<std::int64_t>(from) + guardDelay();
    CHECK(differenceDb(rig.left, expected, fadeSamples, std::ssize(expected) - guardDelay(), shift) < -100.0);

    // And back, where it was left.
    CHECK(rig.player.besideReady());
    rig.player.changeOver({});
    CHECK(rig.player.position() <= left + fadeSamples);
    CHECK(rig.player.position() >= left);
    CHECK(rig.player.loopFrom() == 0);
}

TEST_CASE("what changes over to something much louder rises to it instead of jumping") {
    auto loud = noise(1);
    for (auto& track : loud)
        for (auto& sample : track)
            sample *= 4.0f;
    Rig rig(sourceOf(noise(1)));
    rig.player.openBeside(sourceOf(loud), plainTracks(2));
    changeOverAtOnePlace(rig, 188, Decibels(12.04));
    const std::size_t at = 188 * 256 + static_cast<std::size_t>(guardDelay());
    const double before = rms(rig.left, at - 4800, at);
    const auto louderDb = [&](std::size_t from) { return 20.0 * std::log10(rms(rig.left, from, from + 960) / before); };
    // 3 dB at once, then 20 dB a second: over the first 20 ms after the fade at most 0.6 dB more; noise reads within
    // 0.5.
    CHECK(louderDb(at + fadeSamples) < 4.2);
    CHECK(louderDb(at + 30000) == Approx(12.04).margin(0.5));
}

TEST_CASE("takes of different rates change over, and a second one that is closed is gone") {
    std::vector<std::vector<float>> other{tone(44100 * 5, 1000.0, 44100.0), tone(44100 * 5, 1000.0, 44100.0)};
    Rig rig(sourceOf({tone(48000 * 5, 1000.0), tone(48000 * 5, 1000.0)}));
    rig.player.openBeside(sourceOf(other, 44100.0), plainTracks(2));
    changeOverAtOnePlace(rig);
    const std::size_t end = rig.left.size();
    CHECK(rms(rig.left, end - 9600, end) == Approx(rms(rig.left, 19200, 28800)).epsilon(0.01));
    CHECK(shareAboveDb(rig.left, end - (1 << 15), 3000.0) < -60.0); // still a tone, of the same pitch
    CHECK(shareAboveDb(rig.left, end - (1 << 15), 990.0) > -1.0);
    rig.player.openBeside(std::shared_ptr<const Recording>());
    CHECK_FALSE(rig.player.besideReady());
    rig.player.changeOver({});
    CHECK(rig.player.playing()); // there is nothing to change over to
    rig.player.openBeside(sourceOf(other, 44100.0), plainTracks(2));
    rig.player.open(sourceOf(noise(3)), plainTracks(2));
    CHECK_FALSE(rig.player.besideReady());
}
