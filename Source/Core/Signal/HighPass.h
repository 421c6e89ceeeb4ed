#pragma once

#include "Core/Types.h"

#include <complex>

namespace spillwright {

/// Second-order Butterworth high-pass by the bilinear transform with prewarping: -3.01 dB at the corner, 12 dB an
/// octave. The same coefficients are heard, rendered and reckoned with.
class HighPass {
public:
    /// 0 < corner < rate / 2.
    HighPass(Hertz corner, double sampleRate);

    /// Complex response at a frequency, e^{+j omega t} convention.
    std::complex<double> responseAt(Hertz frequency) const;

    /// Filters in place; the state is kept in double between calls. Allocates nothing.
    void process(float* samples, int count);
    void reset() { state1 = state2 = 0.0; }

private:
    double sampleRate;
    double b0, b1, b2, a1, a2;
    double state1 = 0.0, state2 = 0.0;
};

} // namespace spillwright
