#include "Core/Measure/Kernels.h"

#include "Core/Signal/AlignedVector.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>
#include <hwy/targets.h>

#include <cmath>
#include <complex>

using namespace spillwright;
using namespace spillwright::kernels;
using namespace spillwright::test;

namespace {

/// Runs the check under each instruction set this machine has, the narrow ones of older machines included.
template <class Check>
void onEveryInstructionSet(Check&& check) {
    const auto targets = hwy::SupportedAndGeneratedTargets();
    REQUIRE_FALSE(targets.empty());
    for (const std::int64_t target : targets) {
        hwy::SetSupportedTargetsForTest(target);
        hwy::GetChosenTarget().Update(hwy::SupportedTargets());
        INFO(hwy::TargetName(target));
        check();
    }
    hwy::SetSupportedTargetsForTest(0); // back to what the machine has
    hwy::GetChosenTarget().Update(hwy::SupportedTargets());
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
            accumulateBlock(spectra.data(), tracks, windows, stride, sums.data(), phases.data(), {});
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
