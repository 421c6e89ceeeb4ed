// Which instrument is heard where: sessions of sampled instruments with known truth.
//
// Sets 1 to 99 are for fitting. Sets from 100 on are fresh: nothing is ever chosen by them.

#include "Bench/KeptScenes.h"
#include "Bench/Scoring.h"
#include "Bench/SpillScenes.h"
#include "Core/Measure/WindowSpectra.h"
#include "Core/Sources/CloseTracks.h"
#include "Core/Sources/SpillMap.h"
#include "Support/MemorySource.h"

#include <CLI/CLI.hpp>

#include <algorithm>
#include <array>
#include <chrono>
#include <cstdio>
#include <fstream>
#include <map>
#include <numeric>
#include <string>
#include <vector>

#if defined(__GLIBC__)
#include <malloc.h>
#endif

using namespace spillwright;
using namespace spillwright::bench;

namespace {

void printTruth(const SpillScene& scene) {
    for (std::size_t m = 0; m < scene.tracks.size(); ++m) {
        const auto track = static_cast<int>(m);
        std::printf("    %-16s", scene.tracks[m].name.c_str());
        for (std::size_t s = 0; s < scene.sources.size(); ++s)
            if (const double share = scene.shareOfTrack(static_cast<int>(s), track); share >= 0.01)
                std::printf(" %s%s %.0f %%", scene.sources[s].name.c_str(),
                            scene.closeTo(track) == static_cast<int>(s) ? "*" : "", 100.0 * share);
        std::printf("\n");
    }
}

/// Magnitudes of errors, of which quantiles are told, and the mean of the errors.
struct Errors {
    std::vector<double> values;
    double sum = 0.0;
    void add(double error) {
        values.push_back(std::abs(error));
        sum += error;
    }
    void add(const Errors& other) {
        values.insert(values.end(), other.values.begin(), other.values.end());
        sum += other.sum;
    }
    double at(double share) const {
        if (values.empty()) return 0.0;
        auto sorted = values;
        std::sort(sorted.begin(), sorted.end());
        return sorted[static_cast<std::size_t>(share * static_cast<double>(sorted.size() - 1) + 0.5)];
    }
    double mean() const { return values.empty() ? 0.0 : sum / static_cast<double>(values.size()); }
};

struct Score {
    Errors near, far, nearLowMid; ///< Levels, dB: the source within 15 dB of the whole track; to 25 dB.
    Count toldNear, toldFar;
    Errors thirds;                        ///< Levels in a third octave, dB, as far as they are told.
    Errors spill;                         ///< Points of a hundred, tracks with a source of their own.
    Count toldSpill, spillWithin2;        ///< Of those tracks; and of these, within 2 points.
    Count arrival, withinTenth, polarity; ///< Right among claimed.
    Count contradicted;                   ///< Of all levels to 25 dB: not told because two ways disagree.
    Count clear;                          ///< Claimed of the clear pairs.
    Count within3;                        ///< Claimed arrivals within three of their uncertainties and one sample.
    double seconds = 0.0;

