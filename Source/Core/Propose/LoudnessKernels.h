#pragma once

#include <cstddef>
#include <cstdint>

/// The inner loop of LoudnessModel, compiled for several instruction sets and chosen at run time.
namespace spillwright::kernels {

inline constexpr std::size_t loudnessBins = 16; ///< Kept values of one track that lie together.

/// The tracks that sound, in a block of bins.
struct Adjusted {
    const int* tracks;    ///< Index of each.
    std::size_t count;    ///< How many.
    const float* weights; ///< Of each: 16 real parts, then 16 imaginary parts.
    const float* left;    ///< Of each: its share in the left channel ...
    const float* right;   ///< ... and in the right.
};

/// powers[frame] += sum over the block's bins of |sum left w X|^2 + |sum right w X|^2. values: [frame][track][16 kept
/// values], `frameStride` from a frame to the next; weights aligned to 64 bytes, values too.
void addAdjustedPowers(const std::uint32_t* values, std::size_t frameStride, std::size_t frames,
                       const Adjusted& adjusted, double* powers);

} // namespace spillwright::kernels
