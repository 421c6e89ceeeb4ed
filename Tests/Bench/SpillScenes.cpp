#include "Bench/SpillScenes.h"

#include "Bench/RandomRooms.h"
#include "Core/Scene/Acoustics.h"
#include "Core/Scene/SceneSound.h"
#include "Core/Signal/AlignedVector.h"
#include "Core/Signal/Fourier.h"
#include "Core/ThirdOctaves.h"
#include "Demo/Players.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <numeric>

namespace spillwright::bench {

namespace {

constexpr int drums = 128;

/// How a part is made up.
enum class Style {
    kick,    ///< The first beat, the third, some beside.
    snare,   ///< The second and fourth beat, ghost notes.
    hat,     ///< Eighths, some open.
    ride,    ///< Quarters and swung eighths, crashes at the beginning of a phrase.
    tom,     ///< Fills at the end of four bars, two keys at most.
    strokes, ///< A pattern of sixteenths of its own.
    bass,    ///< Roots and fifths of the chord, walking.
    chords,  ///< Three notes at a time, in a rhythm of its own.
    melody,  ///< A walk along the scale with rests.
    held,    ///< Chord notes for a bar or half of one.
    section, ///< Chord notes in the rhythm of the section: all of one scene that have this style move together.
};

/// A player of the General MIDI bank. Levels: dB of the dry part's energy, against each other as they stand in a room.
struct Player {
    const char* name;
    int bank, program, lowKey, highKey;
    Style style;
    double levelDb;
    double nearest, farthest; ///< Where its close microphone stands, metres.
    bool rings = false;
    bool chokes = false;
};

constexpr Player kick{"kick", drums, 0, 36, 36, Style::kick, 6, 0.05, 0.15, true};
constexpr Player snare{"snare", drums, 0, 38, 38, Style::snare, 7, 0.05, 0.10, true};
constexpr Player hat{"hat", drums, 0, 42, 46, Style::hat, -3, 0.10, 0.20, true, true};
constexpr Player rackTom{"rack tom", drums, 0, 48, 50, Style::tom, 1, 0.05, 0.10, true};
constexpr Player floorTom{"floor tom", drums, 0, 41, 43, Style::tom, 1, 0.05, 0.12, true};
constexpr Player ride{"ride", drums, 0, 51, 49, Style::ride, -2, 0.15, 0.30, true};
constexpr Player electricBass{"bass", 0, 33, 28, 48, Style::bass, 4, 0.05, 0.15};
constexpr Player doubleBass{"double bass", 0, 32, 28, 50, Style::bass, -2, 0.10, 0.30};
constexpr Player bowedBass{"double bass", 0, 43, 28, 50, Style::bass, 0, 0.25, 0.50};
constexpr Player guitarAmplifier{"guitar", 0, 29, 40, 72, Style::chords, 4, 0.04, 0.10};
constexpr Player cleanGuitar{"clean guitar", 0, 27, 43, 76, Style::chords, 2, 0.04, 0.12};
constexpr Player acousticGuitar{"acoustic guitar", 0, 25, 40, 76, Style::chords, -6, 0.20, 0.40};
constexpr Player piano{"piano", 0, 0, 40, 84, Style::chords, 2, 0.25, 0.50};
constexpr Player voice{"voice", 0, 53, 52, 74, Style::melody, 0, 0.08, 0.25};
constexpr Player alto{"alto", 0, 52, 53, 72, Style::melody, -2, 0.25, 0.50};
constexpr Player tenor{"tenor", 0, 53, 48, 67, Style::melody, -2, 0.25, 0.50};
constexpr Player trumpet{"trumpet", 0, 56, 55, 80, Style::melody, 5, 0.25, 0.60};
constexpr Player trombone{"trombone", 0, 57, 42, 66, Style::melody, 5, 0.25, 0.60};
constexpr Player tuba{"tuba", 0, 58, 29, 50, Style::bass, 3, 0.40, 0.70};
constexpr Player horn{"horn", 0, 60, 43, 70, Style::held, 3, 0.40, 0.70};
constexpr Player altoSaxophone{"alto sax", 0, 65, 50, 76, Style::melody, 3, 0.25, 0.50};
constexpr Player tenorSaxophone{"tenor sax", 0, 66, 45, 70, Style::melody, 3, 0.25, 0.50};
constexpr Player baritoneSaxophone{"baritone sax", 0, 67, 37, 60, Style::melody, 3, 0.25, 0.50};
constexpr Player flute{"flute", 0, 73, 60, 88, Style::melody, -2, 0.25, 0.50};
constexpr Player oboe{"oboe", 0, 68, 58, 84, Style::melody, -1, 0.25, 0.50};
constexpr Player clarinet{"clarinet", 0, 71, 50, 80, Style::melody, 0, 0.25, 0.50};
constexpr Player bassoon{"bassoon", 0, 70, 36, 60, Style::melody, 0, 0.30, 0.60};
constexpr Player violin{"violin", 0, 40, 55, 88, Style::melody, -1, 0.30, 0.60};
constexpr Player viola{"viola", 0, 41, 48, 78, Style::melody, -1, 0.30, 0.60};
constexpr Player cello{"cello", 0, 42, 36, 62, Style::melody, 1, 0.30, 0.60};
constexpr Player congas{"congas", drums, 0, 62, 64, Style::strokes, 3, 0.15, 0.30, true};
constexpr Player bongos{"bongos", drums, 0, 60, 61, Style::strokes, 0, 0.15, 0.30, true};
constexpr Player shaker{"shaker", drums, 0, 70, 70, Style::strokes, -5, 0.20, 0.40, true};
constexpr Player bassDrum{"bass drum", drums, 0, 35, 35, Style::kick, 6, 0.15, 0.40, true};
constexpr Player marimba{"marimba", 0, 12, 48, 84, Style::chords, 0, 0.30, 0.60, true};
constexpr Player vibraphone{"vibraphone", 0, 11, 53, 84, Style::melody, 0, 0.30, 0.60, true};

/// The bars that all play by.
struct Bars {
    double beat = 0.5;
    double seconds = 60.0;
    int root = 0;
    std::array<int, 4> degrees{};         ///< The chords' roots, of the scale; four bars, over and over.
    std::array<bool, 16> sectionRhythm{}; ///< Sixteenths on which a section begins a note.