    void add(const Score& o) {
        near.add(o.near);
        far.add(o.far);
        nearLowMid.add(o.nearLowMid);
        toldNear.add(o.toldNear);
        toldFar.add(o.toldFar);
        thirds.add(o.thirds);
        spill.add(o.spill);
        toldSpill.add(o.toldSpill);
        spillWithin2.add(o.spillWithin2);
        arrival.add(o.arrival);
        withinTenth.add(o.withinTenth);
        polarity.add(o.polarity);
        contradicted.add(o.contradicted);
        clear.add(o.clear);
        within3.add(o.within3);
        seconds += o.seconds;
    }
};

void printHead() {
    std::printf("| | near: told %% | median | 90 %% | mean | to 25 dB: told %% | median | 90 %% | mean | low-mid near: "
                "median | 90 %% | third octaves: median | 90 %% | spill: told %% | median | 90 %%, points | within 2, "
                "%% | arrival in 1 sample, %% of | "
                "in 0.1 ms | polarity | in 3 deviations | claimed of the clear, %% of | contradicted | s |\n"
                "|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|\n");
}

void printRow(const std::string& name, const Score& s) {
    std::printf("| %s | %.0f | %.2f | %.2f | %+.2f | %.0f | %.2f | %.2f | %+.2f | %.2f | %.2f | %.2f | %.2f | %.0f | "
                "%.1f | %.1f | %.0f | "
                "%.1f of %d | %.1f | %.1f | %.1f | %.0f of %d | %d | %.2f |\n",
                name.c_str(), s.toldNear.percent(), s.near.at(0.5), s.near.at(0.9), s.near.mean(), s.toldFar.percent(),
                s.far.at(0.5), s.far.at(0.9), s.far.mean(), s.nearLowMid.at(0.5), s.nearLowMid.at(0.9),
                s.thirds.at(0.5), s.thirds.at(0.9), s.toldSpill.percent(), s.spill.at(0.5), s.spill.at(0.9),
                s.spillWithin2.percent(), s.arrival.percent(), s.arrival.all, s.withinTenth.percent(),
                s.polarity.percent(), s.within3.percent(), s.clear.percent(), s.clear.all, s.contradicted.right,
                s.seconds);
}

/// details: each reading that is off is printed.
Score judge(const SpillScene& scene, const SpillMap& map, bool details) {
    Score score;
    std::vector<bool> judged(scene.tracks.size(), false);
    for (const auto& reading : map.readings) {
        const int reference = map.plan.sources[static_cast<std::size_t>(reading.source)].closeTracks.front();
        const auto source = scene.closeTo(reference);
        if (!source) continue; // a room track that stands for a source
        const auto& path = scene.paths[static_cast<std::size_t>(*source)][static_cast<std::size_t>(reading.track)];
        const auto& from = scene.paths[static_cast<std::size_t>(*source)][static_cast<std::size_t>(reference)];
        const double shareDb = decibelsOfPower(std::max(1e-12, scene.shareOfTrack(*source, reading.track)));
        const auto own = scene.closeTo(reading.track);
        if (own == source && !judged[static_cast<std::size_t>(reading.track)]) {
            judged[static_cast<std::size_t>(reading.track)] = true;
            const auto told = map.toldSpillShare(reading.track);
            score.toldSpill.add(told.has_value());
            const double error = told ? 100.0 * (*told - (1.0 - scene.shareOfTrack(*source, reading.track))) : 0.0;
            if (told) score.spill.add(error);
            if (told) score.spillWithin2.add(std::abs(error) <= 2.0);
            if (details && std::abs(error) > 2.0)
                std::printf("    spill in %s (%.1f %%): off by %.1f points\n",
                            scene.tracks[static_cast<std::size_t>(reading.track)].name.c_str(),
                            100.0 * (1.0 - scene.shareOfTrack(*source, reading.track)), error);
        }
        if (reading.track == reference) continue;
        const double level = scene.level(*source, reading.track, reference).value;
        const auto off = [&](const char* what, double error) {
            if (details)
                std::printf("    %s in %s (%.1f dB of it, level %.1f): %s off by %.3f\n",
                            scene.sources[static_cast<std::size_t>(*source)].name.c_str(),
                            scene.tracks[static_cast<std::size_t>(reading.track)].name.c_str(), shareDb, level, what,
                            error);
        };
        if (shareDb >= -25.0) {
            (shareDb >= -15.0 ? score.toldNear : score.toldFar).add(reading.level.has_value());
            score.contradicted.add(reading.whyNoLevel == Untold::waysDisagree);
            if (reading.level) {
                const double error = reading.level->value - level;
                (shareDb >= -15.0 ? score.near : score.far).add(error);
                if (std::abs(error) > (shareDb >= -15.0 ? 1.0 : 3.0)) off("level", error);
            }
            if (shareDb >= -15.0 && reading.levelLowMid)
                score.nearLowMid.add(reading.levelLowMid->value -
                                     scene.levelLowMid(*source, reading.track, reference).value);
        }
        for (std::size_t band = 0; band < reading.levelByThirdOctave.size(); ++band)
            if (reading.levelByThirdOctave[band] && path.energies[band] > 0.0 && from.energies[band] > 0.0)
                score.thirds.add(reading.levelByThirdOctave[band]->value -
                                 decibelsOfPower(path.energies[band] / from.energies[band]));
        if (path.polarity && from.polarity && path.directShare >= 0.1 && from.directShare >= 0.1 && shareDb >= -15.0)
            score.clear.add(reading.arrival.has_value());
        if (reading.arrival) {
            const double error = reading.arrival->delay.value - scene.arrivalSeconds(*source, reading.track, reference);
            score.arrival.add(std::abs(error) <= 1.0 / SpillScene::rate);
            score.withinTenth.add(std::abs(error) <= 1e-4);
            score.within3.add(std::abs(error) <= 3.0 * reading.arrival->uncertainty.value + 1.0 / SpillScene::rate);
            if (std::abs(error) > 1.0 / SpillScene::rate) off("arrival, ms,", 1e3 * error);
            if (const auto truth = scene.polarity(*source, reading.track, reference)) {
                score.polarity.add(*truth == reading.polarity->polarity);
                if (*truth != reading.polarity->polarity) off("polarity", 0.0);
            }
        }
    }
    return score;
}

SourcePlan truePlan(const SpillScene& scene) {
    SourcePlan plan;
    for (const auto& source : scene.sources)
        if (!source.closeTracks.empty()) plan.sources.push_back({source.closeTracks});
    return plan;
}

/// What the process has at most held in memory since the last time this was asked for; 0 where it cannot be told. What
/// was freed before is given back to the system, so that it does not hide what is taken next.
double peakMebibytes() {
#if defined(__GLIBC__)
    malloc_trim(0);
#endif
    std::ifstream status("/proc/self/status");
    double kibibytes = 0.0;
    for (std::string line; std::getline(status, line);)
        if (line.starts_with("VmHWM:")) kibibytes = std::stod(line.substr(6));
    std::ofstream("/proc/self/clear_refs") << "5";
    return kibibytes / 1024.0;
}

/// Time and memory: a session of many sources, played over and over for four minutes.
bool printCosts(const std::filesystem::path& bank, Workers& workers) {
    constexpr int manySources = 7;
    constexpr std::size_t trackCount = 24;
    auto scene = makeSpillScene(1, manySources, bank);
    if (!scene) return false;
    std::vector<std::vector<float>> samples;
    for (auto& track : scene->tracks) {
        auto& whole = samples.emplace_back();
        for (int round = 0; round < 4; ++round)
            whole.insert(whole.end(), track.samples.begin(), track.samples.end());
        track.samples = {};
    }
    samples.resize(std::min(samples.size(), trackCount));
    const test::MemorySource source(std::move(samples));
    const auto spectra = computeCrossSpectra(source, {}, workers, {});
    if (!spectra) return false;
    std::vector<int> usable(static_cast<std::size_t>(source.trackCount()));
    std::iota(usable.begin(), usable.end(), 0);
    std::printf("%d tracks, %.0f s, %d workers\n\n| sources | s | MiB |\n|---|---|---|\n", source.trackCount(),
                static_cast<double>(source.length()) / SpillScene::rate, workers.count());
    for (const int count : {8, 12, 18}) {
        SourcePlan plan;
        for (int track = 0; track < count; ++track)
            plan.sources.push_back({{track}});
        peakMebibytes();
        const double before = peakMebibytes();
        const auto start = std::chrono::steady_clock::now();
        const auto map = readSpillMap(*spectra, plan, usable, {}, workers, {});
        if (!map) return false;
        const double took = secondsSince(start);
        std::printf("| %d | %.2f | %.0f |\n", count, took, peakMebibytes() - before);
    }
    return true;
}

} // namespace

