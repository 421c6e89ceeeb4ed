#include "Core/Measure/PairReading.h"

#include "Support/MemorySource.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>

using namespace spillwright;
using namespace spillwright::test;

namespace {

CrossSpectra spectraOf(std::vector<std::vector<float>> tracks, double rate = 48000.0) {
    Workers workers(2);
    auto spectra = computeCrossSpectra(MemorySource(std::move(tracks), rate), {}, workers, {});
    REQUIRE(spectra);
    return std::move(spectra).value();
}

double copyDb(double hertz, double ms, double levelDb, Polarity polarity = Polarity::same) {
    return combResponseOfCopy(Hertz(hertz), milliseconds(ms), polarity, Decibels(levelDb));
}

TrackAdjustment nudged(double ms) {
    TrackAdjustment adjustment;
    adjustment.nudge = milliseconds(ms);
    return adjustment;
}
TrackAdjustment flipped(TrackAdjustment adjustment = {}) {
    adjustment.flip = true;
    return adjustment;
}
TrackAdjustment muted() {
    TrackAdjustment adjustment;
    adjustment.muted = true;
    return adjustment;
}
TrackAdjustment withGain(TrackAdjustment adjustment, double levelDb) {
    adjustment.gain = Decibels(levelDb);
    return adjustment;
}
TrackAdjustment highPassed(TrackAdjustment adjustment, double cornerHz) {
    adjustment.highPass = Hertz(cornerHz);
    return adjustment;
}

/// The value of a curve nearest to a frequency.
double valueAt(const FrequencyCurve& curve, double hertz) {
    const auto place = std::lower_bound(curve.frequencies.begin(), curve.frequencies.end(), hertz);
    auto index = static_cast<std::size_t>(place - curve.frequencies.begin());
    if (index > 0 &&
        (index == curve.frequencies.size() || hertz - curve.frequencies[index - 1] < curve.frequencies[index] - hertz))
        --index;
    return curve.values[index];
}

} // namespace

// ---- the same sound twice -------------------------------------------------------------------------------------------

TEST_CASE("first notch and spacing of a copy are those of the comb table") {
    // Nulls (2k+1)/(2t), crests k/t (Everest & Pohlmann, Master Handbook of Acoustics, ch. 10; values computed).
    const std::pair<double, double> firstNotch[] = {{0.1, 5000}, {0.25, 2000}, {0.5, 1000}, {1, 500}, {2, 250},
                                                    {3, 166.7},  {5, 100},     {8, 62.5},   {10, 50}, {20, 25}};
    for (const auto& [ms, hertz] : firstNotch) {
        const double exact = 500.0 / ms;
        CHECK(exact == Approx(hertz).epsilon(0.0005)); // the table's rounding
        for (int k = 0; k < 3; ++k) {
            CHECK(copyDb(exact * (2 * k + 1), ms, 0.0) < -100.0);
            CHECK(copyDb(exact * 2 * k, ms, 0.0) == Approx(6.0206).margin(1e-4));
            // Inverted: notches where crests were.
            CHECK(copyDb(exact * 2 * k, ms, 0.0, Polarity::inverted) < -100.0);
            CHECK(copyDb(exact * (2 * k + 1), ms, 0.0, Polarity::inverted) == Approx(6.0206).margin(1e-4));
        }
    }
}

TEST_CASE("crest and notch of a quieter copy are those of the ripple table") {
    // 20 lg(1 +- g), g = 10^(-L/20) (computed).
    struct Row {
        double levelDb, crest, notch;
    };
    for (const auto& row :
         {Row{1, 5.53, -19.27}, Row{2, 5.08, -13.74}, Row{3, 4.65, -10.69}, Row{6, 3.53, -6.04}, Row{9.54, 2.50, -3.52},
          Row{10, 2.39, -3.30}, Row{12, 1.95, -2.51}, Row{15, 1.42, -1.70}, Row{18, 1.03, -1.17}, Row{20, .83, -.92},
          Row{24, .53, -.57}, Row{27, .38, -.40}, Row{30, .27, -.28}}) {
        CHECK(copyDb(1000.0, 1.0, -row.levelDb) == Approx(row.crest).margin(0.0051));
        CHECK(copyDb(500.0, 1.0, -row.levelDb) == Approx(row.notch).margin(0.0051));
    }
    CHECK(copyDb(1000.0, 1.0, -10.0) - copyDb(500.0, 1.0, -10.0) == Approx(5.7).margin(0.05));
    CHECK(copyDb(1000.0, 1.0, -9.54) - copyDb(500.0, 1.0, -9.54) == Approx(6.02).margin(0.01));
}

TEST_CASE("phase and delay errors cost what the tables say") {
    // Against the perfect sum of two equals: 20 lg cos(phi/2) (computed).
    const std::pair<double, double> phases[] = {{10, -.033},  {20, -.133},  {30, -.301},   {45, -.688},
                                                {60, -1.249}, {90, -3.010}, {120, -6.021}, {150, -11.74}};
    for (const auto& [degrees, loss] : phases)
        CHECK(copyDb(1000.0, degrees / 360.0, 0.0) - 20.0 * std::log10(2.0) == Approx(loss).margin(0.005));
    struct Row {
        double ms, hertz, loss;
    };
    for (const auto& row : {Row{0.1, 200, -.017}, Row{0.1, 500, -.108}, Row{0.1, 1000, -.436}, Row{0.25, 200, -.108},
                            Row{0.25, 500, -.688}, Row{0.25, 1000, -3.01}, Row{0.5, 500, -3.01},
                            Row{1.0 / 48, 10000, -2.01}, Row{1.0 / 48, 20000, -11.7}, Row{0.01, 20000, -1.84}})
        CHECK(copyDb(row.hertz, row.ms, 0.0) - 20.0 * std::log10(2.0) ==
              Approx(row.loss).epsilon(0.005).margin(0.0006));
}

