#pragma once

#include "Core/Measure/PairReading.h"
#include "Core/Signal/AlignedVector.h"
#include "Core/Signal/Fourier.h"

#include <complex>
#include <memory>
#include <optional>
#include <span>
#include <vector>

namespace spillwright {

/// Arrival and polarity of one source on its way between two tracks, told from the response from one to the other.
struct LeadingPeak {
    Arrival arrival;
    PolarityReading polarity;
};

/// Finds the peak of a response's correlation over lag, and says nothing where none leads. Immutable; a Scratch a
/// thread.
class LeadingPeakFinder {
public:
    struct Scratch {
        AlignedVector<std::complex<float>> spectrum;
        AlignedVector<float> lags;
    };

    /// Of responses at bins firstBin..firstBin+bins-1. bins >= 1.
    LeadingPeakFinder(double binWidthHz, int firstBin, int bins, Seconds largestArrival);

    /// response: its phase counts, and how sure it is, 0..1, which is its magnitude; frequencies weigh as
    /// f^wideBandExponent. rivals: how tall anything earlier may be against the peak, 0..1.
    ///
    /// The first peak within 12 ms before the tallest that reaches 0.85 of it: a reflection may be louder than the
    /// straight way, but nothing comes before that. Empty if something earlier than 0.6 ms before the peak is a rival,
    /// if within 0.6 ms of it something of the other sign has more than 0.6 of its height, if hardly any frequency
    /// agrees, or if it is known to no better than a sample of 1/48000 s.
    std::optional<LeadingPeak> find(std::span<const std::complex<float>> response, double rivals,
                                    Scratch& scratch) const;

private:
    double width;
    int first, count;
    std::shared_ptr<const Fourier> fourier;
    double step;                ///< Seconds, of the lags.
    int reach;                  ///< Steps looked at on either side.
    std::vector<float> weights; ///< Of the bins; together 1.

    double uncertainty(std::span<const std::complex<float>> response, double lag, double sign) const;
};

} // namespace spillwright
