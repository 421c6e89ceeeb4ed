#pragma once

#include "Core/Measure/CrossSpectra.h"
#include "Core/TrackAdjustment.h"
#include "Core/Types.h"

#include <Eigen/Core>

#include <complex>
#include <span>
#include <vector>

namespace spillwright {

/// Everything needed to know the summation gain of any flips and nudges of the chosen
/// tracks, with their gains and high-passes already in. Built once per band and balance; then no audio or spectra
/// needed.
class SummationModel {
public:
    /// `tracks`: indices into the spectra of the usable tracks, in order. `adjustments`: one a track of `tracks`; gain,
    /// high-pass and mute are taken in, flip and nudge are not (they are the variables).
    SummationModel(const CrossSpectra& spectra, std::span<const int> tracks,
                   std::span<const TrackAdjustment> adjustments, Band band);

    int trackCount() const { return static_cast<int>(tracks.size()); }
    const std::vector<int>& trackIndices() const { return tracks; }
    const std::vector<double>& frequencies() const { return binFrequencies; } ///< Hz, the bins of the band.
    bool hasEnergy() const; ///< False: nothing sounds in the band, all gains are 1.

    /// omega_b/P0_b * g g H H* S_ij at a bin: summing Re over bins and pairs gives G.
    std::complex<double> weighted(int bin, int i, int j) const;

    /// G, linear (1 = the tracks ignore each other). signs: +-1 a track; nudges: seconds a track.
    double gain(std::span<const int> signs, std::span<const double> nudges) const;
    double gainIfAllInPhase() const; ///< G1.
    /// (G-1)/(G1-1); 0 where G1 is 1.
    double lowMidCoherence(double gain) const;
    /// Q for given nudges: G = s'Qs, symmetric, trace included.
    Eigen::MatrixXd flipMatrix(std::span<const double> nudges) const;

private:
    std::vector<int> tracks;
    std::vector<double> binFrequencies;
    std::vector<Eigen::MatrixXcd> weightedSpectra; ///< One Hermitian matrix a bin of the band.
    double inPhase = 1.0;
};

} // namespace spillwright
