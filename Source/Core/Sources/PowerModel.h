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

} // namespace spillwright
