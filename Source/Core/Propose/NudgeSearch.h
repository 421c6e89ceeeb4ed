#pragma once

#include "Core/Propose/BandCompression.h"
#include "Core/Propose/Deadline.h"
#include "Core/Workers.h"

#include <complex>
#include <optional>
#include <span>
#include <stop_token>
#include <vector>

namespace spillwright {

/// value(s, t) = constant + sum over ordered pairs i != j and frequencies of
///     Re[ s_i s_j exp(-j omega (t_i - t_j)) A_ij(omega) ]:
/// the summation gain over flips s and nudges t of units that move as one.
struct NudgeProblem {
    struct Unit {
        double earliest = 0.0; ///< Range of the nudge, seconds; equal ends: it stays there.
        double latest = 0.0;
        bool mayFlip = true; ///< Otherwise the sign stays +1.
    };

    std::vector<double> angular; ///< Radians a second.
    std::vector<Unit> units;
    std::vector<std::vector<std::complex<double>>> pairs; ///< A_ij at all frequencies, i < j, at j (j - 1) / 2 + i.
    double constant = 0.0;

    int size() const { return static_cast<int>(units.size()); }
    static std::size_t pairIndex(int i, int j) { return static_cast<std::size_t>(j) * (j - 1) / 2 + i; } // i < j
    /// Re sum of A_ij exp(-j omega lag), i < j.
    double coupling(int i, int j, double lag) const;
    double largestNudge() const; ///< Seconds, either way, of all units.
    /// Few frequencies for as many lags as there may be.
    BandCompression compressed() const;
};

struct Placement {
    std::vector<int> signs;     ///< +-1 a unit.
    std::vector<double> nudges; ///< Seconds a unit.
    double value = 0.0;
};

/// Two placements differ where a flip does or a nudge by more than this.
constexpr double distinctNudge = 50e-6; // seconds

struct FoundNudges {
    std::vector<Placement> best; ///< Distinct, best first.
    bool cutShort = false;       ///< The deadline ended the rounds: more time may find better ones.
};

/// Up to `count` distinct placements: coordinate ascent on a compressed band from the given starts and from
/// many fixed ones (grown from the strongest couplings, random, annealed), groups moved rigidly to other peaks, flips
/// settled exactly for the last few, Newton's method on the exact sum at the end. A fixed count of rounds; the same
/// answer for any number of workers. A deadline ends the rounds sooner, but the climbs from the given starts and from
/// what grows out of the strongest couplings are made in any case. nullopt: stop was asked for.
std::optional<FoundNudges> searchNudges(const NudgeProblem& problem, int count, std::span<const Placement> starts,
                                        Workers& workers, const Watch& watch, const Deadline& end = {});

/// The summit that coordinate ascent and Newton's method reach from a start, on a band compressed for the problem's
/// frequencies and nudges, its value exact. A stop that is asked for ends it early.
Placement climbNudges(const NudgeProblem& problem, const BandCompression& band, const Placement& start,
                      const std::stop_token& stop);

/// One plain coordinate ascent on all bins from a random start: what searchNudges is measured against.
Placement plainAscent(const NudgeProblem& problem, unsigned seed);

/// A number that no placement exceeds: the smaller of the sum over pairs, each at its best lag and sign, and the sum
/// over frequencies, each with phases of its own (semidefinite dual). What lies between the points of a lag grid of
/// step dt is bounded by dt^2/8 sum omega^2 |A|. Pairs and frequencies that the deadline leaves no time for count with
/// the sum of |A|. nullopt: stop was asked for.
std::optional<double> nudgeUpperBound(const NudgeProblem& problem, Workers& workers, const Watch& watch,
                                      const Deadline& end = {});

} // namespace spillwright
