#pragma once

#include "Session/TakeReading.h"

namespace spillwright {

/// All that is said of a take against the first but the verdict. For Takes.cpp.
TakeDifference differenceOf(const Comparison& comparison, const ReadTakes& read, std::size_t second, Workers& workers);

} // namespace spillwright
