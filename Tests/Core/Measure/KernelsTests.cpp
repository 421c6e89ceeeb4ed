#include "Core/Measure/Kernels.h"

#include "Core/Signal/AlignedVector.h"
#include "Support/InstructionSets.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <bit>
#include <cmath>
#include <complex>
#include <vector>

using namespace spillwright;
using namespace spillwright::kernels;
using namespace spillwright::test;

namespace {

AlignedVector<float> noiseOf(std::size_t count, std::uint64_t seed) {
    AlignedVector<float> values(count);
    Noise noise(seed);
    for (auto& value : values)
        value = static_cast<float>(noise.normal());
    return values;
}

} // namespace

TEST_CASE("every instruction set accumulates what a plain loop does") {
    constexpr int windows = 5;
    constexpr std::size_t stride = windows * floatsPerBlock;
    onEveryInstructionSet([&] {
        for (int tracks = 1; tracks <= 13; ++tracks) {
            const auto count = static_cast<std::size_t>(tracks);
            AlignedVector<float> spectra(count * stride);
            Noise noise(7);
            for (auto& value : spectra)
                value = static_cast<float>(noise.normal());
            AlignedVector<float> sums(count * (count + 1) / 2 * floatsPerBlock, 1.0f), phases(sums);
            accumulateBlock(spectra.data(), tracks, windows, stride, sums.data(), phases.data(), {}, nullptr);
            double worst = 0.0, worstPhase = 0.0;
            std::size_t pair = 0;
            for (std::size_t i = 0; i < count; ++i)
                for (std::size_t j = i; j < count; ++j, ++pair)
                    for (std::size_t bin = 0; bin < binsPerBlock; ++bin) {
                        const auto valueOf = [&](const AlignedVector<float>& from, std::size_t at) {
                            return std::complex<double>(static_cast<double>(from[at + bin]),
                                                        static_cast<double>(from[at + binsPerBlock + bin]));
                        };
                        std::complex<double> sum;
                        for (std::size_t k = 0; k < windows; ++k)
                            sum += valueOf(spectra, i * stride + k * floatsPerBlock) *
                                   std::conj(valueOf(spectra, j * stride + k * floatsPerBlock));
                        const std::complex<double> before(1.0, 1.0);
                        const std::size_t at = pair * floatsPerBlock;
                        worst = std::max(worst, std::abs(valueOf(sums, at) - before - sum));
                        worstPhase = std::max(worstPhase, std::abs(valueOf(phases, at) - before - sum / std::abs(sum)));
                    }
            // Sums of ten products of size one in single precision, and phasors of sums that may be a hundredth of
            // that.
            CHECK(worst < 2e-5);
            CHECK(worstPhase < 1e-4);
        }
    });
}

TEST_CASE("every instruction set keeps pools of bins as a plain loop rounds them, and adds to them") {
    constexpr int windows = 5, tracks = 6;
    constexpr std::size_t stride = windows * floatsPerBlock, pairs = tracks * (tracks + 1) / 2;
    const auto spectra = noiseOf(tracks * stride, 7), others = noiseOf(tracks * stride, 8);
    onEveryInstructionSet([&] {
        for (const std::size_t pool : {1u, 2u, 4u, 8u}) {
            const std::size_t values = binsPerBlock / pool;
            std::vector<std::uint32_t> kept(pairs * values + 1, 0xabcdabcdu);
            AlignedVector<float> sums(pairs * floatsPerBlock), both(sums);
            KeptBlock block{kept.data(), static_cast<int>(pool), false};
            accumulateBlock(spectra.data(), tracks, windows, stride, sums.data(), nullptr, block, others.data());
            const auto first = kept;
            block.add = true;
            both = sums;
            accumulateBlock(others.data(), tracks, windows, stride, both.data(), nullptr, block, nullptr);
            REQUIRE(kept.back() == 0xabcdabcdu); // nothing is written past the end
            double worst = 0.0, worstAdded = 0.0;
            for (std::size_t pair = 0; pair < pairs; ++pair)
                for (std::size_t k = 0; k < values; ++k)
                    for (const std::size_t part : {0, binsPerBlock}) {
                        double sum = 0.0, added = 0.0, size = 0.0;
                        for (std::size_t bin = k * pool; bin < (k + 1) * pool; ++bin) {
                            const std::size_t at = pair * floatsPerBlock + part + bin;
                            sum += static_cast<double>(sums[at]);
                            added += static_cast<double>(both[at]);
                            size += std::abs(static_cast<double>(sums[at])) + std::abs(static_cast<double>(both[at]));
                        }
                        const auto valueOf = [&](std::uint32_t packed) {
                            const auto value = keptValue(packed);
                            return static_cast<double>(part == 0 ? value.real() : value.imag());
                        };
                        const std::size_t at = pair * values + k;
                        worst = std::max(worst, std::abs(valueOf(first[at]) - sum) / size);
                        worstAdded = std::max(worstAdded, std::abs(valueOf(kept[at]) - added) / size);
                        // Eight significant bits: each rounding is half a unit of the last, 2^-8 of the value. Vectors
                        // of one number round a pool of eight eight times, those of four twice, the wider once.
                        if (pool == 1) CHECK(valueOf(first[at]) == Approx(sum).epsilon(0x1p-8).margin(1e-7));
                    }
            CHECK(worst < 0x1p-8);
            CHECK(worstAdded < 2 * 0x1p-8);
        }
    });
}

