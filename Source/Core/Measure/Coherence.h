#pragma once

#include "Core/Measure/StretchPools.h"
#include "Core/ThirdOctaves.h"

#include <cstdint>
#include <span>
#include <vector>

namespace spillwright {

/// Magnitude-squared coherence, 0..1, from estimates |S12|^2/(S11 S22) over n effective averages.

/// Coherence that unrelated tracks stay below in 99 % of cases: 1 - 0.01^(1/(n-1)) (Carter 1987).
double chanceCoherence(double effectiveAverages);

/// The estimate without its bias of (1-C)^2/n: 1 - x F(1,1;n;x), x = 1 - estimate (Olkin & Pratt 1958 for the squared
/// multiple correlation, carried over to complex Gaussian signals), the series cut after x^4: what is left is below
/// 24/n^4. Of unrelated tracks it scatters around 0, so it may be negative. n >= 2.
double unbiasedCoherence(double estimate, double effectiveAverages);

/// How alike estimates are in two pools of bins of a Hann spectrum: bins share two thirds of their amplitude with the
/// next and a sixth with the next but one. 1 of a pool and itself.
double likenessOfPools(const Pool& a, const Pool& b);

/// Independent averages of a pool for one of a bin; 1 of a single bin.
double averagesOfPool(const Pool& pool);

/// A coherence and the interval that holds the true one in 95 of 100 recordings of a steady sound. Of a sound that
/// comes and goes, fewer windows count than were averaged, and the interval is too narrow. 0 <= low <= value <= high <=
/// 1.
struct CoherenceEstimate {
    double value = 0.0;
    double low = 0.0;
    double high = 1.0; ///< 0..1 where nothing sounds or two averages are missing: nothing is known.
};

/// Weighted mean of the coherence over neighbouring bins, with its interval. What is known of the variance of one bin,
/// 2 C (1-C)^2/n + (1-C)^4/n^2 (Carter et al. 1973; Monte Carlo to 3 % from n = 16 on), is added up with the weights,
/// and with what bins of a Hann spectrum share with the next (2/3 of the amplitude) and the next but one (1/6): their
/// squares in the first term, their fourth powers in the second. The interval is read on the scale -ln(1-C), on which
/// an estimate scatters alike for every C but the smallest, with the scatter that belongs to each end of it.
class CoherenceMean {
public:
    /// Of bins firstBin, firstBin+1 ... with their weights; > 0.
    CoherenceMean(int firstBin, const std::vector<double>& weights);
    /// Every octave alike: 1/f. `pools`: bins that hold their pool's mean alone, ascending; single ones may be missing.
    static CoherenceMean overOctaves(const ThirdOctaveBins& range, std::span<const Pool> pools);

    /// `estimates[bin]` as |S12|^2/(S11 S22); below 0: nothing sounds there. `kept`: what the pair's arrival leaves of
    /// coherence, and is taken out again. O(bins).
    CoherenceEstimate of(std::span<const float> estimates, double effectiveAverages, double kept) const;

private:
    struct Cell {
        Pool pool;
        double weight = 0.0;
        double averages = 1.0; // for one of a bin
    };
    explicit CoherenceMean(const std::vector<Cell>& cells);

    struct Run { // of cells with as many averages, filled up to whole steps of the kernel
        double averages = 1.0;
        std::size_t first = 0, count = 0;
    };
    void add(int place, double weight, double power, double square);
    void fillUp();
    std::vector<Run> runs;
    std::vector<std::int32_t> places;                        // [cell] bin
    std::vector<float> cellWeights, cellPowers, cellSquares; // [cell] w, w^2 / averages, w^2 / averages^2
    double sharedPower = 1.0;                                // sum w_i w_j r_ij^2 / sum w_i^2, over w / sqrt averages
    double sharedSquare = 1.0;                               // sum w_i w_j r_ij^4 / sum w_i^2, over w / averages
};

} // namespace spillwright
