#pragma once

#include "Core/Signal/FractionalDelay.h"
#include "Core/Signal/HighPass.h"
#include "Core/TrackAdjustment.h"

#include <cstddef>
#include <optional>
#include <vector>

namespace spillwright {

/// What an adjustment does to the samples of its track: nudge, high-pass, gain and flip, in this order. The one place
/// of it: what is heard and what is rendered both come from here, so they are the same. Pan is not in it, it belongs to
/// the sum. Copying and all calls but the constructor allocate nothing and take no lock.
class TrackChain {
public:
    TrackChain() : TrackChain(TrackAdjustment{}, 1.0) {} ///< As recorded.
    TrackChain(const TrackAdjustment& adjustment, double sampleRate);

    bool muted() const { return isMuted; } ///< process() gives silence.

    /// To make sample n, samples n - samplesBefore() .. n + samplesAfter() of the track are read. Either may be
    /// negative, when the nudge leads far away.
    long long samplesBefore() const { return delay.wholeSamples() + FractionalDelay::after; }
    long long samplesAfter() const { return FractionalDelay::before - delay.wholeSamples(); }

    /// `input` points at sample n of the track. Writes samples n .. n + count - 1 as adjusted, and keeps the past of
    /// the high-pass for the call that goes on from there. The same bits however a stretch is cut into calls. Input and
    /// output must not overlap.
    void process(const float* input, float* output, int count);

    /// Samples of the past that settle() listens to; 0 without a high-pass. At most longestSettling, which lets a
    /// high-pass of any slope from 20 Hz up die away by 100 dB; one below that settles less far.
    int settlingSamples() const;
    static constexpr Seconds longestSettling = Seconds(0.25);

    /// Brings the high-pass to where it would be at sample n, had everything before been processed. `input` points at
    /// sample n of the track; settlingSamples() more than samplesBefore() are read.
    void settle(const float* input);

    /// Forgets the past: the track begins here.
    void reset();

    /// Nudge and high-pass are alike, so that this chain can go on where the other one is.
    bool canContinue(const TrackChain& other) const;
    void continueFrom(const TrackChain& other);

    /// Alike in everything but the past.
    bool sameTreatment(const TrackChain& other) const;

private:
    FractionalDelay delay;
    std::optional<HighPass> highPass;
    int settling = 0;
    float gain = 1.0f; ///< Negative when flipped.
    bool isMuted = false;
};

/// A whole track as adjusted, silence before and after it, as `length` samples: sample n of both is the same moment. A
/// muted one as if it were not.
std::vector<float> treatedTrack(const std::vector<float>& track, TrackAdjustment adjustment, double sampleRate,
                                std::size_t length);
/// By how many samples a track gets longer.
int treatmentTail(const TrackAdjustment& adjustment, double sampleRate);

} // namespace spillwright
