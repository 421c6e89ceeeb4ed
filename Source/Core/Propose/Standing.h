#pragma once

#include "Core/Measure/CrossSpectra.h"
#include "Core/Propose/Propose.h"

#include <optional>
#include <span>
#include <vector>

namespace spillwright {

/// How firmly a proposal stands: over the course of the recording, against chance, and against a nudge that is a little
/// off.
struct Standing {
    struct Part {
        Seconds from, to; ///< Of the recording.
        double winsDb;    ///< The sum under the proposal against that under the start, in these moments alone.
    };
    std::vector<Part> parts; ///< Those less than 40 dB below the loudest in the band, at most mostParts; empty where no
                             ///< stretches are kept.
    double medianDb = 0.0;   ///< Of what the parts win.
    std::size_t worst = 0;   ///< Of the parts.

    /// [track of the model] In how many of `resamples` choices of the parts, drawn with replacement, the best flips for
    /// the proposal's nudges leave the track as the proposal has it, 0..1. Empty where there are too few parts.
    std::vector<double> stands;

    /// [track of the model] How far its nudge (and that of the tracks of its unit) may be off either way before the sum
    /// loses `nudgeLossDb`, seconds; nullopt: more than `farthestOff`, or nothing is coupled to it.
    std::vector<std::optional<double>> mayBeOff;

    static constexpr int mostParts = 48;
    static constexpr int fewestParts = 4; ///< For `stands`.
    static constexpr int resamples = 200;
    static constexpr double nudgeLossDb = 0.1;
    static constexpr double farthestOff = 0.01; ///< Seconds.
};

/// Standing::mayBeOff. Empty places where stop was asked for.
std::vector<std::optional<double>> mayBeOff(const SummationModel& model, const Constraints& constraints,
                                            const Proposal& proposal, Workers& workers, const Watch& watch);

/// `spectra`, `adjustments` (one a track of the model) and `band`: those the model was made of; of a band that reaches
/// above 8 kHz, parts and resamples know what lies below. Efron 1979 (from memory) for the resampling. Same answer for
/// any number of workers. nullopt: stop was asked for.
std::optional<Standing> standingOf(const CrossSpectra& spectra, std::span<const TrackAdjustment> adjustments, Band band,
                                   const SummationModel& model, const Constraints& constraints,
                                   const Proposal& proposal, Workers& workers, const Watch& watch);

} // namespace spillwright
