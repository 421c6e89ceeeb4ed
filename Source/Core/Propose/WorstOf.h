#pragma once

#include "Core/Propose/Propose.h"

#include <span>

namespace spillwright {

/// The flips, or flips and nudges, under which the source that fares worst fares as well as can be. With G_k the
/// summation gain of source k and B_k the best that it could have, what counts is the least G_k/B_k: a source that
/// nothing can help is never the worst one, however little it has. Among settings in which that is the same, the mean
/// decides.
///
/// `models`: one a source, of the same tracks, pans and band, each with energy; `bests`: B_k, linear, >= 1e-10.
/// Proposal::gain, upperBound and fullGain are least G_k/B_k; why, leftOut and their decibels are of it too.
///
/// To 20 free units every set of flips is tried. Above that, and for nudges: climbs from the best settings for means of
/// the sources, whose weights move, round by round, to those that fare worst; for any weights w, max min G_k/B_k is at
/// most max sum of w_k G_k/B_k, and the least of the bounds of propose() on that is the bound. A gap remains where no
/// weights make the worst the best, and may be large. Deterministic, as propose() is, but for
/// a time. Faults: those of propose().
Result<Proposal> proposeForWorst(std::span<const SummationModel> models, std::span<const double> bests,
                                 const Constraints& constraints, Allow allow, Workers& workers, const Watch& watch);

/// B_k: the best gain that each of the models could have alone, by a full search or in at most Constraints::time for
/// all of them together. Faults: those of propose().
Result<std::vector<double>> bestsAlone(std::span<const SummationModel> models, const Constraints& constraints,
                                       Allow allow, Workers& workers, const Watch& watch);

} // namespace spillwright
