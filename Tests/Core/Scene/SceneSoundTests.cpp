#include "Core/Scene/SceneSound.h"

#include "Core/Scene/Acoustics.h"
#include "Core/Signal/HighPass.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>

using namespace spillwright;

namespace {

/// Two rooms, three sources, two microphones in the first room and one in the second; short responses.
Scene smallScene() {
    Scene scene;
    ShoeboxRoom room;
    room.size = {4, 5, 3};
    for (auto& surface : room.absorption)
        surface.fill(0.4);
    room.decay = Seconds(0.02);
    scene.rooms = {room, room};
    scene.sources.resize(3);
    scene.sources[0].position = {1, 1, 1};
    scene.sources[1].position = {3, 4, 2};
    scene.sources[1].level = Decibels(-3.0);
    scene.sources[2].position = {2, 2, 2};
    scene.sources[2].room = 1;
    scene.microphones.resize(3);
    scene.microphones[0].position = {1.5, 1.2, 1.1};
    scene.microphones[1].position = {2.5, 3.5, 1.5};
    scene.microphones[1].pattern = {0.5, {3, 4, 2}};
    scene.microphones[1].gain = Decibels(6.0);
    scene.microphones[2].position = {2, 3, 1};
    scene.microphones[2].room = 1;
    for (auto& microphone : scene.microphones)
        microphone.selfNoise = Decibels(-80.0);
    return scene;
}

std::vector<std::vector<float>> dryNoise(std::size_t length) {
    std::vector<std::vector<float>> parts;
    for (std::uint64_t source = 0; source < 3; ++source) {
        test::Noise noise(source + 1);
        parts.emplace_back(length);
        for (float& sample : parts.back())
            sample = static_cast<float>(noise.uniform() - 0.5);
    }
    return parts;
}

double largest(const std::vector<float>& sound) {
    double peak = 0.0;
    for (float sample : sound)
        peak = std::max(peak, std::abs(static_cast<double>(sample)));
    return peak;
}

} // namespace

TEST_CASE("a part is the dry sound convolved with the impulse response, across all blocks") {
    const Scene scene = smallScene();
    const auto dry = dryNoise(30000); // three blocks
    Workers workers(2);
    const SceneSound sound(scene, dry, workers);
    const auto part = sound.part(1, 1);
    REQUIRE(part.size() == dry[1].size());
    const auto impulse = impulseResponse(scene, 1, 1).samples;
    double worst = 0.0;
    for (std::size_t n = 0; n < part.size(); n += 7) {
        double sum = 0.0;
        for (std::size_t k = 0; k < impulse.size(); ++k) {
            const auto at = static_cast<std::int64_t>(n + ImpulseResponse::lead) - static_cast<std::int64_t>(k);
            if (at >= 0 && at < std::ssize(dry[1]))
                sum += static_cast<double>(impulse[k]) * static_cast<double>(dry[1][static_cast<std::size_t>(at)]);
        }
        worst = std::max(worst, std::abs(sum - static_cast<double>(part[n])));
    }
    CHECK(worst < 3e-6 * largest(part)); // -110 dB: a single-precision transform of 16384
}

TEST_CASE("the parts and the noise add up to the track") {
    Scene scene = smallScene();
    scene.microphones[1].faults = {.inverted = true, .lateSamples = 97, .highPass = Hertz(150.0)};
    Workers workers(2);
    const SceneSound sound(scene, dryNoise(30000), workers);
    for (int microphone = 0; microphone < 3; ++microphone) {
        const auto track = sound.track(microphone);
        auto left = track;
        for (int source = 0; source < 3; ++source) {
            const auto part = sound.part(source, microphone);
            for (std::size_t n = 0; n < left.size(); ++n)
                left[n] -= part[n];
        }
        const auto noise = sound.selfNoise(microphone);
        for (std::size_t n = 0; n < left.size(); ++n)
            left[n] -= noise[n];
        CHECK(largest(track) > 0.01);
        CHECK(largest(left) < 3e-6 * largest(track));
    }
}

TEST_CASE("a microphone hears nothing of another room") {
    Workers workers(1);
    const SceneSound sound(smallScene(), dryNoise(10000), workers);
    CHECK(largest(sound.part(2, 0)) == 0.0);
    CHECK(largest(sound.part(0, 2)) == 0.0);
    CHECK(largest(sound.part(2, 2)) > 0.01);
}

TEST_CASE("a microphone's own noise has the level that is asked for and is its own") {
    Workers workers(1);
    const SceneSound sound(smallScene(), dryNoise(48000), workers);
    const auto first = sound.selfNoise(0);
    const auto second = sound.selfNoise(1);
    double power = 0.0, product = 0.0;
    for (std::size_t n = 0; n < first.size(); ++n) {
        power += static_cast<double>(first[n]) * static_cast<double>(first[n]);
        product += static_cast<double>(first[n]) * static_cast<double>(second[n]);
    }
    const double count = static_cast<double>(first.size());
    // 48000 samples: the level is known within 10 lg(1 +- 3 sqrt(2 / 48000)) = 0.08 dB, the correlation within 3 /
    // sqrt.
    CHECK(10.0 * std::log10(power / count) == Approx(-80.0).margin(0.08));
    CHECK(std::abs(product / power) < 3.0 / std::sqrt(count));
}

TEST_CASE("faults are done as they are said") {
    const auto dry = dryNoise(20000);
    Workers workers(1);
    const auto trackWith = [&](MicrophoneFaults faults) {
        Scene scene = smallScene();
        scene.microphones[0].faults = faults;
        return SceneSound(scene, dry, workers).track(0);
    };
    const auto good = trackWith({});

    SECTION("upside down is the negative") {
        const auto inverted = trackWith({.inverted = true});
        bool negative = true;
        for (std::size_t n = 0; n < good.size(); ++n)
            negative = negative && inverted[n] == -good[n];
        CHECK(negative);
    }
    SECTION("late and early are shifts by whole samples, silence moves in") {
        for (int by : {53, -53}) {
            const auto shifted = trackWith({.lateSamples = by});
            bool same = true;
            for (std::int64_t n = 0; n < std::ssize(good); ++n) {
                const auto from = n - by;
                const float expected =
                    from >= 0 && from < std::ssize(good) ? good[static_cast<std::size_t>(from)] : 0.0f;
                same = same && shifted[static_cast<std::size_t>(n)] == expected;
            }
            CHECK(same);
        }
    }
    SECTION("a shift longer than the sound leaves silence") {
        CHECK(largest(trackWith({.lateSamples = 30000})) == 0.0);
    }
    SECTION("high-passed is through the filter that nudged tracks go through") {
        auto expected = good;
        HighPass(Hertz(120.0), 48000.0).process(expected.data(), static_cast<int>(expected.size()));
        CHECK(trackWith({.highPass = Hertz(120.0)}) == expected);
    }
}

TEST_CASE("the direct path's arrival counts a late track's delay") {
    Scene scene = smallScene();
    const double inTime = directPath(scene, 0, 0)->arrival.value;
    scene.microphones[0].faults.lateSamples = 96;
    CHECK(directPath(scene, 0, 0)->arrival.value - inTime == Approx(0.002));
}

TEST_CASE("a scene sounds the same for any number of workers") {
    const auto dry = dryNoise(30000);
    Workers one(1), three(3);
    const SceneSound a(smallScene(), dry, one);
    const SceneSound b(smallScene(), dry, three);
    for (int microphone = 0; microphone < 3; ++microphone)
        CHECK(a.track(microphone) == b.track(microphone));
}
