#include "Core/Measure/CrossSpectra.h"
#include "Core/Measure/PairReading.h"

#include "Support/InstructionSets.h"
#include "Support/MemorySource.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <cstring>
#include <numbers>
#include <numeric>
#include <optional>
#include <utility>
#include <vector>

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

std::vector<float> everyOther(const CrossSpectra& spectra) {
    std::vector<float> weights(static_cast<std::size_t>(spectra.stretches()));
    for (std::size_t k = 0; k < weights.size(); k += 2)
        weights[k] = 1.0f;
    return weights;
}

std::vector<std::complex<float>> stretchOf(const CrossSpectra& spectra, int stretch, int i, int j) {
    std::vector<std::complex<float>> values(spectra.pools().size());
    spectra.copyStretch(stretch, i, j, values);
    return values;
}

std::vector<std::complex<float>> phasesOf(const CrossSpectra& spectra, int i, int j) {
    std::vector<std::complex<float>> values(spectra.phasePools().size());
    spectra.copyPhaseSums(i, j, values);
    return values;
}

std::vector<std::complex<float>> pairOf(const CrossSpectra& spectra, int i, int j) {
    std::vector<std::complex<float>> values(static_cast<std::size_t>(spectra.binCount()));
    spectra.copyPair(i, j, 0, values);
    return values;
}

template <class Value>
bool sameBytes(const std::vector<Value>& a, const std::vector<Value>& b) {
    return a.size() == b.size() && std::memcmp(a.data(), b.data(), a.size() * sizeof(Value)) == 0;
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
    const auto reading = readPair(restricted(whole, everyOther(whole)), 0, 2, {});
    CHECK(reading.related);
    REQUIRE(reading.arrival);
    CHECK(reading.arrival->delay.value == Approx(0.002).margin(5e-6)); // a quarter of a sample
    CHECK(reading.polarity->polarity == Polarity::same);
}

TEST_CASE("how finely stretches are kept follows the documented ladder") {
    const auto at48 = [](int tracks, int stretches, std::size_t bytes = keptAtMostBytes) {
        return chooseKeeping(8193, 48000.0 / 16384, tracks, stretches, bytes);
    };
    constexpr std::size_t fine = 952, coarse = 572;
    constexpr int fourMinutes = 49, hour = 728; // stretches of 29 windows
    struct Rung {
        int tracks, stretches;
        std::size_t values;
        int together;
    };
    for (const auto& rung : {Rung{24, fourMinutes, fine, 1}, Rung{64, fourMinutes, fine, 1}, Rung{24, hour, fine, 2},
                             Rung{8, hour, fine, 1}, Rung{128, fourMinutes, fine, 4}, Rung{64, hour, fine, 16}}) {
        const auto keeping = at48(rung.tracks, rung.stretches);
        CAPTURE(rung.tracks, rung.stretches);
        CHECK(keeping.valuesPerPair() == rung.values);
        CHECK(keeping.together == rung.together);
        CHECK(keeping.stretches == (rung.stretches + rung.together - 1) / rung.together);
        CHECK(keeping.bytes(rung.tracks) <= keptAtMostBytes);
    }
    // Each rung is left for the next at the byte, and needs less than it.
    std::size_t before = at48(24, hour, ~std::size_t(0)).bytes(24);
    CHECK(at48(24, hour, before).bytes(24) == before);
    const std::vector<std::pair<std::size_t, int>> ladder{{coarse, 1}, {fine, 2}, {coarse, 2}, {fine, 4}, {coarse, 4}};
    for (const auto& [values, together] : ladder) {
        const auto keeping = at48(24, hour, before - 1);
        CHECK(keeping.valuesPerPair() == values);
        CHECK(keeping.together == together);
        CHECK(keeping.bytes(24) < before);
        before = keeping.bytes(24);
    }
    CHECK(at48(24, hour, 0).stretches == 1); // the last rung, whatever it needs
    CHECK(at48(24, hour, 0).valuesPerPair() == coarse);
    CHECK(at48(24, 0).stretches == 0);
}

