#include "Core/Signal/AlignedVector.h"
#include "Core/Signal/Fourier.h"

#include "Support/InstructionSets.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <random>

using namespace spillwright;
using namespace spillwright::test;

namespace {

AlignedVector<float> noise(int count) {
    std::mt19937 random(7);
    std::normal_distribution<float> normal;
    AlignedVector<float> samples(static_cast<std::size_t>(count));
    std::generate(samples.begin(), samples.end(), [&] { return normal(random); });
    return samples;
}

std::complex<double> definition(const AlignedVector<float>& samples, int k) {
    std::complex<double> sum;
    const auto count = static_cast<long>(samples.size());
    for (long n = 0; n < count; ++n)
        sum +=
            static_cast<double>(samples[static_cast<std::size_t>(n)]) *
            std::polar(1.0, -2.0 * std::numbers::pi * static_cast<double>(k * n % count) / static_cast<double>(count));
    return sum;
}

} // namespace

TEST_CASE("the transform is the sum that defines it, whatever its length and the vectors'") {
    onEveryInstructionSet([&] {
        for (const int length : {2, 4, 6, 8, 10, 34, 66, 130, 1000, 1024, 16384}) {
            CAPTURE(length);
            const auto transform = Fourier::ofLength(length);
            REQUIRE(transform->binCount() == length / 2 + 1);
            auto samples = noise(length);
            const auto before = samples;
            AlignedVector<std::complex<float>> spectrum(static_cast<std::size_t>(transform->binCount()));
            transform->forward(samples.data(), spectrum.data());
            CHECK(samples == before);
            double worst = 0.0;
            for (int k = 0; k < transform->binCount(); k += 1 + length / 500)
                worst = std::max(worst, std::abs(std::complex<double>(spectrum[static_cast<std::size_t>(k)]) -
                                                 definition(samples, k)));
            CHECK(worst < 1e-6 * std::sqrt(length) * std::log2(2.0 * length));
            CHECK(spectrum.front().imag() == 0.0f);
            CHECK(spectrum.back().imag() == 0.0f);

            AlignedVector<float> back(samples.size());
            transform->inverse(spectrum.data(), back.data());
            double off = 0.0;
            for (std::size_t n = 0; n < back.size(); ++n)
                off = std::max(off, std::abs(static_cast<double>(back[n]) / length - static_cast<double>(samples[n])));
            CHECK(off < 2e-6);
        }
    });
}

TEST_CASE("one transform serves two buffers alike, to the bit") {
    const auto transform = Fourier::ofLength(16384);
    CHECK(transform == Fourier::ofLength(16384));
    auto samples = noise(16384);
    AlignedVector<std::complex<float>> one(8193), other(8193);
    transform->forward(samples.data(), one.data());
    transform->forward(samples.data(), other.data());
    CHECK(one == other);
}
