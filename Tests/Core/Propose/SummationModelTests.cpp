#include "Core/Propose/SummationModel.h"
#include "Core/Signal/HighPass.h"
#include "Support/MemorySource.h"
#include "Support/TestSignals.h"
#include "TestModels.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <numbers>

using namespace spillwright;
using namespace spillwright::test;

namespace {

/// Made-up spectra of some tracks: Hermitian and positive semidefinite at every bin, as measured ones are.
struct Spectra {
    int bins;
    double width;
    std::vector<Eigen::MatrixXcd> matrices;

    Spectra(int tracks, int binCount, double binWidth, std::uint64_t seed) : bins(binCount), width(binWidth) {
        RandomStream random(seed);
        for (int bin = 0; bin < bins; ++bin) {
            Eigen::MatrixXcd a = Eigen::MatrixXcd::NullaryExpr(tracks, tracks, [&] {
                const double re = random.between(-1.0, 1.0);
                return std::complex<double>(re, random.between(-1.0, 1.0));
            });
            matrices.push_back(a * a.adjoint() * std::exp(random.between(-3.0, 3.0)));
        }
    }
    SummationModel model(const std::vector<TrackAdjustment>& adjustments, Band band) const {
        return SummationModel::fromSpectra(
            bins, width, [&](int bin, int i, int j) { return matrices[bin](i, j); }, adjustments, band);
    }
};

struct Gains {
    double now = 0.0, inPhase = 0.0;
};

/// The definition, written down once more: slow, with nothing kept.
Gains gainsByDefinition(const Spectra& spectra, const std::vector<TrackAdjustment>& adjustments, Band band) {
    Gains gains;
    double octaves = 0.0;
    for (int k = -10; k < 50; ++k) {
        const double low = std::max(band.low.value, std::pow(10.0, (k - 0.5) / 10.0));
        const double high = std::min(band.high.value, std::pow(10.0, (k + 0.5) / 10.0));
        if (high <= low * (1.0 + 1e-9)) continue;
        double sum = 0.0, alone = 0.0, inPhase = 0.0;
        for (int bin = 1; bin < spectra.bins; ++bin) {
            const double f = bin * spectra.width;
            if (f < low || f > high || (f == high && high < band.high.value)) continue;
            std::complex<double> total = 0.0;
            double amplitudes = 0.0;
            std::vector<std::complex<double>> w;
            for (const auto& a : adjustments) {
                std::complex<double> weight = a.muted ? 0.0 : std::pow(10.0, a.gain.value / 20.0);
                weight *= std::polar(a.flip ? -1.0 : 1.0, -2.0 * std::numbers::pi * f * a.nudge.value);
                if (a.highPass)
                    weight *= HighPass(*a.highPass, 2.0 * (spectra.bins - 1) * spectra.width, a.highPassSlope)
                                  .responseAt(Hertz(f));
                w.push_back(weight);
            }
            for (std::size_t i = 0; i < w.size(); ++i) {
                for (std::size_t j = 0; j < w.size(); ++j)
                    total += w[i] * std::conj(w[j]) * spectra.matrices[bin](i, j);
                alone += std::norm(w[i]) * spectra.matrices[bin](i, i).real();
                amplitudes += std::abs(w[i]) * std::sqrt(spectra.matrices[bin](i, i).real());
            }
            sum += total.real();
            inPhase += amplitudes * amplitudes;
        }
        if (alone == 0.0) continue;
        const double width = std::log2(high / low);
        gains.now += width * sum / alone;
        gains.inPhase += width * inPhase / alone;
        octaves += width;
    }
    gains.now /= octaves;
    gains.inPhase /= octaves;
    return gains;
}

double gainOf(const SummationModel& model, const std::vector<TrackAdjustment>& adjustments) {
    std::vector<int> signs;
    std::vector<double> nudges;
    for (const auto& a : adjustments) {
        signs.push_back(a.flip ? -1 : 1);
        nudges.push_back(a.nudge.value);
    }
    return model.gain(signs, nudges);
}

std::vector<TrackAdjustment> someAdjustments() {
    std::vector<TrackAdjustment> adjustments(5);
    adjustments[0].flip = true;
    adjustments[1].nudge = Seconds(0.0023);
    adjustments[1].gain = Decibels(-4.0);
    adjustments[2].highPass = Hertz(120.0);
    adjustments[2].nudge = Seconds(-0.0011);
    adjustments[3].muted = true;
    adjustments[4].gain = Decibels(3.0);
    adjustments[4].highPass = Hertz(300.0);
    adjustments[4].highPassSlope = Slope::dB24;
    adjustments[4].flip = true;
    return adjustments;
}

/// Sums of some ten thousand products in another order.
constexpr double rounding = 1e-11;

} // namespace

