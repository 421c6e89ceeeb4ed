#pragma once

#include "Core/RandomStream.h"
#include "Core/Scene/SceneSound.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <optional>
#include <string>
#include <vector>

namespace spillwright::test {

/// A band in an image-source room that is taken several times: who stands where comes from one seed, what is played
/// from another, so that two takes share the set-up and nothing else. What is done to a microphone in between is the
/// test's truth.
struct TakenBand {
    static constexpr double rate = 48000.0;

    /// How a take is played. Notes, strokes, loudness of every player and moment come from the seed.
    struct Playing {
        std::uint64_t seed = 1;
        double seconds = 20.0;
        double beatsPerMinute = 112.0;
        double evenness = 2.5; ///< dB, standard deviation: how much louder or softer each player is than usual.
        std::optional<std::uint64_t>
            score{}; ///< What is played, where takes are to share it; none: another one a seed.
    };

    Scene scene;
    std::vector<std::string> names; ///< One a microphone.

    enum Microphone { kick, snareTop, snareBottom, hat, tom, bass, guitar, overheadL, overheadR, room, count };

    explicit TakenBand(std::uint64_t seed) {
        RandomStream random(seed * 7919 + 17);
        scene.seed = random.bits();
        ShoeboxRoom walls;
        walls.size = {random.between(5.5, 7.0), random.between(5.0, 6.2), random.between(2.7, 3.2)};
        for (auto& surface : walls.absorption) {
            const double own = random.between(0.25, 0.45);
            for (std::size_t octave = 0; octave < octaves; ++octave)
                surface[octave] = std::min(0.9, own * (0.8 + 0.1 * static_cast<double>(octave)));
        }
        walls.decay = Seconds(0.3);
        walls.scatter = Metres(0.15);
        scene.rooms.push_back(walls);
        const double x = 0.5 * walls.size.x, y = 0.42 * walls.size.y;
        const auto about = [&](Point p) {
            return Point{p.x + random.between(-0.08, 0.08), p.y + random.between(-0.08, 0.08),
                         p.z + random.between(-0.05, 0.05)};
        };
        const Point places[] = {about({x, y, 0.35}),
                                about({x - 0.35, y + 0.25, 0.72}),
                                about({x - 0.75, y, 0.95}),
                                about({x + 0.45, y + 0.1, 0.65}),
                                about({x + 1.7, y + 1.0, 0.4}),
                                about({x - 1.8, y + 1.2, 0.5})};
        const char* players[] = {"kick", "snare", "hat", "tom", "bass", "guitar"};
        for (int k = 0; k < 6; ++k) {
            SceneSource source;
            source.name = players[k];
            source.position = places[k];
            scene.sources.push_back(source);
        }
        scene.sources[1].pattern = {0.35, {places[1].x, places[1].y, places[1].z + 1.0}}; // upside down below
        const auto put = [&](const char* name, Point at, Point aim, double omni, double gainDb) {
            SceneMicrophone microphone;
            microphone.name = name;
            microphone.position = at;
            microphone.pattern = {omni, aim};
            microphone.gain = Decibels(gainDb);
            microphone.selfNoise = Decibels(-84.0);
            scene.microphones.push_back(microphone);
            names.emplace_back(name);
        };
        const auto near = [&](int k, double dx, double dy, double dz) {
            const auto& p = places[k];
            const auto off = [&](double d) { return d * random.between(0.8, 1.25); };
            return Point{p.x + off(dx), p.y + off(dy), p.z + off(dz)};
        };
        put("kick", near(0, 0.05, -0.14, 0.03), places[0], 0.5, 0.0);
        put("snare top", near(1, -0.05, 0.05, 0.10), places[1], 0.5, 0.0);
        put("snare bottom", near(1, 0.03, 0.04, -0.12), places[1], 0.5, 0.0);
        put("hat", near(2, -0.06, 0.05, 0.18), places[2], 0.5, 3.0);
        put("tom", near(3, 0.05, 0.05, 0.10), places[3], 0.5, 0.0);
        put("bass", near(4, 0.05, -0.20, 0.02), places[4], 0.5, 0.0);
        put("guitar", near(5, 0.05, -0.12, 0.02), places[5], 0.5, 0.0);
        const Point kit{x - 0.2, y + 0.1, 0.8};
        put("overhead L", about({x - 0.7, y - 0.2, 1.9}), kit, 0.5, 12.0);
        put("overhead R", about({x + 0.5, y - 0.2, 1.9}), kit, 0.5, 12.0);
        put("room", about({x, walls.size.y - 0.9, 1.6}), kit, 1.0, 16.0);
    }

    /// What each microphone records of a take. O(players * microphones) convolutions: some seconds.
    std::vector<std::vector<float>> record(const Playing& playing, Workers& workers) const {
        std::vector<std::vector<float>> dry;
        for (int player = 0; player < 6; ++player)
            dry.push_back(part(player, playing));
        Scene played = scene;
        played.seed = scene.seed ^ (playing.seed * 0x9e3779b97f4a7c15u);
        const SceneSound sound(played, dry, workers);
        std::vector<std::vector<float>> tracks(scene.microphones.size());
        workers.forEach(tracks.size(), [&](std::size_t m, int) { tracks[m] = sound.track(static_cast<int>(m)); });
        return tracks;
    }

