#pragma once

#include "Session/Measurement.h"

#include <string>

namespace spillwright {

/// What a proposal does, in two to four sentences: what it brings and where, how it fares in the course of the
/// recording, what is unsure of it, what is left out.
std::string proposalInWords(const Proposals& proposals, const NamedProposal& named);

/// How far it may be from the best: "proven: nothing within the limits is better", "nothing within the limits is more
/// than 0.27 dB better".
std::string boundInWords(const NamedProposal& named);

/// "flip", "flip back, nudge to +0.312 ms (+15.0 smp)".
std::string changeInWords(const NamedProposal& named, const Proposal::Change& change, double sampleRate);

} // namespace spillwright
