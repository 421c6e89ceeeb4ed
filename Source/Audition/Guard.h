#pragma once

#include "Core/Types.h"

#include <cstdint>
#include <vector>

namespace spillwright {

/// Holds the peaks of a stereo signal below the ceiling: the gain goes down ahead of a peak and comes back slowly, both
/// sides alike. Below the ceiling every sample passes as it is, late by lookAhead(). Nothing that is not a number
/// passes. All calls but the constructor allocate nothing and take no lock.
class Guard {
public:
    static constexpr Decibels ceiling = Decibels(-1.0);       ///< dBFS.
    static constexpr Seconds lookAheadTime = Seconds(0.0015); ///< In which the gain goes down.
    static constexpr Seconds releaseTime = Seconds(0.5);      ///< In which it comes back from silence.

    explicit Guard(double sampleRate);

    int lookAhead() const { return window - 1; } ///< Samples.

    /// In place. True when the gain was below 1 for any of the samples.
    bool process(float* left, float* right, int count);

private:
    // Gains are whole numbers, so that their running sum never drifts and a gain of 1 is exactly 1.
    static constexpr std::int64_t unity = std::int64_t(1) << 30;

    int window;
    float limit;
    std::int64_t releaseStep;
    std::vector<float> delayedLeft, delayedRight; ///< The last `window` samples ...
    std::vector<std::int64_t> needed;             ///< ... the gain that each needs ...
    std::vector<std::int64_t> held;               ///< ... and the gain that all of them need, with its release.
    std::int64_t heldSum;
    std::int64_t lowest = unity; ///< Of `needed`.
    int lowestAge = 0;           ///< Samples since it was the newest.
    int place = 0;
};

} // namespace spillwright
