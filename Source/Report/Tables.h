#pragma once

#include "Session/Measurement.h"

#include <string>

namespace spillwright {

/// The measurement as plain-text tables for people: tracks, then pairs that matter most.
std::string measurementTable(const Measurement& measurement);
/// The proposals as plain text: what each changes and what each change is worth.
std::string proposalsTable(const Proposals& proposals, const Measurement& measurement);

} // namespace spillwright
