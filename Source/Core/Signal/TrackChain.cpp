#include "Core/Signal/TrackChain.h"

#include <algorithm>
#include <cmath>

namespace spillwright {

TrackChain::TrackChain(const TrackAdjustment& adjustment, double sampleRate)
    : delay(adjustment.nudge.value * sampleRate),
      gain(static_cast<float>((adjustment.flip ? -1.0 : 1.0) * amplitudeOfDecibels(adjustment.gain.value))),
      isMuted(adjustment.muted) {
    if (adjustment.highPass) {
        highPass.emplace(*adjustment.highPass, sampleRate, adjustment.highPassSlope);
        settling =
            std::min(highPass->settlingSamples(), static_cast<int>(std::ceil(longestSettling.value * sampleRate)));
    }
}

void TrackChain::process(const float* input, float* output, int count) {
    if (isMuted) {
        std::fill_n(output, count, 0.0f);
        return;
    }
    delay.apply(input, output, count);
    if (highPass) highPass->process(output, count);
    if (gain != 1.0f)
        for (int n = 0; n < count; ++n)
            output[n] *= gain;
}

int TrackChain::settlingSamples() const {
    return settling;
}

void TrackChain::settle(const float* input) {
    if (!highPass) return;
    highPass->reset();
    const float* past = input - delay.wholeSamples() - settling;
    if (delay.isWhole()) {
        highPass->advance(past, settling);
        return;
    }
    // The state is linear in the input: the state that the delayed track leaves is the delayed state, that is, the
    // kernel over the states that the track as recorded passes through. It costs one recursion instead of a kernel for
    // each sample of the past.
    past -= FractionalDelay::after;
    highPass->advance(past, settling);
    past += settling;
    HighPass::State delayed;
    for (float tap : delay.coefficients()) {
        delayed.add(highPass->state(), static_cast<double>(tap));
        highPass->advance(past++, 1);
    }
    highPass->setState(delayed);
}

void TrackChain::reset() {
    if (highPass) highPass->reset();
}

bool TrackChain::canContinue(const TrackChain& other) const {
    return delay == other.delay && highPass.has_value() == other.highPass.has_value() &&
           (!highPass || highPass->sameFilter(*other.highPass));
}

void TrackChain::continueFrom(const TrackChain& other) {
    if (highPass) highPass->setState(other.highPass->state());
}

bool TrackChain::sameTreatment(const TrackChain& other) const {
    return canContinue(other) && gain == other.gain && isMuted == other.isMuted;
}

std::vector<float> treatedTrack(const std::vector<float>& track, TrackAdjustment adjustment, double sampleRate,
                                std::size_t length) {
    adjustment.muted = false;
    TrackChain chain(adjustment, sampleRate);
    const auto before = static_cast<std::size_t>(std::max<long long>(0, chain.samplesBefore()));
    const auto after = static_cast<std::size_t>(std::max<long long>(0, chain.samplesAfter()));
    std::vector<float> padded(before + length + after);
    std::copy_n(track.begin(), std::min(track.size(), length + after),
                padded.begin() + static_cast<std::ptrdiff_t>(before));
    std::vector<float> result(length);
    chain.process(padded.data() + before, result.data(), static_cast<int>(length));
    return result;
}

int treatmentTail(const TrackAdjustment& adjustment, double sampleRate) {
    const TrackChain chain(adjustment, sampleRate);
    return std::max(0, static_cast<int>(std::ceil(adjustment.nudge.value * sampleRate))) + chain.settlingSamples() +
           FractionalDelay::taps;
}

} // namespace spillwright
