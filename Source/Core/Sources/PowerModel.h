#pragma once

#include <Eigen/Core>

namespace spillwright {

/// Kullback-Leibler divergence of non-negative numbers from others: sum of a ln(a/b) - a + b. All > 0.
double divergence(const Eigen::ArrayXf& of, const Eigen::ArrayXf& from);

/// Powers of windows as a sum of other powers.
struct PowerSum {
    Eigen::ArrayXf each; ///< What each part brings, added up over the windows.
    Eigen::ArrayXf sum;  ///< [window]
};

/// The non-negative multiples of the parts (columns, one row a window; all > 0) that come closest to `wanted` (> 0) in
/// Kullback-Leibler divergence, by so many multiplicative updates (Lee & Seung 2001) from equal multiples on.
PowerSum sumOfParts(const Eigen::MatrixXf& parts, const Eigen::ArrayXf& wanted, int updates);

/// What the parts bring to powers `wanted` (mean 1; > 0) that are mostly another sound's, which has powers of its own
/// that come and go as it likes: mean of each part's multiple. That sound is in each window as loud as one rung of a
/// ladder, from nothing and -30 dB to 15 dB against the mean of `wanted`; how often it is as loud as each is learned
/// with the multiples, by expectation maximisation. Around the sum of it and the parts, powers are gamma variables of
/// shape 2. parts: columns of mean 1, one row a window; all > 0. expected: of each part, worth one window's evidence; >
/// 0. most: of each part.
Eigen::ArrayXf broughtByParts(const Eigen::MatrixXf& parts, const Eigen::ArrayXf& wanted,
                              const Eigen::ArrayXf& expected, const Eigen::ArrayXf& most, int updates);

} // namespace spillwright
