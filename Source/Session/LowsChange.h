#pragma once

#include "Session/Measurement.h"

#include <span>

namespace spillwright {

/// Below the band that proposals serve: where kick and bass have their bottom.
inline constexpr Band lowsBand{Hertz(40.0), Hertz(120.0)};

/// The part of the power of all tracks that sound, in their balance, that lies in a band: 0..1, 0 of silence. Without
/// 0 Hz; gains and mutes count, high-passes do not.
double shareInBand(const Measurement& measurement, std::span<const TrackAdjustment> adjustments, Band band);

/// What going from one setting of the usable tracks to another does to the lows. `adjustments`: one a track of the
/// recording; its gains, high-passes and mutes hold in both. Empty where next to nothing sounds there: 30 dB below
/// all that sounds.
std::optional<LowsChange> lowsChange(const Measurement& measurement, std::span<const TrackAdjustment> adjustments,
                                     bool stereo, const Placement& from, const Placement& to);

} // namespace spillwright
