#pragma once

#include "Audition/Guard.h"
#include "Audition/LiveSum.h"
#include "Audition/Player.h"
#include "RealTimeTrap.h"
#include "Support/MemorySource.h"
#include "Support/NamedRate.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <chrono>
#include <cmath>
#include <functional>
#include <memory>
#include <string>
#include <thread>
#include <vector>

namespace spillwright::test {

inline std::vector<TrackInfo> plainTracks(int count) {
    std::vector<TrackInfo> tracks(static_cast<std::size_t>(count));
    for (int track = 0; track < count; ++track)
        tracks[static_cast<std::size_t>(track)].name = "track " + std::to_string(track + 1);
    return tracks;
}

/// A player whose device is the test: asks for blocks as fast as the tracks are in memory, and keeps what it gets.
class Rig {
public:
    explicit Rig(std::shared_ptr<const SampleSource> source, std::vector<TrackInfo> tracks = {},
                 double deviceRate = 0.0, Decibels level = Decibels(0.0)) {
        NamedRate device(deviceRate > 0.0 ? deviceRate : source->sampleRate());
        player.callback().audioDeviceAboutToStart(&device);
        player.setOutputLevel(level);
        if (tracks.empty()) tracks = plainTracks(source->trackCount());
        player.open(std::move(source), std::move(tracks));
    }

    /// `count` samples in blocks of `block`. Waits for the loader before each block unless told not to.
    void run(int count, int block = 256, bool wait = true) {
        while (count > 0) {
            if (wait) waitUntil([&] { return player.ready() || !player.playing(); });
            callBack(std::min(block, count));
            count -= std::min(block, count);
        }
    }

    void callBack(int count) {
        const std::size_t start = left.size();
        left.resize(start + static_cast<std::size_t>(count));
        right.resize(left.size());
        float* outputs[] = {left.data() + start, right.data() + start};
        const RealTimeTrap trap;
        player.callback().audioDeviceIOCallbackWithContext(nullptr, 0, outputs, 2, count, {});
    }

    static void waitUntil(const std::function<bool()>& come) {
        const auto deadline = std::chrono::steady_clock::now() + std::chrono::seconds(60);
        while (!come()) {
            if (std::chrono::steady_clock::now() > deadline) FAIL("waited a minute in vain");
            std::this_thread::sleep_for(std::chrono::microseconds(100));
        }
    }

    Player player;
    std::vector<float> left, right; ///< Everything that was given out.
};

/// 10 log10 of the power of a - b against that of b, over n in from .. to - 1, a read `shift` samples later.
template <class A, class B>
double differenceDb(const A& a, const B& b, std::int64_t from, std::int64_t to, std::int64_t shift) {
    double error = 0.0, power = 0.0;
    for (std::int64_t n = from; n < to; ++n) {
        const double expected = static_cast<double>(b[static_cast<std::size_t>(n)]);
        const double difference = static_cast<double>(a[static_cast<std::size_t>(n + shift)]) - expected;
        error += difference * difference;
        power += expected * expected;
    }
    return 10.0 * std::log10((error + 1e-300) / power);
}

inline std::vector<float> tone(std::size_t length, double hertz, double rate = 48000.0, double amplitude = 0.5) {
    std::vector<float> samples(length);
    for (std::size_t n = 0; n < length; ++n)
        samples[n] =
            static_cast<float>(amplitude * std::sin(2.0 * std::numbers::pi * hertz * static_cast<double>(n) / rate));
    return samples;
}

inline float peakOf(const std::vector<float>& samples, std::size_t from, std::size_t to) {
    float peak = 0.0f;
    for (std::size_t n = from; n < to; ++n)
        peak = std::max(peak, std::abs(samples[n]));
    return peak;
}

/// Power above a frequency against all power, dB, of 2^15 samples from `from` on, through a Hann window.
inline double shareAboveDb(const std::vector<float>& samples, std::size_t from, double hertz, double rate = 48000.0) {
    const std::size_t n = 1 << 15;
    std::vector<std::complex<double>> spectrum(n);
    for (std::size_t k = 0; k < n; ++k)
        spectrum[k] = static_cast<double>(samples.at(from + k)) *
                      (0.5 - 0.5 * std::cos(2.0 * std::numbers::pi * static_cast<double>(k) / static_cast<double>(n)));
    transformByHalves(spectrum, -1.0);
    double above = 0.0, all = 0.0;
    for (std::size_t k = 0; k < n / 2; ++k) {
        all += std::norm(spectrum[k]);
        if (static_cast<double>(k) * rate / static_cast<double>(n) > hertz) above += std::norm(spectrum[k]);
    }
    return 10.0 * std::log10(above / all);
}

constexpr int fadeSamples = 480; ///< LiveSum::fadeTime at 48 kHz.
inline int guardDelay(double rate = 48000.0) {
    return Guard(rate).lookAhead();
}

} // namespace spillwright::test
