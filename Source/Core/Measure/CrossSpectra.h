#pragma once

#include "Core/Measure/StretchPools.h"
#include "Core/SampleSource.h"
#include "Core/Types.h"
#include "Core/Workers.h"

#include <complex>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <vector>

namespace spillwright {

class WindowSpectra;

/// What one pass learns of one track besides its spectra.
struct TrackStatistics {
    std::int64_t samples = 0;
    double sumOfSquares = 0.0;
    double sum = 0.0;
    float peak = 0.0f;               ///< Largest magnitude, full scale = 1.
    std::int64_t clippedSamples = 0; ///< At or above 0.9999 of full scale.

    double rms() const;    ///< 0 for no samples.
    double offset() const; ///< Mean, full scale = 1.
    bool silent() const;   ///< Peak below -90 dBFS.
};

/// Samples of a window of spectra where there is room: the shortest power of two of at least 0.25 s, and of 1024.
int usualWindow(double sampleRate);

struct CrossSpectraOptions {
    std::int64_t from = 0;                         ///< First sample.
    std::int64_t to = -1;                          ///< One past the last; -1: to the end.
    std::size_t keepAtMostBytes = keptAtMostBytes; ///< For the stretches; see chooseKeeping.
};

/// Samples of the recording, from..to-1.
struct StretchSpan {
    std::int64_t from = 0;
    std::int64_t to = 0;
    bool operator==(const StretchSpan&) const = default;
};

/// Sums over the stretches in which two tracks both sound of their weights, and of these squared and to the fourth:
/// what a sum of one phasor a stretch is judged by. Where no stretch weighs more than another all three are their
/// number.
struct PhaseWeights {
    double sum = 0.0;
    double squares = 0.0;
    double fourths = 0.0;
};

/// Averaged cross-spectra of all pairs of tracks: Hann window (periodic), 50 % overlap, S_ij(f) = <X_i(f)
/// conj(X_j(f))>, one-sided, mean over windows, unscaled otherwise (levels are read as ratios). Windows begin at
/// from(), half a window apart, as many as fit whole; what is left at the end is in the statistics alone. The window is
/// the shortest power of two of at least 0.25 s: 16384 samples at 44.1 and 48 kHz, 32768 at 88.2 and 96, 65536 at 176.4
/// and 192. Where four such windows do not fit it is the longest power of two of which four do, at least 1024. Bins run
/// from 0 to half the rate, and no higher than 24 kHz: nothing is read above hearing.
///
/// The windows are cut into stretches, groups of at most 29 windows, about 5 s; at least four stretches where each gets
/// four windows. Besides the mean the pass keeps
/// - per phase bin, the sum over its stretches of the unit phasors S_k/|S_k|, by which "related" is judged;
/// - per stretch, the cross-spectra up to 8 kHz in pools of bins, from which any choice of stretches is answered
/// without
///   the audio. How finely, StretchPools.h says; in a very long recording several stretches are kept as one. All that
///   the interface asks by stretch is asked by *kept* stretch, 0..stretches()-1.
///
/// Memory: 8 bytes * bins * N(N+1)/2, the phasors, and two stretches of spectra while it is computed, which does not
/// grow with the recording's length (at 48 kHz 115 MiB for 24 tracks, 405 MiB for 64); the stretches, at most 400 MiB;
/// and single windows, see WindowSpectra.
class CrossSpectra {
public:
    ~CrossSpectra();
    CrossSpectra(CrossSpectra&&) noexcept;
    CrossSpectra& operator=(CrossSpectra&&) noexcept;

    int trackCount() const;
    int binCount() const;             ///< Bins 0..binCount()-1, binWidth() apart.
    int windowLength() const;         ///< Samples.
    bool windowShortened() const;     ///< The stretch was too short for four windows of the usual length.
    double sampleRate() const;        ///< Hz.
    double binWidth() const;          ///< Hz.
    std::int64_t from() const;        ///< First sample of what was measured, or of the first stretch that was chosen.
    std::int64_t to() const;          ///< One past the last.
    std::int64_t windows() const;     ///< Windows averaged.
    double effectiveAverages() const; ///< 0.947 * windows (Hann, 50 %; Welch 1967), fewer where stretches are weighted.

    /// Stretches of the pass in which both tracks sound: a phasor is missing where one is digitally silent.
    int sharedStretches(int i, int j) const;
    /// Effective averages of those stretches.
    double sharedAverages(int i, int j) const;
    PhaseWeights phaseWeights(int i, int j) const;

