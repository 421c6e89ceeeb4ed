#include "Core/Propose/LoudnessKernels.h"

#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "Core/Propose/LoudnessKernels.cpp"
#include <hwy/foreach_target.h> // first: includes this file once for each instruction set
#include <hwy/highway.h>

HWY_BEFORE_NAMESPACE();
namespace spillwright::kernels {
namespace HWY_NAMESPACE {

namespace hn = hwy::HWY_NAMESPACE;
using Lanes = hn::CappedTag<float, loudnessBins>;

void AddAdjustedPowers(const std::uint32_t* values, std::size_t frameStride, std::size_t frames,
                       const Adjusted& adjusted, double* powers) {
    const Lanes d;
    const hn::RebindToUnsigned<Lanes> bits;
    const auto upper = hn::Set(bits, 0xffff0000u);
    for (std::size_t frame = 0; frame < frames; ++frame, values += frameStride) {
        auto power = hn::Zero(d);
        for (std::size_t bin = 0; bin < loudnessBins; bin += hn::Lanes(d)) {
            auto leftRe = hn::Zero(d), leftIm = leftRe, rightRe = leftRe, rightIm = leftRe;
            for (std::size_t k = 0; k < adjusted.count; ++k) {
                const float* w = adjusted.weights + 2 * loudnessBins * k + bin;
                const auto kept =
                    hn::Load(bits, values + loudnessBins * static_cast<std::size_t>(adjusted.tracks[k]) + bin);
                const auto x = hn::BitCast(d, hn::And(kept, upper)), y = hn::BitCast(d, hn::ShiftLeft<16>(kept));
                const auto a = hn::Load(d, w), b = hn::Load(d, w + loudnessBins);
                const auto re = hn::NegMulAdd(b, y, hn::Mul(a, x)), im = hn::MulAdd(b, x, hn::Mul(a, y));
                const auto l = hn::Set(d, adjusted.left[k]), r = hn::Set(d, adjusted.right[k]);
                leftRe = hn::MulAdd(l, re, leftRe);
                leftIm = hn::MulAdd(l, im, leftIm);
                rightRe = hn::MulAdd(r, re, rightRe);
                rightIm = hn::MulAdd(r, im, rightIm);
            }
            power = hn::MulAdd(leftRe, leftRe, hn::MulAdd(leftIm, leftIm, power));
            power = hn::MulAdd(rightRe, rightRe, hn::MulAdd(rightIm, rightIm, power));
        }
        powers[frame] += static_cast<double>(hn::GetLane(hn::SumOfLanes(d, power)));
    }
}

} // namespace HWY_NAMESPACE
} // namespace spillwright::kernels
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace spillwright::kernels {

HWY_EXPORT(AddAdjustedPowers);

void addAdjustedPowers(const std::uint32_t* values, std::size_t frameStride, std::size_t frames,
                       const Adjusted& adjusted, double* powers) {
    HWY_DYNAMIC_DISPATCH(AddAdjustedPowers)(values, frameStride, frames, adjusted, powers);
}

} // namespace spillwright::kernels
#endif
