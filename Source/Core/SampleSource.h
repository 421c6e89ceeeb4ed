#pragma once

#include "Core/Result.h"

#include <cstdint>
#include <memory>
#include <span>
#include <vector>

namespace spillwright {

/// Reads the tracks of one group (the channels of one file) together. Belongs to one thread at a time.
class GroupReader {
public:
    virtual ~GroupReader() = default;

    /// Fills count samples from `start` (samples of the recording, may lie before 0 or past the end: those are 0) for
    /// each track of the group, in the group's order. Finite samples only, full scale = 1. Reading forwards is cheap;
    /// any start is allowed. A file that can no longer be read is a fault.
    virtual Outcome read(std::int64_t start, int count, std::span<float* const> tracks) = 0;
};

/// Where Core gets its samples from: tracks of one length and rate, addressed by index.
class SampleSource {
public:
    virtual ~SampleSource() = default;

    virtual int trackCount() const = 0;
    virtual double sampleRate() const = 0;   ///< Hz.
    virtual std::int64_t length() const = 0; ///< Samples.

    /// The tracks that are read together, in track order. A track in no group is silent throughout (unreadable).
    virtual const std::vector<std::vector<int>>& groups() const = 0;

    /// A reader of its own; several may be open on one group. Callable from any thread.
    virtual Result<std::unique_ptr<GroupReader>> openGroup(int group) const = 0;
};

} // namespace spillwright
