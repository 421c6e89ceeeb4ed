#pragma once

#include <cstdint>

namespace spillwright {

/// Random numbers that are the same everywhere, unlike the distributions of the standard library.
/// SplitMix64: Steele, Lea & Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014.
class Seeded {
public:
    explicit Seeded(std::uint64_t seed) : state(seed) {}

    std::uint64_t bits() {
        std::uint64_t z = (state += 0x9e3779b97f4a7c15ULL);
        z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9ULL;
        z = (z ^ (z >> 27)) * 0x94d049bb133111ebULL;
        return z ^ (z >> 31);
    }

    /// 0 <= u < 1.
    double uniform() { return static_cast<double>(bits() >> 11) * 0x1.0p-53; }

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
