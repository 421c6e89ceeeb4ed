#pragma once

#include "Core/SampleSource.h"
#include "Core/TrackAdjustment.h"
#include "Core/Workers.h"

#include <span>
#include <vector>

namespace spillwright::desk {

/// The waveform of a sum for the eye: lowest and highest sample of each column, full scale = 1.
struct SumPeaks {
    std::vector<float> low;
    std::vector<float> high;
};

/// Reads the whole recording once and sums it in mono under the given flips, nudges (to the nearest sample), gains and
/// mutes; high-passes are left out, the eye does not miss them. Memory does not grow with the length. Faults: a file
/// that can no longer be read, a stop.
Result<SumPeaks> sumPeaks(const SampleSource& source, std::span<const TrackAdjustment> adjustments, int columns,
                          const Watch& watch);

} // namespace spillwright::desk
