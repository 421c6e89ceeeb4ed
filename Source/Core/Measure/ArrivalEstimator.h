#pragma once

#include "Core/Measure/ArrivalKernels.h"
#include "Core/Measure/PairReading.h"
#include "Core/Signal/AlignedVector.h"
#include "Core/Signal/Fourier.h"

#include <complex>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <vector>

namespace spillwright {

/// Arrival and polarity from the cross-spectrum of one pair, by whatever way that was had.
///
/// The wide-band curve is the generalised cross-correlation (Knapp & Carter 1976) with the whitened spectrum weighted
/// by f^-0.75 from 60 to 8000 Hz: c(tau) = Re sum W S*/|S| e^{j 2 pi f tau}, so that neither the bass nor a hissing
/// cymbal decides alone. Beside it stands the flat curve, every bin alike: a rival is seldom tall in both. Arrival
/// and polarity are those of the peak with the largest product of both heights; how far the best of its rivals falls
/// behind gives the confidences; the scatter of the
/// phase over blocks of frequency gives the uncertainty (the Cramer-Rao bound is fifty times too small in a room).
/// Where the maximum-likelihood weights gamma^2/(1-gamma^2) leave clearly less scatter, the place of their peak near by
/// is taken instead.
///
/// Immutable; any number of threads may use one, each with a Scratch of its own.
class ArrivalEstimator {
public:
    struct Geometry {
        double binWidth = 0.0; ///< Hz.
        int binCount = 0;      ///< Bins 0..binCount-1 exist.
        double windowSeconds = 0.0;
    };
    /// A curve over lag as far as it is looked at.
    struct Curve {
        AlignedVector<float> values; ///< From lag -origin * step on.
        int origin = 0;
        int reach = 0;     ///< Steps looked at on either side; one more may be read.
        double step = 0.0; ///< Samples of 1/48000 s.
        const float* centre() const { return values.data() + origin; } ///< The value at lag 0.
    };
    struct Scratch {
        AlignedVector<std::complex<float>> spectrum;
        AlignedVector<float> period; ///< Of the curve, from lag 0 on.
        AlignedVector<float> coarse; ///< What is looked at of it, at half the rate.
        Curve curve;
        Curve flat;                              ///< With every bin alike.
        AlignedVector<float> phasorRe, phasorIm; ///< conj(S)/|S|, bins 0..binsNeeded()-1; 0 where S is 0.
        AlignedVector<float> magnitudes;         ///< |S|.
        AlignedVector<float> weights;            ///< Of a curve.
        AlignedVector<double> aligned[2];        ///< Phasors with a lag taken out: real, imaginary.
        AlignedVector<std::int32_t> running;
        AlignedVector<double> likelihood;
        std::vector<double> moments;
        std::vector<int> twentieths;
        std::vector<std::uint32_t> peaks;
    };
    struct Estimate {
        Arrival arrival;
        std::vector<ArrivalCandidate> candidates; ///< As in PairReading.
        std::optional<Arrival> inBand;
        PolarityReading polarity;
        bool bandsDisagree = false;
    };

    ArrivalEstimator(Geometry geometry, const ReadingOptions& options);

    /// The estimator asks for bins 0..binsNeeded()-1 of a cross-spectrum.
    int binsNeeded() const { return needed; }

    /// S1 conj(S2), and the magnitude-squared coherence with its number of effective averages. nullopt where the curve
    /// has no peak, as of silence.
    std::optional<Estimate> estimate(std::span<const std::complex<float>> crossSpectrum,
                                     std::span<const float> coherence, double averages, Scratch& scratch) const;

    /// Only one tone in common, or a hum with its overtones: (sum |S|)^2 / sum |S|^2 over 60 to 8000 Hz, the number
    /// of bins that carry the cross-spectrum, is below `toneParticipation`, and hardly another bin is coherent beyond
    /// chance within 50 dB of the strongest. (A tom leaves as few bins, but coherent ones by the hundred beside.)
    bool oneTone(std::span<const float> magnitudes, std::span<const float> coherence, double averages) const;
    static constexpr double toneParticipation = 6.0;
    static constexpr int toneBins = 40;

