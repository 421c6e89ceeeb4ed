#include "Core/Measure/CrossSpectra.h"
#include "Core/Measure/PairReading.h"

#include "Support/MemorySource.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <numbers>
#include <utility>

using namespace spillwright;
using namespace spillwright::test;

namespace {

// Each part of a kept value is rounded to 8 significant bits: half a unit in the last place is 2^-8 of it at most.
constexpr double keptRounding = 0x1p-8;

CrossSpectra spectraOf(const MemorySource& source, CrossSpectraOptions options = {}, int workerCount = 2) {
    Workers workers(workerCount);
    auto spectra = computeCrossSpectra(source, options, workers, {});
    REQUIRE(spectra);
    return std::move(spectra).value();
}

CrossSpectra restricted(const CrossSpectra& spectra, const std::vector<float>& weights) {
    Workers workers(2);
    return spectra.restrictedTo(weights, workers);
}

/// Tracks of one sound, each later by `samplesApart` than the one before, under noise of their own.
MemorySource lateCopies(int tracks, int seconds, int samplesApart = 12, double rateHz = 48000.0) {
    const auto length = static_cast<std::size_t>(seconds * rateHz);
    const auto shared = whiteNoise(length, 99);
    std::vector<std::vector<float>> samples;
    for (int track = 0; track < tracks; ++track) {
        auto own = whiteNoise(length, static_cast<std::uint64_t>(track + 1));
        const auto late = static_cast<std::size_t>(track * samplesApart);
        for (std::size_t n = late; n < length; ++n)
            own[n] = 0.5f * own[n] + shared[n - late];
        samples.push_back(std::move(own));
    }
    return MemorySource(std::move(samples), rateHz);
}

} // namespace

TEST_CASE("a chosen stretch is what measuring its samples anew gives, pool by pool") {
    const auto source = lateCopies(5, 22);
    const auto whole = spectraOf(source);
    REQUIRE(whole.stretches() >= 4);
    for (const int stretch : {0, 2, whole.stretches() - 1}) {
        const StretchSpan span = whole.stretchSpan(stretch);
        const auto anew = spectraOf(source, {.from = span.from, .to = span.to});
        REQUIRE(anew.windows() == whole.windowsOf(stretch));
        std::vector<float> weights(static_cast<std::size_t>(whole.stretches()));
        weights[static_cast<std::size_t>(stretch)] = 0.7f;
        const auto chosen = restricted(whole, weights);
        CHECK(chosen.from() == span.from);
        CHECK(chosen.to() == span.to);
        CHECK(chosen.windows() == anew.windows());
        CHECK(chosen.effectiveAverages() == Approx(anew.effectiveAverages()));
        std::vector<std::complex<float>> kept(whole.pools().size());
        for (int i = 0; i < 5; ++i)
            for (int j = 0; j < 5; ++j) {
                whole.copyStretch(stretch, i, j, kept);
                double worst = 0.0, worstChosen = 0.0;
                for (std::size_t k = 0; k < kept.size(); ++k) {
                    const Pool pool = whole.pools()[k];
                    std::complex<double> sum;
                    for (int bin = pool.firstBin; bin < pool.firstBin + pool.bins; ++bin)
                        sum += anew.at(bin, i, j);
                    const auto spread = chosen.at(pool.firstBin + pool.bins - 1, i, j) * double(pool.bins);
                    // The transforms begin elsewhere in the windows' order alone: the sums differ by single rounding.
                    const double allowed = keptRounding * std::abs(sum) + 1e-6 * whole.power(pool.firstBin, i);
                    worst = std::max(worst, std::abs(std::complex<double>(kept[k]) - sum) / allowed);
                    worstChosen = std::max(worstChosen, std::abs(spread - sum) / allowed);
                }
                CHECK(worst <= 1.0);
                CHECK(worstChosen <= 1.0);
            }
    }
}

TEST_CASE("all stretches together are the whole") {
    const auto whole = spectraOf(lateCopies(4, 22));
    const auto chosen = restricted(whole, std::vector<float>(static_cast<std::size_t>(whole.stretches()), 1.0f));
    CHECK(chosen.windows() == whole.windows());
    CHECK(chosen.effectiveAverages() == Approx(whole.effectiveAverages()));
    CHECK(chosen.sharedStretches(0, 1) == whole.sharedStretches(0, 1));
    CHECK(chosen.binCount() == whole.pools().back().firstBin + whole.pools().back().bins);
    for (int i = 0; i < 4; ++i)
        for (int j = i; j < 4; ++j) {
            double worst = 0.0;
            for (const Pool& pool : whole.pools()) {
                std::complex<double> sum;
                double power = 0.0;
                for (int bin = pool.firstBin; bin < pool.firstBin + pool.bins; ++bin) {
                    sum += whole.at(bin, i, j);
                    power += std::sqrt(whole.power(bin, i) * whole.power(bin, j));
                }
                worst = std::max(worst, std::abs(chosen.at(pool.firstBin, i, j) * double(pool.bins) - sum) / power);
            }
            // Stretches whose cross-spectra cancel leave the rounding of what they are, which is at most their power.
            CHECK(worst < keptRounding);
        }
}

TEST_CASE("a related pair is read alike from half of its stretches") {
    const auto whole = spectraOf(lateCopies(3, 32, 48));
    std::vector<float> odd(static_cast<std::size_t>(whole.stretches()));
    for (std::size_t k = 0; k < odd.size(); k += 2)
        odd[k] = 1.0f;
    const auto reading = readPair(restricted(whole, odd), 0, 2, {});
    CHECK(reading.related);
    REQUIRE(reading.arrival);
    CHECK(reading.arrival->delay.value == Approx(0.002).margin(5e-6)); // a quarter of a sample
    CHECK(reading.polarity->polarity == Polarity::same);
}
