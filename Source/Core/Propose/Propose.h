#pragma once

#include "Core/Propose/NudgeProof.h"
#include "Core/Propose/SummationModel.h"
#include "Core/Result.h"
#include "Core/Workers.h"

#include <optional>
#include <string>
#include <vector>

namespace spillwright {

/// Seconds; less of a nudge is nobody's wish, and none.
constexpr double smallestNudge = 1e-6;

enum class Allow { flips, nudges };
enum class Proof { exhaustive, branchAndBound, boundOnly };

/// What the user allows and forbids. Track numbers are positions in the model's list.
struct Constraints {
    /// Unit of each track, 0..units-1; tracks of one unit (linked) move together: what tells their flips and nudges
    /// apart in the start stays. Empty: each track by itself.
    std::vector<int> unit;
    std::vector<bool> grouped;      ///< Tracks that are in their unit by the user's hand. Faults then advise otherwise.
    std::vector<std::string> names; ///< What faults call the tracks. Empty: "track 1" ...
    std::vector<bool> held;  ///< Tracks whose flip and nudge stay as `start` has them (its whole unit is then held).
    std::vector<bool> start; ///< Flips of the setting that is the starting point. Empty: none.
    std::vector<double> startNudges; ///< Seconds. Empty: 0.
    /// Tracks that share no sound with any other. A unit of such tracks is never changed, nor is one that is coupled to
    /// nothing. Held tracks decide between mirror images, these do not: what couples them is chance.
    std::vector<bool> unrelated;
    std::optional<int> reference; ///< Keeps polarity +1 and nudge 0; none: the mirror image with fewer flips (tie:
                                  ///< first track unflipped).
    double largestNudge = 0.01;   ///< Seconds, for Allow::nudges: no nudge exceeds it either way.
    std::vector<double> ownLargestNudge; ///< The same, one a track, in its place. Empty: largestNudge for all.
    int loudest = 0; ///< The loudest usable track: nudge 0 where no reference is named and none is held.
    /// Decibels: where one proposal alone is asked for, a unit whose change is worth less is left as it was.
    double leastWorthDb = 0.0;
    /// How long the proof alone may take, after a search as long as its count of rounds; with nudges, that of the flips
    /// they start from may take as long again. None: a count of steps ends it, the same on every machine.
    std::optional<Seconds> proofTime;
    /// How long search, proof and what each change is worth may take in all. None: counts alone, as above.
    std::optional<Seconds> time;

    /// The same with every list as long as there are tracks.
    Constraints completed(int tracks) const;
};

struct Proposal {
    Allow allow = Allow::flips;
    std::vector<bool> flips;
    std::vector<double> nudges; ///< Seconds. For Allow::flips those of the start; else 0 where below 1 us.
    double gain = 1.0;          ///< G, linear.
    double upperBound = 1.0;    ///< No setting within the constraints exceeds it, linear; the same for all of a rung.
    Proof proof = Proof::boundOnly; ///< How upperBound was had.
    /// The time ended the proof or the search: more may lower the bound or find better.
    bool cutShort = false;

    struct Change {
        int track = 0; ///< First track of the unit.
        enum class Kind { flip, nudge, flipAndNudge } kind = Kind::flip;
        static Kind kindOf(bool flipped, bool nudged) {
            return !nudged ? Kind::flip : !flipped ? Kind::nudge : Kind::flipAndNudge;
        }
        double effectDb = 0.0; ///< What the sum would lose in dB if this one change were taken back ...
        /// ... and if the other changes were then made anew as well as can be, none in its stead where the start
        /// stands; empty where that was not looked for, or the time left no room for it.
        std::optional<double> worthDb;
    };
    std::vector<Change> why;     ///< Against the start, most valuable first.
    std::vector<Change> leftOut; ///< Not worth it (Constraints::leastWorthDb): what each would have brought.
    double fullGain = 1.0;       ///< G before anything was left out.
};

/// The `count` best distinct settings of one rung, best first (fewer where there are no more); of the best, what each
/// change is worth. Mirror images are one
/// setting; settings of the nudges' rung differ by a flip or by more than 0.05 ms of a nudge. Flips: exact (exhaustive)
/// to 24 free units; above that climbs from many starts, and branch and bound over a semidefinite bound, for proofTime
/// at most. Nudges: search from many starts, never below flips alone where the start's own nudges are within reach,
/// with the bound of proveNudges; proven is what lies within provenGapDb of it. Deterministic: a count of rounds, not
/// the clock, for any number of workers (unless a time cuts it short; then what is left out is left out only as far as
/// the time goes). Faults: contradictory constraints, stop asked
/// for (within 100 ms).
Result<std::vector<Proposal>> propose(const SummationModel& model, const Constraints& constraints, Allow allow,
                                      int count, Workers& workers, const Watch& watch);

/// Which tracks the best flips for other spectra leave as a proposal has them, one a track (mirror images are one
/// setting). `matrix`: of those spectra, as SummationModel::flipMatrix at the proposal's nudges. Climbs from the
/// proposal and from a few other settings, in one thread, as many ask at once. Empty: stop was asked for, or the
/// constraints contradict each other.
std::vector<bool> flipsThatStand(const SummationModel& model, const Constraints& constraints, const Proposal& proposal,
                                 const Eigen::MatrixXd& matrix, const Watch& watch);

} // namespace spillwright
