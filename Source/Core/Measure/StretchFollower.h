#pragma once

#include "Core/Measure/CrossSpectra.h"
#include "Core/Measure/Movement.h"
#include "Core/Signal/AlignedVector.h"

#include <complex>
#include <optional>
#include <span>
#include <vector>

namespace spillwright {

/// Cross-spectra of one pair by stretch. Immutable; a Scratch a thread.
class StretchFollower {
public:
    explicit StretchFollower(const CrossSpectra& spectra);

    struct Scratch {
        AlignedVector<std::complex<float>> cross;
        AlignedVector<float> turnRe, turnIm, alignedRe, alignedIm;
        AlignedVector<float> groupRe, groupIm;   // one row
        AlignedVector<float> phasorRe, phasorIm; // [stretch][pool], where a drift is looked for
        AlignedVector<float> weights;
    };

    /// One pair while it is followed.
    struct Pair {
        int first = 0, second = 0;
        double slope = 0.0;                    // s per s, taken out
        AlignedVector<float> baseRe, baseIm;   // takes out its lag and sign
        std::vector<double> groupWeight;       // sum of the weights
        AlignedVector<float> groupRe, groupIm; // [stretch][group]
    };
    /// `driftPpm`: of two clocks, where it is known. It smears each stretch: a frequency's phase is averaged over the
    /// stretch, which leaves sin(x)/x of it, x = pi f drift length, negative from f = 1/(drift length) on.
    void begin(Pair& pair, int first, int second, Seconds arrival, Polarity polarity, double driftPpm = 0.0) const;
    /// Reads one stretch, between begin and follow: each once, in any order and from any thread. The stretches lie far
    /// apart in memory and the pairs of one beside each other, so go through the pairs of a stretch in a row.
    void readStretch(Pair& pair, int stretch, Scratch& scratch) const;
    /// Arrival by stretch, against the pair's; stretches in which one track is silent, or no peak stands above chance,
    /// are left out.
    std::vector<StretchArrival> follow(Pair& pair, Scratch& scratch) const;

    /// Whether the phases of two tracks turn evenly from stretch to stretch, and how fast.
    struct Turning {
        double ppm = 0.0;
        double uncertainty = 0.0;
    };
    std::optional<Turning> turning(int first, int second, Scratch& scratch) const;

private:
    struct Step {
        double lag = 0.0, height = 0.0, uncertainty = 0.0; // s, share, s
        bool peak = false;
    };
    const CrossSpectra& spectra;
    std::size_t firstPool = 0, poolCount = 0, groupCount = 0;
    AlignedVector<float> poolOmega, poolWeight; // padded
    std::vector<std::size_t> groupFrom;         // pool of each group's first; one more at the end
    AlignedVector<float> omega, flat;           // of groups, padded
    AlignedVector<float> gridRe, gridIm;        // [grid point][group]
    double centre = 0.0;                        // of what was measured, s: there a drift's lag is 0
    double noiseHeight = 0.0;                   // of the curve of a stretch that has nothing in common

    std::size_t stride() const { return omega.size(); }
    void gather(const float* re, const float* im, float* groupRe, float* groupIm) const;
    void align(Pair& pair, int stretch, double lag, Scratch& scratch) const;
    double middleOf(int stretch) const;
    bool sounds(const Pair& pair, int stretch) const;
    void makeRoom(Scratch& scratch) const;
    Step newton(const float* re, const float* im, std::span<const float> v, double lag, double reach) const;
    double search(const float* re, const float* im) const;
};

} // namespace spillwright
