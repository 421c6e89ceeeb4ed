#include "Desk/SumPeaks.h"

#include <algorithm>
#include <cmath>
#include <memory>

namespace spillwright::desk {

Result<SumPeaks> sumPeaks(const SampleSource& source, std::span<const TrackAdjustment> adjustments, int columns,
                          const Watch& watch) {
    constexpr int block = 32768;
    std::vector<std::unique_ptr<GroupReader>> readers;
    for (int group = 0; group < static_cast<int>(source.groups().size()); ++group) {
        auto reader = source.openGroup(group);
        if (!reader) return reader.fault();
        readers.push_back(std::move(reader).value());
    }

    SumPeaks peaks;
    peaks.low.assign(static_cast<std::size_t>(columns), 0.0f);
    peaks.high.assign(static_cast<std::size_t>(columns), 0.0f);
    const std::int64_t length = source.length();
    std::vector<float> sum(block), track(block);
    std::vector<float> unwanted(block);
    for (std::int64_t start = 0; start < length; start += block) {
        if (watch.stopped()) return Fault{"waveform", "stopped", "", Fault::Kind::cancelled};
        watch.tell(static_cast<double>(start) / static_cast<double>(length));
        const int count = static_cast<int>(std::min<std::int64_t>(block, length - start));
        std::fill(sum.begin(), sum.end(), 0.0f);
        for (std::size_t group = 0; group < readers.size(); ++group) {
            const auto& members = source.groups()[group];
            // Tracks of one file may have nudges of their own, so each is read at its own place.
            for (std::size_t member = 0; member < members.size(); ++member) {
                const auto& adjustment = adjustments[static_cast<std::size_t>(members[member])];
                if (adjustment.muted) continue;
                std::vector<float*> targets(members.size(), unwanted.data());
                targets[member] = track.data();
                const auto shift = std::llround(adjustment.nudge.value * source.sampleRate());
                if (auto read = readers[group]->read(start - shift, count, targets); !read) return read.fault();
                const auto gain =
                    static_cast<float>(amplitudeOfDecibels(adjustment.gain.value)) * (adjustment.flip ? -1.0f : 1.0f);
                for (int n = 0; n < count; ++n)
                    sum[static_cast<std::size_t>(n)] += gain * track[static_cast<std::size_t>(n)];
            }
        }
        for (int n = 0; n < count; ++n) {
            const auto column = static_cast<std::size_t>((start + n) * columns / length);
            peaks.low[column] = std::min(peaks.low[column], sum[static_cast<std::size_t>(n)]);
            peaks.high[column] = std::max(peaks.high[column], sum[static_cast<std::size_t>(n)]);
        }
    }
    return peaks;
}

} // namespace spillwright::desk
