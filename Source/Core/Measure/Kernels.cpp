#include "Core/Measure/Kernels.h"

#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "Core/Measure/Kernels.cpp"
#include <hwy/cache_control.h>
#include <hwy/foreach_target.h> // first: includes this file once for each instruction set
#include <hwy/highway.h>

HWY_BEFORE_NAMESPACE();
namespace spillwright::kernels {
namespace HWY_NAMESPACE {

namespace hn = hwy::HWY_NAMESPACE;

using Lanes = hn::CappedTag<float, binsPerBlock>;
using Vector = hn::Vec<Lanes>;

// Tracks by tracks whose sums stay in registers: as many as the instruction set has room for.
#if HWY_TARGET == HWY_AVX2
constexpr int tileRows = 2;
constexpr int tileColumns = 3;
#elif HWY_TARGET == HWY_SSE2 || HWY_TARGET == HWY_SSSE3 || HWY_TARGET == HWY_SSE4
constexpr int tileRows = 2;
constexpr int tileColumns = 2;
#else
constexpr int tileRows = 4;
constexpr int tileColumns = 3;
#endif

SampleSums SumSamples(const float* samples, int count, float clipLevel) {
    const Lanes d;
    const int lanes = static_cast<int>(hn::Lanes(d));
    auto sum = hn::Zero(d);
    auto squares = hn::Zero(d);
    auto peak = hn::Zero(d);
    int n = 0;
    for (; n + lanes <= count; n += lanes) {
        const auto x = hn::LoadU(d, samples + n);
        sum = hn::Add(sum, x);
        squares = hn::MulAdd(x, x, squares);
        peak = hn::Max(peak, hn::Abs(x));
    }
    SampleSums sums;
    HWY_ALIGN float parts[binsPerBlock];
    hn::Store(sum, d, parts);
    for (int lane = 0; lane < lanes; ++lane)
        sums.sum += static_cast<double>(parts[lane]);
    hn::Store(squares, d, parts);
    for (int lane = 0; lane < lanes; ++lane)
        sums.sumOfSquares += static_cast<double>(parts[lane]);
    sums.peak = hn::GetLane(hn::MaxOfLanes(d, peak));
    for (; n < count; ++n) {
        const double x = static_cast<double>(samples[n]);
        sums.sum += x;
        sums.sumOfSquares += x * x;
        sums.peak = HWY_MAX(sums.peak, samples[n] < 0 ? -samples[n] : samples[n]);
    }
    if (sums.peak >= clipLevel)
        for (n = 0; n < count; ++n)
            sums.clipped += samples[n] >= clipLevel || samples[n] <= -clipLevel;
    return sums;
}

float SumOfSquares(const float* numbers, std::size_t count) {
    const Lanes d;
    const std::size_t lanes = hn::Lanes(d);
    Vector sums[4] = {hn::Zero(d), hn::Zero(d), hn::Zero(d), hn::Zero(d)};
    std::size_t n = 0;
    for (; n + 4 * lanes <= count; n += 4 * lanes)
        HWY_UNROLL(4)
    for (std::size_t k = 0; k < 4; ++k) {
        const auto x = hn::LoadU(d, numbers + n + k * lanes);
        sums[k] = hn::MulAdd(x, x, sums[k]);
    }
    float sum = hn::GetLane(hn::SumOfLanes(d, hn::Add(hn::Add(sums[0], sums[1]), hn::Add(sums[2], sums[3]))));
    for (; n < count; ++n)
        sum += numbers[n] * numbers[n];
    return sum;
}

void ApplyWindow(const float* HWY_RESTRICT samples, const float* HWY_RESTRICT window, float limit,
                 float* HWY_RESTRICT output, int count) {
    const Lanes d;
    const auto top = hn::Set(d, limit);
    const auto bottom = hn::Set(d, -limit);
    for (int n = 0; n < count; n += static_cast<int>(hn::Lanes(d))) {
        const auto x = hn::Min(hn::Max(hn::Load(d, samples + n), bottom), top);
        hn::Store(hn::Mul(x, hn::Load(d, window + n)), d, output + n);
    }
}

void ScatterBlocks(const std::complex<float>* spectrum, int blocks, float* first, std::size_t stride) {
    const Lanes d;
    const float* from = reinterpret_cast<const float*>(spectrum);
    for (int block = 0; block < blocks; ++block, first += stride)
        for (std::size_t bin = 0; bin < binsPerBlock; bin += hn::Lanes(d), from += 2 * hn::Lanes(d)) {
            Vector re, im;
            hn::LoadInterleaved2(d, from, re, im);
            hn::Stream(re, d, first + bin);
            hn::Stream(im, d, first + binsPerBlock + bin);
        }
}

/// (re, im) divided by its magnitude; 0 where it is 0. Scaled by a power of two first: the squares of very quiet or
/// very loud spectra leave the range of float. One Newton step on the machine's approximate root, which is 8 to 14
/// bits.
HWY_INLINE void MakeUnit(Vector& re, Vector& im) {
    const Lanes d;
    const hn::RebindToUnsigned<Lanes> du;
    const auto larger = hn::Max(hn::Abs(re), hn::Abs(im));
    const auto exponent = hn::And(hn::BitCast(du, larger), hn::Set(du, 0x7f800000u));
    const auto scale = hn::BitCast(d, hn::Sub(hn::Set(du, 0x7f000000u), exponent)); // the larger part is now in 1..2
    const auto sounds = hn::Gt(larger, hn::Set(d, 1e-30f));
    const auto x = hn::Mul(re, scale);
    const auto y = hn::Mul(im, scale);
    const auto squared = hn::MulAdd(x, x, hn::Mul(y, y));
    const auto near = hn::ApproximateReciprocalSqrt(squared);
    const auto half = hn::Mul(hn::Mul(hn::Set(d, 0.5f), squared), near);
    const auto unit = hn::IfThenElseZero(sounds, hn::Mul(near, hn::NegMulAdd(half, near, hn::Set(d, 1.5f))));
    re = hn::Mul(x, unit);
    im = hn::Mul(y, unit);
}

template <class D>
HWY_INLINE void StoreKept(D d, hn::Vec<D> re, hn::Vec<D> im, std::uint32_t* values, bool add) {
    const hn::RebindToUnsigned<D> du;
    const auto upper = hn::Set(du, 0xffff0000u);
    if (add) {
        const auto before = hn::LoadU(du, values);
        re = hn::Add(re, hn::BitCast(d, hn::And(before, upper)));
        im = hn::Add(im, hn::BitCast(d, hn::ShiftLeft<16>(before)));
    }
    const auto nearest = hn::Set(du, 0x8000u);
    hn::StoreU(hn::Or(hn::And(hn::Add(hn::BitCast(du, re), nearest), upper),
                      hn::ShiftRight<16>(hn::Add(hn::BitCast(du, im), nearest))),
               du, values);
}

#if HWY_TARGET != HWY_SCALAR
/// Real parts in the lower half, imaginary parts in the upper.
template <class D>
HWY_INLINE void StoreHalves(D, hn::Vec<D> both, std::uint32_t* values, bool add) {
    const hn::Half<D> half;
    StoreKept(half, hn::LowerHalf(half, both), hn::UpperHalf(half, both), values, add);
}

template <class D>
HWY_INLINE hn::Vec<hn::Half<D>> AddNeighbours(D d, hn::Vec<D> v) {
    return hn::LowerHalf(hn::Half<D>(), hn::Add(hn::ConcatEven(d, v, v), hn::ConcatOdd(d, v, v)));
}
#endif

/// `bin`: the first of these lanes within its block. Where a pool has more bins than a vector, its parts are rounded
/// one by one.
HWY_INLINE void Keep(Vector re, Vector im, const KeptBlock& kept, std::size_t pairBins, std::size_t bin) {
    const Lanes d;
    const auto pool = static_cast<std::size_t>(kept.binsPerPool);
    std::uint32_t* values = kept.values + (pairBins + bin) / pool;
    const bool add = kept.add || bin % pool != 0;
#if HWY_TARGET == HWY_SCALAR
    StoreKept(d, re, im, values, add);
#else
    if (pool == 1) return StoreKept(d, re, im, values, add);
    const auto two = hn::Add(hn::ConcatEven(d, im, re), hn::ConcatOdd(d, im, re));
    if (pool == 2) return StoreHalves(d, two, values, add);
    const hn::Half<Lanes> half;
    const auto four = AddNeighbours(d, two);
    constexpr bool widest = hn::MaxLanes(Lanes()) == 4;
    if (widest || pool == 4) return StoreHalves(half, four, values, add);
    if constexpr (!widest) StoreHalves(hn::Half<hn::Half<Lanes>>(), AddNeighbours(half, four), values, add);
#endif
}

struct Block {
    const float* spectra;
    int tracks;
    int windows;
    std::size_t trackStride;
    float* sums;
    float* phases;
    KeptBlock kept;
    mutable const float* ahead; // what is summed next, not yet fetched: the sums hide the wait for memory
    const float* aheadEnd;

