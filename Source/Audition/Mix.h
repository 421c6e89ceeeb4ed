#pragma once

#include "Core/Signal/TrackChain.h"
#include "Session/TrackInfo.h"

#include <cstdint>
#include <span>
#include <vector>

namespace spillwright {

/// A setting made ready to be heard: the treatment of every track and its gains into left and right.
struct Mix {
    /// Of `tracks` tracks as recorded, all silent.
    explicit Mix(std::size_t tracks) : chains(tracks), left(tracks, 0.0f), right(tracks, 0.0f) {}

    /// [message thread] `adjustments`: one a track, missing ones as recorded. `solo`: empty or one flag a track; when
    /// any is true, only those sound. Nudges beyond `largestNudge` either way are taken as `largestNudge`.
    void set(std::span<const TrackInfo> tracks, std::span<const TrackAdjustment> adjustments,
             const std::vector<bool>& solo, double sampleRate, Seconds largestNudge);

    /// [audio thread] Both must be of as many tracks. Allocates nothing.
    void copyFrom(const Mix& other);

    /// The track sounds alike in both, whatever its past.
    bool sameTrack(const Mix& other, std::size_t track) const {
        return left[track] == other.left[track] && right[track] == other.right[track] &&
               chains[track].sameTreatment(other.chains[track]);
    }

    std::vector<TrackChain> chains;
    std::vector<float> left, right;
    std::int64_t before = 0; ///< Samples of the recording needed before the one that is heard, settling included ...
    std::int64_t after = 0;  ///< ... and after it.
};

} // namespace spillwright
