#pragma once

#include <bit>
#include <complex>
#include <cstddef>
#include <cstdint>

/// The inner loops of the pass over the audio, compiled for several instruction sets and chosen at run time.
namespace spillwright::kernels {

/// Bins that lie together in memory: 16 real parts, then 16 imaginary parts.
inline constexpr int binsPerBlock = 16;
inline constexpr int floatsPerBlock = 2 * binsPerBlock;

struct SampleSums {
    double sum = 0.0;
    double sumOfSquares = 0.0;
    float peak = 0.0f;
    std::int64_t clipped = 0;
};
/// Of `count` samples; clipped: at or above `clipLevel` in magnitude. Sums within 1e-5 of their magnitude for up to
/// 2^16 samples.
SampleSums sumSamples(const float* samples, int count, float clipLevel);

/// Within 1e-5 of itself for up to 2^16 numbers.
float sumOfSquares(const float* numbers, std::size_t count);

/// output = samples * window, samples held within +-limit first. All aligned to 64 bytes, count a multiple of 16.
void applyWindow(const float* samples, const float* window, float limit, float* output, int count);

/// Writes a spectrum, block by block, to blocks `stride` floats apart, past the caches. Aligned to 64 bytes.
void scatterBlocks(const std::complex<float>* spectrum, int blocks, float* first, std::size_t stride);

/// Where one block of one stretch is kept: [pair][pool of binsPerPool bins], pairs as in `sums`. A value holds real and
/// imaginary part of the sum over the pool in its upper and lower half, each a bfloat16, rounded to nearest.
struct KeptBlock {
    std::uint32_t* values = nullptr; ///< Null: not kept.
    int binsPerPool = 1;             ///< 1, 2, 4 or 8.
    bool add = false;                ///< To what is there (rounded anew), as for stretches kept together.
};

/// Accumulates one block of bins over the windows of one stretch. Spectra: X[track][window], a block each.
/// sums[pair(i, j)] += sum over windows of X_i conj(X_j), i <= j, pairs in the order (0,0) (0,1) ... (1,1) (1,2) ...
/// phases (may be null) likewise += that sum divided by its magnitude; nothing where it is 0. Phasors are within 2e-5
/// of unit length. `next` (may be null): spectra that are summed next, which are fetched from memory meanwhile.
void accumulateBlock(const float* spectra, int tracks, int windows, std::size_t trackStride, float* sums, float* phases,
                     const KeptBlock& kept, const float* next);

/// Real and imaginary parts, and the same of phasors, `count` each.
struct KeptSums {
    float* re;
    float* im;
    float* phaseRe;
    float* phaseIm;
};
/// Adds `weight` times each kept value, and `phaseWeight` times its phasor (nothing where it is 0). count is a multiple
/// of 16, sums aligned to 64 bytes.
void addKept(const std::uint32_t* values, std::size_t count, float weight, float phaseWeight, const KeptSums& sums);

/// The complex number that a kept value stands for.
inline std::complex<float> keptValue(std::uint32_t value) {
    return {std::bit_cast<float>(value & 0xffff0000u), std::bit_cast<float>(value << 16)};
}

/// Writes `count` complex numbers, real parts times `real`, imaginary parts times `imaginary`.
void joinParts(const float* re, const float* im, std::size_t count, float real, float imaginary,
               std::complex<float>* out);

/// Writes `count` complex numbers as kept values, each part rounded to nearest.
void packKept(const std::complex<float>* from, std::size_t count, std::uint32_t* values);

/// Writes `count` kept values as complex numbers, real parts times `real`, imaginary parts times `imaginary`, and
/// fetches what is kept `ahead`.
void unpackKept(const std::uint32_t* values, std::size_t count, float real, float imaginary, const std::uint32_t* ahead,
                std::complex<float>* out);

} // namespace spillwright::kernels
