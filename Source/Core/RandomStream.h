#pragma once

#include <cstdint>

namespace spillwright {

/// The same numbers on every machine, unlike the standard library's distributions.
/// SplitMix64: Steele, Lea & Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014.
class RandomStream {
public:
    explicit RandomStream(std::uint64_t seed) : state(seed) {}

    std::uint64_t bits() {
        std::uint64_t z = (state += 0x9e3779b97f4a7c15u);
        z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
        z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
        return z ^ (z >> 31);
    }
    double uniform() { return static_cast<double>(bits() >> 11) * 0x1p-53; } ///< [0, 1).
    double between(double low, double high) { return low + (high - low) * uniform(); }
    int below(int count) { return static_cast<int>(uniform() * count); } ///< 0..count-1.
    int sign() { return (bits() >> 63) != 0 ? -1 : 1; }
    /// Mean 0, variance 1, bell-shaped within +-3.46: the sum of four uniform numbers of 16 bits.
    double bell() {
        const std::uint64_t b = bits();
        const auto part = [b](int shift) { return static_cast<double>((b >> shift) & 0xffff); };
        const double sum = part(0) + part(16) + part(32) + part(48);
        constexpr double mean = 2.0 * 65535.0;
        constexpr double deviation = 37837.22714; // sqrt(4 (65536^2 - 1) / 12)
        return (sum - mean) / deviation;
    }

private:
    std::uint64_t state;
};

} // namespace spillwright