// ---- measured -------------------------------------------------------------------------------------------------------

TEST_CASE("the measured comb of a copy is that of the formula, against the power of both") {
    // One millisecond later and 10 dB down, in white noise; |1 + g e^{-j 2 pi f t}|^2 / (1 + g^2).
    const auto noise = whiteNoise(48000 * 30, 1);
    const auto spectra = spectraOf({noise, delayed(noise, 48.0, std::pow(10.0, -0.5))});
    const auto curve = combResponse(spectra, 0, 1, {}, {}, 2000);
    REQUIRE(curve.frequencies.size() == 2000);
    CHECK(curve.frequencies.front() == 20.0);
    CHECK(curve.frequencies.back() == Approx(20000.0));
    CHECK(std::is_sorted(curve.frequencies.begin(), curve.frequencies.end()));
    for (const double hertz : {250.0, 500.0, 750.0, 1000.0, 1500.0, 2000.0, 2500.0}) {
        // Smoothing by 1/24 octave takes at most (pi f t / 24 ln 2)^2/6 off a crest: 0.05 of the power at 2500 Hz.
        const double smoothed = 4.343 * std::pow(3.1416 * hertz * 1e-3 * 0.6931 / 24.0, 2) / 6.0 * 0.6;
        CHECK(valueAt(curve, hertz) ==
              Approx(copyDb(hertz, 1.0, -10.0) - 10.0 * std::log10(1.1)).margin(0.05 + smoothed));
    }
}

TEST_CASE("two adjustments shape the measured comb as they shape the sum") {
    const auto noise = whiteNoise(48000 * 30, 2);
    const auto spectra = spectraOf({noise, delayed(noise, 48.0)});
    const auto at = [&](double hertz, const TrackAdjustment& first, const TrackAdjustment& second) {
        return valueAt(combResponse(spectra, 0, 1, first, second, 2000), hertz);
    };
    const double full = 10.0 * std::log10(2.0);
    for (const double hertz : {100.0, 500.0, 1000.0, 5000.0}) {
        // The second 1 ms earlier: all in phase. Or the first 1 ms later.
        CHECK(at(hertz, {}, nudged(-1.0)) == Approx(full).margin(0.03));
        CHECK(at(hertz, nudged(1.0), {}) == Approx(full).margin(0.03));
        // One of them flipped besides: all cancels, but for the window's misalignment by 1 ms (0.9999).
        CHECK(at(hertz, flipped(), nudged(-1.0)) < -30.0);
        CHECK(at(hertz, flipped(), flipped(nudged(-1.0))) == Approx(full).margin(0.03));
        // 6.02 dB down: 1.5^2/1.25.
        CHECK(at(hertz, {}, withGain(nudged(-1.0), -6.0206)) == Approx(10.0 * std::log10(2.25 / 1.25)).margin(0.03));
        CHECK(at(hertz, {}, muted()) == Approx(0.0).margin(1e-9));
        CHECK(at(hertz, muted(), muted()) == Approx(0.0).margin(1e-9));
    }
    // Flipped as recorded: crests at odd multiples of 500 Hz.
    CHECK(at(500.0, {}, flipped()) == Approx(full).margin(0.05));
    CHECK(at(1000.0, {}, flipped()) < -10.0);
    // A second-order Butterworth stands at -3.01 dB and +90 degrees at its corner: neither adds nor cancels, and an
    // octave above, (1 - 4 + j 2 sqrt 2)... as by the analogue prototype H = -w^2/(1 - w^2 + j sqrt 2 w), w = 2.
    const auto aligned = highPassed(nudged(-1.0), 200.0);
    CHECK(at(200.0, {}, aligned) == Approx(0.0).margin(0.05));
    const std::complex<double> octaveUp = -4.0 / std::complex<double>(1.0 - 4.0, 2.0 * std::sqrt(2.0));
    CHECK(at(400.0, {}, aligned) ==
          Approx(10.0 * std::log10(std::norm(1.0 + octaveUp) / (1.0 + std::norm(octaveUp)))).margin(0.05));
    // The same filter on both leaves the comb as it was.
    CHECK(at(400.0, highPassed({}, 200.0), aligned) == Approx(full).margin(0.03));
}

TEST_CASE("the correlation curve peaks at the arrival, never beyond 1, and turns round with the pair") {
    const auto music = pinkNoise(48000 * 10, 3);
    const auto spectra = spectraOf({music, delayed(music, 96.0, -1.0)});
    const auto curve = correlationCurve(spectra, 0, 1, milliseconds(10.0));
    REQUIRE(curve.values.size() % 2 == 1);
    CHECK(curve.firstLag.value >= -0.01);
    CHECK(curve.firstLag.value < -0.0099);
    const auto lowest = std::min_element(curve.values.begin(), curve.values.end()) - curve.values.begin();
    CHECK(curve.firstLag.value + static_cast<double>(lowest) * curve.step.value ==
          Approx(0.002).margin(curve.step.value / 2));
    CHECK(curve.values[static_cast<std::size_t>(lowest)] == Approx(-1.0).margin(0.01));
    const auto back = correlationCurve(spectra, 1, 0, milliseconds(10.0));
    REQUIRE(back.values.size() == curve.values.size());
    for (std::size_t k = 0; k < curve.values.size(); ++k) {
        REQUIRE(std::abs(curve.values[k]) <= 1.0001f); // single precision
        REQUIRE(back.values[back.values.size() - 1 - k] == Approx(curve.values[k]).margin(1e-5));
    }
}