TEST_CASE("the summation gain is that of the definition, in any band and balance") {
    const Spectra spectra(5, 2049, 24000.0 / 2048, 1);
    for (const Band band : {lowMidBand, Band{Hertz(100.0), Hertz(400.0)}, Band{Hertz(20.0), Hertz(20000.0)},
                            Band{Hertz(300.0), Hertz(310.0)}, Band{Hertz(5.0), Hertz(30000.0)},
                            Band{Hertz(234.375), Hertz(468.75)}}) { // the last on bin centres
        for (const auto& adjustments : {std::vector<TrackAdjustment>(5), someAdjustments()}) {
            const auto model = spectra.model(adjustments, band);
            const auto expected = gainsByDefinition(spectra, adjustments, band);
            INFO(band.low.value << " to " << band.high.value << " Hz");
            CHECK(gainOf(model, adjustments) == Approx(expected.now).epsilon(rounding));
            CHECK(model.gainIfAllInPhase() == Approx(expected.inPhase).epsilon(rounding));
        }
    }
}

TEST_CASE("both edges of the band belong to it") {
    const Spectra spectra(2, 101, 10.0, 3);
    const auto model = spectra.model(std::vector<TrackAdjustment>(2), {Hertz(200.0), Hertz(400.0)});
    CHECK(model.frequencies().front() == 200.0);
    CHECK(model.frequencies().back() == 400.0);
    CHECK(model.frequencies().size() == 21);
}

TEST_CASE("a third octave counts by its width in octaves, not by its level") {
    // The lower octave in phase and loud, the upper cancelled and faint: the mean of 2 and 0.
    const int bins = 513;
    const double width = 24000.0 / 512;
    const double low = std::pow(10.0, 2.55), high = std::pow(10.0, 3.55); // ten third octaves
    const auto at = [&](int bin, int i, int j) -> std::complex<double> {
        const bool lower = bin * width < std::pow(10.0, 3.05);
        return (lower ? 1000.0 : 0.001) * (i == j || lower ? 1.0 : -1.0);
    };
    const auto model =
        SummationModel::fromSpectra(bins, width, at, std::vector<TrackAdjustment>(2), {Hertz(low), Hertz(high)});
    CHECK(gainOf(model, std::vector<TrackAdjustment>(2)) == Approx(1.0).epsilon(rounding));
}

TEST_CASE("third octaves in which nothing sounds drop out") {
    const double width = 10.0;
    const auto at = [&](int bin, int, int) -> std::complex<double> { return bin * width < 300.0 ? 1.0 : 0.0; };
    const auto model = SummationModel::fromSpectra(101, width, at, std::vector<TrackAdjustment>(2), lowMidBand);
    CHECK(model.hasEnergy());
    CHECK(gainOf(model, std::vector<TrackAdjustment>(2)) == Approx(2.0).epsilon(rounding));
}

TEST_CASE("where nothing sounds at all the gain is 1") {
    const auto at = [](int, int, int) -> std::complex<double> { return 0.0; };
    const auto silent = SummationModel::fromSpectra(101, 10.0, at, std::vector<TrackAdjustment>(2), lowMidBand);
    CHECK_FALSE(silent.hasEnergy());
    CHECK(gainOf(silent, std::vector<TrackAdjustment>(2)) == 1.0);
    CHECK(silent.gainIfAllInPhase() == 1.0);
    CHECK(silent.lowMidCoherence(1.0) == 0.0);
    std::vector<TrackAdjustment> muted(2);
    muted[0].muted = muted[1].muted = true;
    CHECK_FALSE(Spectra(2, 101, 10.0, 1).model(muted, lowMidBand).hasEnergy());
}

TEST_CASE("identical tracks give 10 log10 of their number") {
    // Coherent over incoherent sum of N equals: N. 2: 3.01 dB, 4: 6.02, 8: 9.03, 16: 12.04, 24: 13.80 (an identity).
    const std::pair<int, double> known[] = {{2, 3.01}, {4, 6.02}, {8, 9.03}, {16, 12.04}, {24, 13.80}};
    for (const auto& [tracks, expectedDb] : known) {
        const auto model = oneSource(std::vector<double>(tracks, 0.0), std::vector<int>(tracks, 1), 0.0);
        const std::vector<int> signs(tracks, 1);
        const std::vector<double> nudges(tracks, 0.0);
        CHECK(decibelsOfPower(model.gain(signs, nudges)) == Approx(expectedDb).margin(0.005)); // two decimals
        CHECK(model.lowMidCoherence(model.gain(signs, nudges)) == Approx(1.0));
    }
}

