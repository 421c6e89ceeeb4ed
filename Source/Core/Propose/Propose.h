#pragma once

#include "Core/Propose/SummationModel.h"

#include <optional>
#include <span>
#include <vector>

namespace spillwright {

enum class Allow { flips, nudges };
enum class Proof { exhaustive, branchAndBound, boundOnly };

/// What the user allows and forbids. Track numbers are positions in the model's list.
struct Constraints {
    std::vector<int> unit;   ///< Unit of each track, 0..units-1; tracks of one unit (linked) move together.
    std::vector<bool> held;  ///< Tracks whose flip and nudge stay as `start` has them (its whole unit is then held).
    std::vector<bool> start; ///< Flips of the setting that is the starting point.
    std::vector<double> startNudges; ///< Seconds.
    std::optional<int> reference;    ///< Keeps polarity +1 and nudge 0; none: the mirror image with fewer flips (tie:
                                     ///< first track unflipped).
    double largestNudge = 0.01;      ///< Seconds, for Allow::nudges.
    int loudest = 0;                 ///< The loudest usable track: nudge 0 where no reference is named.
};

struct Proposal {
    Allow allow = Allow::flips;
    std::vector<bool> flips;
    std::vector<double> nudges; ///< Seconds.
    double gain = 1.0;          ///< G, linear.
    double upperBound = 1.0;    ///< No setting within the constraints exceeds it, linear.
    Proof proof = Proof::boundOnly;

    struct Change {
        int track = 0; ///< First track of the unit.
        enum class Kind { flip, nudge, flipAndNudge } kind = Kind::flip;
        double effectDb = 0.0; ///< What the sum would lose in dB if this one change were taken back.
    };
    std::vector<Change> why; ///< Most valuable first.
};

/// The `count` best distinct settings of one rung, best first. Flips: exact (exhaustive) to 24 free units, above that
/// local search from many starts with an eigenvalue bound. Nudges: alternating search from many starts, never below
/// flips alone, with a valid bound. Deterministic: a count of rounds, not the clock, for any number of workers. Faults:
/// contradictory constraints, stop asked for.
Result<std::vector<Proposal>> propose(const SummationModel& model, const Constraints& constraints, Allow allow,
                                      int count, Workers& workers, const Watch& watch);

} // namespace spillwright
