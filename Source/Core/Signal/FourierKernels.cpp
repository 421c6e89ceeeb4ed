#include "Core/Signal/FourierKernels.h"

#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "Core/Signal/FourierKernels.cpp"
#include <hwy/foreach_target.h> // first: includes this file once for each instruction set
#include <hwy/highway.h>

HWY_BEFORE_NAMESPACE();
namespace spillwright::kernels {
namespace HWY_NAMESPACE {

namespace hn = hwy::HWY_NAMESPACE;

/// Points k and half-k at once, for k from 1 on: (low, high) -> scale * (even + odd, (even - odd)*), where
/// even = low + high*, odd = -j turn (low - high*), or with `Back` +j turn* (low - high*).
template <bool Back, class D>
HWY_INLINE void Exchange(D d, std::complex<float>* spectrum, const std::complex<float>* turn, std::size_t half,
                         std::size_t k) {
    const std::size_t mirror = half - k + 1 - hn::Lanes(d); // the lowest of the upper points
    float* const low = reinterpret_cast<float*>(spectrum + k);
    float* const high = reinterpret_cast<float*>(spectrum + mirror);
    hn::Vec<D> lowRe, lowIm, highRe, highIm, turnRe, turnIm;
    hn::LoadInterleaved2(d, low, lowRe, lowIm);
    hn::LoadInterleaved2(d, high, highRe, highIm);
    hn::LoadInterleaved2(d, reinterpret_cast<const float*>(turn + k), turnRe, turnIm);
    highRe = hn::Reverse(d, highRe);
    highIm = hn::Reverse(d, highIm);
    const auto scale = hn::Set(d, Back ? 1.0f : 0.5f);
    const auto evenRe = hn::Mul(scale, hn::Add(lowRe, highRe));
    const auto evenIm = hn::Mul(scale, hn::Sub(lowIm, highIm));
    const auto re = hn::Mul(scale, hn::Sub(lowRe, highRe));
    const auto im = hn::Mul(scale, hn::Add(lowIm, highIm));
    // Forward: -j (tr + j ti)(re + j im); back: +j (tr - j ti)(re + j im).
    const auto across = hn::MulAdd(turnRe, im, hn::Mul(turnIm, re));   // forward's odd, real part
    const auto along = hn::NegMulAdd(turnRe, re, hn::Mul(turnIm, im)); // forward's odd, imaginary part
    const auto backAcross = hn::NegMulAdd(turnRe, im, hn::Mul(turnIm, re));
    const auto backAlong = hn::MulAdd(turnRe, re, hn::Mul(turnIm, im));
    const auto oddRe = Back ? backAcross : across;
    const auto oddIm = Back ? backAlong : along;
    hn::StoreInterleaved2(hn::Add(evenRe, oddRe), hn::Add(evenIm, oddIm), d, low);
    hn::StoreInterleaved2(hn::Reverse(d, hn::Sub(evenRe, oddRe)), hn::Reverse(d, hn::Sub(oddIm, evenIm)), d, high);
}

template <bool Back>
HWY_INLINE void ExchangeAll(std::complex<float>* spectrum, const std::complex<float>* turn, std::size_t half) {
    const hn::CappedTag<float, 16> d;
    const hn::CappedTag<float, 1> one;
    const std::size_t last = (half - 1) / 2; // where half is even, the middle is its own mirror
    std::size_t k = 1;
    for (; k + hn::Lanes(d) <= last + 1; k += hn::Lanes(d))
        Exchange<Back>(d, spectrum, turn, half, k);
    for (; k <= last; ++k)
        Exchange<Back>(one, spectrum, turn, half, k);
    if (half % 2 == 0) spectrum[half / 2] = (Back ? 2.0f : 1.0f) * std::conj(spectrum[half / 2]);
}

void RealFromHalf(std::complex<float>* spectrum, const std::complex<float>* turn, std::size_t half) {
    const auto first = spectrum[0];
    spectrum[0] = first.real() + first.imag();
    spectrum[half] = first.real() - first.imag();
    ExchangeAll<false>(spectrum, turn, half);
}

void HalfFromReal(std::complex<float>* spectrum, const std::complex<float>* turn, std::size_t half) {
    const float first = spectrum[0].real(), last = spectrum[half].real();
    spectrum[0] = {first + last, first - last};
    ExchangeAll<true>(spectrum, turn, half);
}

} // namespace HWY_NAMESPACE
} // namespace spillwright::kernels
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace spillwright::kernels {

HWY_EXPORT(RealFromHalf);
HWY_EXPORT(HalfFromReal);

void realFromHalf(std::complex<float>* spectrum, const std::complex<float>* turn, std::size_t half) {
    HWY_DYNAMIC_DISPATCH(RealFromHalf)(spectrum, turn, half);
}

void halfFromReal(std::complex<float>* spectrum, const std::complex<float>* turn, std::size_t half) {
    HWY_DYNAMIC_DISPATCH(HalfFromReal)(spectrum, turn, half);
}

} // namespace spillwright::kernels
#endif
