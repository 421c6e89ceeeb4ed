#include "Core/Signal/HighPass.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace spillwright {

HighPass::HighPass(Hertz corner, double rate) : sampleRate(rate) {
    // H(s) = s^2 / (s^2 + sqrt(2) s + 1), s = (1 - z^-1) / (k (1 + z^-1)), k prewarped to the corner.
    const double k = std::tan(std::numbers::pi * std::clamp(corner.value / rate, 1e-3 / rate, 0.49));
    const double scale = 1.0 / (1.0 + std::numbers::sqrt2 * k + k * k);
    b0 = scale;
    b1 = -2.0 * scale;
    b2 = scale;
    a1 = 2.0 * (k * k - 1.0) * scale;
    a2 = (1.0 - std::numbers::sqrt2 * k + k * k) * scale;
}

std::complex<double> HighPass::responseAt(Hertz frequency) const {
    const auto z1 = std::polar(1.0, -2.0 * std::numbers::pi * frequency.value / sampleRate);
    const auto z2 = z1 * z1;
    // The double zero at 0 Hz is written as a square, so that nothing cancels far below the corner.
    return b0 * (1.0 - z1) * (1.0 - z1) / (1.0 + a1 * z1 + a2 * z2);
}

void HighPass::process(float* samples, int count) {
    double s1 = memory.first, s2 = memory.second;
    for (int n = 0; n < count; ++n) {
        const double x = static_cast<double>(samples[n]);
        const double y = b0 * x + s1;
        s1 = b1 * x - a1 * y + s2;
        s2 = b2 * x - a2 * y;
        samples[n] = static_cast<float>(y);
    }
    memory = {s1, s2};
}

void HighPass::advance(const float* samples, int count) {
    // One step is s' = A s + B x. The recursion is bound by its latency, so the stretch is cut into parts that run side
    // by side from rest, and their ends are joined by the power of A that belongs to a part.
    constexpr int parts = 8;
    const double c1 = b1 - a1 * b0, c2 = b2 - a2 * b0;
    const auto step = [&](double& s1, double& s2, double x) {
        const double next = c1 * x - a1 * s1 + s2;
        s2 = c2 * x - a2 * s1;
        s1 = next;
    };
    const int length = count / parts;
    std::array<double, parts> first{}, second{};
    for (int n = 0; n < length; ++n)
        for (std::size_t part = 0; part < parts; ++part)
            step(first[part], second[part], static_cast<double>(samples[static_cast<int>(part) * length + n]));

    std::array<double, 4> power{1.0, 0.0, 0.0, 1.0}, square{-a1, 1.0, -a2, 0.0};
    const auto product = [](const std::array<double, 4>& l, const std::array<double, 4>& r) {
        return std::array<double, 4>{l[0] * r[0] + l[1] * r[2], l[0] * r[1] + l[1] * r[3], l[2] * r[0] + l[3] * r[2],
                                     l[2] * r[1] + l[3] * r[3]};
    };
    for (int rest = length; rest > 0; rest /= 2) {
        if (rest % 2 == 1) power = product(power, square);
        square = product(square, square);
    }
    State s = memory;
    for (std::size_t part = 0; part < parts; ++part)
        s = {power[0] * s.first + power[1] * s.second + first[part],
             power[2] * s.first + power[3] * s.second + second[part]};
    for (int n = parts * length; n < count; ++n)
        step(s.first, s.second, static_cast<double>(samples[n]));
    memory = s;
}

int HighPass::settlingSamples() const {
    // Each step shrinks the state by the magnitude of the poles, sqrt(a2) for a conjugate pair.
    return static_cast<int>(std::ceil(settledDb / decibelsOfPower(a2)));
}

bool HighPass::sameFilter(const HighPass& other) const {
    return b0 == other.b0 && a1 == other.a1;
}

} // namespace spillwright