TEST_CASE("the gain stays between 0 and the number of tracks, and below that of all in phase") {
    RandomStream random(5);
    const Spectra spectra(5, 513, 24000.0 / 512, 7);
    const auto model = spectra.model(std::vector<TrackAdjustment>(5), lowMidBand);
    for (int trial = 0; trial < 200; ++trial) {
        std::vector<int> signs(5);
        std::vector<double> nudges(5);
        for (int i = 0; i < 5; ++i) {
            signs[i] = random.sign();
            nudges[i] = random.between(-0.01, 0.01);
        }
        const double gain = model.gain(signs, nudges);
        CHECK(gain >= 0.0);
        CHECK(gain <= model.gainIfAllInPhase());
        CHECK(model.gainIfAllInPhase() <= 5.0 + rounding);

        // Flipping all and shifting all change nothing.
        auto others = signs;
        auto later = nudges;
        for (int i = 0; i < 5; ++i) {
            others[i] = -signs[i];
            later[i] += 0.0037;
        }
        CHECK(model.gain(others, later) == Approx(gain).epsilon(rounding));

        // The quadratic form says the same.
        const auto q = model.flipMatrix(nudges);
        double form = 0.0;
        for (int i = 0; i < 5; ++i)
            for (int j = 0; j < 5; ++j)
                form += signs[i] * signs[j] * q(i, j);
        CHECK(form == Approx(gain).epsilon(rounding));
    }
}

TEST_CASE("low-mid coherence is 1 in phase, 0 where tracks ignore each other, negative where they cancel") {
    Eigen::MatrixXcd matrix(2, 2);
    matrix << 0.5, -0.2, -0.2, 0.5;
    const auto model = SummationModel::fromMatrices({300.0}, std::vector<Eigen::MatrixXcd>{matrix});
    CHECK(model.gainIfAllInPhase() == Approx(2.0));
    CHECK(model.lowMidCoherence(2.0) == Approx(1.0));
    CHECK(model.lowMidCoherence(1.0) == 0.0);
    CHECK(model.lowMidCoherence(model.gain(std::vector<int>{1, 1}, std::vector<double>{0, 0})) == Approx(-0.4));
}

TEST_CASE("the predicted gain is that of the tracks really summed") {
    const std::size_t length = std::size_t(1) << 18; // 5.5 s
    const auto common = pinkNoise(length, 1);
    std::vector<std::vector<float>> tracks;
    const double arrivals[] = {0.0, 41.3, -150.0}; // samples
    for (int i = 0; i < 3; ++i)
        tracks.push_back(sum(delayed(common, arrivals[i]), pinkNoise(length, 10 + i), 0.4));
    std::vector<TrackAdjustment> adjustments(3);
    adjustments[0].gain = Decibels(-3.0);
    adjustments[1].flip = true;
    adjustments[1].highPass = Hertz(150.0);
    adjustments[1].highPassSlope = Slope::dB18;

    // Nudges move the sound against the windows: a misalignment by 1.3 ms lowers Hann's autocorrelation by a factor
    // 1 - (2 pi 0.0013 / 0.34)^2 / 6 = 0.9999, and noise enters and leaves at the windows' edges, of which some
    // 30 averages times 131 bins leave 1.3 ms/340 ms / sqrt(4000): both far below 0.01 dB.
    for (const double nudgeMs : {0.0, 1.2708333333333333}) {
        adjustments[1].nudge = milliseconds(-nudgeMs);
        std::vector<float> mix(length, 0.0f);
        std::vector<std::vector<float>> processed;
        for (int i = 0; i < 3; ++i) {
            auto track = delayed(tracks[i], adjustments[i].nudge.value * 48000.0);
            if (adjustments[i].highPass)
                HighPass(*adjustments[i].highPass, 48000.0, adjustments[i].highPassSlope)
                    .process(track.data(), static_cast<int>(length));
            const double factor = (adjustments[i].flip ? -1.0 : 1.0) * amplitudeOfDecibels(adjustments[i].gain.value);
            mix = sum(mix, track, factor);
            processed.push_back(sum(std::vector<float>(length, 0.0f), track, factor));
        }
        processed.push_back(mix);

        Workers workers(2);
        const MemorySource before(tracks);
        const auto spectra = computeCrossSpectra(before, {}, workers, {});
        REQUIRE(spectra.ok());
        const std::vector<int> all{0, 1, 2};
        const SummationModel model(*spectra, all, adjustments, lowMidBand);
        const double predicted = gainOf(model, adjustments);

        // What a third-octave analyser reads on the sum against the power sum of the tracks.
        const MemorySource after(processed);
        const auto heard = computeCrossSpectra(after, {}, workers, {});
        double measured = 0.0;
        for (int k = 23; k <= 27; ++k) {
            double ofSum = 0.0, ofTracks = 0.0;
            for (int bin = 0; bin < heard->binCount(); ++bin) {
                const double f = bin * heard->binWidth();
                if (f < std::pow(10.0, (k - 0.5) / 10.0) || f >= std::pow(10.0, (k + 0.5) / 10.0)) continue;
                ofSum += heard->power(bin, 3);
                for (int i = 0; i < 3; ++i)
                    ofTracks += heard->power(bin, i);
            }
            measured += ofSum / ofTracks / 5.0;
        }
        CHECK(decibelsOfPower(predicted) == Approx(decibelsOfPower(measured)).margin(0.01));
        CHECK(std::abs(decibelsOfPower(predicted)) > 0.1); // something happens at all
    }
}

