#pragma once

#include <cstddef>

/// The inner loops of telling sources apart, compiled for several instruction sets and chosen at run time.
namespace spillwright::kernels {

/// Rows of numbers are padded with zeros to whole multiples of this, and aligned to 64 bytes.
inline constexpr std::size_t demixingPadding = 16;

/// Estimates of some sources at one frequency: real parts of the first in one row, its imaginary parts in the next,
/// then the second source.
struct DemixedBin {
    float* rows = nullptr;
    std::size_t length = 0; ///< Of a row, a multiple of demixingPadding.
    int sources = 0;

    float* re(int source) const { return rows + 2 * static_cast<std::size_t>(source) * length; }
    float* im(int source) const { return re(source) + length; }
};

/// One sweep of updates of rank one (Scheibler & Ono, ICASSP 2020), source by source in the order given: what the
/// source leaves in the others under their weights is taken out of them, and its own weighted mean square becomes 1.
/// weights: [source][length], 1/power. means: the number that mean squares are divided by. squares: room for a row.
void sweep(const DemixedBin& bin, const int* order, const float* weights, float means, float* squares);

/// sums[0..count-1] += re^2 + im^2. Not aligned.
void addSquares(const float* re, const float* im, std::size_t count, float* sums);

} // namespace spillwright::kernels
