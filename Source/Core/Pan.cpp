#include "Core/Pan.h"

#include <cmath>
#include <numbers>

namespace spillwright {

PanGains panGains(double pan) {
    // The quarter turn from left to right; its ends are written as they are, so that "fully left" leaves the right at
    // 0.
    if (pan <= -1.0) return {1.0, 0.0};
    if (pan >= 1.0) return {0.0, 1.0};
    const double angle = (pan + 1.0) * std::numbers::pi / 4.0;
    return {std::cos(angle), std::sin(angle)};
}

} // namespace spillwright
