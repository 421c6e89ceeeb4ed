#pragma once

#include "Media/Recording.h"

#include "Core/TrackAdjustment.h"

#include <memory>
#include <span>

namespace spillwright {

/// The stereo sum of a setting as it is heard: every readable track that is not muted, at the recording's rate, placed,
/// treated and panned. From sample 0 forwards.
class SumOfTracks {
public:
    /// One adjustment a track. Faults: those of Recording::openGroup.
    static Result<std::unique_ptr<SumOfTracks>> open(const Recording& recording,
                                                     std::span<const TrackAdjustment> adjustments);
    ~SumOfTracks();

    /// The next `count` samples, count >= 1.
    Outcome next(int count, float* left, float* right);

private:
    SumOfTracks();
    struct Voices;
    std::unique_ptr<Voices> voices;
};

} // namespace spillwright