    std::size_t pair(int i, int j) const {
        const auto row = static_cast<std::size_t>(i);
        const auto all = static_cast<std::size_t>(tracks);
        return row * all - row * (row + 1) / 2 + static_cast<std::size_t>(j);
    }
};

/// One window of one track. Called at each window of each tile, which is often enough for all to come in time.
HWY_INLINE void FetchAhead(const Block& block) {
    if (block.ahead >= block.aheadEnd) return;
    hwy::Prefetch(block.ahead);
    hwy::Prefetch(block.ahead + binsPerBlock);
    block.ahead += floatsPerBlock;
}

/// What one stretch has of a pair, to all that is kept of it. `bin`: the first of these lanes within the block.
HWY_INLINE void AddPair(const Block& block, std::size_t pair, std::size_t bin, Vector re, Vector im) {
    const Lanes d;
    float* sum = block.sums + pair * floatsPerBlock + bin;
    hn::Store(hn::Add(hn::Load(d, sum), re), d, sum);
    hn::Store(hn::Add(hn::Load(d, sum + binsPerBlock), im), d, sum + binsPerBlock);
    if (block.kept.values) Keep(re, im, block.kept, pair * binsPerBlock, bin);
    if (!block.phases) return;
    float* phase = block.phases + pair * floatsPerBlock + bin;
    MakeUnit(re, im);
    hn::Store(hn::Add(re, hn::Load(d, phase)), d, phase);
    hn::Store(hn::Add(im, hn::Load(d, phase + binsPerBlock)), d, phase + binsPerBlock);
}

// All pairs of Rows tracks from i on with Columns tracks from j on, i + Rows <= j.
template <int Rows, int Columns>
void CrossTile(const Block& block, int i, int j) {
    const Lanes d;
    const float* rows = block.spectra + static_cast<std::size_t>(i) * block.trackStride;
    const float* columns = block.spectra + static_cast<std::size_t>(j) * block.trackStride;
    for (std::size_t bin = 0; bin < binsPerBlock; bin += hn::Lanes(d)) {
        Vector re[Rows][Columns], im[Rows][Columns];
        HWY_UNROLL(16)
        for (int r = 0; r < Rows; ++r)
            HWY_UNROLL(16)
        for (int c = 0; c < Columns; ++c)
            re[r][c] = im[r][c] = hn::Zero(d);
        for (int window = 0; window < block.windows; ++window) {
            const std::size_t at = static_cast<std::size_t>(window) * floatsPerBlock + bin;
            FetchAhead(block);
            Vector bRe[Columns], bIm[Columns];
            HWY_UNROLL(16)
            for (int c = 0; c < Columns; ++c) {
                const float* b = columns + static_cast<std::size_t>(c) * block.trackStride + at;
                bRe[c] = hn::Load(d, b);
                bIm[c] = hn::Load(d, b + binsPerBlock);
            }
            HWY_UNROLL(16)
            for (int r = 0; r < Rows; ++r) {
                const float* a = rows + static_cast<std::size_t>(r) * block.trackStride + at;
                const auto aRe = hn::Load(d, a);
                const auto aIm = hn::Load(d, a + binsPerBlock);
                HWY_UNROLL(16)
                for (int c = 0; c < Columns; ++c) {
                    re[r][c] = hn::MulAdd(aIm, bIm[c], hn::MulAdd(aRe, bRe[c], re[r][c]));
                    im[r][c] = hn::NegMulAdd(aRe, bIm[c], hn::MulAdd(aIm, bRe[c], im[r][c]));
                }
            }
        }
        HWY_UNROLL(16)
        for (int r = 0; r < Rows; ++r)
            HWY_UNROLL(16)
        for (int c = 0; c < Columns; ++c)
            AddPair(block, block.pair(i + r, j + c), bin, re[r][c], im[r][c]);
    }
}

// The pairs of Rows tracks among themselves, each track's own power included.
template <int Rows>
void DiagonalTile(const Block& block, int i) {
    const Lanes d;
    const float* rows = block.spectra + static_cast<std::size_t>(i) * block.trackStride;
    for (std::size_t bin = 0; bin < binsPerBlock; bin += hn::Lanes(d)) {
        Vector re[Rows][Rows], im[Rows][Rows];
        HWY_UNROLL(16)
        for (int r = 0; r < Rows; ++r)
            HWY_UNROLL(16)
        for (int c = r; c < Rows; ++c)
            re[r][c] = im[r][c] = hn::Zero(d);
        for (int window = 0; window < block.windows; ++window) {
            const std::size_t at = static_cast<std::size_t>(window) * floatsPerBlock + bin;
            FetchAhead(block);
            Vector xRe[Rows], xIm[Rows];
            HWY_UNROLL(16)
            for (int r = 0; r < Rows; ++r) {
                const float* x = rows + static_cast<std::size_t>(r) * block.trackStride + at;
                xRe[r] = hn::Load(d, x);
                xIm[r] = hn::Load(d, x + binsPerBlock);
            }
            HWY_UNROLL(16)
            for (int r = 0; r < Rows; ++r) {
                re[r][r] = hn::MulAdd(xIm[r], xIm[r], hn::MulAdd(xRe[r], xRe[r], re[r][r]));
                HWY_UNROLL(16)
                for (int c = r + 1; c < Rows; ++c) {
                    re[r][c] = hn::MulAdd(xIm[r], xIm[c], hn::MulAdd(xRe[r], xRe[c], re[r][c]));
                    im[r][c] = hn::NegMulAdd(xRe[r], xIm[c], hn::MulAdd(xIm[r], xRe[c], im[r][c]));
                }
            }
        }
        HWY_UNROLL(16)
        for (int r = 0; r < Rows; ++r)
            HWY_UNROLL(16)
        for (int c = r; c < Rows; ++c)
            AddPair(block, block.pair(i + r, i + c), bin, re[r][c], im[r][c]);
    }
}

template <int Rows>
void RowOfTiles(const Block& block, int i) {
    DiagonalTile<Rows>(block, i);
    int j = i + Rows;
    for (; j + tileColumns <= block.tracks; j += tileColumns)
        CrossTile<Rows, tileColumns>(block, i, j);
    const int left = block.tracks - j;
    if (left == 1) CrossTile<Rows, 1>(block, i, j);
    if (tileColumns > 2 && left == 2) CrossTile<Rows, 2>(block, i, j);
}

void AccumulateBlock(const float* spectra, int tracks, int windows, std::size_t trackStride, float* sums, float* phases,
                     const KeptBlock& kept, const float* next) {
    const std::size_t floats = next ? trackStride * static_cast<std::size_t>(tracks) : 0;
    const Block block{spectra, tracks, windows, trackStride, sums, phases, kept, next, next + floats};
    int i = 0;
    for (; i + tileRows <= tracks; i += tileRows)
        RowOfTiles<tileRows>(block, i);
    const int left = tracks - i;
    if (left == 1) RowOfTiles<1>(block, i);
    if (tileRows > 2 && left == 2) RowOfTiles<2>(block, i);
    if (tileRows > 3 && left == 3) RowOfTiles<3>(block, i);
}

void AddKept(const std::uint32_t* values, std::size_t count, float weight, float phaseWeight, const KeptSums& sums) {
    const Lanes d;
    const hn::RebindToUnsigned<Lanes> du;
    const auto upper = hn::Set(du, 0xffff0000u);
    const auto w = hn::Set(d, weight);
    const auto phaseW = hn::Set(d, phaseWeight);
    for (std::size_t n = 0; n < count; n += hn::Lanes(d)) {
        const auto both = hn::LoadU(du, values + n);
        auto re = hn::BitCast(d, hn::And(both, upper));
        auto im = hn::BitCast(d, hn::ShiftLeft<16>(both));
        hn::Store(hn::MulAdd(re, w, hn::Load(d, sums.re + n)), d, sums.re + n);
        hn::Store(hn::MulAdd(im, w, hn::Load(d, sums.im + n)), d, sums.im + n);
        MakeUnit(re, im);
        hn::Store(hn::MulAdd(re, phaseW, hn::Load(d, sums.phaseRe + n)), d, sums.phaseRe + n);
        hn::Store(hn::MulAdd(im, phaseW, hn::Load(d, sums.phaseIm + n)), d, sums.phaseIm + n);
    }
}

void JoinParts(const float* re, const float* im, std::size_t count, float real, float imaginary,
               std::complex<float>* out) {
    const Lanes d;
    const auto byReal = hn::Set(d, real), byImaginary = hn::Set(d, imaginary);
    std::size_t k = 0;
    for (; k + hn::Lanes(d) <= count; k += hn::Lanes(d))
        hn::StoreInterleaved2(hn::Mul(byReal, hn::LoadU(d, re + k)), hn::Mul(byImaginary, hn::LoadU(d, im + k)), d,
                              reinterpret_cast<float*>(out + k));
    for (; k < count; ++k)
        out[k] = {real * re[k], imaginary * im[k]};
}

void PackKept(const std::complex<float>* from, std::size_t count, std::uint32_t* values) {
    const Lanes d;
    const auto* parts = reinterpret_cast<const float*>(from);
    std::size_t k = 0;
    for (; k + hn::Lanes(d) <= count; k += hn::Lanes(d)) {
        Vector re, im;
        hn::LoadInterleaved2(d, parts + 2 * k, re, im);
        StoreKept(d, re, im, values + k, false);
    }
    const hn::CappedTag<float, 1> one;
    for (; k < count; ++k)
        StoreKept(one, hn::Set(one, parts[2 * k]), hn::Set(one, parts[2 * k + 1]), values + k, false);
}

void UnpackKept(const std::uint32_t* values, std::size_t count, float real, float imaginary, const std::uint32_t* ahead,
                std::complex<float>* out) {
    hwy::Prefetch(ahead);
    const hn::CappedTag<float, 4> d; // a pair keeps 2, 4, 8 or 16 values a block
    const hn::RebindToUnsigned<decltype(d)> u;
    const auto upper = hn::Set(u, 0xffff0000u);
    const auto byReal = hn::Set(d, real), byImaginary = hn::Set(d, imaginary);
    auto* parts = reinterpret_cast<float*>(out);
    std::size_t k = 0;
    for (; k + hn::Lanes(d) <= count; k += hn::Lanes(d)) {
        const auto both = hn::LoadU(u, values + k);
        hn::StoreInterleaved2(hn::Mul(byReal, hn::BitCast(d, hn::And(both, upper))),
                              hn::Mul(byImaginary, hn::BitCast(d, hn::ShiftLeft<16>(both))), d, parts + 2 * k);
    }
    for (; k < count; ++k) {
        const auto value = keptValue(values[k]);
        out[k] = {real * value.real(), imaginary * value.imag()};
    }
}

} // namespace HWY_NAMESPACE
} // namespace spillwright::kernels
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace spillwright::kernels {

HWY_EXPORT(SumSamples);
HWY_EXPORT(SumOfSquares);
HWY_EXPORT(ApplyWindow);
HWY_EXPORT(ScatterBlocks);
HWY_EXPORT(AccumulateBlock);
HWY_EXPORT(AddKept);
HWY_EXPORT(JoinParts);
HWY_EXPORT(PackKept);
HWY_EXPORT(UnpackKept);

SampleSums sumSamples(const float* samples, int count, float clipLevel) {
    return HWY_DYNAMIC_DISPATCH(SumSamples)(samples, count, clipLevel);
}

float sumOfSquares(const float* numbers, std::size_t count) {
    return HWY_DYNAMIC_DISPATCH(SumOfSquares)(numbers, count);
}

void applyWindow(const float* samples, const float* window, float limit, float* output, int count) {
    HWY_DYNAMIC_DISPATCH(ApplyWindow)(samples, window, limit, output, count);
}

void scatterBlocks(const std::complex<float>* spectrum, int blocks, float* first, std::size_t stride) {
    HWY_DYNAMIC_DISPATCH(ScatterBlocks)(spectrum, blocks, first, stride);
}

void accumulateBlock(const float* spectra, int tracks, int windows, std::size_t trackStride, float* sums, float* phases,
                     const KeptBlock& kept, const float* next) {
    HWY_DYNAMIC_DISPATCH(AccumulateBlock)(spectra, tracks, windows, trackStride, sums, phases, kept, next);
}

void addKept(const std::uint32_t* values, std::size_t count, float weight, float phaseWeight, const KeptSums& sums) {
    HWY_DYNAMIC_DISPATCH(AddKept)(values, count, weight, phaseWeight, sums);
}

void joinParts(const float* re, const float* im, std::size_t count, float real, float imaginary,
               std::complex<float>* out) {
    HWY_DYNAMIC_DISPATCH(JoinParts)(re, im, count, real, imaginary, out);
}

void packKept(const std::complex<float>* from, std::size_t count, std::uint32_t* values) {
    HWY_DYNAMIC_DISPATCH(PackKept)(from, count, values);
}

void unpackKept(const std::uint32_t* values, std::size_t count, float real, float imaginary, const std::uint32_t* ahead,
                std::complex<float>* out) {
    HWY_DYNAMIC_DISPATCH(UnpackKept)(values, count, real, imaginary, ahead, out);
}

} // namespace spillwright::kernels
#endif
