// What a callback of the player costs, as a share of real time and against the bare multiply-adds of its nudges.

#include "Audition/LiveSum.h"
#include "Audition/Loader.h"
#include "Audition/Mix.h"
#include "Support/MemorySource.h"
#include "Support/TestSignals.h"

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <ctime>
#include <functional>
#include <memory>
#include <thread>
#include <vector>

using namespace spillwright;

namespace {

constexpr double rate = 48000.0;
constexpr int block = 64;
constexpr double blockMicroseconds = 1e6 * block / rate;

/// Of this thread's own processor time, where it can be told: what else runs on the machine does not count.
double nowMicroseconds() {
#if defined(CLOCK_THREAD_CPUTIME_ID)
    timespec time{};
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &time);
    return 1e6 * static_cast<double>(time.tv_sec) + 1e-3 * static_cast<double>(time.tv_nsec);
#else
    return std::chrono::duration<double, std::micro>(std::chrono::steady_clock::now().time_since_epoch()).count();
#endif
}

double microseconds(const std::function<void()>& work) {
    const double start = nowMicroseconds();
    work();
    return nowMicroseconds() - start;
}

struct Times {
    std::vector<double> each;
    double at(double share) {
        std::sort(each.begin(), each.end());
        return each[static_cast<std::size_t>(share * static_cast<double>(each.size() - 1))];
    }
};

/// Nothing but the multiply-adds of fractional nudges, on samples in the nearest cache.
double floorMicroseconds(int tracks) {
    const FractionalDelay delay(0.37);
    const auto samples = test::whiteNoise(block + FractionalDelay::taps, 1);
    std::vector<float> out(block);
    Times times;
    for (int round = 0; round < 2000; ++round)
        times.each.push_back(microseconds([&] {
            for (int track = 0; track < tracks; ++track)
                delay.apply(samples.data() + FractionalDelay::after, out.data(), block);
        }));
    return times.at(0.5);
}

std::vector<TrackAdjustment> adjustments(int tracks, double highPassHz, int variant) {
    std::vector<TrackAdjustment> all(static_cast<std::size_t>(tracks));
    for (int track = 0; track < tracks; ++track) {
        auto& one = all[static_cast<std::size_t>(track)];
        one.flip = track % 3 == 0;
        one.nudge = milliseconds(0.137 * (track + variant % 50) - 2.0);
        one.gain = Decibels(-0.1 * track);
        if (highPassHz > 0.0) one.highPass = Hertz(highPassHz + track + variant % 50);
    }
    return all;
}

void play(const char* what, int tracks, double highPassHz, int changeEvery) {
    std::vector<std::vector<float>> samples;
    for (int track = 0; track < tracks; ++track)
        samples.push_back(test::whiteNoise(10 * 48000, static_cast<std::uint64_t>(track), 0.02));
    const auto source = std::make_shared<test::MemorySource>(std::move(samples));
    const std::vector<TrackInfo> infos(static_cast<std::size_t>(tracks));

    PlayState state(static_cast<std::size_t>(tracks));
    SongBlocks blocks(tracks, source->length(), Loader::slotsFor(rate, 16000, 16000));
    LiveSum sum(blocks, state, rate, source->length(), Loader::start);
    state.before = state.after = 16000;
    Loader loader(source, blocks, state);
    const auto change = [&](int variant) {
        HeardMix mix;
        mix.adjustments = adjustments(tracks, highPassHz, variant);
        state.mix.draft().set(infos, mix, rate, Seconds(1.0));
        state.mix.publish();
    };
    change(0);
    state.play = true;

    Times times;
    std::vector<float> left(block), right(block);
    double total = 0.0;
    const int rounds = 9 * 48000 / block;
    for (int round = 0; round < rounds; ++round) {
        while (!loader.caughtUp())
            std::this_thread::sleep_for(std::chrono::microseconds(100));
        if (changeEvery > 0 && round % changeEvery == 0) change(round);
        times.each.push_back(microseconds([&] { sum.render(left.data(), right.data(), block); }));
        total += times.each.back();
    }
    const double floor = floorMicroseconds(tracks);
    std::printf("%-44s %3d tracks: %5.2f %% of real time (median %5.2f, 99.9 %% %5.2f), %4.2f x the floor%s\n", what,
                tracks, 100.0 * total / rounds / blockMicroseconds, 100.0 * times.at(0.5) / blockMicroseconds,
                100.0 * times.at(0.999) / blockMicroseconds, times.at(0.5) / floor,
                state.dropouts > 0 ? " (dropouts!)" : "");
}

} // namespace

int main() {
    std::printf("Callbacks of %d samples at 48 kHz, %.0f microseconds each.\nThe floor: one fractional nudge a track, "
                "%d multiply-adds a sample, in cache.\n",
                block, blockMicroseconds, FractionalDelay::taps);
    for (int tracks : {16, 32, 64}) {
        play("fractional nudges", tracks, 0.0, 0);
        play("fractional nudges, high-passes", tracks, 80.0, 0);
        play("the same, every track changed every 40 ms", tracks, 80.0, 15);
    }
}
