#pragma once

#include "Core/Measure/CrossSpectra.h"
#include "Core/Measure/PairReading.h"

#include <optional>
#include <span>
#include <vector>

namespace spillwright {

/// Tracks that share a clock other than that of the most.
struct ClockGroup {
    std::vector<int> tracks;
    double ppm = 0.0; ///< Positive: this clock counts more samples in the same time than that of the most.
    double ppmUncertainty = 0.0;
    int against = 0; ///< Tracks it was compared with.
};

/// A track whose arrivals moved at one time against most of the tracks that hear the same.
struct MovedTrack {
    int track = 0;
    Seconds time; ///< To half a stretch.
    Seconds step; ///< Positive: it hears later since then. The median over its pairs.
    Seconds uncertainty;
    int against = 0; ///< Tracks.
};

/// A track whose arrivals wander against most of the others.
struct WanderingTrack {
    int track = 0;
    Seconds range; ///< The median over its pairs.
    int against = 0;
};

/// What holds of the recording as a whole.
struct Stability {
    bool asked = false; ///< Some pair was long enough to tell.
    std::vector<ClockGroup> otherClocks;
    std::vector<MovedTrack> moved;
    std::vector<WanderingTrack> wandering;
    /// Where there is one clock only: the largest rate that any track may still have, 95 %; from the pairs' intervals.
    std::optional<double> oneClockWithinPpm;
};

/// Of recordings of up to any number of pairs in which nothing moves: how many may have one pair said to.
inline constexpr double chanceMoves = 0.01;

/// Follows the arrival of every related pair from stretch to stretch and says whether it holds still. Per stretch the
/// cross-spectrum is whitened, the pair's lag and sign are taken out, and what is left is gathered into an eighth of an
/// octave each, from 60 to 8000 Hz; the peak of its correlation (f^-0.75, or maximum-likelihood weights where they
/// leave less from stretch to stretch) is found by Newton steps from the last stretch's, or by search where that fails.
/// Pairs that seem unrelated are asked whether their phases turn evenly from stretch to stretch, as those of two clocks
/// do: up to 300 ppm. Such a pair is set to related, without an arrival: it has none.
///
/// Fills `movement` of the readings (not where it is but hops of a peak that is not sure), and widens the arrival's
/// uncertainty of those that move by their spread. A clock is told of where most pairs of its tracks drift, a moved
/// track where most of its pairs step within a stretch of one another and most others do not: music in which sources
/// take turns moves pairs too, but not all pairs of one track. Same result for any number of workers. 24 tracks and 4
/// minutes take a few hundredths of a second.
Stability readStability(const CrossSpectra& spectra, std::span<PairReading> readings, Workers& workers);

} // namespace spillwright
