#pragma once

#include "Session/Measurement.h"

#include <string>

namespace spillwright {

/// What a proposal does, in two to four sentences: what it brings and where, how it fares in the course of the
/// recording, what is unsure of it, what is left out.
std::string proposalInWords(const Proposals& proposals, const NamedProposal& named);

} // namespace spillwright
