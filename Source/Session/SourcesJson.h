#pragma once

#include "Session/Measurement.h"

#include <nlohmann/json_fwd.hpp>

namespace spillwright {

/// Adds to measurementToJson's object: "source", "sources", "unsureCloseTracks", "spill", "orderOfEntry", "rescue",
/// "spacing", and to each track "spillShare" and "unexplainedShare". Lists are empty where no sources are told.
void addSources(const Measurement& measurement, nlohmann::ordered_json& root);

} // namespace spillwright
