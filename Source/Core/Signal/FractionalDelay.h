#pragma once

#include <array>

namespace spillwright {

/// The one kernel by which a nudge is played and rendered: a 64-tap Kaiser-windowed sinc.
/// Its complex error stays below -90 dB of the signal up to 0.9 of the Nyquist frequency (Laakso et al. 1996 for the
/// method).
class FractionalDelay {
public:
    static constexpr int taps = 64;
    static constexpr int before = taps / 2 - 1; ///< Samples needed before the place that is read ...
    static constexpr int after = taps / 2;      ///< ... and after it.
    static constexpr double wholeTolerance =
        1e-4;                                 ///< A delay this near to a whole number of samples is taken as whole.
    static constexpr double errorDb = -90.0;  ///< Promised for every fraction, up to ...
    static constexpr double errorReach = 0.9; ///< ... this share of the Nyquist frequency.

    /// y[n] = x(n - delay). Positive: later.
    explicit FractionalDelay(double delaySamples);

    bool isWhole() const { return fractionIsZero; }
    long long wholeSamples() const { return whole; } ///< floor(delay), or the nearest whole where isWhole().

    /// y[n] = sum_k coefficients()[k] x[n - whole - after + k]; of a whole delay all but one are 0.
    const std::array<float, taps>& coefficients() const { return kernel; }

    /// y[n] = x delayed. `input` points at sample n of x; input[-whole - after .. -whole + before] must be readable.
    float at(const float* input) const;

    /// The same for `count` samples in a row. The same bits however a stretch is cut into calls; a whole delay copies.
    /// Allocates nothing, takes no lock. Input and output must not overlap.
    void apply(const float* input, float* output, int count) const;

    bool operator==(const FractionalDelay&) const = default;

private:
    long long whole = 0;
    bool fractionIsZero = true;
    std::array<float, taps> kernel{};
};

} // namespace spillwright