    /// Of what was measured; of restrictedTo, of the chosen stretches, whatever their weight: each sample counted once,
    /// with the later stretch where two overlap.
    const TrackStatistics& statistics(int track) const;

    /// Mean power of a track at a bin.
    double power(int bin, int track) const;
    /// S_ij at a bin; at(bin, j, i) is its conjugate.
    std::complex<double> at(int bin, int i, int j) const;
    /// S_ij of bins first..first+out.size()-1.
    void copyPair(int i, int j, int firstBin, std::span<std::complex<float>> out) const;

    /// Pools for which unit phasors are summed, ascending, within 60 to 8000 Hz: of the whole, each one bin.
    std::span<const Pool> phasePools() const;
    /// Sum over stretches of S_k,ij/|S_k,ij|, one a phase pool.
    void copyPhaseSums(int i, int j, std::span<std::complex<float>> out) const;

    // ---- kept stretches -----------------------------------------------------------------------------------------

    int stretches() const;                      ///< Kept; 0 of what restrictedTo gave.
    StretchSpan stretchSpan(int stretch) const; ///< What its windows cover: half a window more than the next begins at.
    int windowsOf(int stretch) const;
    bool sounds(int track, int stretch) const;                         ///< Some sample is not 0.
    const TrackStatistics& statisticsOf(int track, int stretch) const; ///< As statistics().
    /// What is kept of a stretch: from 0 Hz to the block of bins that holds 8 kHz, ascending, without gaps.
    std::span<const Pool> pools() const;
    /// One a pool: the sum over its bins of S_ij, mean over the stretch's windows. Each part is within 2^-8 of itself
    /// (times the stretches of the pass that it holds, where they are kept together). S_ji is the conjugate.
    void copyStretch(int stretch, int i, int j, std::span<std::complex<float>> out) const;

    /// The average over some stretches alone, each window weighing as its stretch does (one weight a stretch, >= 0;
    /// what they are relative to does not matter). Bins end with the pools; within a pool each bin has the same share.
    /// At a lag the whitened correlation is lower by sinc(lag * width of the pool) than that of single bins. Phasors
    /// are those of pools. Reads the kept values once: 24 tracks and 4 minutes in a few milliseconds. The same bytes
    /// for any number of workers. Throws std::bad_alloc.
    CrossSpectra restrictedTo(std::span<const float> weights, Workers& workers) const;

    /// Fills in S_ij of one bin for i <= j, in the order (0,0) (0,1) ... (1,1) (1,2) ...; they are 0 before.
    using GiveSpectra = std::function<void(int bin, std::span<std::complex<float>> pairs)>;
    /// Other spectra of the same recording and stretches, scaled as these: those of firstBin..firstBin+bins-1 are
    /// asked for in order, the others are 0. Phasors are as long as a pair's coherence is great, its square root. No
    /// stretches are kept and no single windows. Throws std::bad_alloc.
    CrossSpectra withSpectra(int firstBin, int bins, const GiveSpectra& give) const;

    /// What the pass kept of single windows; null of what restrictedTo or withSpectra gave.
    const WindowSpectra* windowSpectra() const;

    // ---- from one day to the next -------------------------------------------------------------------------------

    /// Of the bytes that store() gives: changes whenever they, or what the pass computes, do.
    static constexpr int storedVersion = 2;
    std::uint64_t storedBytes() const;
    /// Gives all that the pass computed, in the machine's own order of bytes, to be taken by load(). Only of a pass
    /// over the source with keptAtMostBytes. False: the taker said so.
    bool store(const std::function<bool(std::span<const std::byte>)>& take) const;
    /// Of a pass over a stretch from..to-1 of a source of that rate and number of tracks. nullopt: the giver has less,
    /// or there is too little memory.
    static std::optional<CrossSpectra> load(int tracks, double sampleRate, std::int64_t from, std::int64_t to,
                                            const std::function<bool(std::span<std::byte>)>& give);

private:
    friend Result<CrossSpectra> computeCrossSpectra(const SampleSource&, const CrossSpectraOptions&, Workers&,
                                                    const Watch&);
    CrossSpectra();
    struct Storage;
    std::unique_ptr<Storage> storage;
};

/// One pass over all tracks of the source, on all workers. The same bytes for any number of workers.
/// Faults: an empty stretch or one outside the recording, a group that cannot be read, a stop that was asked for
/// (heeded within a few windows), too little memory.
Result<CrossSpectra> computeCrossSpectra(const SampleSource& source, const CrossSpectraOptions& options,
                                         Workers& workers, const Watch& watch);

} // namespace spillwright
