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
    const auto filters = sections;
    auto s = memory.parts;
    for (int n = 0; n < count; ++n) {
        double x = static_cast<double>(samples[n]);
        for (std::size_t i = 0; i < Count; ++i)
            x = filters[i].step(s[2 * i], s[2 * i + 1], x);
        samples[n] = static_cast<float>(x);
    }
    memory.parts = s;
}

void HighPass::process(float* samples, int count) {
    if (sectionCount == 1)
        processThrough<1>(samples, count);
    else
        processThrough<2>(samples, count);
}

template <int Count>
void HighPass::advanceThrough(const float* samples, int count) {
    // One step is s' = A s + B x. The recursion is bound by its latency, so the stretch is cut into parts that run side
    // by side from rest, and their ends are joined by the power of A that belongs to a part.
    constexpr std::size_t parts = 8, size = 2 * Count;
    using Vector = std::array<double, size>;
    using Matrix = std::array<Vector, size>; // columns
    const auto filters = sections;
    const auto times = [](const Matrix& matrix, const Vector& vector) {
        Vector result{};
        for (std::size_t column = 0; column < size; ++column)
            for (std::size_t row = 0; row < size; ++row)
                result[row] += matrix[column][row] * vector[column];
        return result;
    };
    const auto step = [&filters](Vector& s, double x) {
        for (std::size_t i = 0; i < Count; ++i)
            x = filters[i].step(s[2 * i], s[2 * i + 1], x);
    };
    Vector s{};
    std::copy_n(memory.parts.begin(), size, s.begin());

    const int length = count / static_cast<int>(parts);
    if (length > 0) {
        std::array<std::array<double, parts>, size> ends{};
        for (int n = 0; n < length; ++n)
            for (std::size_t part = 0; part < parts; ++part) {
                double x = static_cast<double>(samples[static_cast<int>(part) * length + n]);
                for (std::size_t i = 0; i < Count; ++i)
                    x = filters[i].step(ends[2 * i][part], ends[2 * i + 1][part], x);
            }
        Matrix power{}, square{};
        for (std::size_t column = 0; column < size; ++column) {
            power[column][column] = 1.0;
            square[column][column] = 1.0;
            step(square[column], 0.0); // A, column by column
        }
        const auto product = [&times](const Matrix& left, const Matrix& right) {
            Matrix result;
            for (std::size_t column = 0; column < size; ++column)
                result[column] = times(left, right[column]);
            return result;
        };
        for (int rest = length; rest > 0; rest /= 2) {
            if (rest % 2 == 1) power = product(power, square);
            square = product(square, square);
        }
        for (std::size_t part = 0; part < parts; ++part) {
            s = times(power, s);
            for (std::size_t row = 0; row < size; ++row)
                s[row] += ends[row][part];
        }
    }
    for (int n = static_cast<int>(parts) * length; n < count; ++n)
        step(s, static_cast<double>(samples[n]));
    std::copy_n(s.begin(), size, memory.parts.begin());
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
