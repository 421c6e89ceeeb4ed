#pragma once

#include "Core/Types.h"

#include <nlohmann/json.hpp>

#include <cmath>

namespace spillwright::jsonNumbers {

using nlohmann::ordered_json;

inline constexpr int msDigits = 6;
inline constexpr int typedDigits =
    9; ///< Of milliseconds: what was typed comes back to the bit, however often it is saved.
inline constexpr int dbDigits = 4;
inline constexpr int shareDigits = 6;

/// Rounded for reading: the digits that are left out are far below what can be measured.
inline ordered_json rounded(double value, int decimals) {
    if (!std::isfinite(value)) return nullptr;
    const double scale = std::pow(10.0, decimals);
    const double result = std::round(value * scale) / scale;
    return result == 0.0 ? 0.0 : result; // no "-0.0"
}

/// Edges as people say them: the exact ones of the low-mid band are no whole hertz.
inline ordered_json bandToJson(Band band) {
    if (band == lowMidBand) return {178, 562};
    return {band.low.value, band.high.value};
}

} // namespace spillwright::jsonNumbers
