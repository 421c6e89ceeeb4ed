#include "Audition/LoudnessMeter.h"

#include <ebur128.h>
#include <juce_core/juce_core.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <cmath>
#include <new>
#include <vector>

namespace spillwright {

/// One side writes, the other reads.
struct LoudnessMeter::Ring {
    explicit Ring(int samples) : fifo(samples + 1), left(static_cast<std::size_t>(samples) + 1), right(left) {}

    juce::AbstractFifo fifo;
    std::vector<float> left, right;
    std::atomic<std::int64_t> lost{0};
    static_assert(std::atomic<std::int64_t>::is_always_lock_free);
};

struct LoudnessMeter::State {
    explicit State(double rate)
        : meter(ebur128_init(2, static_cast<unsigned long>(std::lround(rate)),
                             EBUR128_MODE_M | EBUR128_MODE_S | EBUR128_MODE_I | EBUR128_MODE_TRUE_PEAK)),
          share(-std::expm1(-1.0 / (window.value * rate))) {
        if (!meter) throw std::bad_alloc();
        ebur128_set_max_history(meter.get(), static_cast<unsigned long>(longestHistory.value * 1000.0));
    }

    void add(const float* left, const float* right, int count) {
        frames.resize(2 * static_cast<std::size_t>(count));
        for (int n = 0; n < count; ++n) {
            const float l = std::isfinite(left[n]) ? left[n] : 0.0f, r = std::isfinite(right[n]) ? right[n] : 0.0f;
            frames[2 * static_cast<std::size_t>(n)] = l;
            frames[2 * static_cast<std::size_t>(n) + 1] = r;
            const double x = static_cast<double>(l), y = static_cast<double>(r);
            means[0] += share * (x * x - means[0]);
            means[1] += share * (y * y - means[1]);
            product += share * (x * y - product);
        }
        if (ebur128_add_frames_float(meter.get(), frames.data(), static_cast<std::size_t>(count)) != EBUR128_SUCCESS)
            throw std::bad_alloc();
        for (unsigned side = 0; side < 2; ++side) {
            double peak = 0.0;
            ebur128_prev_true_peak(meter.get(), side, &peak);
            recent[side] = std::max(recent[side], peak);
        }
    }

    struct Free {
        void operator()(ebur128_state* one) const { ebur128_destroy(&one); }
    };
    std::unique_ptr<ebur128_state, Free> meter;
    const double share;
    std::vector<float> frames;
    std::array<double, 2> means{};  ///< Of the squares.
    double product = 0.0;           ///< Its mean.
    std::array<double, 2> recent{}; ///< True peaks since the last reading.
    std::optional<double> integratedLufs;
    double untilIntegrated = 0.0; ///< Seconds.
};

namespace {

std::optional<double> levelDb(double amplitude) {
    if (!(amplitude > 0.0)) return std::nullopt;
    return decibelsOfAmplitude(amplitude);
}

std::optional<double> loudness(int (*of)(ebur128_state*, double*), ebur128_state* meter) {
    double lufs = 0.0;
    if (of(meter, &lufs) != EBUR128_SUCCESS || !(lufs > LoudnessMeter::silence.value)) return std::nullopt;
    return lufs;
}

} // namespace

LoudnessMeter::LoudnessMeter(double rate)
    : sampleRate(rate), ring(std::make_unique<Ring>(static_cast<int>(std::ceil(mostUnread.value * rate)))),
      state(std::make_unique<State>(rate)) {}

LoudnessMeter::~LoudnessMeter() = default;

void LoudnessMeter::push(const float* left, const float* right, int count) {
    const auto place = ring->fifo.write(count);
    const auto copy = [&](int from, int to, int samples) {
        std::copy_n(left + from, samples, ring->left.data() + to);
        std::copy_n(right + from, samples, ring->right.data() + to);
    };
    if (place.blockSize1 > 0) copy(0, place.startIndex1, place.blockSize1);
    if (place.blockSize2 > 0) copy(place.blockSize1, place.startIndex2, place.blockSize2);
    const int fitted = place.blockSize1 + place.blockSize2;
    if (fitted < count) ring->lost.fetch_add(count - fitted, std::memory_order_relaxed);
}

LoudnessMeter::Readings LoudnessMeter::read() {
    {
        const auto place = ring->fifo.read(ring->fifo.getNumReady());
        const auto add = [&](int from, int samples) {
            if (samples == 0) return;
            state->add(ring->left.data() + from, ring->right.data() + from, samples);
            state->untilIntegrated -= samples / sampleRate;
        };
        add(place.startIndex1, place.blockSize1);
        add(place.startIndex2, place.blockSize2);
    }
    if (state->untilIntegrated <= 0.0) { // the whole history is gone through, and it grows by a step every 0.1 s
        state->integratedLufs = loudness(ebur128_loudness_global, state->meter.get());
        state->untilIntegrated = 0.1;
    }
    Readings readings;
    readings.momentaryLufs = loudness(ebur128_loudness_momentary, state->meter.get());
    readings.shortTermLufs = loudness(ebur128_loudness_shortterm, state->meter.get());
    readings.integratedLufs = state->integratedLufs;
    const double least = std::pow(10.0, silence.value / 10.0);
    for (unsigned side = 0; side < 2; ++side) {
        Side& now = side == 0 ? readings.left : readings.right;
        double highest = 0.0;
        ebur128_true_peak(state->meter.get(), side, &highest);
        now.highestTruePeakDb = levelDb(highest);
        now.truePeakDb = levelDb(state->recent[side]);
        if (state->means[side] >= least) now.rmsDb = decibelsOfPower(state->means[side]);
        state->recent[side] = 0.0;
    }
    if (readings.left.rmsDb && readings.right.rmsDb)
        readings.correlation = std::clamp(state->product / std::sqrt(state->means[0] * state->means[1]), -1.0, 1.0);
    readings.lost = ring->lost.load(std::memory_order_relaxed);
    return readings;
}

void LoudnessMeter::reset() {
    ring->fifo.read(ring->fifo.getNumReady());
    ring->lost = 0;
    state = std::make_unique<State>(sampleRate);
}

} // namespace spillwright
