#include "Media/Render.h"

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

double effectivePan(const TrackInfo& track, const TrackAdjustment& adjustment) {
    if (adjustment.pan) return *adjustment.pan;
    if (!track.linkedTo) return 0.0;
    return track.isRight ? 1.0 : -1.0;
}

} // namespace spillwright
