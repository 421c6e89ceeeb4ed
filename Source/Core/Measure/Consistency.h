#pragma once

#include "Core/Measure/PairReading.h"

#include <span>
#include <vector>

namespace spillwright {

/// Tracks whose arrivals one source rules: tau_ij + tau_jk = tau_ik for the pairs among them.
struct ClosingSet {
    std::vector<int> tracks; ///< At least three, ascending.
    int pairs = 0;           ///< Pairs among them whose arrivals agree.
    double gain = 1.0;       ///< Mean of uncertainty as fitted over uncertainty as measured.
};

/// A pair whose tracks stand in one set, but whose own reading the rest of the set contradicts.
struct OddPair {
    int first = 0;
    int second = 0;
    Seconds measured;
    Seconds expected; ///< What the set says.
};

struct Consistency {
    int triangles = 0; ///< Of three sure arrivals.
    int closing = 0;   ///< Those that close within three standard uncertainties.
    std::vector<ClosingSet> sets;
    std::vector<OddPair> oddArrivals;
    std::vector<OddPair> oddPolarities; ///< Arrivals agree, polarity does not: a cycle of odd sign (Harary 1953).
};

/// How many standard uncertainties a triangle may miss closure by.
inline constexpr double closureReach = 3.0;
/// Of all recordings without any closing triangle: how many may be told of one, nearly.
inline constexpr double chanceSets = 0.05;

/// Asks all triangles of sure arrivals whether they close, finds the sets of tracks that one source rules, and fits the
/// arrivals of each set together: weighted least squares on the graph of its pairs, large residuals held (Huber). Fills
/// arrivalFitted and closesTriangles of the readings.
///
/// Of independent errors the fit of a complete graph of N tracks leaves 2/N of the variance. What two pairs share by
/// sharing a track closes in every triangle and is not lessened: it does not show in the residuals. So the variance
/// stated is u^2 (1 - rho) + rho R, rho being the share of the variance that the residuals show, R the effective
/// resistance of the pair's graph. A set is told of only where chance would not bring it: arrivals at random, as many
/// and as wide as these, close a set of so many tracks in fewer than chanceSets recordings.
///
/// Arrivals that are not sure take no part. O(tracks^3) a set, at most tracks/2 sets.
Consistency fitTriangles(std::span<PairReading> readings);

} // namespace spillwright