TEST_CASE("pools are contiguous from 0 Hz to 8 kHz, single bins up to 562 Hz, and no wider than promised at any rate") {
    struct Cut {
        double rate;
        int window;
    };
    for (const auto& cut : {Cut{8000, 2048}, Cut{32000, 8192}, Cut{44100, 16384}, Cut{48000, 16384}, Cut{88200, 32768},
                            Cut{96000, 32768}, Cut{192000, 65536}, Cut{48000, 1024}, Cut{48000, 4096}}) {
        CAPTURE(cut.rate, cut.window);
        const double width = cut.rate / cut.window;
        const int bins = std::min(cut.window / 2, static_cast<int>(24000.0 / width)) + 1;
        const auto pools = chooseKeeping(bins, width, 24, 49, keptAtMostBytes).pools(bins);
        int next = 0;
        for (const Pool& pool : pools) {
            REQUIRE(pool.firstBin == next);
            REQUIRE(pool.bins >= 1);
            next += pool.bins;
            if (pool.firstBin * width <= 562.3) REQUIRE(pool.bins == 1);
            // A block that begins below a limit is of the finer kind throughout.
            if (pool.bins > 1) REQUIRE(pool.bins * width <= (pool.firstBin * width <= 2000.0 ? 6.0 : 12.0));
        }
        CHECK((next == bins || (next - 1) * width >= 8000.0 - width));
        CHECK(next <= bins);
    }
}

TEST_CASE("stretches kept as one are the sum of those of the pass, and the test of phases stays with these") {
    const auto source = lateCopies(3, 46);
    const auto apart = spectraOf(source);
    REQUIRE(apart.stretches() == 10);
    // What three of the finest need, of six pairs: a little less than five of coarse pools.
    const auto together = spectraOf(source, {.keepAtMostBytes = std::size_t(952) * 4 * 6 * 3});
    REQUIRE(together.stretches() == 3);
    CHECK(together.sharedStretches(0, 1) == 10);
    CHECK(sameBytes(phasesOf(apart, 0, 1), phasesOf(together, 0, 1)));
    int stretch = 0, windows = 0;
    for (int k = 0; k < 3; ++k) {
        const int first = stretch;
        std::vector<std::complex<double>> sum(together.pools().size());
        std::vector<double> size(sum.size());
        REQUIRE(sum.size() == apart.pools().size());
        TrackStatistics statistics;
        for (; stretch < std::min(10, first + 4); ++stretch) {
            const auto part = stretchOf(apart, stretch, 0, 1);
            for (std::size_t n = 0; n < sum.size(); ++n) {
                sum[n] += std::complex<double>(part[n]) * double(apart.windowsOf(stretch));
                size[n] += std::abs(std::complex<double>(part[n])) * apart.windowsOf(stretch);
            }
            statistics.samples += apart.statisticsOf(1, stretch).samples;
        }
        windows += together.windowsOf(k);
        CHECK(together.stretchSpan(k) == StretchSpan{apart.stretchSpan(first).from, apart.stretchSpan(stretch - 1).to});
        CHECK(together.statisticsOf(1, k).samples == statistics.samples);
        const auto kept = stretchOf(together, k, 0, 1);
        double worst = 0.0;
        for (std::size_t n = 0; n < sum.size(); ++n)
            worst = std::max(worst, std::abs(std::complex<double>(kept[n]) * double(together.windowsOf(k)) - sum[n]) /
                                        size[n]);
        CHECK(worst < 4 * keptRounding); // rounded as often as there are stretches
    }
    CHECK(windows == together.windows());
}

TEST_CASE("stretches and what is chosen of them have the same bytes for any number of workers") {
    const auto source = lateCopies(7, 25);
    const auto one = spectraOf(source, {}, 1);
    Workers single(1);
    const auto weights = everyOther(one);
    const auto oneChosen = one.restrictedTo(weights, single);
    for (const int count : {2, 3, 5}) {
        const auto other = spectraOf(source, {}, count);
        Workers workers(count);
        const auto chosen = other.restrictedTo(weights, workers);
        bool same = true;
        for (int i = 0; i < 7; ++i)
            for (int j = i; j < 7; ++j) {
                same = same && sameBytes(pairOf(one, i, j), pairOf(other, i, j)) &&
                       sameBytes(phasesOf(one, i, j), phasesOf(other, i, j)) &&
                       sameBytes(pairOf(oneChosen, i, j), pairOf(chosen, i, j)) &&
                       sameBytes(phasesOf(oneChosen, i, j), phasesOf(chosen, i, j));
                for (int stretch = 0; stretch < one.stretches(); ++stretch)
                    same = same && sameBytes(stretchOf(one, stretch, i, j), stretchOf(other, stretch, i, j));
            }
        CHECK(same);
        CHECK(oneChosen.statistics(3).sumOfSquares == chosen.statistics(3).sumOfSquares);
    }
}

