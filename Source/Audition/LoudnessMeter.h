#pragma once

#include "Core/Types.h"

#include <cstdint>
#include <memory>
#include <optional>

namespace spillwright {

/// Loudness, true peaks, rms and correlation of a stereo signal, pushed by the thread that plays it and read by
/// another. What is meant is the programme: one meter a recording, at its rate, given the finished sum as
/// LiveSum::render() leaves it, with the gain that matches loudness in and before what only concerns listening (mono,
/// side or band, rate of the device, output level, guard). So a reading is that of the file that would be rendered, and
/// does not move with the output level. All the arithmetic is done by who reads; until then up to `mostUnread` waits in
/// a ring. Loudness and true peaks are ITU-R BS.1770-4 and EBU Tech 3341 by libebur128; the constructor, read() and
/// reset() allocate.
class LoudnessMeter {
public:
    static constexpr Seconds mostUnread = Seconds(2.0); ///< What is pushed beyond it is lost to the meter, and counted.
    static constexpr Seconds window = Seconds(0.5);     ///< Of rms and correlation: the past weighs e^(-age / window).
    static constexpr Seconds longestHistory = Seconds(3600.0); ///< Of the integrated loudness.
    /// Below this on either side there is no correlation; below it on one there is no level.
    static constexpr Decibels silence = Decibels(-90.0); ///< dBFS, rms.

    /// What comes before the first sample counts as silence. No answer: nullopt.
    struct Side {
        std::optional<double> truePeakDb;        ///< dBTP, since the last read().
        std::optional<double> highestTruePeakDb; ///< dBTP, since the last reset().
        std::optional<double> rmsDb;             ///< dBFS; a full-scale sine reads -3.01.
    };
    struct Readings {
        std::optional<double> momentaryLufs;  ///< Of the last 0.4 s, not gated.
        std::optional<double> shortTermLufs;  ///< Of the last 3 s, not gated.
        std::optional<double> integratedLufs; ///< Since the last reset(), gated; of the last hour at most.
        Side left, right;
        std::optional<double> correlation; ///< <l r> / sqrt(<l l> <r r>), -1 .. +1: one signal, or one and its inverse.
        std::int64_t lost = 0;             ///< Samples a side that did not fit into the ring, since the last reset().
    };

    explicit LoudnessMeter(double sampleRate);
    ~LoudnessMeter();

    /// [audio thread] wait-free, allocates nothing. Samples of either side.
    void push(const float* left, const float* right, int count);

    /// [message thread] Takes in what was pushed since the last call, some 0.2 microseconds a sample, and says how it
    /// stands. What is not a number counts as 0.
    Readings read();
    /// [message thread] Forgets all that was pushed.
    void reset();

private:
    struct Ring;
    struct State;
    double sampleRate;
    std::unique_ptr<Ring> ring;
    std::unique_ptr<State> state; ///< The message thread's alone.
};

} // namespace spillwright