    int count() const { return static_cast<int>(std::ceil(seconds / (4.0 * beat))); }
    int key(int degree) const {
        constexpr std::array scale{0, 2, 4, 5, 7, 9, 11};
        return root + 12 * (degree / 7) + scale[static_cast<std::size_t>(degree % 7)];
    }
    int chord(int bar) const { return degrees[static_cast<std::size_t>(bar % 4)]; }
};

Bars anyBars(double seconds, RandomStream& random) {
    Bars bars;
    bars.seconds = seconds;
    bars.beat = 60.0 / random.between(80.0, 150.0);
    bars.root = random.below(12);
    for (int& degree : bars.degrees)
        degree = random.below(6);
    bars.degrees[0] = 0;
    for (std::size_t step = 0; step < 16; ++step)
        bars.sectionRhythm[step] = step == 0 || random.uniform() < (step % 2 == 0 ? 0.4 : 0.1);
    return bars;
}

/// A degree of the scale within the player's keys, nearest to `wanted`, of the same place in the octave.
int withinReach(const Bars& bars, const Player& player, int degree) {
    while (bars.key(degree) < player.lowKey)
        degree += 7;
    while (bars.key(degree) > player.highKey)
        degree -= 7;
    return degree;
}

/// What a player plays: of each four bars some are left out, so that nobody plays throughout and few rest together.
std::vector<Note> anyNotes(const Player& player, const Bars& bars, RandomStream& random) {
    std::vector<Note> notes;
    const double step = bars.beat / 4.0;
    const double late = random.between(-0.008, 0.012);
    const auto add = [&](double at, double steps, int key, int velocity) {
        const double time = std::max(0.0, at * step + late + 0.007 * random.bell());
        if (time < bars.seconds)
            notes.push_back({Seconds(time), Seconds(std::max(0.06, steps * step)), key,
                             std::clamp(velocity + static_cast<int>(7.0 * random.bell()), 20, 127)});
    };
    std::array<bool, 16> own{};
    const double density = random.between(0.25, 0.6);
    for (std::size_t s = 0; s < 16; ++s)
        own[s] = random.uniform() < density * (s % 4 == 0 ? 1.4 : s % 2 == 0 ? 1.0 : 0.5);
    own[static_cast<std::size_t>(4 * random.below(4))] = true;

    const int middle = withinReach(bars, player, 7 * ((player.lowKey + player.highKey) / 24) + random.below(5));
    int degree = middle;
    double busy = 0.0; // steps until the tune goes on
    for (int bar = 0; bar < bars.count(); ++bar) {
        const bool drum = player.bank == drums && player.style != Style::strokes;
        const bool rests = random.uniform() < (drum ? 0.08 : 0.22);
        if (rests && bar > 0) continue;
        const double start = 16.0 * bar;
        const int chord = bars.chord(bar);
        switch (player.style) {
        case Style::kick:
            for (int s = 0; s < 16; ++s)
                if (s == 0 || (s == 8 && random.uniform() < 0.7) || (own[static_cast<std::size_t>(s)] && s % 2 == 0))
                    add(start + s, 1, player.lowKey, 100);
            break;
        case Style::snare:
            for (int s = 0; s < 16; ++s)
                if (s % 8 == 4)
                    add(start + s, 1, player.lowKey, 108);
                else if (random.uniform() < 0.12)
                    add(start + s, 1, player.lowKey, 45);
            break;
        case Style::hat:
            for (int s = 0; s < 16; s += 2)
                add(start + s, 1, s == 14 && random.uniform() < 0.3 ? player.highKey : player.lowKey,
                    s % 4 == 0 ? 92 : 70);
            break;
        case Style::ride:
            if (bar % 4 == 0) add(start, 8, player.highKey, 100);
            for (int s = 0; s < 16; ++s)
                if (s % 4 == 0 || (s % 8 == 6 && random.uniform() < 0.7)) add(start + s, 4, player.lowKey, 80);
            break;
        case Style::tom:
            for (int s = 0; s < 16; ++s)
                if ((bar % 4 == 3 && s >= 8 && random.uniform() < 0.55) || random.uniform() < 0.03)
                    add(start + s, 2, random.sign() > 0 ? player.lowKey : player.highKey, 98);
            break;
        case Style::strokes:
            for (int s = 0; s < 16; ++s)
                if (own[static_cast<std::size_t>(s)])
                    add(start + s, 1, random.sign() > 0 ? player.lowKey : player.highKey, 60 + random.below(55));
            break;
        case Style::bass:
            for (int s = 0; s < 16; s += 2)
                if (s == 0 || random.uniform() < 0.5)
                    add(start + s, random.between(1.5, 3.5),
                        bars.key(withinReach(bars, player, chord + (s == 0 ? 0 : 2 * random.below(3)))), 90);
            break;
        case Style::chords:
            for (int s = 0; s < 16; ++s)
                if (own[static_cast<std::size_t>(s)])
                    for (const int third : {0, 2, 4})
                        add(start + s, random.between(1.5, 4.0),
                            bars.key(withinReach(bars, player, chord + 7 * 2 + third)), 78);
            break;
        case Style::melody:
            if (busy > 16.0) busy -= 16.0;
            for (double s = std::fmod(busy, 16.0); s < 16.0;) {
                const double length = static_cast<double>(1 << random.below(4));
                if (random.uniform() > 0.18)
                    add(start + s, length * random.between(0.6, 1.0), bars.key(degree), 70 + random.below(40));
                degree = withinReach(bars, player, std::max(0, degree + random.below(7) - 3));
                s += length;
                busy = s;
            }
            break;
        case Style::held:
            for (const double s : {0.0, 8.0})
                if (s == 0.0 || random.uniform() < 0.5)
                    add(start + s, random.between(6.0, 15.0),
                        bars.key(withinReach(bars, player, chord + 14 + 2 * random.below(3))), 75);
            break;
        case Style::section: {
            const int voiceInChord = 2 * random.below(3);
            for (std::size_t s = 0; s < 16; ++s)
                if (bars.sectionRhythm[s])
                    add(start + static_cast<double>(s), random.between(1.0, 2.0),
                        bars.key(withinReach(bars, player, middle - middle % 7 + chord + voiceInChord)), 92);
            break;
        }
        }
    }
    if (notes.empty()) add(0.0, 4.0, player.lowKey, 90);
    return notes;
}

/// The same notes played by another of the same instrument: up to 12 ms beside, hardly louder or softer.
std::vector<Note> playedAlong(const std::vector<Note>& notes, RandomStream& random) {
    std::vector<Note> along = notes;
    for (Note& note : along) {
        note.start = Seconds(std::max(0.0, note.start.value + random.between(-0.012, 0.012)));
        note.velocity = std::clamp(note.velocity + random.below(3) - 1, 20, 127);
    }
    return along;
}

constexpr double omni = 1.0, cardioid = 0.5, eight = 0.0;

/// A session as it is set up: players in a room, microphones before them.
class Stage {
public:
    Stage(SpillScene& made, const Point& size, RandomStream& stream) : truth(made), random(stream) {
        scene.sampleRate = SpillScene::rate;
        scene.seed = random.bits();
        scene.rooms.push_back(roughRoom(size, made.decaySeconds, random));
        bars = anyBars(made.seconds, random);
    }

