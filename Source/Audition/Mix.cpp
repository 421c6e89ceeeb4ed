#include "Audition/Mix.h"

#include "Core/Pan.h"
#include "Session/Setting.h"

#include <algorithm>

namespace spillwright {

void Mix::set(std::span<const TrackInfo> tracks, std::span<const TrackAdjustment> adjustments,
              const std::vector<bool>& solo, double sampleRate, Seconds largestNudge) {
    const bool anySolo = std::find(solo.begin(), solo.end(), true) != solo.end();
    before = after = 0;
    for (std::size_t track = 0; track < chains.size(); ++track) {
        TrackAdjustment adjustment = track < adjustments.size() ? adjustments[track] : TrackAdjustment{};
        adjustment.nudge = std::clamp(adjustment.nudge, -largestNudge, largestNudge);
        if (anySolo && !(track < solo.size() && solo[track])) adjustment.muted = true;
        const PanGains pan = panGains(effectivePan(tracks[track], adjustment));
        chains[track] = TrackChain(adjustment, sampleRate);
        left[track] = static_cast<float>(pan.left);
        right[track] = static_cast<float>(pan.right);
        before = std::max<std::int64_t>(before, chains[track].samplesBefore() + chains[track].settlingSamples());
        after = std::max<std::int64_t>(after, chains[track].samplesAfter());
    }
}

void Mix::copyFrom(const Mix& other) {
    std::copy(other.chains.begin(), other.chains.end(), chains.begin());
    std::copy(other.left.begin(), other.left.end(), left.begin());
    std::copy(other.right.begin(), other.right.end(), right.begin());
    before = other.before;
    after = other.after;
}

} // namespace spillwright
