#include "Core/Loudness.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>

namespace spillwright {

namespace {

constexpr double calibrationDb = -0.691;
constexpr double relativeGate = -10.0; // LU
constexpr double nothing = 1e-30;      // of a state: below it what rings on is taken as silence

double powerOf(double loudness) {
    return std::pow(10.0, (loudness - calibrationDb) / 10.0);
}

} // namespace

KFilter::KFilter(double rate) : sampleRate(rate) {
    const auto warped = [rate](double hertz) { return std::tan(std::numbers::pi * hertz / rate); };
    {
        const double k = warped(1681.974450955533), q = 0.7071752369554196;
        const double high = amplitudeOfDecibels(3.999843853973347), band = std::pow(high, 0.4996667741545416);
        const double scale = 1.0 / (1.0 + k / q + k * k);
        sections[0] = {(high + band * k / q + k * k) * scale, 2.0 * (k * k - high) * scale,
                       (high - band * k / q + k * k) * scale, 2.0 * (k * k - 1.0) * scale,
                       (1.0 - k / q + k * k) * scale};
    }
    {
        const double k = warped(38.13547087602444), q = 0.5003270373238773;
        const double scale = 1.0 / (1.0 + k / q + k * k);
        sections[1] = {1.0, -2.0, 1.0, 2.0 * (k * k - 1.0) * scale, (1.0 - k / q + k * k) * scale};
    }
}

void KFilter::process(float* samples, int count) {
    auto [shelf, highPass] = sections;
    const auto step = [](Section& s, double x) {
        const double y = s.b0 * x + s.first;
        s.first = s.b1 * x - s.a1 * y + s.second;
        s.second = s.b2 * x - s.a2 * y;
        return y;
    };
    for (int n = 0; n < count; ++n)
        samples[n] = static_cast<float>(step(highPass, step(shelf, static_cast<double>(samples[n]))));
    // Numbers too small to be normal take many times as long to reckon with.
    for (Section* s : {&shelf, &highPass})
        if (std::abs(s->first) < nothing && std::abs(s->second) < nothing) s->first = s->second = 0.0;
    sections = {shelf, highPass};
}

double KFilter::powerAt(Hertz frequency) const {
    const auto z = std::polar(1.0, -2.0 * std::numbers::pi * frequency.value / sampleRate); // z^-1
    std::complex<double> response = 1.0;
    for (const Section& s : sections)
        response *= (s.b0 + s.b1 * z + s.b2 * z * z) / (1.0 + s.a1 * z + s.a2 * z * z);
    return std::norm(response);
}

double kWeighting(Hertz frequency) {
    static const KFilter filter(48000.0);
    return filter.powerAt(frequency);
}

std::optional<double> gatedLoudness(std::span<const double> blockPowers) {
    const auto meanAbove = [&](double gate) {
        double sum = 0.0;
        std::size_t count = 0;
        for (const double power : blockPowers)
            if (power >= gate) {
                sum += power;
                ++count;
            }
        return count > 0 ? sum / static_cast<double>(count) : 0.0;
    };
    const double least = powerOf(absoluteGate);
    const double loud = meanAbove(least);
    if (!(loud > 0.0)) return std::nullopt;
    const double gated = meanAbove(std::max(least, loud * std::pow(10.0, relativeGate / 10.0)));
    return calibrationDb + decibelsOfPower(gated);
}

} // namespace spillwright