TEST_CASE("the stereo sum is that of left and right in power") {
    const auto sound = whiteNoise(4 * 48000, 1);
    Workers workers(1);
    const auto computed = computeCrossSpectra(
        MemorySource({sum(sound, whiteNoise(sound.size(), 2)), sum(sound, whiteNoise(sound.size(), 3)), sound}), {},
        workers, {});
    REQUIRE(computed);
    const std::vector<int> tracks{0, 1, 2};
    const std::vector<TrackAdjustment> adjustments(3);
    const std::vector<double> nudges{0.0, 0.0002, 0.0};
    const std::vector<int> signs{1, -1, 1};
    const SummationModel mono(*computed, tracks, adjustments, lowMidBand);
    const auto stereo = [&](double a, double b, double c) {
        const std::vector<PanGains> pans{panGains(a), panGains(b), panGains(c)};
        return SummationModel(*computed, tracks, adjustments, lowMidBand, pans);
    };
    CHECK(stereo(0.0, 0.0, 0.0).gain(signs, nudges) == Approx(mono.gain(signs, nudges)).epsilon(1e-12));
    CHECK(stereo(0.3, 0.3, 0.3).gainIfAllInPhase() == Approx(mono.gainIfAllInPhase()).epsilon(1e-12));
    // What lies on opposite sides does not meet.
    const auto wide = stereo(-1.0, 1.0, 1.0);
    CHECK(wide.coupling(0, 1, 0.0) == 0.0);
    CHECK(wide.coupling(1, 2, 0.0) == Approx(mono.coupling(1, 2, 0.0)).epsilon(1e-12));
    // Left and right summed apart, each a mono sum of its own gains.
    const auto apart = stereo(-0.5, 0.1, 0.8);
    double power = 0.0, alone = 0.0;
    for (const bool left : {true, false}) {
        for (int i = 0; i < 3; ++i)
            for (int j = 0; j < 3; ++j) {
                const double pans[] = {-0.5, 0.1, 0.8};
                const auto of = [&](int track) {
                    const auto gains = panGains(pans[track]);
                    return left ? gains.left : gains.right;
                };
                const double both =
                    of(i) * of(j) *
                    mono.coupling(i, j, nudges[static_cast<std::size_t>(i)] - nudges[static_cast<std::size_t>(j)]);
                power += signs[static_cast<std::size_t>(i)] * signs[static_cast<std::size_t>(j)] * both;
                if (i == j) alone += both;
            }
    }
    CHECK(apart.gain(signs, nudges) == Approx(power / alone).epsilon(1e-9));
}

TEST_CASE("the mean of models has the mean of their gains, wherever each has energy") {
    const auto low = SummationModel::fromMatrices(
        {200.0, 300.0}, std::vector<Eigen::MatrixXcd>(2, Eigen::MatrixXcd::Constant(2, 2, 0.25)));
    Eigen::MatrixXcd turned = Eigen::MatrixXcd::Constant(2, 2, 0.5);
    turned(0, 1) = {0.1, 0.3};
    turned(1, 0) = {0.1, -0.3};
    const auto high =
        SummationModel::fromMatrices({300.0, 500.0}, std::vector<Eigen::MatrixXcd>{0.3 * turned, 0.7 * turned});
    const auto silent = SummationModel::fromMatrices({}, std::vector<Eigen::MatrixXcd>());
    const auto mean = SummationModel::meanOf(std::vector{low, high, silent}, std::vector{3.0, 1.0, 7.0});
    CHECK(mean.frequencies() == std::vector{200.0, 300.0, 500.0});
    for (const int sign : {1, -1})
        for (const double nudge : {0.0, 0.0007, -0.002}) {
            const std::vector<int> signs{1, sign};
            const std::vector<double> nudges{0.0, nudge};
            CHECK(mean.gain(signs, nudges) ==
                  Approx(0.75 * low.gain(signs, nudges) + 0.25 * high.gain(signs, nudges)).epsilon(1e-12));
        }
    CHECK(mean.gainIfAllInPhase() ==
          Approx(0.75 * low.gainIfAllInPhase() + 0.25 * high.gainIfAllInPhase()).epsilon(1e-12));
    CHECK_FALSE(SummationModel::meanOf(std::vector{silent}, std::vector{1.0}).hasEnergy());
}
