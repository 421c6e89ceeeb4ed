#pragma once

#include "Core/Propose/Deadline.h"
#include "Core/Propose/FlipSearch.h"

namespace spillwright {

/// A number that value(s) exceeds for no signs: the dual of the semidefinite relaxation. Vectors of length 1 take the
/// place of the signs (mixing method: each in turn points where the others pull it); the pulls y, raised by whatever
/// eigenvalue Diag(y) - C lacks to be positive semidefinite, add up to a bound, however far the iteration got. Equals
/// the eigenvalue bound with the best diagonal correction (Delorme & Poljak 1993). O(n^2 sqrt(n)) a sweep.
double flipUpperBound(const FlipProblem& problem);

struct FlipProof {
    double upperBound = 0.0;
    bool proven = false;                    ///< No signs are worth more than `best` (to 1e-9 of the range).
    bool cutShort = false;                  ///< The time ran out: more may give a smaller bound.
    std::optional<std::vector<int>> better; ///< Signs worth more than what was handed in, where some were found.
};

/// Branch and bound with that bound, from a best known value. A count of nodes ends it, or the deadline (never: the
/// count alone, the same on every machine); then the largest bound left open is returned. One bound of the whole is
/// always had, whatever the deadline: 30 ms for 64 signs. nullopt: stop was asked for.
std::optional<FlipProof> proveFlips(const FlipProblem& problem, double best, int mostNodes, const Deadline& end,
                                    const Watch& watch);

} // namespace spillwright