TEST_CASE("every instruction set adds kept values and their phasors alike") {
    constexpr std::size_t count = 48;
    std::vector<std::uint32_t> values(count);
    Noise noise(3);
    for (auto& value : values)
        value = (std::bit_cast<std::uint32_t>(static_cast<float>(noise.normal())) & 0xffff0000u) |
                (std::bit_cast<std::uint32_t>(static_cast<float>(noise.normal())) >> 16);
    values[5] = 0;                                                        // silence
    values[6] = std::bit_cast<std::uint32_t>(1e19f) & 0xffff0000u;        // its square is beyond float
    values[7] = std::bit_cast<std::uint32_t>(1e-25f) >> 16 | 0x80000000u; // as is that of this one
    onEveryInstructionSet([&] {
        AlignedVector<float> re(count, 1.0f), im(re), phaseRe(re), phaseIm(re);
        addKept(values.data(), count, 0.5f, 0.25f, {re.data(), im.data(), phaseRe.data(), phaseIm.data()});
        for (std::size_t k = 0; k < count; ++k) {
            const std::complex<double> value(keptValue(values[k]));
            const auto phasor = std::abs(value) > 0.0 ? value / std::abs(value) : std::complex<double>();
            // One rounding of a single-precision sum; of phasors, the promise of accumulateBlock.
            CHECK(static_cast<double>(re[k]) == Approx(1.0 + 0.5 * value.real()).epsilon(0x1p-23));
            CHECK(static_cast<double>(im[k]) == Approx(1.0 + 0.5 * value.imag()).epsilon(0x1p-23));
            CHECK(std::abs(static_cast<double>(phaseRe[k]) - (1.0 + 0.25 * phasor.real())) < 0.25 * 2e-5);
            CHECK(std::abs(static_cast<double>(phaseIm[k]) - (1.0 + 0.25 * phasor.imag())) < 0.25 * 2e-5);
        }
    });
}

TEST_CASE("every instruction set windows, scatters and sums alike") {
    onEveryInstructionSet([&] {
        const auto noise = whiteNoise(1024 + 7, 3, 0.5);
        const auto sums = sumSamples(noise.data(), 1024 + 7, 0.9999f);
        double sum = 0.0, squares = 0.0;
        float peak = 0.0f;
        std::int64_t clipped = 0;
        for (const float sample : noise) {
            sum += static_cast<double>(sample);
            squares += static_cast<double>(sample) * static_cast<double>(sample);
            peak = std::max(peak, std::abs(sample));
            clipped += std::abs(sample) >= 0.9999f;
        }
        CHECK(sums.sum == Approx(sum).margin(1e-5 * 0.4 * 1024)); // 1e-5 of the mean magnitude's sum
        CHECK(sums.sumOfSquares == Approx(squares).epsilon(1e-5));
        CHECK(sums.peak == peak);
        CHECK(sums.clipped == clipped);
        REQUIRE(clipped > 0);

        AlignedVector<float> samples(noise.begin(), noise.begin() + 1024), window(1024, 0.5f), output(1024);
        applyWindow(samples.data(), window.data(), 0.25f, output.data(), 1024);
        for (std::size_t n = 0; n < 1024; ++n)
            REQUIRE(output[n] == 0.5f * std::clamp(samples[n], -0.25f, 0.25f));

        AlignedVector<std::complex<float>> spectrum(4 * binsPerBlock);
        for (std::size_t k = 0; k < spectrum.size(); ++k)
            spectrum[k] = {static_cast<float>(k), -static_cast<float>(k) - 0.5f};
        AlignedVector<float> blocks(4 * 2 * floatsPerBlock, -1.0f);
        scatterBlocks(spectrum.data(), 4, blocks.data(), 2 * floatsPerBlock);
        for (std::size_t k = 0; k < spectrum.size(); ++k) {
            const std::size_t at = k / binsPerBlock * 2 * floatsPerBlock + k % binsPerBlock;
            REQUIRE(blocks[at] == spectrum[k].real());
            REQUIRE(blocks[at + binsPerBlock] == spectrum[k].imag());
            REQUIRE(blocks[at + floatsPerBlock] == -1.0f);
        }
    });
}
