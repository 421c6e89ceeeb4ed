#include "Audition/SongBlocks.h"

#include <algorithm>

namespace spillwright {

static_assert(std::atomic<int>::is_always_lock_free);

SongBlocks::SongBlocks(int trackCount, std::int64_t length, int slotCount)
    : tracks(trackCount), table(static_cast<std::size_t>((length + blockSamples - 1) / blockSamples)),
      slots(static_cast<std::size_t>(slotCount)) {
    for (auto& entry : table)
        entry = -1;
}

std::int64_t SongBlocks::blockOf(std::int64_t sample) {
    return sample >= 0 ? sample / blockSamples : (sample + 1) / blockSamples - 1;
}

bool SongBlocks::holdsBlock(std::int64_t block) const {
    return block < 0 || block >= blockCount() || table[static_cast<std::size_t>(block)].load() >= 0;
}

bool SongBlocks::holds(std::int64_t from, std::int64_t to) const {
    if (to <= from) return true;
    const std::int64_t last = std::min(blockOf(to - 1), blockCount() - 1);
    for (std::int64_t block = std::max<std::int64_t>(blockOf(from), 0); block <= last; ++block)
        if (!holdsBlock(block)) return false;
    return true;
}

// Reader and loader meet in the manner of Dekker, in sequentially consistent order: the reader pins a slot and then
// looks whether the block is still in it; the loader takes the block out of the table and then looks whether its slot
// is pinned. Whichever comes second sees the other.

SongBlocks::Slot* SongBlocks::freeSlot() {
    for (auto& slot : slots)
        if (slot.samples && slot.block < 0 && slot.pins.load() == 0) return &slot;
    return nullptr;
}

float* SongBlocks::place(const std::function<bool(std::int64_t)>& wanted) {
    draft = freeSlot();
    if (!draft) {
        for (auto& slot : slots)
            if (slot.block >= 0 && !wanted(slot.block)) {
                table[static_cast<std::size_t>(slot.block)].store(-1);
                slot.block = -1;
            }
        draft = freeSlot();
    }
    if (!draft)
        for (auto& slot : slots)
            if (!slot.samples) {
                slot.samples = std::make_unique<float[]>(static_cast<std::size_t>(tracks) * blockSamples);
                draft = &slot;
                break;
            }
    return draft ? draft->samples.get() : nullptr;
}

void SongBlocks::publish(std::int64_t block) {
    draft->block = block;
    table[static_cast<std::size_t>(block)].store(static_cast<int>(draft - slots.data()));
    draft = nullptr;
}

SongBlocks::Pinned::Pinned(SongBlocks& source) : blocks(source) {
    pinned.reserve(blocks.slots.size());
}

bool SongBlocks::Pinned::pin(std::int64_t from, std::int64_t to) {
    release();
    first = std::max<std::int64_t>(blockOf(from), 0);
    const std::int64_t last = std::min(blockOf(to - 1), blocks.blockCount() - 1);
    for (std::int64_t block = first; block <= last; ++block) {
        const auto& entry = blocks.table[static_cast<std::size_t>(block)];
        const int slot = entry.load();
        if (slot >= 0 && pinned.size() < pinned.capacity()) {
            blocks.slots[static_cast<std::size_t>(slot)].pins.fetch_add(1);
            pinned.push_back(slot);
            if (entry.load() == slot) continue;
        }
        release();
        return false;
    }
    return true;
}

void SongBlocks::Pinned::release() {
    for (int slot : pinned)
        blocks.slots[static_cast<std::size_t>(slot)].pins.fetch_sub(1);
    pinned.clear();
}

const float* SongBlocks::Pinned::read(int track, std::int64_t from, int count, float* scratch) const {
    const auto start = [&](std::int64_t block) {
        const auto slot = static_cast<std::size_t>(pinned[static_cast<std::size_t>(block - first)]);
        return blocks.slots[slot].samples.get() + static_cast<std::ptrdiff_t>(track) * blockSamples;
    };
    const auto outside = [&](std::int64_t block) { return block < 0 || block >= blocks.blockCount(); };
    std::int64_t block = blockOf(from);
    if (block == blockOf(from + count - 1) && !outside(block)) return start(block) + (from - block * blockSamples);
    for (int done = 0; done < count; ++block) {
        const int offset = static_cast<int>(from + done - block * blockSamples);
        const int now = std::min(count - done, blockSamples - offset);
        if (outside(block))
            std::fill_n(scratch + done, now, 0.0f);
        else
            std::copy_n(start(block) + offset, now, scratch + done);
        done += now;
    }
    return scratch;
}

} // namespace spillwright