    /// `style`: instead of the player's usual one.
    int add(const Player& player, const Point& position, std::optional<Style> style = {},
            const std::string& name = {}) {
        Player asked = player;
        if (style) asked.style = *style;
        SceneSource source;
        source.name = name.empty() ? player.name : name;
        source.position = inside(position);
        source.level = Decibels(player.levelDb + random.between(-2.0, 2.0));
        scene.sources.push_back(source);
        truth.sources.push_back({source.name, {}, {}});
        players.push_back(asked);
        parts.push_back({{asked.bank, asked.program, asked.chokes, asked.rings}, anyNotes(asked, bars, random)});
        return static_cast<int>(players.size()) - 1;
    }
    int addAlong(int with, const Point& position, const std::string& name) {
        const Player player = players[static_cast<std::size_t>(with)];
        const int source = add(player, position, {}, name);
        scene.sources.back().level = scene.sources[static_cast<std::size_t>(with)].level;
        parts.back().notes = playedAlong(parts[static_cast<std::size_t>(with)].notes, random);
        truth.sources[static_cast<std::size_t>(source)].alwaysWith = with;
        truth.sources[static_cast<std::size_t>(with)].alwaysWith = source;
        return source;
    }
    /// Radiates one way more than the other, upside down behind where `share` < 0.5, as a drum's two heads do.
    void radiate(int source, double share, const Point& towards) {
        at(source).pattern = {
            share,
            {at(source).position.x + towards.x, at(source).position.y + towards.y, at(source).position.z + towards.z}};
    }

    /// A close microphone anywhere around its player, at the player's usual distances.
    int close(int source, const std::string& name = {}) {
        const Player& player = players[static_cast<std::size_t>(source)];
        const double distance = logBetween(player.nearest, player.farthest, random);
        Point place = placeNear(scene.rooms.front(), at(source).position, distance, random);
        return microphone(name, source, place, random.uniform() < 0.75 ? cardioid : random.sign() > 0 ? eight : omni);
    }
    /// One at a given place before its player, give or take a fifth.
    int close(int source, const std::string& name, const Point& offset, double share = cardioid) {
        const Point& p = at(source).position;
        const auto about = [&](double x) { return x * random.between(0.8, 1.2); };
        return microphone(name, source, {p.x + about(offset.x), p.y + about(offset.y), p.z + about(offset.z)}, share);
    }
    /// A direct line: hears its player and nobody else.
    int line(int source, const std::string& name) {
        const int track = close(source, name);
        lines.push_back(track);
        return track;
    }
    void distant(const std::string& name, const Point& place, const Point& aim, double share,
                 SpillScene::Role role = SpillScene::Role::room) {
        SceneMicrophone made;
        made.name = name;
        made.position = inside(place);
        made.pattern = {share, aim};
        hang(made, role);
    }
    /// Two over a place, a little apart.
    void pair(const std::string& name, const Point& over, double width, const Point& aim, double share,
              SpillScene::Role role = SpillScene::Role::room) {
        distant(name + " L", {over.x - 0.5 * width, over.y, over.z}, aim, share, role);
        distant(name + " R", {over.x + 0.5 * width, over.y, over.z}, aim, share, role);
    }

    const Point& place(int source) { return at(source).position; }
    const Point& size() const { return scene.rooms.front().size; }

