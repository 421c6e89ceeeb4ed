#include "Media/AdjustedTracks.h"

#include <algorithm>

namespace spillwright {

AdjustedTracks::AdjustedTracks(std::unique_ptr<GroupReader> groupReader, std::span<const TrackAdjustment> adjustments,
                               double sampleRate)
    : reader(std::move(groupReader)), held(adjustments.size()) {
    std::int64_t beforeStart = 0; // the high-pass listens to what lies before the first sample, too
    for (const TrackAdjustment& adjustment : adjustments) {
        const TrackChain& chain = chains.emplace_back(adjustment, sampleRate);
        before = std::max<std::int64_t>(before, chain.samplesBefore());
        after = std::max<std::int64_t>(after, chain.samplesAfter());
        beforeStart = std::max<std::int64_t>(beforeStart, chain.samplesBefore() + chain.settlingSamples());
    }
    heldStart = heldEnd = -std::max(before, beforeStart);
}

Outcome AdjustedTracks::readUpTo(std::int64_t end) {
    const auto kept = static_cast<std::size_t>(heldEnd - heldStart);
    const auto count = static_cast<std::size_t>(end - heldEnd);
    std::vector<float*> places;
    for (auto& track : held) {
        track.resize(kept + count);
        places.push_back(track.data() + kept);
    }
    if (auto read = reader->read(heldEnd, static_cast<int>(count), places); !read) return read;
    heldEnd = end;
    return done();
}

Outcome AdjustedTracks::next(int count, std::span<float* const> tracks) {
    const std::int64_t needed = position == 0 ? heldStart : position - before;
    for (auto& track : held)
        track.erase(track.begin(), track.begin() + (needed - heldStart));
    heldStart = needed;
    if (auto read = readUpTo(position + count + after); !read) return read;
    for (std::size_t i = 0; i < chains.size(); ++i) {
        const float* input = held[i].data() + (position - heldStart);
        if (position == 0) chains[i].settle(input);
        chains[i].process(input, tracks[i], count);
    }
    position += count;
    return done();
}

} // namespace spillwright
