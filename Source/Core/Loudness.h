#pragma once

#include "Core/Types.h"

namespace spillwright {

/// |K|^2, the power response of the K-weighting of ITU-R BS.1770 (its two filters at 48 kHz, coefficients from memory),
/// 0 to 24 kHz. At 997 Hz 0.691 dB.
double kWeighting(Hertz frequency);

} // namespace spillwright
