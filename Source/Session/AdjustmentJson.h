#pragma once

#include "Core/TrackAdjustment.h"
#include "Session/Document.h"

namespace spillwright {

/// The members of an adjustment within an object that may hold others: flip, nudge_ms, gain_dB, highPass_Hz,
/// highPassSlope_dBPerOctave, pan, muted. What is absent stays as it is; what is wrong, `members` remembers.
void readAdjustment(Members& members, TrackAdjustment& into);

/// The same, added to an object.
void writeAdjustment(const TrackAdjustment& adjustment, nlohmann::ordered_json& into);

} // namespace spillwright
