#pragma once

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <numbers>
#include <vector>

/// Signals of known truth, the same on every machine.
namespace spillwright::test {

/// Uniform to normal by hand: the distributions of the standard library differ between systems.
class Noise {
public:
    explicit Noise(std::uint64_t seed) : state(mixed(seed + 1)) {} // neighbouring seeds must not run side by side
    double uniform() {                                             // splitmix64
        return (static_cast<double>(mixed(state += 0x9E3779B97F4A7C15ull) >> 11) + 0.5) * 0x1.0p-53;
    }
    double normal() { return std::sqrt(-2.0 * std::log(uniform())) * std::cos(2.0 * std::numbers::pi * uniform()); }

private:
    std::uint64_t state;
    static std::uint64_t mixed(std::uint64_t z) {
        z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9ull;
        z = (z ^ (z >> 27)) * 0x94D049BB133111EBull;
        return z ^ (z >> 31);
    }
};

/// White noise of the given standard deviation.
inline std::vector<float> whiteNoise(std::size_t length, std::uint64_t seed, double deviation = 0.1) {
    Noise noise(seed);
    std::vector<float> samples(length);
    for (auto& sample : samples)
        sample = static_cast<float>(deviation * noise.normal());
    return samples;
}

// A sanitizer finds nothing in making test signals, and would make them most of what its tests take time for.
#if defined(__GNUC__)
#define SPILLWRIGHT_NOT_SANITIZED __attribute__((no_sanitize("address", "undefined", "thread")))
#else
#define SPILLWRIGHT_NOT_SANITIZED
#endif

/// The transform's steps from blocks of 2 `half` up to blocks of `to`, within x[from .. from + count - 1]; `turn`: the
/// n/2 roots of one. Real and imaginary parts in turn.
SPILLWRIGHT_NOT_SANITIZED inline void transformSteps(double* x, const double* turn, std::size_t n, std::size_t half,
                                                     std::size_t to, std::size_t from, std::size_t count) {
    for (; half < to; half *= 2)
        for (std::size_t block = from; block < from + count; block += 2 * half)
            for (std::size_t k = 0; k < half; ++k) {
                double* const low = x + 2 * (block + k);
                double* const high = low + 2 * half;
                const double* const t = turn + 2 * k * (n / 2 / half);
                const double real = t[0] * high[0] - t[1] * high[1], imaginary = t[0] * high[1] + t[1] * high[0];
                high[0] = low[0] - real;
                high[1] = low[1] - imaginary;
                low[0] += real;
                low[1] += imaginary;
            }
}

/// The discrete transform by halves, in double, apart from the library that the program uses. Length a power of two;
/// direction -1 or +1.
inline void transformByHalves(std::vector<std::complex<double>>& x, double direction) {
    const std::size_t n = x.size();
    for (std::size_t i = 1, j = 0; i < n; ++i) { // bits reversed
        std::size_t bit = n / 2;
        for (; j & bit; bit /= 2)
            j ^= bit;
        j ^= bit;
        if (i < j) std::swap(x[i], x[j]);
    }
    std::vector<std::complex<double>> turn(n / 2);
    for (std::size_t k = 0; k < turn.size(); ++k)
        turn[k] = std::polar(1.0, direction * 2.0 * std::numbers::pi * static_cast<double>(k) / static_cast<double>(n));
    // An array of complex numbers is one of their parts (ISO C++, [complex.numbers]). First what fits the cache.
    double* const parts = reinterpret_cast<double*>(x.data());
    const double* const turns = reinterpret_cast<const double*>(turn.data());
    const std::size_t part = std::min<std::size_t>(n, 4096);
    for (std::size_t from = 0; from < n; from += part)
        transformSteps(parts, turns, n, 1, part, from, part);
    transformSteps(parts, turns, n, part, n, 0, n);
}

/// The signal passed through a frequency response, given for 0 < f < rate/2 in Hz; the length is taken as circular, so
/// delays are exact to the last digit.
inline std::vector<float> filtered(const std::vector<float>& signal, double rateHz,
                                   const std::function<std::complex<double>(double)>& response) {
    std::size_t n = 1;
    while (n < signal.size())
        n *= 2;
    std::vector<std::complex<double>> spectrum(n);
    for (std::size_t k = 0; k < signal.size(); ++k)
        spectrum[k] = static_cast<double>(signal[k]);
    transformByHalves(spectrum, -1.0);
    spectrum[0] *= response(0.0).real();
    spectrum[n / 2] *= response(rateHz / 2).real();
    for (std::size_t k = 1; k < n / 2; ++k) {
        spectrum[k] *= response(static_cast<double>(k) * rateHz / static_cast<double>(n));
        spectrum[n - k] = std::conj(spectrum[k]);
    }
    transformByHalves(spectrum, 1.0);
    std::vector<float> result(signal.size());
    for (std::size_t k = 0; k < result.size(); ++k)
        result[k] = static_cast<float>(spectrum[k].real() / static_cast<double>(n));
    return result;
}

/// Delayed by any fraction of a sample.
inline std::vector<float> delayed(const std::vector<float>& signal, double samples, double factor = 1.0) {
    return filtered(signal, 1.0, [&](double cyclesPerSample) {
        return std::polar(factor, -2.0 * std::numbers::pi * cyclesPerSample * samples);
    });
}

/// Pink: every octave the same power, from 20 Hz up.
inline std::vector<float> pinkNoise(std::size_t length, std::uint64_t seed, double rateHz = 48000.0,
                                    double deviation = 0.1) {
    return filtered(whiteNoise(length, seed, deviation), rateHz,
                    [](double hertz) { return std::complex<double>(hertz < 20.0 ? 0.0 : std::sqrt(200.0 / hertz)); });
}

inline std::vector<float> sum(std::vector<float> a, const std::vector<float>& b, double factor = 1.0) {
    for (std::size_t n = 0; n < a.size() && n < b.size(); ++n)
        a[n] += static_cast<float>(factor * static_cast<double>(b[n]));
    return a;
}

} // namespace spillwright::test
