#pragma once

#include "Core/SampleSource.h"
#include "Core/Types.h"
#include "Core/Workers.h"

#include <complex>
#include <cstdint>
#include <memory>
#include <span>
#include <vector>

namespace spillwright {

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

struct CrossSpectraOptions {
    std::int64_t from = 0; ///< First sample.
    std::int64_t to = -1;  ///< One past the last; -1: to the end.
};

/// Averaged cross-spectra of all pairs of tracks: Hann window (periodic), 50 % overlap, S_ij(f) = <X_i(f)
/// conj(X_j(f))>, one-sided, mean over windows, unscaled otherwise (levels are read as ratios). Windows begin at
/// from(), half a window apart, as many as fit whole; what is left at the end is in the statistics alone. The window is
/// the shortest power of two of at least 0.25 s: 16384 samples at 44.1 and 48 kHz, 32768 at 88.2 and 96, 65536 at 176.4
/// and 192. Where four such windows do not fit it is the longest power of two of which four do, at least 1024. Bins run
/// from 0 to half the rate, and no higher than 24 kHz: nothing is read above hearing. Besides the mean it keeps, per
/// phase bin, the sum over stretches (groups of at most 29 windows, about 5 s; at least four stretches where each gets
/// four windows) of the unit phasors S_k/|S_k|, by which "related" is judged. Memory: 8 bytes * bins * N(N+1)/2, plus
/// the phasors and one stretch of spectra while it is computed; it does not grow with the recording's length. At 48
/// kHz: 291 MiB for 64 tracks.
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
    std::int64_t from() const;        ///< First sample of the stretch that was measured.
    std::int64_t to() const;          ///< One past the last.
    std::int64_t windows() const;     ///< Windows averaged.
    int stretches() const;            ///< Stretches averaged.
    double effectiveAverages() const; ///< 0.947 * windows (Hann, 50 %; Welch 1967).
    /// Stretches in which both tracks sound: a phasor is missing where one is digitally silent.
    int sharedStretches(int i, int j) const;
    /// Effective averages of those stretches.
    double sharedAverages(int i, int j) const;

    const TrackStatistics& statistics(int track) const;

    /// Mean power of a track at a bin.
    double power(int bin, int track) const;
    /// S_ij at a bin; at(bin, j, i) is its conjugate.
    std::complex<double> at(int bin, int i, int j) const;
    /// S_ij of bins first..first+out.size()-1.
    void copyPair(int i, int j, int firstBin, std::span<std::complex<float>> out) const;

    /// Bins for which unit phasors are summed: first..first+count-1 (60 to 8000 Hz).
    int firstPhaseBin() const;
    int phaseBinCount() const;
    /// Sum over stretches of S_k,ij/|S_k,ij| for all phase bins.
    void copyPhaseSums(int i, int j, std::span<std::complex<float>> out) const;

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
