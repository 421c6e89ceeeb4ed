#include "Bench/RandomPairs.h"

#include "Bench/RandomRooms.h"
#include "Core/RandomStream.h"
#include "Core/Scene/Acoustics.h"
#include "Core/Scene/SceneSound.h"
#include "Demo/Players.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <optional>

namespace spillwright::bench {

namespace {

enum class Kind { tune, strokes };

/// A player of the General MIDI bank and what it may be asked to play.
struct Voice {
    const char* name;
    int bank, program;
    int lowKey, highKey; ///< Of strokes: the one key, or two that take turns.
    Kind kind;
    bool low;
    double weight;
    bool rings = false;
};

constexpr Kind tune = Kind::tune, strokes = Kind::strokes;
constexpr int drums = 128;
constexpr std::array voices{
    // low
    Voice{"double bass", 0, 43, 28, 50, tune, true, 2.0},
    Voice{"plucked bass", 0, 32, 28, 50, tune, true, 2.0},
    Voice{"electric bass", 0, 33, 28, 50, tune, true, 1.5},
    Voice{"tuba", 0, 58, 29, 52, tune, true, 1.5},
    Voice{"trombone", 0, 57, 40, 64, tune, true, 1.5},
    Voice{"baritone saxophone", 0, 67, 37, 60, tune, true, 1.0},
    Voice{"bassoon", 0, 70, 34, 60, tune, true, 1.0},
    Voice{"cello", 0, 42, 36, 62, tune, true, 1.0},
    Voice{"timpani", 0, 47, 38, 53, tune, true, 1.0, true},
    Voice{"kick", drums, 0, 36, 36, strokes, true, 2.0, true},
    Voice{"floor tom", drums, 0, 41, 43, strokes, true, 1.0, true},
    // few partials
    Voice{"flute", 0, 73, 60, 88, tune, false, 1.0},
    Voice{"ocarina", 0, 79, 60, 84, tune, false, 0.7},
    Voice{"vibraphone", 0, 11, 53, 84, tune, false, 0.7, true},
    Voice{"glockenspiel", 0, 9, 72, 96, tune, false, 0.5, true},
    Voice{"French horn", 0, 60, 41, 72, tune, false, 0.8},
    // voices and reeds
    Voice{"choir aahs", 0, 52, 48, 76, tune, false, 1.0},
    Voice{"voice oohs", 0, 53, 48, 76, tune, false, 1.0},
    Voice{"clarinet", 0, 71, 50, 82, tune, false, 1.0},
    Voice{"oboe", 0, 68, 58, 86, tune, false, 1.0},
    Voice{"alto saxophone", 0, 65, 49, 77, tune, false, 1.0},
    Voice{"tenor saxophone", 0, 66, 44, 72, tune, false, 1.0},
    // strings, keys, brass
    Voice{"violin", 0, 40, 55, 90, tune, false, 1.0},
    Voice{"viola", 0, 41, 48, 80, tune, false, 1.0},
    Voice{"trumpet", 0, 56, 54, 82, tune, false, 1.0},
    Voice{"piano", 0, 0, 33, 88, tune, false, 1.0},
    Voice{"nylon guitar", 0, 24, 40, 76, tune, false, 1.0},
    Voice{"clean guitar", 0, 27, 40, 76, tune, false, 1.0},
    Voice{"marimba", 0, 12, 48, 84, tune, false, 0.5, true},
    // drums and hiss
    Voice{"snare", drums, 0, 38, 38, strokes, false, 1.5, true},
    Voice{"rack tom", drums, 0, 48, 50, strokes, false, 0.8, true},
    Voice{"hi-hat", drums, 0, 42, 42, strokes, false, 0.8, true},
    Voice{"ride", drums, 0, 51, 51, strokes, false, 0.8, true},
    Voice{"crash", drums, 0, 49, 57, strokes, false, 0.7, true},
    Voice{"congas", drums, 0, 63, 64, strokes, false, 0.7, true},
};

const Voice& anyVoice(RandomStream& random) {
    double total = 0.0;
    for (const auto& voice : voices)
        total += voice.weight;
    double left = random.uniform() * total;
    for (const auto& voice : voices)
        if ((left -= voice.weight) < 0.0) return voice;
    return voices.front();
}

/// A walk up and down a major scale with rests; or strokes on a grid, some left out.
std::vector<Note> anyNotes(const Voice& voice, double seconds, RandomStream& random) {
    std::vector<Note> notes;
    const double beat = random.between(0.18, 0.6);
    if (voice.kind == strokes) {
        const double density = random.between(0.4, 0.9);
        for (double time = 0.0; time < seconds; time += beat)
            if (random.uniform() < density || notes.empty())
                notes.push_back({Seconds(std::max(0.0, time + random.between(-0.01, 0.01))), Seconds(0.2),
                                 random.sign() > 0 ? voice.lowKey : voice.highKey, 55 + random.below(65)});
        return notes;
    }
    constexpr std::array scale{0, 2, 4, 5, 7, 9, 11};
    const int root = random.below(12);
    const auto key = [&](int degree) { return root + 12 * (degree / 7) + scale[static_cast<std::size_t>(degree % 7)]; };
    int low = 0, high = 0;
    while (key(low) < voice.lowKey)
        ++low;
    for (high = low; key(high + 1) <= voice.highKey;)
        ++high;
    int degree = low + random.below(high - low + 1);
    for (double time = 0.0; time < seconds;) {
        const double length = beat * (1 << random.below(3)) * 0.5;
        if (random.uniform() > 0.15 || notes.empty())
            notes.push_back(
                {Seconds(time), Seconds(length * random.between(0.6, 1.0)), key(degree), 55 + random.below(60)});
        degree = std::clamp(degree + random.below(7) - 3, low, high);
        time += length;
    }
    return notes;
}

FirstOrderPattern anyPattern(const Point& aim, RandomStream& random) {
    constexpr std::array shares{1.0, 1.0, 0.5, 0.5, 0.25, 0.0};
    return {shares[static_cast<std::size_t>(random.below(static_cast<int>(shares.size())))], aim};
}

} // namespace

Result<RandomPair> makeRandomPair(std::uint64_t set, std::uint64_t index, const std::filesystem::path& soundBank) {
    RandomStream random(RandomStream(set * 0x1000003 + 17).bits() ^ RandomStream(index + 1).bits());
    RandomPair pair;
    pair.decaySeconds = random.between(0.2, 1.1);
    pair.seconds = logBetween(2.0, 60.0, random);
    const auto length = static_cast<std::int64_t>(pair.seconds * RandomPair::rate);

    Scene scene;
    scene.sampleRate = RandomPair::rate;
    const double x = random.between(3.5, 14.0), y = random.between(3.0, 10.0), z = random.between(2.4, 5.0);
    scene.rooms.push_back(roughRoom({x, y, z}, pair.decaySeconds, random));
    const ShoeboxRoom& room = scene.rooms.front();
    const int sources = random.uniform() < 0.4 ? 1 : 2 + random.below(3);
    std::vector<std::vector<float>> dry;
    std::vector<const Voice*> played;
    for (int source = 0; source < sources; ++source) {
        const Voice& voice = anyVoice(random);
        played.push_back(&voice);
        Part part{{voice.bank, voice.program, false, voice.rings}, anyNotes(voice, pair.seconds, random)};
        auto sound = playPart(soundBank, part, RandomPair::rate, length);
        if (!sound) return sound.fault();
        // Alike in energy; a rival then stands at its level against the lead.
        const double energy = energyOf(*sound);
        const double level = source == 0 ? 0.0 : random.between(-20.0, 6.0);
        const double scale = energy > 0.0 ? 0.1 * std::sqrt(static_cast<double>(length) / energy) : 0.0;
        for (float& sample : *sound)
            sample *= static_cast<float>(scale);
        dry.push_back(std::move(*sound));
        SceneSource made;
        made.name = voice.name;
        made.position = anyPlace(room, random);
        made.level = Decibels(level);
        scene.sources.push_back(made);
        if (source == 0)
            pair.lead = voice.name;
        else
            pair.rivals += (source > 1 ? ", " : "") + std::string(voice.name);
    }

    // The first microphone is close to the lead, to a rival, or anywhere; the second close to another or anywhere.
    const auto place = [&] {
        const double kind = random.uniform();
        const Point& lead = scene.sources.front().position;
        if (kind < 0.35) return placeNear(room, lead, logBetween(0.08, 1.0, random), random);
        if (kind < 0.6) return placeNear(room, lead, random.between(0.6, 3.5), random);
        if (kind < 0.8 && sources > 1) {
            const auto rival = static_cast<std::size_t>(1 + random.below(sources - 1));
            return placeNear(room, scene.sources[rival].position, logBetween(0.1, 1.0, random), random);
        }
        return anyPlace(room, random);
    };
    for (int microphone = 0; microphone < 2; ++microphone) {
        SceneMicrophone made;
        made.position = place();
        const auto aimed = static_cast<std::size_t>(random.uniform() < 0.7 ? 0 : random.below(sources));
        made.pattern =
            anyPattern(random.uniform() < 0.85 ? scene.sources[aimed].position : anyPlace(room, random), random);
        scene.microphones.push_back(made);
    }
    auto& late = scene.microphones[static_cast<std::size_t>(random.below(2))];
    scene.microphones.back().faults.inverted = random.sign() < 0;
    if (random.uniform() < 0.2) late.faults.lateSamples = random.below(500);

    // Sounds and energies, source by source.
    Workers alone(1);
    const SceneSound sound(scene, dry, alone);
    std::array<std::vector<float>, 2> tracks;
    std::vector<std::array<double, 2>> energies(scene.sources.size());
    for (int source = 0; source < sources; ++source)
        for (int microphone = 0; microphone < 2; ++microphone) {
            const auto part = sound.part(source, microphone);
            auto& track = tracks[static_cast<std::size_t>(microphone)];
            energies[static_cast<std::size_t>(source)][static_cast<std::size_t>(microphone)] = energyOf(part);
            if (track.empty()) track.resize(part.size());
            for (std::size_t n = 0; n < part.size(); ++n)
                track[n] += part[n];
        }
    pair.noiseDb = random.between(-10.0, 50.0);
    std::array<double, 2> noiseEnergies{};
    for (std::size_t m = 0; m < 2; ++m) {
        const double rms = std::sqrt(energies[0][m] / static_cast<double>(tracks[m].size()) *
                                     std::pow(10.0, -(pair.noiseDb + random.between(-3.0, 3.0)) / 10.0));
        for (float& sample : tracks[m])
            sample += static_cast<float>(rms * random.bell());
        noiseEnergies[m] = rms * rms * static_cast<double>(tracks[m].size());
    }

    // The truth is that of the source whose direct sound is strongest in the two tracks together.
    double strongest = -1e9;
    for (int source = 0; source < sources; ++source) {
        const auto one = directPath(scene, source, 0), two = directPath(scene, source, 1);
        const double level = one->level.value + two->level.value;
        if (!one->polarity || !two->polarity || level < strongest) continue;
        strongest = level;
        pair.source = source;
        pair.arrivalSeconds = two->arrival.value - one->arrival.value;
        pair.polarity = *one->polarity == *two->polarity ? Polarity::same : Polarity::inverted;
        const auto s = static_cast<std::size_t>(source);
        pair.aheadDb = 99.0;
        pair.low = played[s]->low;
        const double own = energyOf(dry[s]);
        pair.directShare = 1.0;
        pair.aboveNoiseDb = 99.0;
        for (std::size_t m = 0; m < 2; ++m) {
            double others = 0.0;
            for (std::size_t other = 0; other < energies.size(); ++other)
                if (other != s) others += energies[other][m];
            if (others > 0.0) pair.aheadDb = std::min(pair.aheadDb, decibelsOfPower(energies[s][m] / others));
            pair.aboveNoiseDb = std::min(pair.aboveNoiseDb, decibelsOfPower(energies[s][m] / noiseEnergies[m]));
            const double direct = own * std::pow(10.0, (m == 0 ? *one : *two).level.value / 10.0);
            pair.directShare *= std::sqrt(std::min(1.0, direct / energies[s][m]));
        }
    }
    pair.first = std::move(tracks[0]);
    pair.second = std::move(tracks[1]);
    return pair;
}

} // namespace spillwright::bench