TEST_CASE("every instruction set answers alike") {
    const auto source = lateCopies(7, 8);
    std::optional<CrossSpectra> first;
    onEveryInstructionSet([&] {
        auto spectra = spectraOf(source);
        if (!first) {
            first = std::move(spectra);
            return;
        }
        const auto weights = everyOther(spectra);
        const auto chosen = restricted(spectra, weights), chosenFirst = restricted(*first, weights);
        double worst = 0.0, worstPhase = 0.0, worstChosen = 0.0;
        for (int i = 0; i < 7; ++i)
            for (int j = i; j < 7; ++j) {
                for (int bin = 20; bin < 8000; ++bin)
                    worst = std::max(worst, std::abs(spectra.at(bin, i, j) - first->at(bin, i, j)) /
                                                std::sqrt(first->power(bin, i) * first->power(bin, j)));
                for (std::size_t k = 0; k < spectra.pools().size(); ++k) {
                    const int bin = spectra.pools()[k].firstBin;
                    worstChosen =
                        std::max(worstChosen, std::abs(chosen.at(bin, i, j) - chosenFirst.at(bin, i, j)) /
                                                  std::sqrt(chosenFirst.power(bin, i) * chosenFirst.power(bin, j)));
                }
                if (i == j) continue;
                const auto a = phasesOf(spectra, i, j), b = phasesOf(*first, i, j);
                for (std::size_t k = 0; k < a.size(); ++k)
                    worstPhase = std::max(worstPhase, static_cast<double>(std::abs(a[k] - b[k])));
            }
        // Single precision in another order, of at most 2 * 29 products; a phasor of what is as small as a hundredth of
        // the power turns a hundred times as far, and four of them are summed. A value near the middle between two that
        // can be kept may go either way.
        CHECK(worst < 58 * 0x1p-24);
        CHECK(worstPhase < 4 * (100 * 58 * 0x1p-24 + 2e-5));
        CHECK(worstChosen < 2 * keptRounding);
    });
}

TEST_CASE("pools agree with single bins at small lags and lose height as sinc at large ones") {
    // Without noise, so that the whitened curve of single bins has height 1 but for what the window's shift leaves.
    const auto shared = whiteNoise(48000 * 40, 5);
    for (const int late : {0, 48, 480, 1440}) { // to 30 ms
        std::vector<float> copy(shared.size());
        std::copy(shared.begin(), shared.end() - late, copy.begin() + late);
        const auto whole = spectraOf(MemorySource({shared, copy}));
        const auto chosen = restricted(whole, std::vector<float>(static_cast<std::size_t>(whole.stretches()), 1.0f));
        const double seconds = late / 48000.0;
        const auto heightOf = [&](const CrossSpectra& spectra) {
            const auto curve = correlationCurve(spectra, 0, 1, Seconds(0.05));
            return static_cast<double>(*std::max_element(curve.values.begin(), curve.values.end()));
        };
        double expected = 0.0, weights = 0.0;
        for (const Pool& pool : whole.pools())
            for (int bin = pool.firstBin; bin < pool.firstBin + pool.bins; ++bin) {
                const double hertz = bin * whole.binWidth();
                if (hertz < 60.0 || hertz > 8000.0) continue;
                const double x = std::numbers::pi * seconds * whole.binWidth();
                const double loss = late == 0 ? 1.0 : std::sin(pool.bins * x) / (pool.bins * std::sin(x));
                expected += std::pow(hertz, -0.75) * loss;
                weights += std::pow(hertz, -0.75);
            }
        CAPTURE(late);
        // What lies outside the shift leaves 1/sqrt(n) of chance in the phase of a bin, and pools less than single
        // bins: its cosine loses half the square, (1 - 0.98) / (2 * 220) at 30 ms; the grid's points miss the crest by
        // 0.5 %.
        CHECK(heightOf(chosen) == Approx(heightOf(whole) * expected / weights).margin(0.01));
        if (late == 1440) CHECK(expected / weights < 0.93);
    }
}