int main(int argc, char** argv) {
    std::vector<std::uint64_t> sets{1};
    std::vector<int> only;
    bool list = false, details = false, costs = false, trueOnly = false;
    std::string folder;
    CLI::App app("Which instrument is heard where, with the true plan of sources and with the guessed one.");
    app.add_option("--set", sets, "1-99: for fitting; 100 and up: fresh")->capture_default_str();
    app.add_option("--kind", only, "these kinds of session only");
    app.add_flag("--list", list, "what each track holds, and nothing is measured");
    app.add_flag("--details", details, "each reading that is off");
    app.add_flag("--true", trueOnly, "the true plan only");
    app.add_flag("--costs", costs, "time and memory instead");
    app.add_option("--keep", folder, "a folder in which measured sessions are kept for the next time");
    CLI11_PARSE(app, argc, argv);

    const auto bank = benchSoundBank();
    if (!bank) return 1;
    Workers workers;
    if (costs) return printCosts(*bank, workers) ? 0 : 1;
    const std::array ways{"true plan", "guessed plan"};
    std::array<Score, ways.size()> all;
    std::array<std::map<std::string, Score>, ways.size()> byKind;
    for (const std::uint64_t set : sets)
        for (int kind = 0; kind < spillSceneKinds(); ++kind) {
            if (!only.empty() && std::find(only.begin(), only.end(), kind) == only.end()) continue;
            const auto made = measuredScene(set, kind, *bank, folder, workers);
            if (!made) {
                std::fprintf(stderr, "%s\n", made.fault().line().c_str());
                return 1;
            }
            const auto& [scene, spectra] = *made;
            if (list || details)
                std::printf("set %llu, kind %d: %s, RT60 %.2f s, %.0f s, %zu sources, %zu tracks\n",
                            static_cast<unsigned long long>(set), kind, scene.name.c_str(), scene.decaySeconds,
                            scene.seconds, scene.sources.size(), scene.tracks.size());
            if (list) {
                printTruth(scene);
                continue;
            }
            std::vector<int> usable(scene.tracks.size());
            std::iota(usable.begin(), usable.end(), 0);
            for (std::size_t way = 0; way < (trueOnly ? 1 : ways.size()); ++way) {
                SourcePlan plan = truePlan(scene);
                if (way == 1) {
                    auto guess = guessCloseTracks(*spectra.windowSpectra(), usable, {}, workers, {});
                    if (!guess) return 1;
                    plan = std::move(guess->plan);
                }
                const auto start = std::chrono::steady_clock::now();
                const auto map = readSpillMap(spectra, plan, usable, {}, workers, {});
                if (!map) return 1;
                const double took = secondsSince(start);
                if (details) std::printf("  %s\n", ways[way]);
                auto score = judge(scene, *map, details);
                score.seconds = took;
                all[way].add(score);
                byKind[way][scene.name].add(score);
            }
        }
    if (list) return 0;
    printHead();
    for (std::size_t way = 0; way < (trueOnly ? 1 : ways.size()); ++way) {
        printRow(ways[way], all[way]);
        for (const auto& [name, score] : byKind[way])
            printRow(name, score);
    }
    return 0;
}