    /// The same place `metres` away, in a direction from the seed that stays in the room.
    void move(int microphone, double metres, std::uint64_t seed) {
        RandomStream random(seed);
        auto& place = scene.microphones[static_cast<std::size_t>(microphone)].position;
        const double up = random.between(-0.5, 0.7), around = random.between(0.0, 2.0 * std::numbers::pi);
        const double flat = metres * std::sqrt(1.0 - up * up);
        place = {place.x + flat * std::cos(around), place.y + flat * std::sin(around), place.z + metres * up};
        place.z = std::max(place.z, 0.1);
    }
    SceneMicrophone& at(int microphone) { return scene.microphones[static_cast<std::size_t>(microphone)]; }

private:
    /// A resonance of two poles: what makes a drum's noise a note, and keeps it a noise.
    struct Resonance {
        double a1, a2, y1 = 0.0, y2 = 0.0, gain;
        Resonance(double hertz, double bandwidth) {
            const double r = std::exp(-std::numbers::pi * bandwidth / rate);
            a1 = 2.0 * r * std::cos(2.0 * std::numbers::pi * hertz / rate);
            a2 = -r * r;
            gain = (1.0 - r) * 2.0;
        }
        double operator()(double x) {
            const double y = gain * x + a1 * y1 + a2 * y2;
            y2 = y1;
            y1 = y;
            return y;
        }
    };

    static std::vector<float> part(int player, const Playing& playing) {
        struct Kind {
            double hertz, width, decay, level, body, density;
            bool tonal;
        };
        static constexpr std::array<Kind, 6> kinds{{{70, 60, 0.09, 0.02, 6.0, 0.30, false},
                                                    {210, 300, 0.10, 0.025, 2.5, 0.28, false},
                                                    {7000, 6000, 0.05, 0.05, 1.2, 0.60, false},
                                                    {120, 90, 0.16, 0.02, 5.0, 0.15, false},
                                                    {55, 0, 0.35, 0.16, 0.0, 0.35, true},
                                                    {196, 0, 0.40, 0.06, 0.0, 0.30, true}}};
        const Kind& kind = kinds[static_cast<std::size_t>(player)];
        RandomStream random(playing.seed * 131 + static_cast<std::uint64_t>(player) * 7 + 3);
        RandomStream score(playing.score.value_or(playing.seed) * 173 + static_cast<std::uint64_t>(player) * 11 + 1);
        const auto length = static_cast<std::size_t>(playing.seconds * rate);
        std::vector<float> sound(length);
        const double ownDb = playing.evenness * random.bell();
        const double step = 15.0 / playing.beatsPerMinute;
        bool rests = false;
        for (int n = 0; n * step < playing.seconds - 0.1; ++n) {
            if (n % 16 == 0) rests = n > 0 && score.uniform() < 0.25; // a bar
            if (rests || score.uniform() > kind.density * (n % 4 == 0 ? 1.6 : n % 2 == 0 ? 1.1 : 0.6)) continue;
            const double level = kind.level * std::pow(10.0, (ownDb + random.between(-9.0, 0.0)) / 20.0);
            const double decay = kind.decay * random.between(0.8, 1.25);
            const auto begin = static_cast<std::size_t>(std::max(0.0, n * step + 0.006 * random.bell()) * rate);
            const auto last = std::min(length, begin + static_cast<std::size_t>(6.0 * decay * rate));
            if (kind.tonal) {
                static constexpr std::array scale{0, 2, 4, 5, 7, 9, 11, 12};
                const double hertz = kind.hertz * std::exp2(scale[static_cast<std::size_t>(score.below(8))] / 12.0);
                for (int partial = 1; partial <= 24 && partial * hertz < 9000.0; ++partial) {
                    const double omega = 2.0 * std::numbers::pi * partial * hertz / rate;
                    const double phase = random.between(0.0, 2.0 * std::numbers::pi), own = level / partial;
                    const double fall = (1.0 + 0.12 * partial) / (decay * rate);
                    double envelope = own;
                    const double factor = std::exp(-fall);
                    for (std::size_t k = begin; k < last; ++k, envelope *= factor)
                        sound[k] +=
                            static_cast<float>(envelope * std::sin(omega * static_cast<double>(k - begin) + phase));
                }
                for (std::size_t k = begin; k < std::min(last, begin + 1200); ++k) // the finger
                    sound[k] += static_cast<float>(0.25 * level * random.bell() *
                                                   std::exp(-static_cast<double>(k - begin) / 300.0));
            } else {
                Resonance body(kind.hertz * random.between(0.97, 1.03), kind.width);
                for (std::size_t k = begin; k < last; ++k) {
                    const double t = static_cast<double>(k - begin) / rate;
                    const double noise = random.bell();
                    const double strike = noise * std::exp(-t / 0.006), rattle = noise * std::exp(-t / decay);
                    sound[k] += static_cast<float>(
                        level * (kind.body * body(rattle + 2.0 * strike) + 0.25 * strike + 0.08 * rattle));
                }
            }
        }
        return sound;
    }
};

} // namespace spillwright::test