TEST_CASE("a stretch in which a track is silent keeps nothing of it and lends it no weight") {
    const std::size_t length = 16384 + 115 * 8192; // four stretches of 29 windows
    const auto a = whiteNoise(length, 1);
    auto b = a;
    std::fill(b.begin() + 59 * 8192, b.end(), 0.0f);
    const auto whole = spectraOf(MemorySource({a, b}));
    REQUIRE(whole.stretches() == 4);
    CHECK(whole.sounds(1, 0));
    CHECK(whole.sounds(1, 1));
    CHECK_FALSE(whole.sounds(1, 3));
    for (const auto& value : stretchOf(whole, 3, 0, 1))
        REQUIRE(value == std::complex<float>());
    const auto chosen = restricted(whole, {1.0f, 0.5f, 0.0f, 1.0f});
    CHECK(chosen.stretches() == 0);
    CHECK(chosen.sharedStretches(0, 0) == 3);
    CHECK(chosen.sharedStretches(0, 1) == 2);
    CHECK(chosen.phaseWeights(0, 1).sum == 1.5);
    CHECK(chosen.phaseWeights(0, 1).squares == 1.25);
    CHECK(chosen.phaseWeights(0, 1).fourths == 1.0625);
    CHECK(chosen.sharedAverages(0, 1) == Approx(0.947 * 29 * 1.5 * 1.5 / 1.25));
    for (const auto& phase : phasesOf(chosen, 0, 1)) // the same sound: each phasor is its weight
        REQUIRE(std::abs(phase - 1.5f) < 1e-4f);
    const auto silent = restricted(whole, {0.0f, 0.0f, 0.0f, 1.0f});
    CHECK(silent.statistics(1).silent());
    CHECK_FALSE(silent.statistics(0).silent());
    CHECK_FALSE(readPair(silent, 0, 1, {}).related);
    const auto nothing = restricted(whole, {0.0f, 0.0f, 0.0f, 0.0f});
    CHECK(nothing.windows() == 0);
    CHECK(nothing.from() == nothing.to());
    CHECK(nothing.at(100, 0, 1) == std::complex<double>());
    CHECK_FALSE(readPair(nothing, 0, 1, {}).related);
}

TEST_CASE("statistics of chosen stretches count each of their samples once") {
    auto samples = whiteNoise(48000 * 22, 4, 0.2);
    const auto whole = spectraOf(MemorySource({samples, samples}));
    const int last = whole.stretches() - 1;
    std::int64_t counted = 0;
    for (int stretch = 0; stretch <= last; ++stretch) {
        const StretchSpan span = whole.stretchSpan(stretch);
        const std::int64_t from = stretch == 0 ? span.from : span.from + 8192;
        double squares = 0.0;
        float peak = 0.0f;
        for (auto n = from; n < span.to; ++n) {
            const float sample = samples[static_cast<std::size_t>(n)];
            squares += static_cast<double>(sample) * static_cast<double>(sample);
            peak = std::max(peak, std::abs(sample));
        }
        const auto& statistics = whole.statisticsOf(1, stretch);
        CHECK(statistics.samples == span.to - from);
        CHECK(statistics.sumOfSquares == Approx(squares).epsilon(1e-5)); // single precision within a read
        CHECK(statistics.peak == peak);
        counted += statistics.samples;
    }
    CHECK(counted == whole.stretchSpan(last).to);
    std::vector<float> weights(static_cast<std::size_t>(whole.stretches()));
    weights[1] = 0.25f;
    weights[2] = 1.0f;
    const auto chosen = restricted(whole, weights);
    CHECK(chosen.statistics(0).samples == whole.statisticsOf(0, 1).samples + whole.statisticsOf(0, 2).samples);
    CHECK(chosen.from() == whole.stretchSpan(1).from);
    CHECK(chosen.to() == whole.stretchSpan(2).to);
}

TEST_CASE("weights count window by window and only against each other") {
    const auto whole = spectraOf(lateCopies(2, 22));
    std::vector<float> weights(static_cast<std::size_t>(whole.stretches()));
    weights[0] = 3.0f;
    weights[2] = 1.0f;
    const auto chosen = restricted(whole, weights);
    for (auto& weight : weights)
        weight *= 0.125f; // a power of two: not a bit may differ
    CHECK(sameBytes(pairOf(chosen, 0, 1), pairOf(restricted(whole, weights), 0, 1)));
    const auto first = stretchOf(whole, 0, 0, 1), second = stretchOf(whole, 2, 0, 1);
    const double a = 3.0 * whole.windowsOf(0), b = whole.windowsOf(2);
    double worst = 0.0;
    for (std::size_t k = 0; k < first.size(); ++k) {
        const Pool pool = whole.pools()[k];
        const auto expected = (a * std::complex<double>(first[k]) + b * std::complex<double>(second[k])) / (a + b);
        worst = std::max(worst, std::abs(chosen.at(pool.firstBin, 0, 1) * double(pool.bins) - expected) /
                                    static_cast<double>(std::abs(first[k]) + std::abs(second[k])));
    }
    CHECK(worst < 8 * 0x1p-24); // eight roundings of single precision
    CHECK(chosen.effectiveAverages() == Approx(0.947 * (a + b) * (a + b) / (3.0 * a + b)));
}