    struct Kit {
        int kick, snare, hat, rack, floor, ride;
        Point centre;
    };
    /// A drum kit; `toms`, `cymbal`: whether these play.
    Kit kit(double x, double y, bool toms, bool cymbal) {
        Kit made{};
        made.centre = inside({x, y, 0.8});
        x = made.centre.x;
        y = made.centre.y;
        made.kick = add(kick, {x, y, 0.35});
        made.snare = add(snare, {x - 0.35, y + 0.45, 0.72});
        made.hat = add(hat, {x - 0.75, y + 0.40, 0.95});
        made.rack = toms ? add(rackTom, {x - 0.1, y + 0.05, 0.95}) : -1;
        made.floor = toms ? add(floorTom, {x + 0.5, y + 0.5, 0.68}) : -1;
        made.ride = cymbal ? add(ride, {x + 0.65, y + 0.1, 1.10}) : -1;
        radiate(made.kick, 0.4, {0.0, -1.0, 0.0});
        radiate(made.snare, 0.35, {0.0, 0.0, 1.0});
        return made;
    }

    Outcome play(const std::filesystem::path& bank);

private:
    SceneSource& at(int source) { return scene.sources[static_cast<std::size_t>(source)]; }

    Point inside(const Point& p) const {
        constexpr double fromWall = 0.35;
        return {std::clamp(p.x, fromWall, size().x - fromWall), std::clamp(p.y, fromWall, size().y - fromWall),
                std::clamp(p.z, 0.2, size().z - 0.2)};
    }
    int microphone(const std::string& name, int source, const Point& place, double share) {
        SceneMicrophone made;
        made.name = name.empty() ? truth.sources[static_cast<std::size_t>(source)].name : name;
        made.position = place;
        made.pattern = {share, at(source).position};
        truth.sources[static_cast<std::size_t>(source)].closeTracks.push_back(hang(made, SpillScene::Role::close));
        return truth.sources[static_cast<std::size_t>(source)].closeTracks.back();
    }
    int hang(SceneMicrophone made, SpillScene::Role role) {
        made.faults.inverted = random.uniform() < 0.3;
        if (random.uniform() < 0.05) made.faults.lateSamples = random.below(200);
        truth.tracks.push_back({made.name, role, {}, {}});
        scene.microphones.push_back(made);
        return static_cast<int>(truth.tracks.size()) - 1;
    }

