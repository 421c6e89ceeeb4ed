#pragma once

#include "Core/Types.h"

#include <array>
#include <cstdint>
#include <vector>

namespace spillwright {

/// Holds the true peaks of a stereo signal at the ceiling: the gain goes down ahead of a peak and comes back slowly,
/// both sides alike. True peaks are told as ITU-R BS.1770-4, annex 2 has it: between the samples, too, at four times
/// the rate (from 96 kHz up at twice, from 176.4 kHz up the samples are dense enough), by a filter of 48 taps. Where no
/// true peak is above the ceiling every sample passes as it is, late by lookAhead(). Nothing that is not a number
/// passes. All calls but the constructor allocate nothing and take no lock.
class Guard {
public:
    static constexpr Decibels ceiling = Decibels(-1.0);       ///< dBTP. No sample passes it; between samples see ...
    static constexpr Decibels excess = Decibels(0.05);        ///< ... by how much the signal may.
    static constexpr Seconds lookAheadTime = Seconds(0.0015); ///< In which the gain goes down.
    static constexpr Seconds releaseTime = Seconds(0.5);      ///< In which it comes back from silence.

    explicit Guard(double sampleRate);

    int lookAhead() const { return window - 1 + reach; } ///< Samples.
    /// Samples up to here have no true peak above the ceiling, whatever they are: an interpolated value is at most the
    /// peak of the samples times the sum of the magnitudes of the taps. Linear; -6.4 dBFS at four times the rate, -8.3
    /// dBFS at twice. Nothing between them is looked at.
    float safePeak() const { return safe; }

    /// In place. True when the gain was below 1 for any of the samples.
    bool process(float* left, float* right, int count);

private:
    // Gains are whole numbers, so that their running sum never drifts and a gain of 1 is exactly 1.
    static constexpr std::int64_t unity = std::int64_t(1) << 30;
    static constexpr int mostAtOnce = 32;
    static constexpr int mostReach = 12;
    static constexpr int past = 2 * mostReach - 1;
    using Taps = std::array<float, 2 * mostReach>;
    using Recent = std::array<float, past + mostAtOnce>; ///< The newest samples, some of them past.

    static std::vector<Taps> tapsBetween(int times);
    static float safePeakOf(const std::vector<Taps>& places, float limit);
    void crestsBetween(const Recent& samples);
    bool processSome(float* left, float* right, int count);

    std::vector<Taps> between; ///< One set a place that is looked at; 2 `reach` of each are in use.
    int reach;                 ///< Samples on either side of a place between two that tell the signal there.
    int window;
    float limit;
    float safe;
    std::int64_t releaseStep;
    Recent recentLeft{}, recentRight{};
    int quietFor = past + mostAtOnce; ///< Samples since one above `safe`, where it matters.
    std::array<float, mostAtOnce> crests{};
    float crestBefore = 0.0f;                     ///< Between the sample that is judged and the one before it.
    std::vector<float> delayedLeft, delayedRight; ///< The last samples up to the one that leaves ...
    std::vector<std::int64_t> needed;             ///< ... the gain that each of the last `window` judged needs ...
    std::vector<std::int64_t> held;               ///< ... and the gain that all of them need, with its release.
    std::int64_t heldSum;
    std::int64_t lowest = unity; ///< Of `needed`.
    int lowestAge = 0;           ///< Samples since it was the newest.
    int place = 0, delayPlace = 0;
};

} // namespace spillwright
