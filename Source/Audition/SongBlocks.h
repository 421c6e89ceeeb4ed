#pragma once

#include <atomic>
#include <cstdint>
#include <functional>
#include <memory>
#include <vector>

namespace spillwright {

/// The stretches of a recording that are in memory: blocks of all tracks for the same span of time, so that a block is
/// there for all tracks or for none. One thread loads and evicts, others read, each by a Pinned of its own; none waits
/// for another.
class SongBlocks {
public:
    static constexpr int blockSamples = 8192;

    /// At most `slots` blocks in memory at a time; memory is taken when a slot is first used.
    SongBlocks(int tracks, std::int64_t length, int slots);

    int trackCount() const { return tracks; }
    std::int64_t blockCount() const { return static_cast<std::int64_t>(table.size()); }
    static std::int64_t blockOf(std::int64_t sample); ///< May lie outside 0 .. blockCount() - 1.

    /// [any thread] In memory now. Outside the recording is silence, which always is.
    bool holdsBlock(std::int64_t block) const;
    bool holds(std::int64_t from, std::int64_t to) const; ///< All of from .. to - 1.

    /// A stretch that stays in memory for as long as it is pinned.
    class Pinned;

    // ---- [loading thread]

    /// A place for a block that is not in memory: a free slot, else that of a block which is not wanted, else a new
    /// one; nullptr when there is none now. Each track has blockSamples in a row. Fill all of it, then publish().
    float* place(const std::function<bool(std::int64_t block)>& wanted);
    void publish(std::int64_t block); ///< The place that was given last is this block from now on.

private:
    struct Slot {
        std::unique_ptr<float[]> samples;
        std::atomic<int> pins{0};
        std::int64_t block = -1; ///< [loading thread] What the slot holds; -1: nothing.
    };
    Slot* freeSlot();

    const int tracks;
    std::vector<std::atomic<int>> table; ///< Slot of each block of the recording; -1: not in memory.
    std::vector<Slot> slots;
    Slot* draft = nullptr;
};

/// [reading thread] Wait-free; allocates in the constructor alone.
class SongBlocks::Pinned {
public:
    explicit Pinned(SongBlocks& blocks);
    ~Pinned() { release(); }
    Pinned(const Pinned&) = delete;
    Pinned& operator=(const Pinned&) = delete;

    /// Lets go of what was pinned and pins all of from .. to - 1. False, and nothing pinned, when some of it is
    /// missing.
    bool pin(std::int64_t from, std::int64_t to);
    void release();

    /// `count` samples of a track from `from` on, within what is pinned: where they lie, or copied to `scratch` when
    /// they lie in more than one block or partly outside the recording.
    const float* read(int track, std::int64_t from, int count, float* scratch) const;

private:
    SongBlocks& blocks;
    std::int64_t first = 0; ///< Block of the first pinned slot.
    std::vector<int> pinned;
};

} // namespace spillwright
