#pragma once

#include "Session/Measurement.h"
#include "Session/Takes.h"

#include <string>

namespace spillwright {

/// The measurement as plain-text tables for people: tracks, the pairs that matter most, and, where they were asked for,
/// the sources: where each is heard, the order of entry, who can help whom, and what the spacing says.
std::string measurementTable(const Measurement& measurement);
/// The proposals as plain text: what each changes and what each change is worth.
std::string proposalsTable(const Proposals& proposals, const Measurement& measurement);
/// Takes or microphones side by side: the tracks, the pairs that are related in one of them and of which something is
/// called a difference (or all that are related), and the verdict, which comes last.
std::string comparisonTable(const Comparison& comparison, bool allPairs = false);

} // namespace spillwright