    /// The wide-band curve within the largest arrival; values[i] at (i - (values.size()-1)/2) * lagStep().
    std::vector<float> curve(std::span<const std::complex<float>> crossSpectrum, Scratch& scratch) const;
    double lagStep() const { return gridSeconds; } ///< Seconds.

private:
    /// A range of bins, weighted, and cut into blocks in several ways. Angular frequencies in radians a sample of
    /// 1/48000 s; a block runs from one edge to before the next.
    struct Weighting {
        int first = 0, count = 0;
        AlignedVector<double> omega;
        AlignedVector<double> weights;
        std::vector<int> thirds, sixths, twentieths;
    };
    struct Peak {
        double lag = 0.0; ///< Samples of 1/48000 s.
        double height = 0.0;
        int index = 0;          ///< On the grid.
        double sharpness = 0.0; ///< sum W omega^2 cos theta, where the peak was sharpened.
    };
    /// A peak of the wide-band curve, with what the flat curve has there.
    struct Contender {
        Peak peak;
        double sign = 1.0;
        double worth = 0.0;       ///< Product of the two heights.
        double probability = 0.0; ///< That it is the right one.
    };

    Weighting weighting(int first, int last, double exponent) const;
    static void cutTwentieths(const Weighting& w, std::span<const double> weights, std::vector<double>& running,
                              std::vector<int>& edges);
    void prepare(std::span<const std::complex<float>> crossSpectrum, Scratch& scratch) const;
    template <class Weight>
    void computeCurve(int first, int count, const Weight& weight, Scratch& scratch, Curve& curve) const;
    void computeBandCurve(Scratch& scratch, Curve& curve) const;
    template <class Weight>
    void transform(const Fourier& by, int first, int count, const Weight& weight, Scratch& scratch) const;
    std::optional<Peak> peakAt(const Curve& curve, int index, double sign) const;
    std::optional<Peak> tallest(const Curve& curve, int from, int to, double sign) const;
    std::optional<Peak> tallest(const Curve& curve, double sign) const {
        return tallest(curve, -curve.reach, curve.reach, sign);
    }
    std::vector<Contender> contenders(Scratch& scratch) const;
    static void share(std::vector<Contender>& answers);
    int lobeEnd(const Scratch& scratch, const Peak& peak, double sign, int direction) const;
    kernels::Turn turnBy(const Weighting& w, double lag) const;
    void align(const Weighting& w, double lag, Scratch& scratch) const;
    kernels::TurnedSums sumsAt(const Weighting& w, std::span<const double> weights, double lag,
                               const Scratch& scratch) const;
    Peak sharpen(const Weighting& w, std::span<const double> weights, Peak peak, double sign, Scratch& scratch) const;
    double blockScatter(const Weighting& w, std::span<const double> weights, const std::vector<int>& twentieths,
                        double sharpness, const Scratch& scratch) const;
    double shareOfThirds(std::span<const float> coherence, double limit) const;
    std::optional<Peak> likeliest(std::span<const float> coherence, double averages, const Peak& near, double around,
                                  double sign, double& scatter, Scratch& scratch) const;
    std::optional<Arrival> phaseSlope(double lag, double sign, double confidence, Scratch& scratch) const;

    Geometry geometry;
    double largestLag;  // samples of 1/48000 s
    double gridSeconds; // step of the curves
    double gridSamples; // the same, in samples of 1/48000 s
    int reach;          // grid steps looked at on either side
    int needed = 0;
    int origin; // even, above reach
    std::shared_ptr<const Fourier> fourier, halfRate, ofBand;
    Weighting wide, likely, band;
    int contenderReach;                            // grid steps around a peak in which the flat curve is asked
    std::vector<std::int32_t> sixthLow, sixthPast; // of each bin of `likely`: the bins a sixth of an octave around it
};

} // namespace spillwright
