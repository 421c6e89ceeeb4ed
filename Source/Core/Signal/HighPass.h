#pragma once

#include "Core/Types.h"

#include <complex>

namespace spillwright {

/// Second-order Butterworth high-pass by the bilinear transform with prewarping: -3.01 dB at the corner, 12 dB an
/// octave. The same coefficients are heard, rendered and reckoned with.
class HighPass {
public:
    /// A corner outside 0.001 Hz .. 0.49 of the rate is taken as the nearest within: no setting makes it unstable.
    HighPass(Hertz corner, double sampleRate);

    /// Complex response at a frequency, e^{+j omega t} convention.
    std::complex<double> responseAt(Hertz frequency) const;

    /// Filters in place; the state is kept in double between calls. Allocates nothing.
    void process(float* samples, int count);

    /// Goes on as process() would, but gives nothing out: brings the state to where the past has left it. Several times
    /// as fast as process(), equal to it within rounding. Allocates nothing.
    void advance(const float* samples, int count);

    void reset() { memory = {}; }

    /// What the past has left behind. It is a linear function of the input, so states may be scaled and added.
    struct State {
        double first = 0.0, second = 0.0;
        bool operator==(const State&) const = default;
    };
    State state() const { return memory; }
    void setState(State state) { memory = state; }

    /// After so many samples the past has died away below this.
    static constexpr double settledDb = -100.0;
    int settlingSamples() const;

    /// Alike in coefficients, whatever their states.
    bool sameFilter(const HighPass& other) const;

private:
    double sampleRate;
    double b0, b1, b2, a1, a2;
    State memory;
};

} // namespace spillwright
