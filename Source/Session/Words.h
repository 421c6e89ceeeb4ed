#pragma once

#include "Session/Measurement.h"

#include <string>

namespace spillwright {

/// "kick in / overhead L"
std::string pairName(const Measurement& measurement, int first, int second);

/// "1:07", or "1:07.42"; what is left is cut off.
std::string clockText(double seconds, bool hundredths);

} // namespace spillwright
