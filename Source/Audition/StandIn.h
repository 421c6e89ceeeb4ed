#pragma once

#include <algorithm>
#include <atomic>
#include <cstdint>
#include <memory>
#include <utility>
#include <vector>

namespace spillwright {

/// Sound of the tracks of a recording that is not in its files.
struct TrackSound {
    std::int64_t from = 0;                  ///< Sample of the recording at which it begins.
    std::vector<std::vector<float>> tracks; ///< One a track of the recording, its rate; silent where it has ended.
};

/// What decks read in the place of the files. The audio thread says when it has let go; then the message thread frees.
class StandIn {
public:
    /// Null: the files themselves.
    explicit StandIn(std::shared_ptr<const TrackSound> trackSound) : sound(std::move(trackSound)) {}

    bool files() const { return !sound; }

    /// [audio thread] wait-free, allocates nothing. As SongBlocks::Pinned::read, of any stretch. Not of the files.
    const float* read(int track, std::int64_t from, int count, float* scratch) const {
        const auto& samples = sound->tracks[static_cast<std::size_t>(track)];
        const std::int64_t start = from - sound->from;
        if (start >= 0 && start + count <= std::ssize(samples)) return samples.data() + start;
        std::fill_n(scratch, count, 0.0f);
        const std::int64_t first = std::max<std::int64_t>(start, 0);
        const std::int64_t last = std::min<std::int64_t>(start + count, std::ssize(samples));
        if (first < last) std::copy(samples.begin() + first, samples.begin() + last, scratch + (first - start));
        return scratch;
    }

    void letGo() { freed.store(true, std::memory_order_release); }         ///< [audio thread]
    bool isLetGo() const { return freed.load(std::memory_order_acquire); } ///< [message thread]

private:
    const std::shared_ptr<const TrackSound> sound;
    std::atomic<bool> freed{false};
};

} // namespace spillwright
