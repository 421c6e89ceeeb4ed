#pragma once

#include "Session/Measurement.h"

#include <span>
#include <string>
#include <string_view>

namespace spillwright {

/// "kick in / overhead L"
std::string pairName(const Measurement& measurement, int first, int second);

/// "1:07", or "1:07.42"; what is left is cut off.
std::string clockText(double seconds, bool hundredths);

/// "1.2 dB"
std::string decibelsText(double value, int digits);

/// "near ones: 'snare', 'snare under'": the three most alike.
std::string nearNames(std::string_view name, std::span<const std::string> names);

} // namespace spillwright
