#pragma once

#include "Core/Signal/TrackChain.h"
#include "Session/TrackInfo.h"

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace spillwright {

/// What is asked to be heard of a recording.
struct HeardMix {
    std::vector<TrackAdjustment> adjustments; ///< One a track; missing ones as recorded.
    std::vector<bool> solo;                   ///< Empty or one flag a track; when any is true, only those sound.
    Decibels gain;                            ///< Of the whole sum.
    struct Other {
        std::vector<TrackAdjustment> adjustments;
        Decibels gain;
    };
    std::optional<Other> less; ///< Taken from the sum: heard is the difference between two settings.
    /// How loud it is about to be, in LUFS or anything else in decibels that is the same for all; none: not known. What
    /// is louder by more than LiveSum::mostLouderDb than what is heard when its turn comes begins that much louder
    /// alone, and rises.
    std::optional<double> loudness;
    int loudnessBasis = 0;             ///< What it was read from: that of another passage tells nothing of this one.
    std::optional<double> heardBefore; ///< What is heard before it is no louder than this, whatever was said of it.
};

/// A setting made ready to be heard: voices, each the treatment of one track and its gains into left and right. The
/// first voice a track is of the sum, the second of what is taken from it.
struct Mix {
    /// Of `tracks` tracks as recorded, all silent.
    explicit Mix(std::size_t tracks) : chains(2 * tracks), left(chains.size(), 0.0f), right(left) {}

    /// [message thread] Nudges beyond `largestNudge` either way are taken as `largestNudge`.
    void set(std::span<const TrackInfo> tracks, const HeardMix& heard, double sampleRate, Seconds largestNudge);

    /// [audio thread] Both must be of as many tracks. Allocates nothing.
    void copyFrom(const Mix& other);

    std::size_t voiceCount() const { return chains.size(); }
    std::size_t trackOf(std::size_t voice) const { return voice % (chains.size() / 2); }

    /// The voice sounds alike in both, whatever its past.
    bool sameVoice(const Mix& other, std::size_t voice) const {
        return left[voice] == other.left[voice] && right[voice] == other.right[voice] &&
               chains[voice].sameTreatment(other.chains[voice]);
    }

    std::vector<TrackChain> chains; ///< [voice], as the following.
    std::vector<float> left, right;
    std::optional<double> loudness, heardBefore; ///< As those of HeardMix ...
    int loudnessBasis = 0;                       ///< ... and this.
    std::int64_t before = 0; ///< Samples of the recording needed before the one that is heard, settling included ...
    std::int64_t after = 0;  ///< ... and after it.
};

} // namespace spillwright
