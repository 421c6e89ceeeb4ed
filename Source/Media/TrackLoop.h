#pragma once

#include "Core/Result.h"
#include "Core/SampleSource.h"
#include "Core/Types.h"

#include <vector>

namespace spillwright {

/// The longest stretch of a track that is kept as a loop.
inline constexpr Seconds longestTrackLoop{20.0};

/// A stretch of one track as a loop at another rate, up to longestTrackLoop from `from` (samples of the recording); its
/// last 10 ms fade into what lies before its beginning, so that no seam is heard. Faults: the file can no longer be
/// read; the stretch is empty.
Result<std::vector<float>> trackLoop(const SampleSource& source, int track, std::int64_t from, std::int64_t to,
                                     double sampleRate);

} // namespace spillwright
