#pragma once

#include "Core/TrackAdjustment.h"
#include "Core/Types.h"

#include <optional>
#include <span>
#include <vector>

namespace spillwright {

/// The summation gain of one moment, as SummationModel has it of a whole recording: from Hann windows of
/// usualWindow(), half a window apart, as many as fit.
///
/// tracks: [track][sample], all of one length, full scale = 1; adjustments: one a track, of all the muted ones take no
/// part. Linear (1 = the tracks ignore each other). nullopt: less than a window, or nothing sounds in the band.
std::optional<double> momentGain(std::span<const std::vector<float>> tracks, double sampleRate,
                                 std::span<const TrackAdjustment> adjustments, Band band);

} // namespace spillwright
