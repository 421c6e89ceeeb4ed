#include "Core/Measure/StretchKernels.h"

#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "Core/Measure/StretchKernels.cpp"
#include <hwy/foreach_target.h> // first: includes this file once for each instruction set

#include <hwy/contrib/math/math-inl.h>
#include <hwy/highway.h>

HWY_BEFORE_NAMESPACE();
namespace spillwright::kernels {
namespace HWY_NAMESPACE {

namespace hn = hwy::HWY_NAMESPACE;
using Lanes = hn::CappedTag<float, padding>;

void TurnTable(const float* omega, const float* weight, std::size_t count, float lag, float* re, float* im) {
    const Lanes d;
    const auto by = hn::Set(d, lag);
    for (std::size_t k = 0; k < padded(count); k += hn::Lanes(d)) {
        const auto angle = hn::Mul(hn::LoadU(d, omega + k), by);
        const auto w = hn::LoadU(d, weight + k);
        hn::StoreU(hn::Mul(w, hn::Cos(d, angle)), d, re + k);
        hn::StoreU(hn::Mul(w, hn::Sin(d, angle)), d, im + k);
    }
}

void AlignStretch(const std::complex<float>* cross, const float* turnRe, const float* turnIm, std::size_t count,
                  float* re, float* im) {
    const Lanes d;
    const auto least = hn::Set(d, 1e-30f);
    const auto* parts = reinterpret_cast<const float*>(cross);
    for (std::size_t k = 0; k < padded(count); k += hn::Lanes(d)) {
        hn::Vec<Lanes> x, y;
        hn::LoadInterleaved2(d, parts + 2 * k, x, y);
        const auto squared = hn::MulAdd(x, x, hn::Mul(y, y));
        const auto scale = hn::IfThenElseZero(hn::Gt(squared, least), hn::Div(hn::Set(d, 1.0f), hn::Sqrt(squared)));
        const auto a = hn::Mul(scale, hn::LoadU(d, turnRe + k)), b = hn::Mul(scale, hn::LoadU(d, turnIm + k));
        // (x - jy)(a + jb)
        hn::StoreU(hn::MulAdd(x, a, hn::Mul(y, b)), d, re + k);
        hn::StoreU(hn::NegMulAdd(y, a, hn::Mul(x, b)), d, im + k);
    }
}

LagSums SumsAtLag(const float* re, const float* im, const float* omega, const float* v, std::size_t count, float lag) {
    const Lanes d;
    const auto by = hn::Set(d, lag);
    auto value = hn::Zero(d), slope = hn::Zero(d), bend = hn::Zero(d), squares = hn::Zero(d);
    for (std::size_t g = 0; g < padded(count); g += hn::Lanes(d)) {
        const auto w = hn::LoadU(d, omega + g);
        const auto angle = hn::Mul(w, by);
        const auto c = hn::Cos(d, angle), s = hn::Sin(d, angle);
        const auto x = hn::LoadU(d, re + g), y = hn::LoadU(d, im + g), weight = hn::LoadU(d, v + g);
        const auto turned = hn::Mul(weight, hn::NegMulAdd(y, s, hn::Mul(x, c)));
        const auto left = hn::Mul(weight, hn::Mul(w, hn::MulAdd(x, s, hn::Mul(y, c))));
        value = hn::Add(value, turned);
        slope = hn::Sub(slope, left);
        bend = hn::NegMulAdd(hn::Mul(w, w), turned, bend);
        squares = hn::MulAdd(left, left, squares);
    }
    return {hn::GetLane(hn::SumOfLanes(d, value)), hn::GetLane(hn::SumOfLanes(d, slope)),
            hn::GetLane(hn::SumOfLanes(d, bend)), hn::GetLane(hn::SumOfLanes(d, squares))};
}

float TurnedSum(const float* re, const float* im, const float* tableRe, const float* tableIm, std::size_t count) {
    const Lanes d;
    auto sum = hn::Zero(d);
    for (std::size_t g = 0; g < padded(count); g += hn::Lanes(d)) {
        sum = hn::MulAdd(hn::LoadU(d, re + g), hn::LoadU(d, tableRe + g), sum);
        sum = hn::NegMulAdd(hn::LoadU(d, im + g), hn::LoadU(d, tableIm + g), sum);
    }
    return hn::GetLane(hn::SumOfLanes(d, sum));
}

} // namespace HWY_NAMESPACE
} // namespace spillwright::kernels
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace spillwright::kernels {

HWY_EXPORT(TurnTable);
HWY_EXPORT(AlignStretch);
HWY_EXPORT(SumsAtLag);
HWY_EXPORT(TurnedSum);

void turnTable(const float* omega, const float* weight, std::size_t count, float lag, float* re, float* im) {
    HWY_DYNAMIC_DISPATCH(TurnTable)(omega, weight, count, lag, re, im);
}
void alignStretch(const std::complex<float>* cross, const float* turnRe, const float* turnIm, std::size_t count,
                  float* re, float* im) {
    HWY_DYNAMIC_DISPATCH(AlignStretch)(cross, turnRe, turnIm, count, re, im);
}
LagSums lagSums(const float* re, const float* im, const float* omega, const float* v, std::size_t count, float lag) {
    return HWY_DYNAMIC_DISPATCH(SumsAtLag)(re, im, omega, v, count, lag);
}
float turnedSum(const float* re, const float* im, const float* tableRe, const float* tableIm, std::size_t count) {
    return HWY_DYNAMIC_DISPATCH(TurnedSum)(re, im, tableRe, tableIm, count);
}

} // namespace spillwright::kernels
#endif
