#include "Core/Sources/DemixingKernels.h"

#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "Core/Sources/DemixingKernels.cpp"
#include <hwy/foreach_target.h> // first: includes this file once for each instruction set
#include <hwy/highway.h>

#include <cmath>

HWY_BEFORE_NAMESPACE();
namespace spillwright::kernels {
namespace HWY_NAMESPACE {

namespace hn = hwy::HWY_NAMESPACE;
using Lanes = hn::CappedTag<float, demixingPadding>;

/// squares: |y_k|^2.
HWY_INLINE void TakeOut(const DemixedBin& bin, int k, int from, const float* weights, const float* squares) {
    const Lanes d;
    const float *kRe = bin.re(k), *kIm = bin.im(k);
    float *re = bin.re(from), *im = bin.im(from);
    auto dotRe = hn::Zero(d), dotIm = hn::Zero(d), power = hn::Zero(d);
    for (std::size_t t = 0; t < bin.length; t += hn::Lanes(d)) {
        const auto w = hn::Load(d, weights + t);
        const auto x = hn::Mul(w, hn::Load(d, re + t)), y = hn::Mul(w, hn::Load(d, im + t));
        const auto a = hn::Load(d, kRe + t), b = hn::Load(d, kIm + t);
        dotRe = hn::MulAdd(x, a, hn::MulAdd(y, b, dotRe));
        dotIm = hn::MulAdd(y, a, hn::NegMulAdd(x, b, dotIm));
        power = hn::MulAdd(w, hn::Load(d, squares + t), power);
    }
    const float all = hn::GetLane(hn::SumOfLanes(d, power));
    if (!(all > 0.0f)) return;
    const auto v = hn::Set(d, hn::GetLane(hn::SumOfLanes(d, dotRe)) / all);
    const auto u = hn::Set(d, hn::GetLane(hn::SumOfLanes(d, dotIm)) / all);
    for (std::size_t t = 0; t < bin.length; t += hn::Lanes(d)) {
        const auto a = hn::Load(d, kRe + t), b = hn::Load(d, kIm + t);
        hn::Store(hn::MulAdd(u, b, hn::NegMulAdd(v, a, hn::Load(d, re + t))), d, re + t);
        hn::Store(hn::NegMulAdd(u, a, hn::NegMulAdd(v, b, hn::Load(d, im + t))), d, im + t);
    }
}

void Sweep(const DemixedBin& bin, const int* order, const float* weights, float means, float* squares) {
    const Lanes d;
    for (int step = 0; step < bin.sources; ++step) {
        const int k = order[step];
        float *re = bin.re(k), *im = bin.im(k);
        const float* own = weights + static_cast<std::size_t>(k) * bin.length;
        auto power = hn::Zero(d);
        for (std::size_t t = 0; t < bin.length; t += hn::Lanes(d)) {
            const auto a = hn::Load(d, re + t), b = hn::Load(d, im + t);
            const auto square = hn::MulAdd(a, a, hn::Mul(b, b));
            hn::Store(square, d, squares + t);
            power = hn::MulAdd(hn::Load(d, own + t), square, power);
        }
        for (int m = 0; m < bin.sources; ++m)
            if (m != k) TakeOut(bin, k, m, weights + static_cast<std::size_t>(m) * bin.length, squares);
        const float mean = hn::GetLane(hn::SumOfLanes(d, power)) / means;
        if (!(mean > 0.0f)) continue;
        const auto scale = hn::Set(d, 1.0f / std::sqrt(mean));
        for (std::size_t t = 0; t < bin.length; t += hn::Lanes(d)) {
            hn::Store(hn::Mul(scale, hn::Load(d, re + t)), d, re + t);
            hn::Store(hn::Mul(scale, hn::Load(d, im + t)), d, im + t);
        }
    }
}

void AddSquares(const float* re, const float* im, std::size_t count, float* sums) {
    const Lanes d;
    std::size_t t = 0;
    for (; t + hn::Lanes(d) <= count; t += hn::Lanes(d)) {
        const auto a = hn::LoadU(d, re + t), b = hn::LoadU(d, im + t);
        hn::StoreU(hn::MulAdd(a, a, hn::MulAdd(b, b, hn::LoadU(d, sums + t))), d, sums + t);
    }
    for (; t < count; ++t)
        sums[t] += re[t] * re[t] + im[t] * im[t];
}

} // namespace HWY_NAMESPACE
} // namespace spillwright::kernels
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace spillwright::kernels {

HWY_EXPORT(Sweep);
HWY_EXPORT(AddSquares);

void sweep(const DemixedBin& bin, const int* order, const float* weights, float means, float* squares) {
    HWY_DYNAMIC_DISPATCH(Sweep)(bin, order, weights, means, squares);
}
void addSquares(const float* re, const float* im, std::size_t count, float* sums) {
    HWY_DYNAMIC_DISPATCH(AddSquares)(re, im, count, sums);
}

} // namespace spillwright::kernels
#endif
