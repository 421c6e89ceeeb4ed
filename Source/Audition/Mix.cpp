#include "Audition/Mix.h"

#include "Core/Pan.h"
#include "Session/Setting.h"

#include <algorithm>

namespace spillwright {

void Mix::set(std::span<const TrackInfo> tracks, const HeardMix& heard, double sampleRate, Seconds largestNudge) {
    const std::size_t count = chains.size() / 2;
    const auto setVoice = [&](std::size_t voice, const std::vector<TrackAdjustment>& adjustments, double factor) {
        const std::size_t track = trackOf(voice);
        TrackAdjustment adjustment = track < adjustments.size() ? adjustments[track] : TrackAdjustment{};
        adjustment.nudge = std::clamp(adjustment.nudge, -largestNudge, largestNudge);
        adjustment.muted = factor == 0.0 || !isHeard(adjustment, heard.solo, track);
        const PanGains pan = panGains(effectivePan(tracks[track], adjustment));
        chains[voice] = TrackChain(adjustment, sampleRate);
        left[voice] = static_cast<float>(factor * pan.left);
        right[voice] = static_cast<float>(factor * pan.right);
    };
    const auto silence = [&](std::size_t voice) { setVoice(voice, {}, 0.0); };
    loudness = heard.loudness;
    loudnessBasis = heard.loudnessBasis;
    heardBefore = heard.heardBefore;
    before = after = 0;
    for (std::size_t track = 0; track < count; ++track) {
        const std::size_t taken = count + track;
        setVoice(track, heard.adjustments, amplitudeOfDecibels(heard.gain.value));
        if (heard.less)
            setVoice(taken, heard.less->adjustments, -amplitudeOfDecibels(heard.less->gain.value));
        else
            silence(taken);
        if (heard.less && chains[track].sameTreatment(chains[taken]) && left[track] == -left[taken] &&
            right[track] == -right[taken]) {
            silence(track);
            silence(taken);
        }
    }
    for (const TrackChain& chain : chains) {
        before = std::max<std::int64_t>(before, chain.samplesBefore() + chain.settlingSamples());
        after = std::max<std::int64_t>(after, chain.samplesAfter());
    }
}

void Mix::copyFrom(const Mix& other) {
    std::copy(other.chains.begin(), other.chains.end(), chains.begin());
    std::copy(other.left.begin(), other.left.end(), left.begin());
    std::copy(other.right.begin(), other.right.end(), right.begin());
    loudness = other.loudness;
    loudnessBasis = other.loudnessBasis;
    heardBefore = other.heardBefore;
    before = other.before;
    after = other.after;
}

} // namespace spillwright
