// Related or not: how often unrelated pairs are called related, and related ones not. Prints the table of Related.md.
//
//     spillwright_bench_related [PAIRS A ROW]   (default 100)

#include "Core/Measure/PairReading.h"
#include "Core/Scene/SceneSound.h"
#include "Support/MemorySource.h"
#include "Support/TestSignals.h"

#include <array>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <functional>
#include <numbers>
#include <string>
#include <vector>

using namespace spillwright;
using namespace spillwright::test;

namespace {

constexpr double rate = 48000.0;
using Samples = std::vector<float>;
using Tracks = std::pair<Samples, Samples>;

/// White (0), or with each further order a pole at 200 Hz: near pink between 100 and 400 Hz, brown above.
Samples noise(Noise& random, std::size_t length, int poles) {
    const double keep = std::exp(-2.0 * std::numbers::pi * 200.0 / rate);
    std::array<double, 2> state{};
    Samples samples(length);
    for (auto& sample : samples) {
        double value = random.normal();
        for (int pole = 0; pole < poles; ++pole)
            value = state[static_cast<std::size_t>(pole)] =
                keep * state[static_cast<std::size_t>(pole)] + (1.0 - keep) * value;
        sample = static_cast<float>((poles == 0 ? 0.1 : poles == 1 ? 1.0 : 4.0) * value);
    }
    return samples;
}

/// Eight partials a note, four notes a second on one grid. The score is `melody`'s; `hand` plays it: beside the beat by
/// up to `loose` seconds, each partial with a phase and a loudness of its own, the pitch off by up to 3 cents.
Samples played(std::uint64_t melody, std::uint64_t hand, std::size_t length, double loose) {
    Noise score(melody), player(hand);
    Samples samples(length);
    for (std::size_t beat = 0; beat * 12000 + 12000 < length; ++beat) {
        const double pitch = 82.4 * std::exp2(std::floor(score.uniform() * 30.0) / 12.0) *
                             std::exp2((player.uniform() - 0.5) * 6.0 / 1200.0);
        const auto begin = beat * 12000 + static_cast<std::size_t>(loose * rate * player.uniform());
        const std::size_t end = std::min(length, begin + 16000);
        for (int partial = 1; partial <= 8; ++partial) {
            const double turn = 2.0 * std::numbers::pi * pitch * partial / rate;
            const auto step = std::polar(std::exp(-4.0 / rate), turn);
            auto now = std::polar(0.1 * (0.5 + player.uniform()) / partial, 2.0 * std::numbers::pi * player.uniform());
            for (std::size_t n = begin; n < end; ++n, now *= step)
                samples[n] += static_cast<float>(now.real() * std::min(1.0, static_cast<double>(n - begin) / 480.0));
        }
    }
    const auto floor = noise(player, length, 0);
    return sum(std::move(samples), floor, 1e-3);
}

/// Two microphones in a room with one source, and noise of their own `snrDb` below.
Tracks inRoom(Noise& random, const Samples& dry, double snrDb) {
    const auto within = [&](double low, double high) { return low + (high - low) * random.uniform(); };
    Scene scene;
    scene.rooms.emplace_back();
    auto& room = scene.rooms.front();
    room.size = {within(4, 11), within(3, 8), within(2.4, 4)};
    const double absorption = within(0.12, 0.6);
    for (auto& surface : room.absorption)
        surface.fill(absorption);
    room.decay = Seconds(within(0.15, 0.6));
    const auto place = [&] {
        return Point{within(0.5, room.size.x - 0.5), within(0.5, room.size.y - 0.5), within(0.5, room.size.z - 0.5)};
    };
    scene.sources = {{"source", 0, place(), {}, Decibels(0.0)}};
    for (int k = 0; k < 2; ++k)
        scene.microphones.push_back(
            {"m", 0, place(), {within(0.3, 1.0), scene.sources[0].position}, Decibels(20.0), Decibels(-200.0), {}});
    Workers workers(1);
    const SceneSound sound(scene, std::vector<Samples>{dry}, workers);
    std::array<Samples, 2> tracks{sound.track(0), sound.track(1)};
    for (auto& track : tracks) {
        double squares = 0.0;
        for (const float sample : track)
            squares += static_cast<double>(sample) * static_cast<double>(sample);
        const double level = std::sqrt(squares / static_cast<double>(track.size())) * std::pow(10.0, -snrDb / 20.0);
        for (auto& sample : track)
            sample += static_cast<float>(level * random.normal());
    }
    return {std::move(tracks[0]), std::move(tracks[1])};
}

struct Row {
    std::string name;
    std::function<Tracks(Noise&, std::size_t length, std::uint64_t seed)> make;
};

void print(const Row& row, int pairs, std::uint64_t seed) {
    Workers workers(1);
    int related = 0, sure = 0;
    Noise random(seed);
    for (int pair = 0; pair < pairs; ++pair) {
        const auto length = static_cast<std::size_t>(rate * 8.0 * std::pow(60.0 / 8.0, random.uniform()));
        auto [first, second] = row.make(random, length, seed * 100000 + 10 * static_cast<std::uint64_t>(pair));
        const auto spectra =
            computeCrossSpectra(MemorySource({std::move(first), std::move(second)}, rate), {}, workers, {});
        if (!spectra) std::exit(1);
        const auto reading = readPair(*spectra, 0, 1, {});
        related += reading.related;
        sure += reading.arrival && reading.arrival->confidence >= 0.8;
    }
    std::printf("| %s | %d | %d | %d |\n", row.name.c_str(), pairs, related, sure);
    std::fflush(stdout);
}

} // namespace

