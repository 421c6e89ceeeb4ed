#pragma once

#include "Core/SampleSource.h"
#include "Core/Signal/TrackChain.h"

#include <cstdint>
#include <memory>
#include <span>
#include <vector>

namespace spillwright {

/// The tracks of one reader with their adjustments applied, from sample 0 forwards. Each sample is read once; memory
/// holds one block and the spread of the nudges.
class AdjustedTracks {
public:
    AdjustedTracks(std::unique_ptr<GroupReader> reader, std::span<const TrackAdjustment> adjustments,
                   double sampleRate);

    /// The next `count` samples of each track. Output and count must not be empty.
    Outcome next(int count, std::span<float* const> tracks);

private:
    Outcome readUpTo(std::int64_t end);

    std::unique_ptr<GroupReader> reader;
    std::vector<TrackChain> chains;
    std::int64_t before = 0, after = 0; ///< Samples around a sample that any of the chains reads.
    std::vector<std::vector<float>> held;
    std::int64_t heldStart = 0, heldEnd = 0; ///< Samples of the tracks that `held` has.
    std::int64_t position = 0;
};

} // namespace spillwright
