// Which track stands close to what: sessions of sampled instruments with known truth.
//
// Sets 1 to 99 are for fitting. Sets from 100 on are fresh: nothing is ever chosen by them.

#include "Bench/Scoring.h"
#include "Bench/SpillScenes.h"
#include "Core/Measure/CrossSpectra.h"
#include "Core/Sources/CloseTracks.h"
#include "Support/MemorySource.h"

#include <CLI/CLI.hpp>

#include <algorithm>
#include <array>
#include <chrono>
#include <cstdio>
#include <map>
#include <numeric>
#include <string>
#include <vector>

using namespace spillwright;
using namespace spillwright::bench;

namespace {

struct Score {
    Count scenes; ///< Each track of them, and each pair of one source.
    Count tracks; ///< Close, room, or either.
    Count close;  ///< Of the close tracks alone.
    Count room;   ///< Of those that can be nothing but rooms.
    Count pairs;  ///< Of close tracks of one source: in one source.
    Count joined; ///< Of tracks put in one source: rightly.
    Count unsure; ///< Of the tracks that the guess leaves open.
    double seconds = 0.0;

    void add(const Score& other) {
        scenes.add(other.scenes);
        tracks.add(other.tracks);
        close.add(other.close);
        room.add(other.room);
        pairs.add(other.pairs);
        joined.add(other.joined);
        unsure.add(other.unsure);
        seconds += other.seconds;
    }
};

/// The source of the guess to which a track belongs, or -1.
std::vector<int> sourceByTrack(const CloseTrackGuess& guess, std::size_t tracks) {
    std::vector<int> sources(tracks, -1);
    for (std::size_t s = 0; s < guess.plan.sources.size(); ++s)
        for (const int track : guess.plan.sources[s].closeTracks)
            sources[static_cast<std::size_t>(track)] = static_cast<int>(s);
    return sources;
}

Score judge(const SpillScene& scene, const CloseTrackGuess& guess) {
    Score score;
    const auto source = sourceByTrack(guess, scene.tracks.size());
    const auto print = [&](const std::string& what, std::size_t track) {
        std::printf("    %s: %s\n", scene.tracks[track].name.c_str(), what.c_str());
    };
    for (std::size_t t = 0; t < source.size(); ++t) {
        const auto role = scene.tracks[t].role;
        const bool right = role == SpillScene::Role::either || (role == SpillScene::Role::close) == (source[t] >= 0);
        score.tracks.add(right);
        if (role == SpillScene::Role::close) score.close.add(right);
        if (role == SpillScene::Role::room) score.room.add(right);
        const bool open = std::binary_search(guess.unsure.begin(), guess.unsure.end(), static_cast<int>(t));
        if (open) score.unsure.add(right);
        if (!right)
            print(std::string(role == SpillScene::Role::close ? "close, taken for a room" : "a room, taken for close") +
                      (open ? ", left open" : ""),
                  t);
    }
    for (std::size_t t = 0; t < source.size(); ++t)
        for (std::size_t other = t + 1; other < source.size(); ++other) {
            const auto truth = scene.closeTo(static_cast<int>(t));
            const bool one = truth && truth == scene.closeTo(static_cast<int>(other));
            const bool joined = source[t] >= 0 && source[t] == source[other];
            const bool either = scene.tracks[t].role == SpillScene::Role::either &&
                                scene.tracks[other].role == SpillScene::Role::either;
            if (one) score.pairs.add(joined);
            if (joined && !either) score.joined.add(one);
            if (one && !joined) print("not joined with " + scene.tracks[other].name, t);
            if (joined && !one && !either) print("joined with " + scene.tracks[other].name, t);
        }
    score.scenes.add(score.tracks.right == score.tracks.all && score.pairs.right == score.pairs.all &&
                     score.joined.right == score.joined.all);
    return score;
}

void printRow(const char* of, const Score& score) {
    std::printf("| %s | %s | %s (%.1f %%) | %s | %s | %s | %s | %d, %d |\n", of, score.scenes.text().c_str(),
                score.tracks.text().c_str(), score.tracks.percent(), score.close.text().c_str(),
                score.room.text().c_str(), score.pairs.text().c_str(), score.joined.text().c_str(), score.unsure.all,
                score.unsure.all - score.unsure.right);
}

std::vector<CloseHint> hintsOf(const SpillScene& scene) {
    std::vector<CloseHint> hints;
    for (const auto& track : scene.tracks)
        hints.push_back(closeHintOf(track.name));
    return hints;
}

} // namespace

