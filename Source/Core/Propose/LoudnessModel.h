#pragma once

#include "Core/Pan.h"
#include "Core/Result.h"
#include "Core/SampleSource.h"
#include "Core/TrackAdjustment.h"
#include "Core/Workers.h"

#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>

namespace spillwright {

struct LoudnessOptions {
    std::int64_t from = 0; ///< First sample.
    std::int64_t to = -1;  ///< One past the last; -1: to the end.
    /// Once through, as a meter reads a file: gating blocks that lie within, the first from the first sample, so that
    /// what is at the ends counts less. Or round and round: blocks begin at every slot and run over the end into the
    /// beginning, as a meter reads a loop in the long run.
    bool round = false;
    std::size_t valuesAtMost = std::size_t(12) << 20; ///< Kept, 4 bytes each; 16 a frame and track at least.
};

/// The loudness of the stereo sum of any setting over a stretch of the recording, without its audio.
///
/// The pass K-weights every track and keeps of it
/// - its energy in each slot of 10 ms, by which it is known sharply when it sounds;
/// - spectra of frames of at least 0.25 s (16384 samples at 48 kHz), sine window, 50 % overlap, so that their energies
///   add up to that of the stretch. All bins where valuesAtMost allows (24 tracks: 10 s, 64 tracks: 3.9 s), else
///   some, the same for eight frames in a row and drawn anew for the next: each with a probability p that follows how
///   much energy it has, weighing 1/p, so that the sum over them is without bias whatever the setting (Horvitz &
///   Thompson 1952). The seed is fixed: the same stretch gives the same answers.
/// Of a setting, the energy of each frame is summed from the spectra; what it is against that of tracks which ignore
/// each other multiplies the energies of its slots. Gating blocks are made of these.
///
/// Against a meter on the rendered sum: within 0.1 LU for flips, gains, high-passes, pans and nudges to +-10 ms, mostly
/// within 0.03 (Tests/Core/Propose/LoudnessModelTests.cpp and Tests/Demo/LoudnessTests.cpp print the errors). Known
/// parts of it:
/// - where tracks with a lasting pitch in common are moved by tau against each other, what they add to each other is
///   too small by the part 4.9 (tau/frame)^2: 0.4 % at 10 ms, 1.7 % at 20 ms; beyond 100 ms it does not hold at all;
/// - a nudge by a fraction of a sample loses what lies above 0.9 of the Nyquist frequency, which is not reckoned with:
///   0.03 LU for pink noise up to there, next to nothing for music;
/// - a gating block right at the gate may fall on the other side: up to 0.25 LU in a loop of 2 s (17 blocks), 0.04 in
///   one of 10 s;
/// - a loop shorter than a frame shares its frames with what lies around it: 0.2 LU at 0.13 s;
/// - the draw: with 64 tracks 0.03 LU, for a minute and for ten alike.
/// Draws and frames are the same for all settings, so settings that are nearly alike have nearly the same error, which
/// their difference is without; that of settings far apart may be off by both of theirs.
class LoudnessModel {
public:
    ~LoudnessModel();
    LoudnessModel(LoudnessModel&&) noexcept;
    LoudnessModel& operator=(LoudnessModel&&) noexcept;

    int trackCount() const;
    int binsKept() const;      ///< Of each frame ...
    int binsOfAll() const;     ///< ... of so many.
    std::size_t bytes() const; ///< Held: at most 4 * valuesAtMost, and 24 kB a track and minute.

    /// Integrated loudness in LUFS (ITU-R BS.1770), left and right weighing alike; one adjustment and one pan a track.
    /// nullopt: silence, or less than a gating block taken once. 2 to 6 ms for 24 and for 64 tracks, 12 ms with nudges
    /// and high-passes on all of them, on one thread (Tests/Bench/BenchLoudness.cpp). Allocates. Callable from several
    /// threads at a time.
    std::optional<double> loudness(std::span<const TrackAdjustment> adjustments, std::span<const PanGains> pans) const;

private:
    friend Result<LoudnessModel> computeLoudnessModel(const SampleSource&, const LoudnessOptions&, Workers&,
                                                      const Watch&);
    LoudnessModel();
    struct Storage;
    std::unique_ptr<Storage> storage;
};

/// One pass over the stretch, and up to 1.5 s before and after it, on all workers; the same bytes for any number of
/// them. While it runs it takes 0.6 MiB a track besides. Faults: as computeCrossSpectra.
Result<LoudnessModel> computeLoudnessModel(const SampleSource& source, const LoudnessOptions& options, Workers& workers,
                                           const Watch& watch);

} // namespace spillwright
