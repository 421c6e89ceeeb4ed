#pragma once

#include "Session/Measurement.h"

#include <string>
#include <vector>

namespace spillwright {

/// What the triangles of arrivals say, in lines for people: which tracks one source rules, which pair is the odd one.
std::vector<std::string> consistencyInWords(const Measurement& measurement);

} // namespace spillwright
