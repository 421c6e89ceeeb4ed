#pragma once

#include "Core/Result.h"

#include <cstdint>
#include <functional>
#include <memory>
#include <span>
#include <vector>

namespace spillwright {

/// Frames that `frames` at one rate last at another, the last one counted whole. Rates are whole Hz.
std::int64_t resampledLength(std::int64_t frames, double fromRate, double toRate);

/// Reads a signal at another rate: soxr at its very high quality, linear phase, so sample n of the result is the input
/// at n * inputRate / outputRate exactly, without delay. Reading forwards runs one stream; any other start begins a new
/// one far enough before it that the filter has forgotten the beginning, so that the same samples come whatever the
/// order of reading, to the rounding of a float. Memory does not grow with the length.
class Resampler {
public:
    /// Fills one pointer a channel with `count` frames of the input from `start`; zeros before and after its ends.
    using Input = std::function<Outcome(std::int64_t start, int count, std::span<float* const> channels)>;

    Resampler(double inputRate, double outputRate, int channels, Input input);
    ~Resampler();

    /// Frames start .. start+count-1 of the result; start >= 0.
    Outcome read(std::int64_t start, int count, std::span<float* const> channels);

private:
    struct Stream;
    std::unique_ptr<Stream> stream;
};

} // namespace spillwright
