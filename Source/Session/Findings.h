#pragma once

#include "Session/Measurement.h"

#include <string>
#include <vector>

namespace spillwright {

/// Clocks that part, microphones that were moved, arrivals that wander: when, by how much, and what to do.
std::vector<std::string> stabilityInWords(const Measurement& measurement);

/// What the triangles of arrivals say, in lines for people: which tracks one source rules, which pair is the odd one.
std::vector<std::string> consistencyInWords(const Measurement& measurement);

} // namespace spillwright
