// Times of the proposals against floors measured in the same run. Prints; never passes or fails by the clock.

#include "Bench/FlipFloor.h"
#include "Core/Propose/FlipSearch.h"
#include "Core/Propose/NudgeProof.h"
#include "Core/Propose/NudgeSearch.h"
#include "Core/Propose/Propose.h"
#include "Core/Propose/TestModels.h"

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <functional>
#include <numbers>
#include <string>
#include <vector>

using namespace spillwright;
using namespace spillwright::bench;
using namespace spillwright::test;

namespace {

double secondsOf(const std::function<void()>& work) {
    const auto start = std::chrono::steady_clock::now();
    work();
    return secondsSince(start);
}

double bestSecondsOf(int times, const std::function<void()>& work) {
    double best = 1e300;
    for (int i = 0; i < times; ++i)
        best = std::min(best, secondsOf(work));
    return best;
}

void flips() {
    Workers one(1), all;
    const auto problem = randomFlips(24, 1);
    double floorBest = 0.0, best = 0.0;
    const double floor = secondsOf([&] { floorBest = bareWalk(problem); });
    const auto search = [&](Workers& workers) { best = everyFlip(problem, 1, {}, workers, {})->front().value; };
    const double alone = bestSecondsOf(5, [&] { search(one); });
    const double together = bestSecondsOf(5, [&] { search(all); });
    std::printf("flips, 24 units, exact\n");
    std::printf("  bare Gray-code walk in double        %8.1f ms  (floor, best %.9f)\n", 1e3 * floor, floorBest);
    std::printf("  exact, one worker                    %8.1f ms  %.3f of the floor (best %.9f)\n", 1e3 * alone,
                alone / floor, best);
    std::printf("  exact, %d workers                     %8.1f ms  %.3f of the floor\n", all.count(), 1e3 * together,
                together / floor);
    const double ten = bestSecondsOf(3, [&] { (void)everyFlip(problem, 10, {}, all, {}); });
    std::printf("  the ten best                         %8.1f ms\n", 1e3 * ten);
}

constexpr int plainStarts = 100;

struct PlainAscents {
    double seconds = 0.0, best = 0.0;
};
PlainAscents plainAscents(const NudgeProblem& problem, Workers& workers) {
    PlainAscents plain;
    plain.seconds = secondsOf([&] {
        std::vector<double> values(static_cast<std::size_t>(plainStarts));
        workers.forEach(values.size(), [&](std::size_t item, int) {
            values[item] = plainAscent(problem, static_cast<unsigned>(item)).value;
        });
        plain.best = *std::max_element(values.begin(), values.end());
    });
    return plain;
}

void nudges(int tracks, int sources, double largest) {
    Workers all;
    const auto model = manySources(tracks, sources, 0.006, 1);
    const auto problem = nudgesOf(model, largest);
    const auto plain = plainAscents(problem, all);
    std::vector<Placement> found;
    const double search = secondsOf([&] { found = searchNudges(problem, 5, {}, all, {})->best; });
    std::printf("flips and nudges, %d tracks, %d sources, +-%g ms\n", tracks, sources, 1e3 * largest);
    std::printf("  %3d plain coordinate ascents          %8.3f s   best %.4f dB (floor)\n", plainStarts, plain.seconds,
                decibelsOfPower(plain.best));
    std::printf(
        "  joint search                          %8.3f s   best %.4f dB, %.2f of the floor's time; second %.4f\n",
        search, decibelsOfPower(found.front().value), search / plain.seconds, decibelsOfPower(found[1].value));
}

/// The gap against time, one worker.
void gapOverTime(const char* what, const SummationModel& model, double largest) {
    Workers one(1);
    const auto problem = nudgesOf(model, largest);
    double best = 0.0;
    const double search = secondsOf([&] { best = searchNudges(problem, 1, {}, one, {})->best.front().value; });
    const double marks[] = {0.1, 0.3, 1.0, 3.0, 10.0};
    double gaps[std::size(marks)], now = 0.0;
    std::fill(std::begin(gaps), std::end(gaps), -1.0);
    const auto start = std::chrono::steady_clock::now();
    std::optional<NudgeProof> proof;
    const double whole = secondsOf([&] {
        proof = proveNudges(problem, best, Seconds(10.0), one, {}, [&](double bound) {
            now = secondsSince(start);
            for (std::size_t m = 0; m < std::size(marks); ++m)
                if (now <= marks[m]) gaps[m] = decibelsOfPower(bound / best);
        });
    });
    std::printf("%-24s %2d tracks, +-%2g ms: search %6.2f s; gap in dB after", what, model.trackCount(), 1e3 * largest,
                search);
    for (std::size_t m = 0; m < std::size(marks); ++m)
        if (gaps[m] >= 0.0) std::printf("  %g s %.3f", marks[m], gaps[m]);
    std::printf("; %s in %.2f s\n", decibelsOfPower(proof->upperBound / best) <= provenGapDb ? "proven" : "open",
                whole);
}

/// What is proposed and how near its bound is, by the time that is given.
void valueOverTime(const char* what, const SummationModel& model, double largest) {
    Workers all;
    std::printf("%s, %d tracks, +-%g ms, %d workers\n", what, model.trackCount(), 1e3 * largest, all.count());
    Constraints constraints;
    constraints.largestNudge = largest;
    for (const std::optional<double> time :
         {std::optional(0.25), std::optional(0.5), std::optional(1.0), std::optional(2.0), std::optional(5.0),
          std::optional(10.0), std::optional<double>()}) {
        constraints.time = time ? std::optional(Seconds(*time)) : std::nullopt;
        std::optional<Proposal> best;
        const double took =
            secondsOf([&] { best = propose(model, constraints, Allow::nudges, 1, all, {}).value().front(); });
        if (time)
            std::printf("  given %5.2f s", *time);
        else
            std::printf("  without a time");
        std::printf("  took %6.2f s  value %.4f  bound %.4f  gap %.3f dB%s\n", took, decibelsOfPower(best->gain),
                    decibelsOfPower(best->upperBound), decibelsOfPower(best->upperBound / best->gain),
                    best->cutShort ? ", cut short" : "");
        std::fflush(stdout);
    }
    const auto plain = plainAscents(nudgesOf(model, largest), all);
    std::printf("  %d plain ascents  took %6.2f s  value %.4f\n", plainStarts, plain.seconds,
                decibelsOfPower(plain.best));
}

/// How many of a few rooms are proven in 0.1, 1 and 10 s, one worker.
void provenWithin(double largest, std::initializer_list<int> sizes) {
    Workers one(1);
    constexpr int rooms = 4;
    std::printf("rooms of %d that are proven, +-%g ms\n", rooms, 1e3 * largest);
    for (const int tracks : sizes) {
        int within[3] = {0, 0, 0};
        double widest = 0.0;
        for (std::uint64_t seed = 1; seed <= rooms; ++seed) {
            const auto problem = nudgesOf(playersInARoom(tracks, tracks / 2, seed), largest);
            const double best = searchNudges(problem, 1, {}, one, {})->best.front().value;
            double gap = 0.0;
            const double seconds = secondsOf(
                [&] { gap = decibelsOfPower(proveNudges(problem, best, Seconds(10.0), one, {})->upperBound / best); });
            widest = std::max(widest, gap);
            if (gap > provenGapDb) continue;
            within[0] += seconds <= 0.1 ? 1 : 0;
            within[1] += seconds <= 1.0 ? 1 : 0;
            within[2] += 1;
        }
        std::printf("  %2d tracks: in 0.1 s %d, in 1 s %d, in 10 s %d; widest gap %.3f dB\n", tracks, within[0],
                    within[1], within[2], widest);
    }
}

} // namespace

