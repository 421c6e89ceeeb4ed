#pragma once

#include "Session/Measurement.h"

#include <array>

namespace spillwright {

/// What files call them: [Aim] and [Proposal::Change::Kind].
inline constexpr std::array aimNames{"sum", "mean", "worst"};
inline constexpr std::array changeNames{"flip", "nudge", "flip and nudge"};

constexpr const char* nameInFile(Aim aim) {
    return aimNames[static_cast<std::size_t>(aim)];
}
constexpr const char* nameInFile(Proposal::Change::Kind kind) {
    return changeNames[static_cast<std::size_t>(kind)];
}

} // namespace spillwright
