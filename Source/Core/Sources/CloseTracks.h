#pragma once

#include "Core/Measure/WindowSpectra.h"
#include "Core/Result.h"
#include "Core/Sources/CloseHint.h"
#include "Core/Sources/Sources.h"
#include "Core/Workers.h"

#include <span>
#include <vector>

namespace spillwright {

/// What the sound says of which track stands close to what.
struct CloseTrackGuess {
    SourcePlan plan;         ///< Sources in the order of their first tracks.
    std::vector<int> unsure; ///< Tracks that could as well be close ones as not, ascending: worth a question.
};

/// Which track stands close to what, told from how third-octave powers go up and down together.
/// - Tracks in which, while either is loudest, both move alike, and that are coherent, are close tracks of one source.
///   The one with the greatest range of level stands for it.
/// - A track whose powers are a sum of the other tracks' powers, each as it is and as it was a window before
///   (Kullback-Leibler divergence), is no source of its own: a room or overhead track. The sums that a set of powers
///   allows form a cone; its extreme rays are the close tracks (Kumar, Sindhwani & Kambadur, ICML 2013).
/// - Unless filters on the others' sound do not give that track, and what they do not give is no reverberation, for it
///   comes in no later window: then it is a player that moves with others.
/// - A sum that moves nearly like one source, is coherent with it and holds mostly it, is a second close track of it.
/// A source without a close track makes the track that hears it best a source.
///
/// hints: one a track of the recording, or none; they count only where the sound leaves it open. Silent tracks belong
/// to nothing. The same bytes for any number of workers. Faults: a stop that was asked for, too little memory.
Result<CloseTrackGuess> guessCloseTracks(const WindowSpectra& windows, std::span<const int> usableTracks,
                                         std::span<const CloseHint> hints, Workers& workers, const Watch& watch);

} // namespace spillwright