/// Without words all; else those parts that are named: flips, nudges, gap, proven, time24, time64.
int main(int count, char** words) {
    const std::vector<std::string> named(words + 1, words + count);
    const auto asked = [&](const char* part) {
        return named.empty() || std::find(named.begin(), named.end(), part) != named.end();
    };
    if (asked("flips")) flips();
    if (asked("nudges")) {
        nudges(24, 8, 0.001);
        nudges(24, 8, 0.01);
        nudges(24, 24, 0.01);
        nudges(64, 20, 0.01);
    }
    if (asked("gap")) {
        for (const double largest : {0.001, 0.01}) {
            gapOverTime("players in a room", playersInARoom(14, 7, 1), largest);
            gapOverTime("players in a room", playersInARoom(24, 12, 1), largest);
            gapOverTime("players in a room", playersInARoom(40, 16, 1), largest);
            gapOverTime("sources in no room", manySources(24, 24, 0.006, 1), largest);
        }
        gapOverTime("players in a room", playersInARoom(64, 24, 1), 0.01);
    }
    for (const double largest : {0.001, 0.01}) {
        if (asked("time24")) {
            valueOverTime("players in a room", playersInARoom(24, 12, 1), largest);
            valueOverTime("sources in no room", manySources(24, 24, 0.006, 1), largest);
        }
        if (asked("time64")) {
            valueOverTime("players in a room", playersInARoom(64, 24, 1), largest);
            valueOverTime("sources in no room", manySources(64, 20, 0.006, 1), largest);
        }
    }
    if (asked("proven")) {
        provenWithin(0.001, {8, 12, 14, 16, 18, 20});
        provenWithin(0.01, {6, 8, 10, 12});
    }
    return 0;
}
