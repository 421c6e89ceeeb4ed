#pragma once

#include "Core/Propose/Deadline.h"
#include "Core/Propose/NudgeSearch.h"
#include "Core/Types.h"

#include <functional>
#include <optional>

namespace spillwright {

/// A placement counts as proven best where no other can be better by more than this: a hair above it lie others that
/// nobody could tell from it, and ruling each of them out is what takes the time.
constexpr double provenGapDb = 0.05;

struct NudgeProof {
    double upperBound = 0.0;
    bool branched = false; ///< By branch and bound, not by one bound for all.
    bool cutShort = false; ///< The time ran out before the count of steps did: more time may give a smaller bound.
    int steps = 0;         ///< Evaluations of the smoothed dual, over all parts.
    int parts = 0;         ///< That were bounded, the whole included.
};

/// A number that no placement exceeds: the smallest of nudgeUpperBound and the dual bound of NudgeDual.h, lowered step
/// by step; where a few units are left apart by it, branch and bound over signs and ranges of nudges, largest bound
/// first. Ends when `best` is proven (provenGapDb), at a count of steps that the problem's size decides, or when
/// `time` has passed (none: never); nudgeUpperBound is had whatever the time, unless `end` cuts it short too. Parts are
/// taken in batches of a fixed size, so that the answer is the same for any number of workers. `lowered` is told each
/// smaller bound, from the calling thread. nullopt: stop was asked for.
std::optional<NudgeProof> proveNudges(const NudgeProblem& problem, double best, std::optional<Seconds> time,
                                      Workers& workers, const Watch& watch,
                                      const std::function<void(double bound)>& lowered = {}, const Deadline& end = {});

} // namespace spillwright
