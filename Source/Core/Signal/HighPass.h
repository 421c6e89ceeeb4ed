#pragma once

#include "Core/TrackAdjustment.h"
#include "Core/Types.h"

#include <array>
#include <complex>

namespace spillwright {

/// Butterworth high-pass of order 2, 3 or 4 by the bilinear transform with prewarping: -3.01 dB at the corner, 12, 18
/// or 24 dB an octave below it. The same coefficients are heard, rendered and reckoned with.
class HighPass {
public:
    /// A corner outside 0.001 Hz .. 0.49 of the rate is taken as the nearest within: no setting makes it unstable.
    HighPass(Hertz corner, double sampleRate, Slope slope = Slope::dB12);

    /// Complex response at a frequency, e^{+j omega t} convention.
    std::complex<double> responseAt(Hertz frequency) const;

    /// Filters in place; the state is kept in double between calls. Allocates nothing.
    void process(float* samples, int count);

    /// Goes on as process() would, but gives nothing out: brings the state to where the past has left it. Several times
    /// as fast as process(), equal to it within rounding. Allocates nothing.
    void advance(const float* samples, int count);

    void reset() { memory = {}; }

    static constexpr int mostSections = 2;
    /// What the past has left behind, two numbers a section. It is a linear function of the input, so states may be
    /// scaled and added.
    struct State {
        std::array<double, 2 * mostSections> parts{};
        void add(const State& other, double factor);
        bool operator==(const State&) const = default;
    };
    State state() const { return memory; }
    void setState(const State& state) { memory = state; }

    /// After so many samples the past has died away below this.
    static constexpr double settledDb = -100.0;
    int settlingSamples() const;

    /// Alike in coefficients, whatever their states.
    bool sameFilter(const HighPass& other) const;

private:
    /// b0 (1 - z^-1)^2 / (1 + a1 z^-1 + a2 z^-2), or b0 (1 - z^-1) / (1 + a1 z^-1), as a transposed direct form II.
    struct Section {
        int order = 0;
        double b0 = 0.0, a1 = 0.0, a2 = 0.0;
        double c1 = 0.0, c2 = 0.0; ///< What an input adds to the state.

        Section() = default;
        /// H(s) = s^2 / (s^2 + damping s + 1), s = (1 - z^-1) / (k (1 + z^-1)).
        static Section second(double k, double damping);
        static Section first(double k); ///< H(s) = s / (s + 1).
        double step(double& s1, double& s2, double x) const {
            const double y = b0 * x + s1;
            const double next = c1 * x - a1 * s1 + s2;
            s2 = c2 * x - a2 * s1;
            s1 = next;
            return y;
        }
        bool operator==(const Section&) const = default;
    };
    template <int Count>
    void processThrough(float* samples, int count);
    template <int Count>
    void advanceThrough(const float* samples, int count);

    double sampleRate;
    int sectionCount;
    std::array<Section, mostSections> sections; ///< The most resonant one last.
    // The state after `leap` samples is a sum of what each part of the state before and each sample leaves behind:
    // nothing in it waits for the sample before, as it would step by step.
    static constexpr int leap = 16;
    std::array<State, 2 * mostSections> ofState;
    std::array<State, leap> ofInput;
    State memory;
};

} // namespace spillwright
