// How many units the flip search proves in 0.1, 1 and 10 s. Prints; never passes or fails by the clock.

#include "Bench/FlipFloor.h"
#include "Bench/RandomRooms.h"
#include "Core/Measure/CrossSpectra.h"
#include "Core/Propose/FlipBound.h"
#include "Core/Propose/FlipSearch.h"
#include "Core/Propose/Propose.h"
#include "Core/Propose/TestModels.h"
#include "Core/Scene/SceneSound.h"
#include "Demo/DemoRecording.h"
#include "Demo/Players.h"
#include "Support/MemorySource.h"

#include <CLI/CLI.hpp>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <limits>
#include <thread>

using namespace spillwright;
using namespace spillwright::bench;

namespace {

using Clock = std::chrono::steady_clock;

/// A stop after some seconds of the clock.
class Alarm {
public:
    explicit Alarm(double seconds)
        : thread([this, seconds](const std::stop_token& over) {
              const auto start = Clock::now();
              while (!over.stop_requested() && secondsSince(start) < seconds)
                  std::this_thread::sleep_for(std::chrono::milliseconds(2));
              source.request_stop();
          }) {}
    Watch watch() const { return {{}, source.get_token()}; }

private:
    std::stop_source source;
    std::jthread thread;
};

/// The demo's players at random places of a room, 64 microphones: three quarters within 0.1 to 1 m of one of them, the
/// others anywhere; every second one the other way up.
Result<CrossSpectra> sixtyFour(std::uint64_t seed) {
    auto file = readSceneFile(demoSessions().front().sceneFile);
    if (!file) return file.fault();
    Workers workers;
    auto parts = playParts(*file, workers, {});
    if (!parts) return parts.fault();
    RandomStream random(seed);
    Scene scene;
    scene.seed = seed;
    scene.rooms = {roughRoom({random.between(9.0, 14.0), random.between(7.0, 10.0), random.between(3.0, 5.0)},
                             random.between(0.3, 0.7), random)};
    for (auto& part : *parts) {
        part.resize(std::min<std::size_t>(part.size(), 20 * 48000));
        double energy = 1e-9;
        for (const float sample : part)
            energy += static_cast<double>(sample) * static_cast<double>(sample);
        const double level = -10.0 * std::log10(energy / static_cast<double>(part.size()));
        scene.sources.push_back({"player", 0, anyPlace(scene.rooms[0], random), {}, Decibels(level)});
    }
    for (int k = 0; k < 64; ++k) {
        const auto& player = scene.sources[static_cast<std::size_t>(k) % scene.sources.size()].position;
        const auto place = k < 48 ? placeNear(scene.rooms[0], player, logBetween(0.1, 1.0, random), random)
                                  : anyPlace(scene.rooms[0], random);
        MicrophoneFaults faults;
        faults.inverted = random.sign() < 0;
        scene.microphones.push_back(
            {"microphone", 0, place, {k % 3 == 0 ? 1.0 : 0.5, player}, Decibels(-30.0), Decibels(-90.0), faults});
    }
    const SceneSound sound(scene, *parts, workers);
    std::vector<std::vector<float>> tracks(64);
    workers.forEach(tracks.size(), [&](std::size_t k, int) { tracks[k] = sound.track(static_cast<int>(k)); });
    return computeCrossSpectra(test::MemorySource(std::move(tracks)), {}, workers, {});
}

/// `units` of the 64 tracks at random, all equally loud.
SummationModel someOf(const CrossSpectra& spectra, int units, std::uint64_t seed) {
    RandomStream random(seed);
    std::vector<int> tracks;
    for (int left = spectra.trackCount(), k = 0; k < spectra.trackCount(); ++k, --left)
        if (random.uniform() * left < units - static_cast<double>(tracks.size())) tracks.push_back(k);
    std::vector<TrackAdjustment> adjustments(tracks.size());
    for (std::size_t p = 0; p < tracks.size(); ++p)
        adjustments[p].gain = Decibels(-decibelsOfAmplitude(spectra.statistics(tracks[p]).rms()));
    return SummationModel(spectra, tracks, adjustments, lowMidBand);
}

struct Outcomes {
    std::vector<double> seconds; ///< Of those that were proven.
    int open = 0;
    double widest = 0.0; ///< dB
    double longest = 0.0;

