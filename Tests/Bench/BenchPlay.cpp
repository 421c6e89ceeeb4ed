// What a callback of the player costs, as a share of real time and against the bare multiply-adds of its nudges.

#include "Audition/Guard.h"
#include "Audition/LiveSum.h"
#include "Audition/Loader.h"
#include "Audition/LoudnessMeter.h"
#include "Audition/Mix.h"
#include "Audition/Player.h"
#include "Bench/ThreadClock.h"
#include "Support/MemorySource.h"
#include "Support/NamedRate.h"
#include "Support/RandomUser.h"
#include "Support/TestSignals.h"
#include "Support/TestWav.h"

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <functional>
#include <memory>
#include <thread>
#include <vector>

using namespace spillwright;
using namespace spillwright::bench;

namespace {

constexpr double rate = 48000.0;
constexpr int block = 64;
constexpr double blockMicroseconds = 1e6 * block / rate;

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

std::vector<TrackAdjustment> adjustments(int tracks, double highPassHz, Slope slope, int variant) {
    std::vector<TrackAdjustment> all(static_cast<std::size_t>(tracks));
    for (int track = 0; track < tracks; ++track) {
        auto& one = all[static_cast<std::size_t>(track)];
        one.flip = track % 3 == 0;
        one.nudge = milliseconds(0.137 * (track + variant % 50) - 2.0);
        one.gain = Decibels(-0.1 * track);
        one.highPassSlope = slope;
        if (highPassHz > 0.0) one.highPass = Hertz(highPassHz + track + variant % 50);
    }
    return all;
}

void play(const char* what, int tracks, double highPassHz, int changeEvery, Slope slope = Slope::dB12) {
    std::vector<std::vector<float>> samples;
    for (int track = 0; track < tracks; ++track)
        samples.push_back(test::whiteNoise(10 * 48000, static_cast<std::uint64_t>(track), 0.02));
    const auto source = std::make_shared<test::MemorySource>(std::move(samples));
    const std::vector<TrackInfo> infos(static_cast<std::size_t>(tracks));

    PlayState state(static_cast<std::size_t>(tracks));
    const auto reach = Loader::reachFor(tracks, rate);
    SongBlocks blocks(tracks, source->length(), Loader::slotsFor(reach, rate, 16000, 16000));
    LiveSum sum(blocks, state, rate, source->length(), reach.start);
    state.before = state.after = 16000;
    Loader loader(source, blocks, state, reach);
    const auto change = [&](int variant) {
        HeardMix mix;
        mix.adjustments = adjustments(tracks, highPassHz, slope, variant);
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

/// Ten minutes a track, nearly all of it a hole in the file, which reads as silence; the first second is noise.
void writeLongTrack(const std::filesystem::path& file, int hertz, std::uint64_t seed) {
    test::WavBytes wav;
    wav.rate = hertz;
    wav.bits = 24;
    wav.interleaved = test::whiteNoise(static_cast<std::size_t>(hertz), seed, 0.05);
    wav.dataSize = static_cast<std::uint32_t>(600 * hertz * 3);
    const auto bytes = wav.bytes();
    std::ofstream(file, std::ios::binary).write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
    std::filesystem::resize_file(file, 44 + wav.dataSize);
}

/// Of this process, bytes; 0 where it cannot be told.
double mostMemory() {
    std::ifstream status("/proc/self/status");
    for (std::string line; std::getline(status, line);)
        if (line.rfind("VmHWM:", 0) == 0) return 1024.0 * std::atof(line.c_str() + 6);
    return 0.0;
}

/// From the folder to the first sample of sound, and the memory of playing here and there.
void openFolder(int tracks, int hertz) {
    const auto folder = std::filesystem::temp_directory_path() / ("spillwright-bench-" + std::to_string(hertz));
    std::filesystem::remove_all(folder);
    std::filesystem::create_directories(folder);
    for (int track = 0; track < tracks; ++track)
        writeLongTrack(folder / ("track " + std::to_string(track + 1) + ".wav"), hertz,
                       static_cast<std::uint64_t>(track));
    using Clock = std::chrono::steady_clock;
    const auto since = [](Clock::time_point start) {
        return std::chrono::duration<double, std::milli>(Clock::now() - start).count();
    };
    const auto before = mostMemory();
    Player player;
    test::NamedRate device(hertz);
    player.callback().audioDeviceAboutToStart(&device);
    std::vector<float> left(block), right(block);
    float* outputs[] = {left.data(), right.data()};
    const auto callBack = [&] {
        player.callback().audioDeviceIOCallbackWithContext(nullptr, 0, outputs, 2, block, {});
        std::this_thread::sleep_for(std::chrono::microseconds(1000000LL * block / hertz));
    };
    const auto start = Clock::now();
    auto recording = Recording::open(folder, {});
    if (!recording) {
        std::printf("%s\n", recording.fault().line().c_str());
        return;
    }
    const double opened = since(start);
    player.open(std::move(recording).value());
    player.play();
    do
        callBack();
    while (std::all_of(left.begin(), left.end(), [](float sample) { return sample == 0.0f; }));
    const double sounded = since(start);
    for (int place = 0; place < 20; ++place) {
        player.seek(static_cast<std::int64_t>(place) * 29 * hertz);
        for (int calls = 0; calls < hertz / block / 4; ++calls)
            callBack();
    }
    std::printf(
        "%d tracks of 10 minutes at %g kHz: opened in %.0f ms, first sound after %.0f ms; playing takes %.0f MB, "
        "%lld dropouts\n",
        tracks, hertz / 1000.0, opened, sounded, (mostMemory() - before) / 1e6,
        static_cast<long long>(player.meters().dropouts));
    player.open(nullptr);
    std::filesystem::remove_all(folder);
}

/// Random commands for so long while a thread asks for buffers at the pace of a device: what a callback costs at
/// most, and whether it ever comes too late or gives what is no sound. Half of each track is digital silence.
void soak(int tracks, double seconds) {
    std::vector<std::vector<float>> samples;
    for (int track = 0; track < tracks; ++track) {
        samples.push_back(test::whiteNoise(20 * 48000, static_cast<std::uint64_t>(track), 0.02));
        std::fill(samples.back().begin() + 10 * 48000, samples.back().end(), 0.0f);
    }
    auto other = std::make_shared<TrackSound>();
    for (int track = 0; track < tracks; ++track)
        other->tracks.push_back(test::whiteNoise(48000, static_cast<std::uint64_t>(track), 0.01));
    Player player;
    test::NamedRate device(rate);
    player.callback().audioDeviceAboutToStart(&device);
    player.open(std::make_shared<test::MemorySource>(std::move(samples)),
                std::vector<TrackInfo>(static_cast<std::size_t>(tracks)));
    Times times;
    std::int64_t notFinite = 0, late = 0;
    std::jthread callbacks([&](const std::stop_token& stop) {
        std::vector<float> left(block), right(block);
        float* outputs[] = {left.data(), right.data()};
        auto next = std::chrono::steady_clock::now();
        while (!stop.stop_requested()) {
            times.each.push_back(microseconds(
                [&] { player.callback().audioDeviceIOCallbackWithContext(nullptr, 0, outputs, 2, block, {}); }));
            late += times.each.back() > blockMicroseconds;
            for (const auto* side : {&left, &right})
                notFinite += std::count_if(side->begin(), side->end(), [](float s) { return !std::isfinite(s); });
            next += std::chrono::nanoseconds(static_cast<long long>(1000.0 * blockMicroseconds));
            std::this_thread::sleep_until(next);
        }
    });
    test::RandomUser user(player, tracks, 20 * 48000, 1, other);
    const auto end = std::chrono::steady_clock::now() + std::chrono::duration<double>(seconds);
    for (int step = 0; std::chrono::steady_clock::now() < end; ++step) {
        user.performAny();
        if (step % 5 == 0) player.play();
        std::this_thread::sleep_for(std::chrono::milliseconds(40));
    }
    callbacks.request_stop();
    callbacks.join();
    std::printf(
        "%.0f s of random commands, %d tracks: callbacks take %.2f %% of real time (99.9 %% %.2f, at most %.2f), "
        "%lld of %zu above a buffer's time, %lld dropouts, %lld samples that are none\n",
        seconds, tracks, 100.0 * times.at(0.5) / blockMicroseconds, 100.0 * times.at(0.999) / blockMicroseconds,
        100.0 * times.at(1.0) / blockMicroseconds, static_cast<long long>(late), times.each.size(),
        static_cast<long long>(player.meters().dropouts), static_cast<long long>(notFinite));
}

/// The guard, on noise of this peak.
void guard(const char* what, double peakDb) {
    const auto noise = test::whiteNoise(48000, 7);
    const auto loudest =
        std::max(*std::max_element(noise.begin(), noise.end()), -*std::min_element(noise.begin(), noise.end()));
    Guard guard(rate);
    std::vector<float> left(block), right(block);
    Times times;
    for (int round = 0; round < 3750; ++round) {
        for (std::size_t n = 0; n < block; ++n)
            left[n] = right[n] = noise[(static_cast<std::size_t>(round) * block + n) % noise.size()] *
                                 static_cast<float>(amplitudeOfDecibels(peakDb)) / loudest;
        times.each.push_back(microseconds([&] { guard.process(left.data(), right.data(), block); }));
    }
    std::printf("the guard, %-33s stereo    : %5.2f %% of real time (median), %.1f ns a sample\n", what,
                100.0 * times.at(0.5) / blockMicroseconds, 1000.0 * times.at(0.5) / block);
}

void loudnessMeter() {
    const auto noise = test::whiteNoise(1600, 8);
    LoudnessMeter meter(rate);
    Times pushes, readings;
    for (int round = 0; round < 900; ++round) {
        pushes.each.push_back(microseconds([&] { meter.push(noise.data(), noise.data(), 1600); }));
        readings.each.push_back(microseconds([&] { meter.read(); }));
    }
    std::printf("the loudness meter: %.1f ns a sample to push, %.0f ns to read\n", 1000.0 * pushes.at(0.5) / 1600.0,
                1000.0 * readings.at(0.5) / 1600.0);
}

} // namespace

int main(int count, char** words) {
    if (count == 4 && std::string(words[1]) == "soak") {
        soak(std::atoi(words[2]), std::atof(words[3]));
        return 0;
    }
    // Each by itself, so that peaks of memory do not mix.
    if (count == 3) {
        openFolder(std::atoi(words[1]), std::atoi(words[2]));
        return 0;
    }
    std::printf("Callbacks of %d samples at 48 kHz, %.0f microseconds each.\nThe floor: one fractional nudge a track, "
                "%d multiply-adds a sample, in cache.\n",
                block, blockMicroseconds, FractionalDelay::taps);
    for (int tracks : {16, 32, 64}) {
        play("fractional nudges", tracks, 0.0, 0);
        play("fractional nudges, high-passes", tracks, 80.0, 0);
        play("the same, every track changed every 40 ms", tracks, 80.0, 15);
        play("the same, from 20 Hz up, 24 dB an octave", tracks, 20.0, 15, Slope::dB24);
    }
    guard("nothing near the ceiling", -12.0);
    guard("peaks looked at between the samples", -3.0);
    guard("peaks held down", 6.0);
    loudnessMeter();
    for (int hertz : {48000, 96000, 192000})
        if (std::system((std::string("\"") + words[0] + "\" 64 " + std::to_string(hertz)).c_str()) != 0) return 1;
}