TEST_CASE("8 kHz and 192 kHz are kept like 48") {
    for (const double rate : {8000.0, 192000.0}) {
        const auto source = lateCopies(2, 9, 5, rate);
        const auto whole = spectraOf(source);
        REQUIRE(whole.stretches() >= 2);
        const StretchSpan span = whole.stretchSpan(1);
        const auto anew = spectraOf(source, {.from = span.from, .to = span.to});
        REQUIRE(anew.windowLength() == whole.windowLength());
        const auto kept = stretchOf(whole, 1, 1, 0);
        double worst = 0.0;
        for (std::size_t k = 0; k < kept.size(); ++k) {
            std::complex<double> sum;
            double power = 0.0;
            for (int bin = whole.pools()[k].firstBin; bin < whole.pools()[k].firstBin + whole.pools()[k].bins; ++bin) {
                sum += anew.at(bin, 1, 0);
                power += anew.power(bin, 0);
            }
            worst =
                std::max(worst, (std::abs(std::complex<double>(kept[k]) - sum) - keptRounding * std::abs(sum)) / power);
        }
        CHECK(worst < 1e-6); // single precision
        const double top = (whole.pools().back().firstBin + whole.pools().back().bins - 1) * whole.binWidth();
        CHECK(top >= std::min(8000.0, rate / 2) - whole.binWidth());
    }
}

TEST_CASE("a hundred and twenty-eight tracks keep their stretches") {
    std::vector<std::vector<float>> tracks;
    for (std::uint64_t track = 0; track < 128; ++track)
        tracks.push_back(whiteNoise(9600, track));
    tracks[127] = tracks[0];
    const auto whole = spectraOf(MemorySource(tracks));
    REQUIRE(whole.stretches() == 2);
    const auto chosen = restricted(whole, everyOther(whole));
    const auto first = stretchOf(whole, 0, 0, 127), own = stretchOf(whole, 0, 127, 127);
    for (std::size_t k = 0; k < own.size(); ++k)
        REQUIRE(first[k].real() == own[k].real());
    CHECK(chosen.at(30, 0, 127).real() == chosen.power(30, 0));
    CHECK(std::abs(chosen.at(30, 0, 126)) < 0.9 * chosen.power(30, 0));
}

TEST_CASE("unrelated tracks stay unrelated in any choice of stretches, and a related pair shows in two", "[long]") {
    // Thirty tracks are 435 pairs; one in 740 may pass by chance, so more
    // than four do so once in 300 runs, and this run is always the same.
    std::vector<std::vector<float>> tracks;
    for (std::uint64_t track = 0; track < 30; ++track)
        tracks.push_back(whiteNoise(48000 * 31, track + 1));
    tracks.push_back(sum(tracks[0], tracks[1]));
    // A little of track 0 in both: a coherence of 0.0064. Two stretches lack the third that the test of phases needs;
    // the mean coherence over pools then stands six of its standard deviations above chance, and would stand two above
    // the chance of single bins.
    std::vector<std::vector<float>> faint(2);
    for (std::size_t n = 0; n < tracks[0].size(); ++n)
        for (std::size_t k = 0; k < 2; ++k)
            faint[k].push_back(tracks[k + 1][n] + 0.295f * tracks[0][n]);
    tracks.insert(tracks.end(), faint.begin(), faint.end());
    const auto whole = spectraOf(MemorySource(tracks));
    REQUIRE(whole.stretches() >= 6);
    std::vector<int> thirty(30);
    std::iota(thirty.begin(), thirty.end(), 0);
    std::vector<float> uneven(static_cast<std::size_t>(whole.stretches())), two(uneven), all(uneven.size(), 1.0f);
    for (std::size_t k = 0; k < uneven.size(); ++k)
        uneven[k] = 0.2f * static_cast<float>(k % 4 + 1);
    two[1] = two[4] = 1.0f;
    for (const auto& weights : {all, everyOther(whole), uneven, two}) {
        const auto chosen = restricted(whole, weights);
        Workers workers(2);
        const auto readings = readPairs(chosen, thirty, {}, workers, {});
        REQUIRE(readings);
        CHECK(std::count_if(readings->begin(), readings->end(), [](const auto& r) { return r.related; }) <= 4);
        CHECK(readPair(chosen, 0, 30, {}).related);
        CHECK(readPair(chosen, 31, 32, {}).related);
    }
}
