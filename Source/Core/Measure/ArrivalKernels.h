#pragma once

#include <complex>
#include <cstddef>
#include <cstdint>

/// The inner loops of reading one pair, compiled for several instruction sets and chosen at run time. Arrays need no
/// alignment and no padding unless it is said.
namespace spillwright::kernels {

/// S/|S| of the conjugate, in two arrays, 0 where S is 0; and |S|.
void conjugatePhasors(const std::complex<float>* cross, std::size_t count, float* re, float* im, float* magnitudes);

/// |S|, and the coherence |S|^2/(a b), at most 1, below 0 where a or b is 0.
void coherences(const std::complex<float>* cross, const float* a, const float* b, std::size_t count, float* magnitudes,
                float* coherence);

/// weight * (re, im).
void weigh(const float* re, const float* im, const float* weights, std::size_t count, std::complex<float>* out);

/// Twice as many values: out[2n] = values[n], out[2n+1] what lies between values[n] and values[n+1], n below `count`.
/// Of what reaches no higher than doublingEdge of the highest frequency, within 1e-4 of the largest value.
/// values[-doublingReach]..values[count-1+doublingReach] are read.
void doubleRate(const float* values, std::size_t count, float* out);
inline constexpr int doublingReach = 8;
inline constexpr double doublingEdge = 2.0 / 3.0;

/// Where sign * value is largest, the first of equals. count >= 1.
std::size_t placeOfLargest(const float* values, std::size_t count, float sign);

/// The first place at which sign * value reaches `least`; `count` where none does.
std::size_t firstReaching(const float* values, std::size_t count, float sign, float least);

/// The places 0..count-1 whose value stands further from 0 than the one before does on the same side, and no less far
/// than the one after; values[-1] and values[count] are read. `places` must have room for localPeaksRoom more.
std::size_t localPeaks(const float* values, std::size_t count, std::uint32_t* places);
inline constexpr std::size_t localPeaksRoom = 64;

/// Angles of a row of phasors, in radians: first, first + step ...
struct Turn {
    double first = 0.0;
    double step = 0.0;
};

/// Phasors times e^{j angle}.
void turnPhasors(const float* re, const float* im, std::size_t count, Turn turn, double* turnedRe, double* turnedIm);

/// With z the turned phasors: sum w Re z, and its first and second derivative by the lag, -sum w omega Im z and
/// -sum w omega^2 Re z.
struct TurnedSums {
    double value = 0.0, slope = 0.0, bend = 0.0;
};
TurnedSums turnedSums(const float* re, const float* im, const double* weights, const double* omega, std::size_t count,
                      Turn turn);

/// Maximum-likelihood weights. With c the mean over `low`..`past`-1 of what `running` sums up, at most `most`:
/// c/(1-c) sqrt(min(own/c, 4)), `own` held at 0 or above; 0 where c <= `least`. Returns their sum.
double likelihoodWeights(const float* own, const double* running, const std::int64_t* low, const std::int64_t* past,
                         std::size_t count, double least, double most, double* weights);

/// sum a b c.
double sumOfProducts(const double* a, const double* b, const double* c, std::size_t count);

} // namespace spillwright::kernels
