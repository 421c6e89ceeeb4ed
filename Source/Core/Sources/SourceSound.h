#pragma once

#include "Core/SampleSource.h"
#include "Core/Sources/SpillMap.h"
#include "Core/Workers.h"

#include <span>
#include <vector>

namespace spillwright {

/// One source as each of the tracks hears it alone: [place in tracks][sample of the stretch], full scale = 1. In each
/// window of the pass (Hann, 50 % overlap) the source is told from the close tracks and goes through its response to
/// the track, bin by bin; the windows are added up, and add up to one. So it holds what is coherent with the close
/// track within a window: direct sound, reflections and early reverberation, but no late reverberation.
///
/// Only 100 Hz to 8 kHz: the lowest and the highest third octave rise from nothing and fall to it, and third octaves in
/// which the source was not found are silent. So are tracks that are not in the map. What a response takes past a
/// window's end comes in at its beginning: an error of -35 dB where it is 25 ms late (48 kHz), of -50 dB at half that.
///
/// source: 0..sources of the map-1; a map without readings knows none. stretch: samples, may reach beyond the
/// recording. Memory: the result, and a window of each close track and of each worker. The same bytes for any number of
/// workers. Faults: a close track that cannot be read, a stop that was asked
/// for (heeded within a window), too little memory.
Result<std::vector<std::vector<float>>> soundOfSource(const SampleSource& recording, const SpillMap& map, int source,
                                                      std::span<const int> tracks, StretchSpan stretch,
                                                      Workers& workers, const Watch& watch);

} // namespace spillwright
