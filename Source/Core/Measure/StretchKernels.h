#pragma once

#include <complex>
#include <cstddef>

/// The inner loops of following an arrival from stretch to stretch, compiled for several instruction sets and chosen at
/// run time. Arrays are padded with zeros to whole multiples of `padding` floats.
namespace spillwright::kernels {

inline constexpr std::size_t padding = 16;
inline constexpr std::size_t padded(std::size_t count) {
    return (count + padding - 1) / padding * padding;
}

/// turn = weight e^{j omega lag}, omega in radians a second.
void turnTable(const float* omega, const float* weight, std::size_t count, float lag, float* re, float* im);

/// conj(cross)/|cross| * turn, 0 where cross is 0.
void alignStretch(const std::complex<float>* cross, const float* turnRe, const float* turnIm, std::size_t count,
                  float* re, float* im);

/// Of phasors x_g turned by e^{j omega_g lag}, with y their imaginary parts: the sum of v Re, its first and second
/// derivative by lag, and the sum of (v omega y)^2.
struct LagSums {
    float value = 0, slope = 0, bend = 0, squares = 0;
};
LagSums lagSums(const float* re, const float* im, const float* omega, const float* v, std::size_t count, float lag);

/// Sum of re * tableRe - im * tableIm of one row.
float turnedSum(const float* re, const float* im, const float* tableRe, const float* tableIm, std::size_t count);

} // namespace spillwright::kernels
