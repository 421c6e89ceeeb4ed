// Which instrument is heard where: sessions of sampled instruments with known truth.
//
// Sets 1 to 99 are for fitting. Sets from 100 on are fresh: nothing is ever chosen by them.

#include "Bench/SpillScenes.h"
#include "Demo/Players.h"

#include <CLI/CLI.hpp>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <string>
#include <vector>

using namespace spillwright;
using namespace spillwright::bench;

namespace {

double secondsSince(std::chrono::steady_clock::time_point start) {
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}

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

} // namespace

int main(int argc, char** argv) {
    std::uint64_t set = 1;
    std::vector<int> only;
    bool list = false;
    CLI::App app("Sessions with known truth.");
    app.add_option("--set", set, "1-99: for fitting; 100 and up: fresh")->capture_default_str();
    app.add_option("--kind", only, "these kinds of session only");
    app.add_flag("--list", list, "what each track holds as well");
    CLI11_PARSE(app, argc, argv);

    const auto folders = soundBankFolders();
    const auto bank = findSoundBank("MuseScore_General_Lite.sf3", folders);
    if (!bank) {
        std::fprintf(stderr, "%s\n", bank.fault().line().c_str());
        return 1;
    }
    for (int kind = 0; kind < spillSceneKinds(); ++kind) {
        if (!only.empty() && std::find(only.begin(), only.end(), kind) == only.end()) continue;
        const auto start = std::chrono::steady_clock::now();
        const auto scene = makeSpillScene(set, kind, *bank);
        if (!scene) {
            std::fprintf(stderr, "%s\n", scene.fault().line().c_str());
            return 1;
        }
        std::printf("%d: %s, RT60 %.2f s, %.0f s, %zu sources, %zu tracks, made in %.1f s\n", kind, scene->name.c_str(),
                    scene->decaySeconds, scene->seconds, scene->sources.size(), scene->tracks.size(),
                    secondsSince(start));
        if (list) printTruth(*scene);
    }
    return 0;
}
