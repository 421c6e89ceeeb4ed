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

/// Running sums of coherence, in steps of 1/runningUnit: running[k] of the first k values e, each without its bias, e -
/// (1-e)^2 bias, or 0 where that or e - `limit` is below 0. `running` holds count+1.
void runningCoherence(const float* values, std::size_t count, double limit, double bias, std::int32_t* running);
inline constexpr int runningUnit = 1 << 18; // 8191 whole ones fit

/// Maximum-likelihood weights. With c the mean over `low`..`past`-1 of what `running` sums up in steps of
/// 1/runningUnit, at most `most`: c/(1-c) sqrt(min(own/c, 4)), `own` held at 0 or above; 0 where c <= `least`. Returns
/// their sum.
double likelihoodWeights(const float* own, const std::int32_t* running, const std::int32_t* low,
                         const std::int32_t* past, std::size_t count, double least, double most, double* weights);

/// Sums over cells of estimates of coherence, each read at its place, those below 0 left out. With C the estimate e
/// without its bias, C = 1 - x (1 + first x (1 + second x (1 + third x))), x = 1 - e: sum w C, w, p, q, p C (1-C)^2 and
/// q (1-C)^4 of the cells' weights w, p and q. `count` is a multiple of cellsAtOnce; what fills it up weighs nothing.
struct CoherenceCells {
    const std::int32_t* places;
    const float *weights, *powers, *squares;
};
struct CoherenceBias {
    double first, second, third;
};
struct CoherenceSums {
    double coherence = 0.0, weights = 0.0, powers = 0.0, squares = 0.0, linear = 0.0, square = 0.0;
};
void addCoherences(const float* estimates, const CoherenceCells& cells, std::size_t count, const CoherenceBias& bias,
                   CoherenceSums& sums);
inline constexpr std::size_t cellsAtOnce = 8;

/// sum a b c.
double sumOfProducts(const double* a, const double* b, const double* c, std::size_t count);

} // namespace spillwright::kernels
