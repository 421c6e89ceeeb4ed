#pragma once

#include "Session/Measurement.h"

#include <optional>

namespace spillwright {

/// What is read of some moments of a recording that was measured as a whole, from memory: the audio is not touched.
/// Chosen are the kept stretches (about 5 s each, see CrossSpectra::stretches) of which at least half lies within
/// from..to, and always the one that overlaps most; the readings, the summation model and proposals are of these alone.
///
/// Options and tracks are those of the whole, but options.from and options.to: they say which span is really covered,
/// so that measure() with them reads the same samples. A track that is silent there takes no part. Pairs are read as
/// anew, to the rounding of what is kept (2^-8 of each cross-spectrum; above 562 Hz in pools of bins). Warnings are
/// what the readings of the span say; those of the recording stay with the whole. Where every stretch is chosen, the
/// whole itself is given, its warnings aside.
///
/// Faults: nothing was measured there, nothing sounds there, a band above what is kept, too little memory, a stop. 24
/// tracks and 4 minutes take some hundredths of a second.
Result<Measurement> readStretches(const Measurement& whole, Seconds from, Seconds to, Workers& workers,
                                  const Watch& watch);

/// Which span of the recording a measurement was read from.
struct ReadSpan {
    Seconds from;
    Seconds to;
    bool operator==(const ReadSpan&) const = default;
};
ReadSpan spanOf(const Measurement& measurement);

// ---- what every way of measuring has in common --------------------------------------------------------------------

/// From the spectra: which tracks are silent, which take part.
void findUsable(Measurement& measurement);
/// From the spectra: the pairs, what of them moves and what their triangles say, with their remarks. Faults: a band of
/// which nothing is measured, a stop.
std::optional<Fault> readAllPairs(Measurement& measurement, Workers& workers, const Watch& watch);

} // namespace spillwright
