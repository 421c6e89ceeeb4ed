#include "Core/Signal/FractionalDelay.h"

#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "Core/Signal/FractionalDelay.cpp"
#include <hwy/foreach_target.h>
#include <hwy/highway.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <numbers>

HWY_BEFORE_NAMESPACE();
namespace spillwright::HWY_NAMESPACE {

namespace hn = hwy::HWY_NAMESPACE;

/// Lanes are neighbouring outputs, and each output adds its taps in the same order: the result does not depend on where
/// a call begins. `input` points at the sample under the first tap.
void convolve(const float* HWY_RESTRICT kernel, const float* HWY_RESTRICT input, float* HWY_RESTRICT output,
              std::int64_t count) {
    const hn::ScalableTag<float> lanesOf;
    const auto lanes = static_cast<std::int64_t>(hn::Lanes(lanesOf));
    std::int64_t n = 0;
    for (; n + 4 * lanes <= count; n += 4 * lanes) {
        auto sum0 = hn::Zero(lanesOf), sum1 = sum0, sum2 = sum0, sum3 = sum0;
        for (int k = 0; k < FractionalDelay::taps; ++k) {
            const auto tap = hn::Set(lanesOf, kernel[k]);
            const float* from = input + n + k;
            sum0 = hn::MulAdd(tap, hn::LoadU(lanesOf, from), sum0);
            sum1 = hn::MulAdd(tap, hn::LoadU(lanesOf, from + lanes), sum1);
            sum2 = hn::MulAdd(tap, hn::LoadU(lanesOf, from + 2 * lanes), sum2);
            sum3 = hn::MulAdd(tap, hn::LoadU(lanesOf, from + 3 * lanes), sum3);
        }
        hn::StoreU(sum0, lanesOf, output + n);
        hn::StoreU(sum1, lanesOf, output + n + lanes);
        hn::StoreU(sum2, lanesOf, output + n + 2 * lanes);
        hn::StoreU(sum3, lanesOf, output + n + 3 * lanes);
    }
    constexpr std::int64_t mostLanes = HWY_MAX_BYTES / sizeof(float);
    while (n < count) {
        // Fewer than a vector may be left, and nothing past them may be read: the last ones go through a padded copy.
        float padded[FractionalDelay::taps + mostLanes] = {};
        float result[mostLanes];
        const std::int64_t now = std::min(lanes, count - n);
        std::copy_n(input + n, FractionalDelay::taps - 1 + now, padded);
        auto sum = hn::Zero(lanesOf);
        for (int k = 0; k < FractionalDelay::taps; ++k)
            sum = hn::MulAdd(hn::Set(lanesOf, kernel[k]), hn::LoadU(lanesOf, padded + k), sum);
        hn::StoreU(sum, lanesOf, result);
        std::copy_n(result, now, output + n);
        n += now;
    }
}

} // namespace spillwright::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace spillwright {

HWY_EXPORT(convolve);

namespace {

/// Modified Bessel function of the first kind, order 0, by its power series. (std::cyl_bessel_i is not everywhere.)
double besselI0(double x) {
    double sum = 1.0, term = 1.0;
    for (int k = 1; term > 1e-17 * sum; ++k) {
        term *= (x / (2.0 * k)) * (x / (2.0 * k));
        sum += term;
    }
    return sum;
}

/// Kaiser's shape parameter: 9 and 11 both miss the promised error to 0.9 Nyquist with 64 taps.
constexpr double kaiserBeta = 10.0;

} // namespace

FractionalDelay::FractionalDelay(double delaySamples) {
    const double nearest = std::round(delaySamples);
    fractionIsZero = std::abs(delaySamples - nearest) <= wholeTolerance;
    whole = static_cast<long long>(fractionIsZero ? nearest : std::floor(delaySamples));
    if (fractionIsZero) {
        kernel[after] = 1.0f;
        return;
    }
    const double fraction = delaySamples - std::floor(delaySamples);
    std::array<double, taps> exact{};
    double sum = 0.0;
    for (int k = 0; k < taps; ++k) {
        const double place = k - after + fraction; // of the tap, from the place that is read; -32 < place < 32
        const double edge = place / after;
        const double window = besselI0(kaiserBeta * std::sqrt(1.0 - edge * edge)) / besselI0(kaiserBeta);
        exact[static_cast<std::size_t>(k)] = window * std::sin(std::numbers::pi * place) / (std::numbers::pi * place);
        sum += exact[static_cast<std::size_t>(k)];
    }
    for (int k = 0; k < taps; ++k) // scaled so that 0 Hz passes at exactly 1
        kernel[static_cast<std::size_t>(k)] = static_cast<float>(exact[static_cast<std::size_t>(k)] / sum);
}

float FractionalDelay::at(const float* input) const {
    float result = 0.0f;
    apply(input, &result, 1);
    return result;
}

void FractionalDelay::apply(const float* input, float* output, int count) const {
    if (count <= 0) return;
    if (fractionIsZero)
        std::copy_n(input - whole, count, output);
    else
        HWY_DYNAMIC_DISPATCH(convolve)(kernel.data(), input - whole - after, output, count);
}

} // namespace spillwright
#endif
