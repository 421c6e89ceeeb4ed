#pragma once

#include <complex>
#include <cstddef>

/// Between the transform of real samples and that of half as many complex ones, compiled for several instruction sets
/// and chosen at run time (Sorensen et al. 1987, "Real-valued fast Fourier transform algorithms", from memory).
namespace spillwright::kernels {

/// From Z, the transform of z[n] = x[2n] + j x[2n+1] of `half` points, to X, that of the 2 `half` real samples x: half
/// + 1 points, X(k) = (Z(k) + Z*(half-k))/2 - j turn(k) (Z(k) - Z*(half-k))/2, turn(k) = e^{-j pi k / half}, k =
/// 0..half/2. In place.
void realFromHalf(std::complex<float>* spectrum, const std::complex<float>* turn, std::size_t half);

/// The other way, in place and times 2: an unscaled inverse transform of what is left gives the samples times 2 half.
void halfFromReal(std::complex<float>* spectrum, const std::complex<float>* turn, std::size_t half);

} // namespace spillwright::kernels
