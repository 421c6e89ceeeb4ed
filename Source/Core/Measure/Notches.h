#pragma once

#include "Core/Measure/PairReading.h"

#include <vector>

namespace spillwright {

struct Notch {
    Hertz frequency;
    double levelDb = 0.0; ///< Below 0: what the two lose there.
};

/// Dips of a comb response in dB that lie below -3 dB and 3 dB below both shoulders (the highest places up to the next
/// deeper one on either side). Those within the band first, the deepest first, then the others alike. The frequency is
/// read between the points of the curve, by a parabola over the logarithm.
std::vector<Notch> notches(const FrequencyCurve& response, Band first, int most);
inline constexpr double shallowestNotchDb = -3.0, smallestShoulderDb = 3.0;

} // namespace spillwright
