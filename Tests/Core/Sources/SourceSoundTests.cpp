#include "Core/Sources/SourceSound.h"

#include "Support/MemorySource.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <numbers>
#include <numeric>
#include <utility>

using namespace spillwright;
using namespace spillwright::test;

namespace {

using Tracks = std::vector<std::vector<float>>;

constexpr double rate = 16000.0;
constexpr std::size_t length = 30 * 16000;
constexpr StretchSpan stretch{5 * 16000 + 123, 5 * 16000 + 123 + (1 << 17)};

/// Noise in slots of a fifth of a second, each of a level of its own; or in every `one`th slot of `of` alone.
std::vector<float> player(std::uint64_t seed, std::size_t one = 0, std::size_t of = 0) {
    auto sound = whiteNoise(length, seed);
    Noise dice(seed + 1000);
    float level = 0.0f;
    for (std::size_t n = 0; n < length; ++n) {
        if (n % 3200 == 0) level = static_cast<float>(std::pow(10.0, -2.0 * dice.uniform()));
        sound[n] *= of == 0 ? level : n / 32000 % of == one ? 1.0f : 0.0f;
    }
    return sound;
}

/// The stretch of a sound within the band and its edges as the sound of a source promises them; at its ends wrong.
std::vector<float> inBand(const std::vector<float>& sound) {
    return filtered({sound.begin() + stretch.from, sound.begin() + stretch.to}, rate, [](double hertz) {
        const double x = std::log10(std::max(1.0, hertz));
        const double part = std::clamp(std::min(x - 1.95, 3.95 - x) / 0.1, 0.0, 1.0);
        return std::complex<double>(0.5 - 0.5 * std::cos(std::numbers::pi * part));
    });
}

struct Room {
    Tracks parts;  ///< [source * tracks + track]
    Tracks tracks; ///< Sums of the parts, and a little noise.
    SpillMap map;

    std::size_t at(std::size_t source, std::size_t track) const { return source * tracks.size() + track; }
};

struct Path {
    std::size_t late = 0; ///< Samples.
    double factor = 1.0;
};

/// paths: [source][track]; the first tracks are the close ones.
Room roomOf(const Tracks& players, const std::vector<std::vector<Path>>& paths) {
    Room room;
    for (std::size_t track = 0; track < paths.front().size(); ++track)
        room.tracks.push_back(whiteNoise(length, 500 + track, 1e-6));
    SourcePlan plan;
    for (std::size_t source = 0; source < players.size(); ++source) {
        plan.sources.push_back({{static_cast<int>(source)}});
        for (std::size_t track = 0; track < room.tracks.size(); ++track) {
            const auto& path = paths[source][track];
            auto& part = room.parts.emplace_back(length);
            for (std::size_t n = path.late; n < length; ++n)
                part[n] = static_cast<float>(path.factor) * players[source][n - path.late];
            room.tracks[track] = sum(std::move(room.tracks[track]), part);
        }
    }
    Workers workers(2);
    const MemorySource recording(room.tracks, rate);
    const auto spectra = computeCrossSpectra(recording, {}, workers, {});
    REQUIRE(spectra);
    std::vector<int> usable(room.tracks.size());
    std::iota(usable.begin(), usable.end(), 0);
    auto map = readSpillMap(*spectra, plan, usable, {}, workers, {});
    REQUIRE(map);
    room.map = std::move(map).value();
    return room;
}

Tracks soundOf(const Room& room, int source, const std::vector<int>& tracks, StretchSpan span = stretch,
               int workerCount = 2) {
    Workers workers(workerCount);
    auto sound = soundOfSource(MemorySource(room.tracks, rate), room.map, source, tracks, span, workers, {});
    REQUIRE(sound);
    REQUIRE(sound->size() == tracks.size());
    return std::move(sound).value();
}

/// Power of what differs from `truth` against that of it, dB, but for the ends.
double errorDb(const std::vector<float>& heard, const std::vector<float>& truth) {
    REQUIRE(heard.size() == truth.size());
    constexpr std::size_t end = 8000;
    double error = 0.0, power = 0.0;
    for (std::size_t n = end; n + end < heard.size(); ++n) {
        const auto expected = static_cast<double>(truth[n]);
        error += std::pow(static_cast<double>(heard[n]) - expected, 2);
        power += expected * expected;
    }
    return 10.0 * std::log10(error / power);
}

/// Three players who sound at once, with a microphone each and one for all.
const Room& together() {
    static const Room room = roomOf({player(1), player(2), player(3)}, {{{}, {50, 0.25}, {80, -0.12}, {130, 0.5}},
                                                                        {{60, 0.2}, {}, {40, 0.3}, {100, -0.35}},
                                                                        {{90, -0.1}, {70, 0.15}, {}, {160, 0.7}}});
    return room;
}

const std::vector<int> all{0, 1, 2, 3};

} // namespace