int main(int argc, char** argv) {
    std::vector<std::uint64_t> sets{1};
    std::vector<int> only;
    double seconds = 1e9;
    CLI::App app("Which track stands close to what, without names and with them.");
    app.add_option("--set", sets, "1-99: for fitting; 100 and up: fresh")->capture_default_str();
    app.add_option("--kind", only, "these kinds of session only");
    app.add_option("--seconds", seconds, "at most so much of each session, from its beginning");
    CLI11_PARSE(app, argc, argv);

    const auto bank = benchSoundBank();
    if (!bank) return 1;
    Workers workers;
    const std::array ways{"without names", "with names"};
    std::map<std::string, Score> byKind;
    std::array<Score, ways.size()> all;
    double secondsOfPass = 0.0;
    for (const std::uint64_t set : sets)
        for (int kind = 0; kind < spillSceneKinds(); ++kind) {
            if (!only.empty() && std::find(only.begin(), only.end(), kind) == only.end()) continue;
            auto scene = makeSpillScene(set, kind, *bank);
            if (!scene) {
                std::fprintf(stderr, "%s\n", scene.fault().line().c_str());
                return 1;
            }
            std::vector<std::vector<float>> samples;
            for (auto& track : scene->tracks) {
                if (seconds < scene->seconds)
                    track.samples.resize(static_cast<std::size_t>(seconds * SpillScene::rate));
                samples.push_back(std::move(track.samples));
            }
            const test::MemorySource source(std::move(samples));
            std::vector<int> usable(scene->tracks.size());
            std::iota(usable.begin(), usable.end(), 0);

            const auto start = std::chrono::steady_clock::now();
            const auto spectra = computeCrossSpectra(source, {}, workers, {});
            if (!spectra) return 1;
            secondsOfPass += secondsSince(start);
            std::printf("set %llu, %s, %zu tracks\n", static_cast<unsigned long long>(set), scene->name.c_str(),
                        scene->tracks.size());
            for (std::size_t way = 0; way < ways.size(); ++way) {
                const auto hints = way == 0 ? std::vector<CloseHint>{} : hintsOf(*scene);
                const auto before = std::chrono::steady_clock::now();
                const auto guess = guessCloseTracks(*spectra->windowSpectra(), usable, hints, workers, {});
                if (!guess) return 1;
                const double took = secondsSince(before);
                std::printf("  %s\n", ways[way]);
                auto score = judge(*scene, *guess);
                score.seconds = took;
                all[way].add(score);
                if (way == 0) byKind[scene->name].add(score);
            }
            std::fflush(stdout);
        }

    std::printf(
        "\n| | sessions all right | tracks right | close | room | pairs of one source joined | joined rightly | "
        "left open, of them wrong |\n|---|---|---|---|---|---|---|---|\n");
    for (std::size_t way = 0; way < ways.size(); ++way)
        printRow(ways[way], all[way]);
    for (const auto& [name, score] : byKind)
        printRow(name.c_str(), score);
    std::printf("\nA session: %.0f ms, the pass over the audio %.0f ms\n",
                1e3 * all[0].seconds / std::max(1, all[0].scenes.all),
                1e3 * secondsOfPass / std::max(1, all[0].scenes.all));
    return 0;
}
