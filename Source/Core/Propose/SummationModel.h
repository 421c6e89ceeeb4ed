#pragma once

#include "Core/Measure/CrossSpectra.h"
#include "Core/Pan.h"
#include "Core/TrackAdjustment.h"
#include "Core/Types.h"

#include <Eigen/Core>

#include <complex>
#include <functional>
#include <span>
#include <vector>

namespace spillwright {

/// g H(f) of a track at bins 0..binCount-1, without flip and nudge; 0 where it is muted.
std::vector<std::complex<double>> mixResponse(const TrackAdjustment& adjustment, int binCount, double binWidth,
                                              double sampleRate);

/// +1 a track, -1 where it is flipped.
std::vector<int> signsOf(const std::vector<bool>& flips);

/// Everything needed to know the summation gain of any flips and nudges of the chosen
/// tracks, with their gains and high-passes already in. Built once per band and balance; then no audio or spectra
/// needed.
///
///     w_i(f) = s_i g_i H_i(f) exp(-j 2 pi f nudge_i)
///     G = sum over third octaves b of omega_b P_b/P0_b,
///         P_b = sum over bins and pairs of w_i w_j* S_ij,  P0_b = sum over bins and tracks of |w_i|^2 S_ii
///
/// omega_b is the third octave's share of the band's octaves. Third octaves in which nothing sounds, or which hold no
/// bin, drop out, and the others' omegas are scaled up to add to 1: silence is neither in phase nor out of phase.
/// The bin at 0 Hz never takes part, a band that reaches above half the sample rate ends there.
class SummationModel {
public:
    /// `tracks`: indices into the spectra of the usable tracks, in order. `adjustments`: one a track of `tracks`; gain,
    /// high-pass and mute are taken in, flip and nudge are not (they are the variables).
    /// `pans`: of each track, for the stereo sum, left and right added up in power; empty: the mono sum.
    SummationModel(const CrossSpectra& spectra, std::span<const int> tracks,
                   std::span<const TrackAdjustment> adjustments, Band band, std::span<const PanGains> pans = {});

    /// S_ij of a bin, i <= j positions in the model's list.
    using SpectrumAt = std::function<std::complex<double>(int bin, int i, int j)>;
    /// The same from spectra that come from anywhere: bins 0..binCount-1, the last at half the sample rate; one track
    /// an adjustment.
    static SummationModel fromSpectra(int binCount, double binWidth, const SpectrumAt& at,
                                      std::span<const TrackAdjustment> adjustments, Band band);
    /// The same for chosen tracks of a recording: `at` is asked for its track numbers.
    static SummationModel ofTracks(std::span<const int> tracks, int binCount, double binWidth, double sampleRate,
                                   const SpectrumAt& at, std::span<const TrackAdjustment> adjustments, Band band,
                                   std::span<const PanGains> pans = {});
    /// Of models of the same tracks and band, in each of which another source sounds: its gain is the weighted mean of
    /// theirs, whatever the weights add up to, above 0. Models without energy drop out.
    static SummationModel meanOf(std::span<const SummationModel> models, std::span<const double> weights);
    /// Straight from the weighted spectra, one Hermitian matrix a frequency; their traces should add up to 1.
    static SummationModel fromMatrices(std::vector<double> frequencies, std::span<const Eigen::MatrixXcd> weighted);

    int trackCount() const { return static_cast<int>(tracks.size()); }
    const std::vector<int>& trackIndices() const { return tracks; }
    const std::vector<double>& frequencies() const { return binFrequencies; } ///< Hz, the bins of the band.
    bool hasEnergy() const { return !binFrequencies.empty(); } ///< False: nothing sounds, all gains are 1.

    /// What the places of two tracks leave of what they have in common: l_i l_j + r_i r_j; 1 in mono.
    double overlap(int i, int j) const;

    /// omega_b/P0_b * g g H H* S_ij at a bin, times overlap(i, j): summing Re over bins and pairs gives G.
    std::complex<double> weighted(int bin, int i, int j) const;
    /// weighted() of all bins of a pair, i <= j.
    std::span<const std::complex<double>> weightedPair(int i, int j) const;

    /// Re sum over bins of exp(-j 2 pi f lag) weighted(i, j), lag = nudge_i - nudge_j in seconds.
    double coupling(int i, int j, double lag) const;
    /// Q for given nudges (seconds): G = s'Qs, symmetric, trace included.
    Eigen::MatrixXd flipMatrix(std::span<const double> nudges) const;

    /// G, linear (1 = the tracks ignore each other). signs: +-1 a track; nudges: seconds a track.
    double gain(std::span<const int> signs, std::span<const double> nudges) const;
    double gainIfAllInPhase() const { return inPhase; } ///< G1.
    /// (G-1)/(G1-1); 0 where G1 is 1.
    double lowMidCoherence(double gain) const;

private:
    SummationModel() = default;
    void build(int binCount, double binWidth, double sampleRate, const SpectrumAt& at,
               std::span<const TrackAdjustment> adjustments, Band band);
    void computeInPhase();
    static std::size_t pairIndex(int i, int j) { return static_cast<std::size_t>(j) * (j + 1) / 2 + i; } // i <= j

    std::vector<int> tracks;
    std::vector<PanGains> places; // empty: mono
    std::vector<double> binFrequencies;
    std::vector<std::complex<double>> pairSpectra; // pair by pair, all bins of the band together
    double inPhase = 1.0;
};

} // namespace spillwright