    SpillScene& truth;
    RandomStream& random;
    Scene scene;
    Bars bars;
    std::vector<Player> players;
    std::vector<Part> parts;
    std::vector<int> lines;
};

/// Energy in each third octave of spillBand.
class BandEnergies {
public:
    BandEnergies()
        : transform(Fourier::ofLength(length)), window(length), signal(length),
          spectrum(static_cast<std::size_t>(transform->binCount())), sums(spectrum.size()),
          bands(thirdOctaveBins(spillBand, SpillScene::rate / length, transform->binCount())) {
        for (std::size_t n = 0; n < window.size(); ++n)
            window[n] =
                static_cast<float>(0.5 - 0.5 * std::cos(2.0 * std::numbers::pi * static_cast<double>(n) / length));
    }
    std::vector<double> of(const std::vector<float>& sound) {
        std::fill(sums.begin(), sums.end(), 0.0);
        for (std::size_t start = 0; start + length <= sound.size(); start += length / 2) {
            for (std::size_t n = 0; n < length; ++n)
                signal[n] = sound[start + n] * window[n];
            transform->forward(signal.data(), spectrum.data());
            for (std::size_t bin = 0; bin <= static_cast<std::size_t>(bands.back().lastBin); ++bin)
                sums[bin] += static_cast<double>(std::norm(spectrum[bin]));
        }
        std::vector<double> energies;
        for (const auto& band : bands)
            energies.push_back(std::accumulate(sums.begin() + band.firstBin, sums.begin() + band.lastBin + 1, 0.0));
        return energies;
    }

private:
    static constexpr std::size_t length = 16384;
    std::shared_ptr<const Fourier> transform;
    AlignedVector<float> window, signal;
    AlignedVector<std::complex<float>> spectrum;
    std::vector<double> sums;
    std::vector<ThirdOctaveBins> bands;
};

Outcome Stage::play(const std::filesystem::path& bank) {
    const auto length = static_cast<std::int64_t>(truth.seconds * SpillScene::rate);
    Workers alone(1);
    BandEnergies energies;
    for (auto& track : truth.tracks)
        track.samples.assign(static_cast<std::size_t>(length), 0.0f);
    for (std::size_t s = 0; s < parts.size(); ++s) {
        auto dry = playPart(bank, parts[s], SpillScene::rate, length);
        if (!dry) return dry.fault();
        const double energy = energyOf(*dry);
        const double scale = energy > 0.0 ? 0.1 * std::sqrt(static_cast<double>(length) / energy) : 0.0;
        for (float& sample : *dry)
            sample *= static_cast<float>(scale);
        Scene solo = scene;
        solo.sources = {scene.sources[s]};
        const SceneSound sound(solo, std::span(&*dry, 1), alone);
        auto& ofSource = truth.paths.emplace_back(truth.tracks.size());
        for (std::size_t m = 0; m < truth.tracks.size(); ++m) {
            const bool isLine = std::find(lines.begin(), lines.end(), static_cast<int>(m)) != lines.end();
            const auto microphone = static_cast<int>(m);
            SpillPath& path = ofSource[m];
            std::vector<float> part;
            if (isLine) {
                path.energies.assign(truth.paths.front().front().energies.size(), 0.0);
                const auto& own = truth.sources[s].closeTracks;
                if (std::find(own.begin(), own.end(), microphone) == own.end()) continue;
                path.polarity = scene.microphones[m].faults.inverted ? Polarity::inverted : Polarity::same;
                path.directShare = 1.0;
                part = *dry;
                if (*path.polarity == Polarity::inverted)
                    for (float& sample : part)
                        sample = -sample;
            } else {
                part = sound.part(0, microphone);
                const auto direct = directPath(solo, 0, microphone);
                double all = 0.0;
                for (const float sample : impulseResponse(solo, 0, microphone).samples)
                    all += static_cast<double>(sample) * static_cast<double>(sample);
                path.polarity = direct->polarity;
                path.arrivalSeconds = direct->arrival.value;
                path.directShare = std::min(1.0, std::pow(10.0, direct->level.value / 10.0) / all);
            }
            path.energies = energies.of(part);
            for (std::size_t n = 0; n < part.size(); ++n)
                truth.tracks[m].samples[n] += part[n];
        }
    }
    // Each with a noise and a gain of its own, well below full scale.
    for (std::size_t m = 0; m < truth.tracks.size(); ++m) {
        auto& track = truth.tracks[m];
        const double rms = std::sqrt(energyOf(track.samples) / static_cast<double>(length));
        const double noise = rms * amplitudeOfDecibels(-random.between(50.0, 75.0));
        float peak = 0.0f;
        for (float& sample : track.samples) {
            sample += static_cast<float>(noise * random.bell());
            peak = std::max(peak, std::abs(sample));
        }
        const auto gain = static_cast<float>(amplitudeOfDecibels(-random.between(3.0, 20.0))) / peak;
        for (float& sample : track.samples)
            sample *= gain;
        for (auto& ofSource : truth.paths)
            for (double& energy : ofSource[m].energies)
                energy *= static_cast<double>(gain) * static_cast<double>(gain);
        track.energies = energies.of(track.samples);
    }
    return done();
}

// ---- the sessions -----------------------------------------------------------------------------------------------

using Role = SpillScene::Role;

/// Microphones of a kit: both sides of kick and snare, hat, toms.
void closeKit(Stage& stage, const Stage::Kit& kit, bool both, bool hatToo) {
    stage.close(kit.kick, both ? "Kick In" : "Kick", {0.02, -0.08, 0.02});
    if (both) stage.close(kit.kick, "Kick Out", {0.0, -0.35, 0.0});
    stage.close(kit.snare, both ? "Snare Top" : "Snare", {-0.03, 0.03, 0.06});
    if (both) stage.close(kit.snare, "Snare Bottom", {0.02, 0.0, -0.10});
    if (hatToo) stage.close(kit.hat, "Hat", {-0.06, 0.02, 0.13});
    if (kit.rack >= 0) stage.close(kit.rack, "Rack Tom", {0.0, 0.03, 0.07});
    if (kit.floor >= 0) stage.close(kit.floor, "Floor Tom", {0.03, 0.0, 0.08});
}

void kitAlone(Stage& stage, RandomStream& random) {
    const auto kit = stage.kit(0.5 * stage.size().x, 0.45 * stage.size().y, true, true);
    closeKit(stage, kit, true, true);
    stage.close(kit.ride, "Ride", {0.05, 0.05, -0.2});
    stage.pair("Overhead", {kit.centre.x, kit.centre.y + 0.3, 2.0}, 0.9, kit.centre, cardioid);
    stage.distant("Room", {random.between(0.5, stage.size().x), stage.size().y - 0.5, 1.6}, kit.centre, omni);
}

void rockBand(Stage& stage, RandomStream& random) {
    const double x = stage.size().x, y = stage.size().y;
    const auto kit = stage.kit(0.5 * x, 0.25 * y, true, true);
    const int bass = stage.add(electricBass, {0.25 * x, 0.3 * y, 0.5});
    const int left = stage.add(guitarAmplifier, {0.15 * x, 0.55 * y, 0.5}, {}, "guitar left");
    const int right = stage.add(cleanGuitar, {0.85 * x, 0.5 * y, 0.5}, {}, "guitar right");
    const int singer = stage.add(voice, {0.5 * x, 0.75 * y, 1.6});
    closeKit(stage, kit, true, true);
    stage.pair("OH", {kit.centre.x, kit.centre.y + 0.3, 2.0}, 1.0, kit.centre, cardioid, Role::either);
    stage.line(bass, "Bass DI");
    stage.close(bass, "Bass Amp");
    stage.close(left, "Gtr 1 57");
    stage.close(left, "Gtr 1 Ribbon", {0.05, 0.12, 0.02}, eight);
    stage.close(right, "Gtr 2");
    stage.close(singer, "Vox");
    stage.pair("Room", {0.5 * x, y - 0.6, 1.8}, random.between(1.0, 2.5), kit.centre, omni);
}

void jazzQuintet(Stage& stage, RandomStream&) {
    const double x = stage.size().x, y = stage.size().y;
    const auto kit = stage.kit(0.75 * x, 0.3 * y, false, true);
    const int bass = stage.add(doubleBass, {0.5 * x, 0.25 * y, 1.0});
    const int keys = stage.add(piano, {0.2 * x, 0.35 * y, 1.0});
    const int brass = stage.add(trumpet, {0.4 * x, 0.7 * y, 1.5});
    const int reed = stage.add(tenorSaxophone, {0.62 * x, 0.7 * y, 1.2});
    closeKit(stage, kit, false, true);
    stage.close(kit.ride, "Ride", {0.05, 0.05, 0.25});
    stage.pair("Drums OH", {kit.centre.x, kit.centre.y, 1.9}, 0.7, kit.centre, cardioid);
    stage.close(bass, "Double Bass");
    stage.close(keys, "Piano Low", {-0.35, 0.1, 0.25});
    stage.close(keys, "Piano High", {0.35, 0.1, 0.25});
    stage.close(brass, "Trumpet");
    stage.close(reed, "Tenor");
    stage.distant("Room Mono", {0.5 * x, y - 0.5, 2.2}, {0.5 * x, 0.3 * y, 1.0}, omni);
}

void stringQuartet(Stage& stage, RandomStream&) {
    const double x = 0.5 * stage.size().x, y = 0.4 * stage.size().y;
    const int first = stage.add(violin, {x - 1.3, y, 1.1}, {}, "violin 1");
    const int second = stage.add(violin, {x - 0.5, y + 0.7, 1.1}, Style::held, "violin 2");
    const int third = stage.add(viola, {x + 0.5, y + 0.7, 1.1});
    const int fourth = stage.add(cello, {x + 1.3, y, 0.7});
    for (const int player : {first, second, third, fourth})
        stage.close(player);
    stage.pair("Main", {x, y - 1.5, 2.3}, 0.3, {x, y + 0.3, 1.0}, cardioid);
    stage.distant("Hall", {x + 1.0, stage.size().y - 0.6, 2.3}, {x, y, 1.0}, omni);
}

void brassSection(Stage& stage, RandomStream&) {
    const double x = 0.5 * stage.size().x, y = 0.5 * stage.size().y;
    int seat = 0;
    for (const auto& [player, name] : {std::pair{trumpet, "Tpt 1"},
                                       {trumpet, "Tpt 2"},
                                       {horn, "Horn"},
                                       {trombone, "Tbn 1"},
                                       {trombone, "Tbn 2"},
                                       {tuba, "Tuba"}}) {
        const double angle = 0.5 * seat++;
        const int source = stage.add(player, {x - 1.9 * std::cos(angle), y + 1.5 * std::sin(angle), 1.2},
                                     seat % 3 == 0 ? std::optional(Style::section) : std::nullopt, name);
        stage.close(source, name);
    }
    stage.distant("Section", {x, y - 0.4, 2.0}, {x, y + 1.2, 1.2}, eight);
    stage.pair("Amb", {x, y - 1.8, 2.2}, 1.6, {x, y, 1.2}, omni);
}

void windQuintet(Stage& stage, RandomStream&) {
    const double x = 0.5 * stage.size().x, y = 0.4 * stage.size().y;
    int seat = 0;
    for (const auto& player : {flute, oboe, clarinet, horn, bassoon}) {
        const double angle = 0.35 + 0.6 * seat++;
        stage.close(stage.add(player, {x - 1.6 * std::cos(angle), y + 1.2 * std::sin(angle), 1.1}));
    }
    stage.pair("Stereo", {x, y - 1.3, 2.1}, 0.4, {x, y + 0.6, 1.0}, cardioid);
    stage.distant("Far", {x, stage.size().y - 0.5, 2.5}, {x, y, 1.0}, omni);
}

void singersWithPiano(Stage& stage, RandomStream&) {
    const double x = 0.5 * stage.size().x, y = 0.5 * stage.size().y;
    const int keys = stage.add(piano, {x, y + 1.4, 1.0});
    stage.close(keys, "Pno L", {-0.4, -0.1, 0.3});
    stage.close(keys, "Pno R", {0.4, -0.1, 0.3});
    int seat = 0;
    for (const auto& [player, name] :
         {std::pair{voice, "Soprano"}, {alto, "Alto"}, {tenor, "Tenor"}, {tenor, "Baritone"}})
        stage.close(stage.add(player, {x - 1.8 + 1.2 * seat++, y - 0.8, 1.6}, {}, name), name);
    stage.pair("Choir OH", {x, y - 1.5, 2.4}, 1.2, {x, y - 0.8, 1.5}, cardioid);
}

void bigBand(Stage& stage, RandomStream&) {
    const double x = 0.5 * stage.size().x, y = 0.15 * stage.size().y;
    const auto row = [&](const std::vector<std::pair<Player, std::string>>& who, double away, double height) {
        int seat = 0;
        for (const auto& [player, name] : who) {
            const double left = x - 1.1 * static_cast<double>(who.size() - 1) / 2.0 - 0.4;
            stage.close(stage.add(player, {left + 1.1 * seat, y + away, height},
                                  seat % 2 == 0 ? std::optional(Style::section) : std::nullopt, name),
                        name);
            ++seat;
        }
    };
    row({{altoSaxophone, "Alto 1"},
         {altoSaxophone, "Alto 2"},
         {tenorSaxophone, "Tenor 1"},
         {tenorSaxophone, "Tenor 2"},
         {baritoneSaxophone, "Bari"}},
        3.6, 1.1);
    row({{trombone, "Bone 1"}, {trombone, "Bone 2"}, {trombone, "Bone 3"}}, 2.2, 1.3);
    row({{trumpet, "Trumpet 1"}, {trumpet, "Trumpet 2"}, {trumpet, "Trumpet 3"}, {trumpet, "Trumpet 4"}}, 0.8, 1.6);
    const auto kit = stage.kit(x + 3.4, y + 1.2, false, true);
    closeKit(stage, kit, false, true);
    stage.pair("OH", {kit.centre.x, kit.centre.y + 0.2, 1.9}, 0.8, kit.centre, cardioid, Role::either);
    const int bass = stage.add(doubleBass, {x + 3.0, y + 2.8, 1.0});
    stage.close(bass, "Bass");
    const int keys = stage.add(piano, {x - 3.6, y + 3.0, 1.0});
    stage.close(keys, "Piano Lo", {-0.3, 0.0, 0.25});
    stage.close(keys, "Piano Hi", {0.3, 0.0, 0.25});
    stage.close(stage.add(cleanGuitar, {x - 3.6, y + 1.4, 0.5}, {}, "guitar"), "Guitar");
    stage.pair("Band", {x, y + 5.4, 2.6}, 2.0, {x, y + 2.0, 1.2}, cardioid);
    stage.distant("Hall", {x, stage.size().y - 0.6, 2.8}, {x, y, 1.0}, omni);
}

void dryTrio(Stage& stage, RandomStream&) {
    const double x = 0.5 * stage.size().x, y = 0.5 * stage.size().y;
    const int singer = stage.add(voice, {x, y + 0.9, 1.6});
    const int guitar = stage.add(acousticGuitar, {x - 0.8, y - 0.4, 0.9});
    const int bass = stage.add(doubleBass, {x + 1.0, y - 0.4, 1.0});
    stage.close(singer, "Lead Vocal");
    stage.close(guitar, "Gtr Neck", {-0.2, 0.2, 0.0});
    stage.close(guitar, "Gtr Bridge", {0.2, 0.25, -0.05});
    stage.close(bass, "Upright");
    stage.distant("Mono Room", {x - 1.2, y + 1.3, 1.7}, {x, y, 1.0}, omni);
}

void desksInUnison(Stage& stage, RandomStream&) {
    const double x = 0.5 * stage.size().x, y = 0.45 * stage.size().y;
    const int lead = stage.add(violin, {x - 1.6, y, 1.1}, {}, "violin desk 1");
    const int along = stage.addAlong(lead, {x - 0.8, y + 0.7, 1.1}, "violin desk 2");
    const int third = stage.add(cello, {x + 0.9, y + 0.6, 0.7});
    const int fourth = stage.add(bowedBass, {x + 1.8, y, 1.0});
    const int fifth = stage.add(clarinet, {x, y + 1.4, 1.1});
    for (const int player : {lead, along, third, fourth, fifth})
        stage.close(player);
    stage.pair("Tree", {x, y - 1.2, 2.3}, 0.8, {x, y + 0.5, 1.0}, omni);
}

void hornsInUnison(Stage& stage, RandomStream&) {
    const double x = 0.5 * stage.size().x, y = 0.4 * stage.size().y;
    const auto kit = stage.kit(x + 1.2, y, false, false);
    closeKit(stage, kit, false, true);
    const int bass = stage.add(electricBass, {x - 1.5, y - 0.3, 0.5});
    const int lead = stage.add(trumpet, {x - 1.4, y + 1.8, 1.5}, {}, "trumpet 1");
    const int along = stage.addAlong(lead, {x - 0.4, y + 2.0, 1.5}, "trumpet 2");
    const int reed = stage.add(tenorSaxophone, {x + 0.7, y + 2.0, 1.2});
    for (const int player : {bass, lead, along, reed})
        stage.close(player);
    stage.pair("Overheads", {kit.centre.x, kit.centre.y + 0.3, 1.9}, 0.8, kit.centre, cardioid);
    stage.distant("Room", {x, stage.size().y - 0.5, 2.0}, {x, y, 1.0}, omni);
}

void oneWithoutMicrophone(Stage& stage, RandomStream&) {
    const double x = 0.5 * stage.size().x, y = 0.5 * stage.size().y;
    const int guitar = stage.add(cleanGuitar, {x - 1.6, y, 0.5}, {}, "guitar");
    const int bass = stage.add(electricBass, {x + 1.6, y - 0.3, 0.5});
    const int singer = stage.add(voice, {x, y + 1.2, 1.6});
    const int reed = stage.add(altoSaxophone, {x - 0.9, y + 1.4, 1.2});
    stage.add(congas, {x + 0.4, y - 0.8, 0.8});
    for (const auto& [player, name] : {std::pair{guitar, "Guitar"}, {bass, "Bass"}, {singer, "Vocals"}, {reed, "Sax"}})
        stage.close(player, name);
    stage.distant("Room L", {x - 1.0, stage.size().y - 0.5, 1.8}, {x, y, 1.0}, omni, Role::either);
    stage.distant("Room R", {x + 1.0, stage.size().y - 0.5, 1.8}, {x, y, 1.0}, omni, Role::either);
}

void percussionCircle(Stage& stage, RandomStream&) {
    const double x = 0.5 * stage.size().x, y = 0.5 * stage.size().y;
    const int big = stage.add(bassDrum, {x, y + 1.5, 0.9});
    stage.radiate(big, 0.3, {0.0, -1.0, 0.0});
    stage.close(big, "Big Drum Front", {0.05, -0.2, 0.0});
    stage.close(big, "Big Drum Back", {-0.05, 0.2, 0.0});
    const int hands = stage.add(congas, {x - 1.5, y + 0.5, 0.8});
    const int small = stage.add(bongos, {x - 1.0, y - 0.9, 1.0});
    const int rattle = stage.add(shaker, {x + 0.6, y - 1.2, 1.2});
    const int bars = stage.add(marimba, {x + 1.6, y - 0.2, 0.9});
    const int metal = stage.add(vibraphone, {x + 1.3, y + 1.0, 0.9});
    stage.close(hands, "Congas");
    stage.close(small, "Bongos");
    stage.close(rattle, "Shaker");
    stage.close(bars, "Marimba Low", {-0.3, 0.1, 0.35});
    stage.close(bars, "Marimba High", {0.3, 0.1, 0.35});
    stage.close(metal, "Vibes");
    stage.pair("Circle", {x, y, 2.3}, 0.4, {x, y, 0.9}, eight);
}

void longLiveSextet(Stage& stage, RandomStream&) {
    const double x = 0.5 * stage.size().x, y = 0.4 * stage.size().y;
    const int first = stage.add(flute, {x - 2.0, y, 1.3});
    const int second = stage.add(violin, {x - 1.0, y + 0.9, 1.2});
    const int third = stage.add(clarinet, {x, y + 1.3, 1.1});
    const int fourth = stage.add(cello, {x + 1.1, y + 0.9, 0.7});
    const int fifth = stage.add(piano, {x + 2.2, y, 1.0});
    const int sixth = stage.add(voice, {x, y - 0.4, 1.6});
    for (const int player : {first, second, third, fourth, fifth, sixth})
        stage.close(player);
    stage.pair("Main", {x, y - 2.2, 2.6}, 0.5, {x, y + 0.6, 1.0}, cardioid);
    stage.pair("Hall", {x, stage.size().y - 0.7, 2.8}, 3.0, {x, y, 1.0}, omni);
}

struct Kind {
    const char* name;
    double seconds;
    double shortestDecay, longestDecay;
    Point size;
    void (*setUp)(Stage&, RandomStream&);
};
const std::array kinds{
    Kind{"drum kit", 60, 0.25, 0.45, {6.0, 5.0, 2.8}, kitAlone},
    Kind{"rock band", 60, 0.30, 0.50, {8.0, 6.5, 3.2}, rockBand},
    Kind{"jazz quintet", 50, 0.35, 0.60, {8.5, 6.5, 3.2}, jazzQuintet},
    Kind{"string quartet", 60, 0.50, 0.80, {9.0, 7.0, 4.0}, stringQuartet},
    Kind{"brass section", 40, 0.20, 0.40, {7.0, 6.0, 3.0}, brassSection},
    Kind{"wind quintet", 45, 0.60, 0.80, {9.0, 7.5, 4.2}, windQuintet},
    Kind{"singers, piano", 50, 0.40, 0.70, {8.0, 7.0, 3.6}, singersWithPiano},
    Kind{"big band", 60, 0.45, 0.70, {11.0, 9.5, 4.0}, bigBand},
    Kind{"dry trio", 30, 0.20, 0.25, {4.5, 4.0, 2.6}, dryTrio},
    Kind{"desks in unison", 50, 0.35, 0.60, {8.0, 6.5, 3.5}, desksInUnison},
    Kind{"horns in unison", 50, 0.30, 0.50, {7.5, 6.5, 3.0}, hornsInUnison},
    Kind{"one without microphone", 45, 0.30, 0.50, {6.5, 6.0, 3.0}, oneWithoutMicrophone},
    Kind{"percussion circle", 45, 0.30, 0.60, {7.0, 6.5, 3.2}, percussionCircle},
    Kind{"long live sextet", 120, 0.70, 0.80, {11.0, 9.0, 4.5}, longLiveSextet},
};

double sumOf(const std::vector<double>& values) {
    return std::accumulate(values.begin(), values.end(), 0.0);
}

const SpillPath& pathOf(const SpillScene& scene, int source, int track) {
    return scene.paths[static_cast<std::size_t>(source)][static_cast<std::size_t>(track)];
}

} // namespace

double SpillPath::energy() const {
    return sumOf(energies);
}

double SpillPath::lowMidEnergy() const {
    const auto octaves = thirdOctavesOf(spillBand);
    double sum = 0.0;
    for (std::size_t band = 0; band < octaves.size(); ++band)
        if (octaves[band].low >= 0.999 * lowMidBand.low.value && octaves[band].high <= 1.001 * lowMidBand.high.value)
            sum += energies[band];
    return sum;
}

double SpillScene::shareOfTrack(int source, int track) const {
    return pathOf(*this, source, track).energy() / sumOf(tracks[static_cast<std::size_t>(track)].energies);
}

Decibels SpillScene::level(int source, int track, int reference) const {
    return Decibels(decibelsOfPower(pathOf(*this, source, track).energy() / pathOf(*this, source, reference).energy()));
}

Decibels SpillScene::levelLowMid(int source, int track, int reference) const {
    return Decibels(
        decibelsOfPower(pathOf(*this, source, track).lowMidEnergy() / pathOf(*this, source, reference).lowMidEnergy()));
}

double SpillScene::arrivalSeconds(int source, int track, int reference) const {
    return pathOf(*this, source, track).arrivalSeconds - pathOf(*this, source, reference).arrivalSeconds;
}

std::optional<Polarity> SpillScene::polarity(int source, int track, int reference) const {
    const auto here = pathOf(*this, source, track).polarity, there = pathOf(*this, source, reference).polarity;
    if (!here || !there) return {};
    return *here == *there ? Polarity::same : Polarity::inverted;
}

std::optional<int> SpillScene::closeTo(int track) const {
    for (std::size_t s = 0; s < sources.size(); ++s)
        if (std::find(sources[s].closeTracks.begin(), sources[s].closeTracks.end(), track) !=
            sources[s].closeTracks.end())
            return static_cast<int>(s);
    return {};
}

int spillSceneKinds() {
    return static_cast<int>(kinds.size());
}

Result<SpillScene> makeSpillScene(std::uint64_t set, int kind, const std::filesystem::path& soundBank) {
    RandomStream random(RandomStream(set * 0x1000003 + 29).bits() ^
                        RandomStream(static_cast<std::uint64_t>(kind) + 1).bits());
    const Kind& of = kinds[static_cast<std::size_t>(kind)];
    SpillScene scene;
    scene.name = of.name;
    scene.seconds = of.seconds;
    scene.decaySeconds = random.between(of.shortestDecay, of.longestDecay);
    const double larger = random.between(0.92, 1.15);
    Stage stage(scene, {of.size.x * larger, of.size.y * random.between(0.95, 1.1) * larger, of.size.z}, random);
    of.setUp(stage, random);
    if (auto played = stage.play(soundBank); !played) return played.fault();
    return scene;
}

} // namespace spillwright::bench