TEST_CASE("sources that take turns are heard alone in every track as that track hears them") {
    for (const bool late : {false, true}) {
        INFO((late ? "delayed" : "instantaneous"));
        const std::size_t d = late ? 40 : 0;
        const Room room =
            roomOf({player(1, 0, 2), player(2, 1, 2)}, {{{}, {d, 0.3}, {2 * d, -0.5}}, {{d, 0.5}, {}, {d / 2, 0.8}}});
        for (int source = 0; source < 2; ++source) {
            const auto heard = soundOf(room, source, {0, 1, 2});
            for (std::size_t track = 0; track < 3; ++track) {
                INFO("source " << source << " in track " << track);
                CHECK(errorDb(heard[track], inBand(room.parts[room.at(static_cast<std::size_t>(source), track)])) <
                      -40.0); // 80 samples of 4096 wrap round a window: -65; the rest is unmixing's scatter
            }
        }
    }
}

TEST_CASE("sources that sound at once are told apart to -25 dB in their own tracks and in the room's") {
    const Room& room = together();
    for (int source = 0; source < 3; ++source) {
        const auto heard = soundOf(room, source, all);
        for (const std::size_t track : {static_cast<std::size_t>(source), std::size_t(3)}) {
            INFO("source " << source << " in track " << track);
            CHECK(errorDb(heard[track], inBand(room.parts[room.at(static_cast<std::size_t>(source), track)])) < -25.0);
        }
    }
}

TEST_CASE("the sources together make the track, within the band") {
    const Room& room = together();
    Tracks whole(4, std::vector<float>(static_cast<std::size_t>(stretch.to - stretch.from)));
    for (int source = 0; source < 3; ++source) {
        const auto heard = soundOf(room, source, all);
        for (std::size_t track = 0; track < 4; ++track)
            whole[track] = sum(std::move(whole[track]), heard[track]);
    }
    for (std::size_t track = 0; track < 4; ++track) {
        INFO("track " << track);
        CHECK(errorDb(whole[track], inBand(room.tracks[track])) < -30.0);
    }
}

TEST_CASE("a source alone is the same to the last bit for one worker and for two, and for any choice of tracks") {
    const auto two = soundOf(together(), 1, all);
    CHECK(soundOf(together(), 1, all, stretch, 1) == two);
    CHECK(soundOf(together(), 1, {3, 0}) == Tracks{two[3], two[0]});
}

TEST_CASE("beyond the recording a source is silent, and so is it in a track that is not in the map") {
    const auto at = static_cast<std::int64_t>(length);
    const auto heard = soundOf(together(), 0, {0, 7}, {at - 8000, at + 16000});
    REQUIRE(heard[0].size() == 24000);
    const auto level = [&](std::size_t from, std::size_t to) {
        return std::inner_product(heard[0].begin() + static_cast<std::ptrdiff_t>(from),
                                  heard[0].begin() + static_cast<std::ptrdiff_t>(to),
                                  heard[0].begin() + static_cast<std::ptrdiff_t>(from), 0.0);
    };
    CHECK(level(0, 8000) > 0.0);
    CHECK(level(8000 + 4096, 24000) == 0.0); // no window reaches there
    CHECK(heard[1] == std::vector<float>(24000));
}

TEST_CASE("hearing a source alone stops within a window when asked to") {
    Workers workers(2);
    std::stop_source stop;
    int told = 0;
    const Watch watch{[&](double done) {
                          CHECK(done > 0.0);
                          ++told;
                          stop.request_stop();
                      },
                      stop.get_token()};
    const auto sound = soundOfSource(MemorySource(together().tracks, rate), together().map, 0, all,
                                     {0, static_cast<std::int64_t>(length)}, workers, watch);
    REQUIRE_FALSE(sound);
    CHECK(sound.fault().kind == Fault::Kind::cancelled);
    CHECK(told == 1);
}

TEST_CASE("a close track that cannot be read is named, and none that is not needed is opened") {
    struct Vanished : MemorySource {
        using MemorySource::MemorySource;
        int gone = 0;
        Result<std::unique_ptr<GroupReader>> openGroup(int group) const override {
            if (group == gone) return Fault{"trumpet.wav", "can no longer be read", "put it back"};
            return MemorySource::openGroup(group);
        }
    };
    Workers workers(2);
    Vanished recording(together().tracks, rate);
    recording.gone = 1;
    const auto sound = soundOfSource(recording, together().map, 0, all, stretch, workers, {});
    REQUIRE_FALSE(sound);
    CHECK(sound.fault().where == "trumpet.wav");
    recording.gone = 3; // the room microphone: its response is known
    CHECK(soundOfSource(recording, together().map, 0, all, stretch, workers, {}));
}