    void add(double took, bool proven, double gapDb) {
        if (proven)
            seconds.push_back(took);
        else
            ++open;
        widest = std::max(widest, gapDb);
        longest = std::max(longest, took);
    }
    void print(const char* how, double floor) const {
        const auto within = [&](double limit) {
            return static_cast<int>(
                std::count_if(seconds.begin(), seconds.end(), [&](double s) { return s <= limit; }));
        };
        std::printf(
            "    %-20s of %d proven in 0.1 s %d, 1 s %d, 10 s %d; longest %.3f s (%.2f floors); widest gap %.4f dB\n",
            how, static_cast<int>(seconds.size()) + open, within(0.1), within(1.0), within(10.0), longest,
            longest / floor, widest);
        std::fflush(stdout);
    }
};

FlipProblem problemOf(const SummationModel& model) {
    const auto matrix = model.flipMatrix(std::vector<double>(static_cast<std::size_t>(model.trackCount()), 0.0));
    FlipProblem problem{matrix, Eigen::VectorXd::Zero(matrix.rows()), matrix.trace()};
    problem.coupling.diagonal().setZero();
    return problem;
}

/// The whole proposal as a user gets it (search, proof, what each flip is worth), on one worker and on two; and search
/// and proof alone, of as many nodes as 10 s allow, on one.
void measureThem(const char* what, int units, const std::vector<SummationModel>& models, double floor) {
    std::printf("  %d units, %s\n", units, what);
    for (const int threads : {1, 2}) {
        Workers workers(threads);
        Outcomes outcomes;
        for (const auto& model : models) {
            const auto start = Clock::now();
            const auto proposal = propose(model, {}, Allow::flips, 1, workers, {})->front();
            outcomes.add(secondsSince(start), proposal.proof != Proof::boundOnly,
                         decibelsOfPower(proposal.upperBound / proposal.fullGain));
        }
        outcomes.print(threads == 1 ? "proposal, 1 thread" : "proposal, 2 threads", floor);
    }
    if (units <= mostExhaustiveSigns) return;
    Outcomes outcomes;
    Workers one(1);
    for (const auto& model : models) {
        const auto problem = problemOf(model);
        const Alarm alarm(10.0);
        const auto start = Clock::now();
        const double value = climbFlips(problem, 1, {}, {}, 240, one, {})->front().value;
        const auto proof = proveFlips(problem, value, std::numeric_limits<int>::max(), {}, alarm.watch());
        const double best = proof && proof->better ? problem.value(*proof->better) : value;
        outcomes.add(secondsSince(start), proof && proof->proven,
                     proof ? decibelsOfPower(proof->upperBound / best) : 0.0);
    }
    outcomes.print("search, any nodes", floor);
}

} // namespace

int main(int count, char** words) {
    CLI::App app("How many units the flip search proves in 0.1, 1 and 10 s.");
    std::vector<int> sizes{24, 28, 32, 36, 40, 48, 56, 64};
    std::vector<std::string> parts{"random", "sources", "rooms"};
    int models = 4;
    app.add_option("parts", parts, "random, sources, rooms")->check(CLI::IsMember({"random", "sources", "rooms"}));
    app.add_option("--units", sizes, "numbers of units")->check(CLI::Range(2, 64));
    app.add_option("--models", models, "models of each size")->check(CLI::Range(1, 100));
    CLI11_PARSE(app, count, words);

    constexpr int walked = 24;
    double floor = std::numeric_limits<double>::max(), best = 0.0;
    for (int time = 0; time < 3; ++time) {
        const auto start = Clock::now();
        best = bareWalk(randomFlips(walked, 1));
        floor = std::min(floor, secondsSince(start));
    }
    std::printf("floor: bare Gray-code walk of %d units %.1f ms (best %.6f)\n", walked, 1e3 * floor, best);
    for (const auto& part : parts) {
        std::vector<CrossSpectra> rooms;
        for (std::uint64_t seed = 1; part == "rooms" && seed <= 2; ++seed) {
            auto spectra = sixtyFour(seed);
            if (!spectra) {
                std::fprintf(stderr, "%s\n", spectra.fault().line().c_str());
                return 1;
            }
            rooms.push_back(std::move(spectra).value());
        }
        for (const int units : sizes) {
            std::vector<SummationModel> of;
            for (int k = 0; k < models; ++k) {
                const auto seed = static_cast<std::uint64_t>(k + 1);
                if (part == "random")
                    of.push_back(test::denseRandom(units, seed));
                else if (part == "sources")
                    of.push_back(test::manySources(units, units / 3, 0.006, seed));
                else if (static_cast<std::size_t>(k) < rooms.size() || units < 64)
                    of.push_back(someOf(rooms[static_cast<std::size_t>(k) % rooms.size()], units, seed));
            }
            measureThem(part == "random"    ? "bell-shaped couplings of all with all"
                        : part == "sources" ? "a third as many sources, any level and delay in every track"
                                            : "a band of 13 in a room, rendered",
                        units, of, floor);
        }
    }
    return 0;
}
