// Two takes of one set-up: what is called a change, against what was changed. And how long a comparison takes, against
// measuring both takes in the same run.
//
// Seeds 1 to 20 and 101 to 104 are for fitting. Seeds from 105 on are fresh: nothing is ever chosen by them.

#include "Session/Takes.h"
#include "Support/MeasuredTake.h"

#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <string>
#include <vector>

using namespace spillwright;
using namespace spillwright::test;

namespace {

using Kind = TakeChange::Kind;
using Clock = std::chrono::steady_clock;

double since(Clock::time_point begin) {
    return std::chrono::duration<double>(Clock::now() - begin).count();
}

struct Case {
    const char* name;
    std::optional<Kind> expected;
    int takes = 0, found = 0, exact = 0; ///< Exact: the change and no other.
    int falseChanges = 0;                ///< Of other tracks or kinds.
    int withFigures = 0;                 ///< Takes in which a figure stands that no track's change explains.
};

/// A hum of 50 Hz, -49 dBFS, with seven overtones, each 3 dB below the one before.
void addHum(std::vector<float>& samples) {
    for (int line = 1; line <= 8; ++line)
        for (std::size_t n = 0; n < samples.size(); ++n)
            samples[n] += static_cast<float>(
                0.005 * std::pow(0.7, line - 1) *
                std::sin(2.0 * std::numbers::pi * 50.02 * line * static_cast<double>(n) / TakenBand::rate + line));
}

void score(Case& of, const Comparison& comparison, int track, std::uint64_t seed, bool loud) {
    const auto& difference = comparison.differences.front();
    ++of.takes;
    bool found = false;
    int others = 0;
    for (const auto& change : difference.changes) {
        if (of.expected && change.track == track && change.kind == *of.expected)
            found = true;
        else if (of.expected && change.track == track && *of.expected == Kind::moved && change.kind == Kind::spill)
            continue; // who stands elsewhere hears others
        else
            ++others;
    }
    bool figures = (difference.sum && difference.sum->stands && !of.expected) ||
                   (difference.best && difference.best->stands && !of.expected);
    for (const auto& pair : difference.pairs)
        for (const auto* figure : {&pair.coherence, &pair.summationGain, &pair.notch})
            figures = figures || (*figure && (*figure)->stands && pair.dueTo.empty());
    of.found += found;
    of.exact += found == of.expected.has_value() && others == 0;
    of.falseChanges += others;
    of.withFigures += figures;
    if (loud && (others > 0 || figures || found != of.expected.has_value())) {
        std::printf("  seed %llu, %s (%s):\n", static_cast<unsigned long long>(seed), of.name,
                    comparison.tracks[static_cast<std::size_t>(track)].name.c_str());
        for (const auto& line : difference.verdict)
            std::printf("    %s\n", line.text.c_str());
    }
}

void scenes(std::uint64_t first, int seeds, bool loud) {
    Workers workers;
    Case cases[] = {{"nothing", std::nullopt},    {"another tempo", std::nullopt}, {"moved by 20 cm", Kind::moved},
                    {"inverted", Kind::inverted}, {"3 dB lower", Kind::gain},      {"hum", Kind::hum},
                    {"fell silent", Kind::silent}};
    for (std::uint64_t seed = first; seed < first + static_cast<std::uint64_t>(seeds); ++seed) {
        const TakenBand band(seed);
        RandomStream random(seed * 31 + 5);
        const auto before = measuredTake("A", band, band.record({seed * 100, 20.0}, workers), workers);
        if (!before) continue;
        for (std::size_t k = 0; k < std::size(cases); ++k) {
            const int track = random.below(TakenBand::count);
            auto other = band;
            TakenBand::Playing playing{seed * 100 + k + 1, 20.0};
            if (k == 1) {
                playing.beatsPerMinute = 126.0;
                playing.seconds = 24.0;
            }
            if (k == 2) other.move(track, 0.2, seed);
            if (k == 3) other.at(track).faults.inverted = true;
            if (k == 4) other.at(track).gain = other.at(track).gain - Decibels(3.0);
            auto samples = other.record(playing, workers);
            if (k == 5) addHum(samples[static_cast<std::size_t>(track)]);
            if (k == 6)
                std::fill(samples[static_cast<std::size_t>(track)].begin(),
                          samples[static_cast<std::size_t>(track)].end(), 0.0f);
            const auto after = measuredTake("B", other, std::move(samples), workers);
            if (!after) continue;
            const auto comparison = compareTakes({*before, *after}, {}, workers, {});
            if (!comparison) {
                std::printf("  %s\n", comparison.fault().line().c_str());
                continue;
            }
            score(cases[k], *comparison, track, seed, loud);
        }
    }
    std::printf("| what was done | takes | found | and nothing else | false changes | takes with false figures |\n");
    std::printf("|---|---|---|---|---|---|\n");
    for (const auto& each : cases)
        std::printf("| %s | %d | %s | %d | %d | %d |\n", each.name, each.takes,
                    each.expected ? std::to_string(each.found).c_str() : "-", each.exact, each.falseChanges,
                    each.withFigures);
}

/// 24 tracks and 30 s: the band's ten, and fourteen that hear them again, each with a gain and noise of its own.
void time() {
    Workers workers;
    const TakenBand band(1);
    std::vector<TrackInfo> tracks = tracksOf(band);
    const auto more = [&](std::vector<std::vector<float>> samples, std::uint64_t seed) {
        RandomStream random(seed);
        while (samples.size() < 24) {
            auto mixed = samples[samples.size() % 10];
            const auto& other = samples[(samples.size() * 7) % 10];
            for (std::size_t n = 0; n < mixed.size(); ++n)
                mixed[n] =
                    0.7f * mixed[n] + 0.3f * other[n >= 300 ? n - 300 : 0] + static_cast<float>(1e-4 * random.bell());
            samples.push_back(std::move(mixed));
        }
        return samples;
    };
    for (std::size_t t = tracks.size(); t < 24; ++t) {
        tracks.emplace_back();
        tracks.back().name = "more " + std::to_string(t);
        tracks.back().file = tracks.back().name + ".wav";
    }
    const MemorySource a(more(band.record({1, 30.0}, workers), 1)), b(more(band.record({2, 30.0}, workers), 2));
    for (int run = 0; run < 3; ++run) {
        auto begin = Clock::now();
        auto before = measure("A", tracks, a, {}, {}, workers, {});
        auto after = measure("B", tracks, b, {}, {}, workers, {});
        const double floor = since(begin);
        begin = Clock::now();
        const auto comparison = compareTakes({*before, *after}, {}, workers, {});
        const double taken = since(begin);
        std::printf("measuring both: %.3f s; comparing: %.3f s, %.1f times that; %d sources\n", floor, taken,
                    taken / floor, static_cast<int>(comparison->takes.front().recording.sources->names.size()));
    }
}

} // namespace

int main(int argc, char** argv) {
    std::uint64_t first = 105;
    int seeds = 20;
    bool loud = false, scenesToo = true, times = true;
    for (int k = 1; k < argc; ++k) {
        if (!std::strcmp(argv[k], "--first") && k + 1 < argc) first = std::strtoull(argv[++k], nullptr, 10);
        if (!std::strcmp(argv[k], "--seeds") && k + 1 < argc) seeds = std::atoi(argv[++k]);
        if (!std::strcmp(argv[k], "--loud")) loud = true;
        if (!std::strcmp(argv[k], "--time")) scenesToo = false;
        if (!std::strcmp(argv[k], "--scenes")) times = false;
    }
    if (times) time();
    if (scenesToo) scenes(first, seeds, loud);
    return 0;
}
