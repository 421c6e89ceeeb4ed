#pragma once

namespace spillwright {

/// Constant-power pan, -3.01 dB in the centre: left = cos((pan + 1) pi / 4), right = sin of the same.
struct PanGains {
    double left = 0.0;
    double right = 0.0;
};
PanGains panGains(double pan);

} // namespace spillwright
