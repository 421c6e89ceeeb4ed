#pragma once

#include "Core/SampleSource.h"

#include <algorithm>
#include <memory>
#include <utility>
#include <vector>

namespace spillwright::test {

/// Tracks held in memory: what Core's tests measure. Every track a group of its own unless groups are named.
class MemorySource : public SampleSource {
public:
    explicit MemorySource(std::vector<std::vector<float>> samples, double rateHz = 48000.0,
                          std::vector<std::vector<int>> grouping = {})
        : tracks(std::move(samples)), rate(rateHz), grouped(std::move(grouping)) {
        if (grouped.empty())
            for (int track = 0; track < trackCount(); ++track)
                grouped.push_back({track});
        for (const auto& track : tracks)
            longest = std::max(longest, static_cast<std::int64_t>(track.size()));
    }

    int trackCount() const override { return static_cast<int>(tracks.size()); }
    double sampleRate() const override { return rate; }
    std::int64_t length() const override { return longest; }
    const std::vector<std::vector<int>>& groups() const override { return grouped; }
    const std::vector<float>& track(int index) const { return tracks[static_cast<std::size_t>(index)]; }

    Result<std::unique_ptr<GroupReader>> openGroup(int group) const override {
        return std::unique_ptr<GroupReader>(new Reader(*this, grouped[static_cast<std::size_t>(group)]));
    }

private:
    struct Reader : GroupReader {
        Reader(const MemorySource& source, const std::vector<int>& group) : of(source), members(group) {}
        Outcome read(std::int64_t start, int count, std::span<float* const> into) override {
            for (std::size_t k = 0; k < members.size(); ++k) {
                const auto& samples = of.track(members[k]);
                std::fill_n(into[k], count, 0.0f);
                const std::int64_t first = std::max<std::int64_t>(start, 0);
                const std::int64_t last = std::min<std::int64_t>(start + count, std::ssize(samples));
                if (first < last) std::copy(samples.begin() + first, samples.begin() + last, into[k] + (first - start));
            }
            return done();
        }
        const MemorySource& of;
        std::vector<int> members;
    };

    std::vector<std::vector<float>> tracks;
    double rate;
    std::vector<std::vector<int>> grouped;
    std::int64_t longest = 0;
};

} // namespace spillwright::test