int main(int argc, char** argv) {
    const int pairs = argc > 1 ? std::atoi(argv[1]) : 100;
    std::printf("| pairs of 8 to 60 s | asked | related | arrival sure |\n|---|---|---|---|\n");
    const std::vector<Row> rows{
        {"unrelated: white noise",
         [](Noise& r, std::size_t n, std::uint64_t) {
             return Tracks{noise(r, n, 0), noise(r, n, 0)};
         }},
        {"unrelated: noise of one pole",
         [](Noise& r, std::size_t n, std::uint64_t) {
             return Tracks{noise(r, n, 1), noise(r, n, 1)};
         }},
        {"unrelated: noise of two poles, and white",
         [](Noise& r, std::size_t n, std::uint64_t) {
             return Tracks{noise(r, n, 2), noise(r, n, 0)};
         }},
        {"unrelated: different tunes on one grid",
         [](Noise&, std::size_t n, std::uint64_t s) {
             return Tracks{played(s, s + 1, n, 0.02), played(s + 2, s + 3, n, 0.02)};
         }},
        {"unrelated: one tune, two players within 20 ms",
         [](Noise&, std::size_t n, std::uint64_t s) {
             return Tracks{played(s, s + 1, n, 0.02), played(s, s + 3, n, 0.02)};
         }},
        {"unrelated: one tune, two players on the grid",
         [](Noise&, std::size_t n, std::uint64_t s) {
             return Tracks{played(s, s + 1, n, 0.0), played(s, s + 3, n, 0.0)};
         }},
        {"related: noise in a room, SNR 0 to 30 dB",
         [](Noise& r, std::size_t n, std::uint64_t) {
             const auto dry = noise(r, n, 1);
             return inRoom(r, dry, 30.0 * r.uniform());
         }},
        {"related: a tune in a room, SNR 0 to 30 dB",
         [](Noise& r, std::size_t n, std::uint64_t s) {
             return inRoom(r, played(s, s + 1, n, 0.02), 30.0 * r.uniform());
         }},
        {"related: noise in a room, SNR -10 to 0 dB",
         [](Noise& r, std::size_t n, std::uint64_t) {
             const auto dry = noise(r, n, 1);
             return inRoom(r, dry, -10.0 * r.uniform());
         }},
        {"related: a tune in a room, SNR -10 to 0 dB", [](Noise& r, std::size_t n, std::uint64_t s) {
             return inRoom(r, played(s, s + 1, n, 0.02), -10.0 * r.uniform());
         }}};
    std::uint64_t seed = 1;
    for (const auto& row : rows)
        print(row, pairs, seed++);
}
