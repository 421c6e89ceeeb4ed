#include "Rig.h"

#include <algorithm>
#include <atomic>
#include <cmath>
#include <thread>

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

TEST_CASE("between takes of one sound, however the blocks fall, changing over slips by nothing") {
    const auto allocations = RealTimeTrap::allocations(), locks = RealTimeTrap::locks();
    constexpr std::size_t lead = 12345; // samples that every moment comes later in the other one
    const auto tracks = noise(7, 30);
    auto later = tracks;
    for (auto& track : later)
        track.insert(track.begin(), lead, 0.0f);
    Rig once(sourceOf(tracks)), rig(sourceOf(tracks));
    rig.player.openBeside(sourceOf(later), plainTracks(2));
    Rig::waitUntil([&] { return rig.player.besideReady(); });
    // Blocks come from a thread of their own, as from a device, at a pace of theirs.
    std::atomic<bool> ends{false};
    rig.left.reserve(30 * 48000);
    rig.right.reserve(30 * 48000);
    rig.player.play();
    std::thread device([&] {
        while (!ends && rig.left.size() < 25 * 48000) {
            rig.callBack(1024);
            std::this_thread::sleep_for(std::chrono::milliseconds(3));
        }
    });
    bool inSecond = false;
    int changes = 0;
    for (int k = 0; k < 11; ++k) {
        std::this_thread::sleep_for(std::chrono::microseconds(20000 + 1700 * k));
        const auto there = [&](std::int64_t sample) {
            return sample + (inSecond ? -1 : 1) * static_cast<std::int64_t>(lead);
        };
        rig.player.seek(there(rig.player.position()), Player::Which::beside);
        Rig::waitUntil([&] { return rig.player.besideReady() && rig.player.changeOver({}, there); });
        inSecond = !inSecond;
        ++changes;
    }
    ends = true;
    device.join();
    CHECK(changes == 11);
    CHECK(RealTimeTrap::allocations() == allocations);
    CHECK(RealTimeTrap::locks() == locks);
    CHECK(rig.player.meters().dropouts == 0);
    once.player.play();
    once.run(static_cast<int>(rig.left.size()), 1024);
    // From where it began to sound; what is left is the rounding of fades that add up to 1.
    const auto begins = [](const std::vector<float>& samples) {
        return std::find_if(samples.begin(), samples.end(), [](float s) { return s != 0.0f; }) - samples.begin();
    };
    const auto shift = begins(rig.left) - begins(once.left);
    const auto from = begins(once.left), to = std::min(std::ssize(once.left), std::ssize(rig.left) - shift);
    CHECK(to - from > 48000);
    CHECK(differenceDb(rig.left, once.left, from, to, shift) < -100.0);
}

TEST_CASE(
    "changing over to a take of another rate, through its resampler, slips by less than a tenth of a millisecond") {
    // A pulse every 100 ms, in both at the same times: after the change they still come every 100 ms.
    const auto pulses = [](double sampleRate) {
        std::vector<float> samples(static_cast<std::size_t>(12.0 * sampleRate), 0.0f);
        for (double at = 0.05; at < 11.9; at += 0.1)
            for (int k = -40; k <= 40; ++k) { // 2 ms, of one shape at any rate
                const double n = std::round(at * sampleRate) + k, t = n / sampleRate - at;
                samples[static_cast<std::size_t>(n)] =
                    static_cast<float>(0.5 * std::exp(-t * t / (2.0 * 1.5e-4 * 1.5e-4)));
            }
        return std::vector<std::vector<float>>{samples, samples};
    };
    for (const double other : {44100.0, 96000.0}) {
        Rig rig(sourceOf(pulses(rate)));
        rig.player.openBeside(sourceOf(pulses(other), other), plainTracks(2));
        Rig::waitUntil([&] { return rig.player.besideReady(); });
        rig.player.play();
        bool inSecond = false;
        for (int k = 0; k < 6; ++k) {
            rig.run(41 * 512, 512);
            const double ratio = inSecond ? rate / other : other / rate;
            const auto there = [&](std::int64_t sample) { return std::llround(static_cast<double>(sample) * ratio); };
            rig.player.seek(there(rig.player.position()), Player::Which::beside);
            Rig::waitUntil([&] { return rig.player.besideReady() && rig.player.changeOver({}, there); });
            inSecond = !inSecond;
        }
        rig.run(41 * 512, 512);
        std::vector<double> times; // of the pulses' centres, s
        for (std::size_t n = 480; n + 480 < rig.left.size(); ++n) {
            if (rig.left[n] < 0.15f || rig.left[n] < *std::max_element(&rig.left[n - 480], &rig.left[n + 480]))
                continue;
            double weight = 0.0, sum = 0.0;
            for (std::size_t m = n - 48; m <= n + 48; ++m) {
                weight += static_cast<double>(rig.left[m]);
                sum += static_cast<double>(rig.left[m]) * static_cast<double>(m);
            }
            times.push_back(sum / weight / rate);
        }
        REQUIRE(times.size() > 20);
        for (std::size_t k = 1; k < times.size(); ++k) {
            const double periods = (times[k] - times[0]) / 0.1;
            INFO("pulse " << k << " at " << times[k] << " s");
            CHECK(std::abs(periods - std::round(periods)) * 0.1 < 1e-4);
        }
    }
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
    CHECK_FALSE(rig.player.changeOver({}));
    CHECK(rig.player.playing()); // there is nothing to change over to
    rig.player.openBeside(sourceOf(other, 44100.0), plainTracks(2));
    rig.player.open(sourceOf(noise(3)), plainTracks(2));
    CHECK_FALSE(rig.player.besideReady());
}
