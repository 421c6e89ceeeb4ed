#include "Core/Signal/HighPass.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace spillwright {

HighPass::Section HighPass::Section::second(double k, double damping) {
    Section section;
    section.order = 2;
    section.b0 = 1.0 / (1.0 + damping * k + k * k);
    section.a1 = 2.0 * (k * k - 1.0) * section.b0;
    section.a2 = (1.0 - damping * k + k * k) * section.b0;
    section.c1 = -2.0 * section.b0 - section.a1 * section.b0;
    section.c2 = section.b0 - section.a2 * section.b0;
    return section;
}

HighPass::Section HighPass::Section::first(double k) {
    Section section;
    section.order = 1;
    section.b0 = 1.0 / (1.0 + k);
    section.a1 = (k - 1.0) * section.b0;
    section.c1 = -section.b0 - section.a1 * section.b0;
    return section;
}

void HighPass::State::add(const State& other, double factor) {
    for (std::size_t i = 0; i < parts.size(); ++i)
        parts[i] += factor * other.parts[i];
}

HighPass::HighPass(Hertz corner, double rate, Slope slope) : sampleRate(rate), sectionCount(0) {
    // The poles of order n lie on a circle, pi/n apart and symmetric about the real axis: each conjugate pair is
    // s^2 + 2 sin((2 m - 1) pi / (2 n)) s + 1, m = 1 .. n/2; an odd order has one more at -1 (Butterworth 1930).
    const int order = inDecibelsPerOctave(slope) / 6;
    const double k = std::tan(std::numbers::pi * std::clamp(corner.value / rate, 1e-3 / rate, 0.49)); // prewarped
    const auto place = [&]() -> Section& { return sections[static_cast<std::size_t>(sectionCount++)]; };
    if (order % 2 == 1) place() = Section::first(k);
    for (int pair = order / 2; pair >= 1; --pair)
        place() = Section::second(k, 2.0 * std::sin((2.0 * pair - 1.0) * std::numbers::pi / (2.0 * order)));

    const auto stepFrom = [this](State state, double x) {
        for (std::size_t i = 0; i < static_cast<std::size_t>(sectionCount); ++i)
            x = sections[i].step(state.parts[2 * i], state.parts[2 * i + 1], x);
        return state;
    };
    for (std::size_t part = 0; part < ofState.size(); ++part)
        ofState[part].parts[part] = 1.0;
    State after = stepFrom({}, 1.0);
    for (int n = leap - 1; n >= 0; --n) {
        ofInput[static_cast<std::size_t>(n)] = after;
        after = stepFrom(after, 0.0);
        for (State& state : ofState)
            state = stepFrom(state, 0.0);
    }
}

std::complex<double> HighPass::responseAt(Hertz frequency) const {
    const auto z1 = std::polar(1.0, -2.0 * std::numbers::pi * frequency.value / sampleRate);
    const auto z2 = z1 * z1;
    std::complex<double> response = 1.0;
    for (int i = 0; i < sectionCount; ++i) {
        const Section& section = sections[static_cast<std::size_t>(i)];
        // The zeros at 0 Hz are written as factors, so that nothing cancels far below the corner.
        for (int zero = 0; zero < section.order; ++zero)
            response *= 1.0 - z1;
        response *= section.b0 / (1.0 + section.a1 * z1 + section.a2 * z2);
    }
    return response;
}

template <int Count>
void HighPass::processThrough(float* samples, int count) {
    const Section first = sections[0], second = sections[1];
    auto [s1, s2, s3, s4] = memory.parts; // in registers
    for (int n = 0; n < count; ++n) {
        double x = first.step(s1, s2, static_cast<double>(samples[n]));
        if constexpr (Count == 2) x = second.step(s3, s4, x);
        samples[n] = static_cast<float>(x);
    }
    memory.parts = {s1, s2, s3, s4};
}

void HighPass::process(float* samples, int count) {
    if (sectionCount == 1)
        processThrough<1>(samples, count);
    else
        processThrough<2>(samples, count);
}

template <int Count>
void HighPass::advanceThrough(const float* samples, int count) {
    constexpr std::size_t size = 2 * Count;
    auto s = memory.parts;
    int n = 0;
    for (; n + leap <= count; n += leap) {
        std::array<double, leap> x;
        for (std::size_t k = 0; k < leap; ++k)
            x[k] = static_cast<double>(samples[static_cast<std::size_t>(n) + k]);
        std::array<double, size> next;
        for (std::size_t row = 0; row < size; ++row) {
            double even = 0.0, odd = 0.0; // two sums, so that neither waits for the other
            for (std::size_t k = 0; k < leap; k += 2) {
                even += ofInput[k].parts[row] * x[k];
                odd += ofInput[k + 1].parts[row] * x[k + 1];
            }
            next[row] = even + odd;
        }
        for (std::size_t column = 0; column < size; ++column)
            for (std::size_t row = 0; row < size; ++row)
                next[row] += ofState[column].parts[row] * s[column];
        std::copy(next.begin(), next.end(), s.begin());
    }
    for (; n < count; ++n) {
        double x = static_cast<double>(samples[n]);
        for (std::size_t i = 0; i < Count; ++i)
            x = sections[i].step(s[2 * i], s[2 * i + 1], x);
    }
    memory.parts = s;
}

void HighPass::advance(const float* samples, int count) {
    if (sectionCount == 1)
        advanceThrough<1>(samples, count);
    else
        advanceThrough<2>(samples, count);
}

int HighPass::settlingSamples() const {
    // Each step shrinks the state by the magnitude of the slowest poles: sqrt(a2) of the most resonant pair.
    const Section& slowest = sections[static_cast<std::size_t>(sectionCount - 1)];
    return static_cast<int>(std::ceil(settledDb / decibelsOfPower(slowest.a2)));
}

bool HighPass::sameFilter(const HighPass& other) const {
    return sections == other.sections;
}

} // namespace spillwright
