#include "Core/Scene/PracticeAcoustics.h"

#include "Core/Measure/CrossSpectra.h"
#include "Core/Measure/PairReading.h"
#include "Core/Scene/PracticeRecording.h"
#include "Support/MemorySource.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <complex>

using namespace spillwright;
using namespace spillwright::test;
using Catch::Detail::Approx;

namespace {

constexpr double rate = 48000.0;

/// Without walls: the second microphone is `second` m away, the first 1 m.
PracticeRoom bare(double second) {
    PracticeRoom room;
    room.size = {12.0, 8.0, 4.0};
    room.source = {2.0, 4.0, 1.5};
    room.microphones = {{"first", {3.0, 4.0, 1.5}, {}, {}}, {"second", {2.0 + second, 4.0, 1.5}, {}, {}}};
    return room;
}

PracticeReading read(const PracticeRoom& room) {
    PracticeAcoustics acoustics(rate);
    return readingOf(room, acoustics.follow(room, Detail::resting));
}

double levelAt(const FrequencyCurve& curve, double hertz) {
    std::size_t nearest = 0;
    for (std::size_t i = 0; i < curve.frequencies.size(); ++i)
        if (std::abs(curve.frequencies[i] - hertz) < std::abs(curve.frequencies[nearest] - hertz)) nearest = i;
    return curve.values[nearest];
}

/// A live room with a pair in it.
PracticeRoom live() {
    PracticeRoom room;
    room.size = {6.1, 4.7, 2.9};
    room.absorption = {0.2, 0.3, 0.25, 0.35, 0.15, 0.4};
    room.decay = Seconds(0.3);
    room.source = {1.7, 2.2, 1.3};
    room.microphones = {{"first", {2.9, 2.6, 1.5}, {}, {}}, {"second", {4.1, 1.9, 1.1}, {0.5, {1.7, 2.2, 1.3}}, {}}};
    return room;
}

float mostDifferent(const std::vector<float>& a, const std::vector<float>& b) {
    float most = 0.0f;
    for (std::size_t n = 0; n < std::max(a.size(), b.size()); ++n)
        most = std::max(most, std::abs((n < a.size() ? a[n] : 0.0f) - (n < b.size() ? b[n] : 0.0f)));
    return most;
}

} // namespace

TEST_CASE("a delay by number puts the first null at 1/(2t) and the next 1/t further on") {
    // Everest & Pohlmann, Master Handbook of Acoustics, ch. 10 (published): nulls (2k+1)/(2t), crests k/t.
    const std::pair<double, double> table[] = {{0.1, 5000.0}, {0.25, 2000.0}, {0.5, 1000.0}, {1.0, 500.0},
                                               {2.0, 250.0},  {3.0, 166.667}, {5.0, 100.0},  {8.0, 62.5},
                                               {10.0, 50.0},  {20.0, 25.0}};
    for (const auto& [ms, firstNull] : table) {
        PracticeRoom room = bare(1.0);
        room.microphones[1].position = {2.0, 5.0, 1.5}; // elsewhere, as far away
        room.microphones[1].adjustment.nudge = milliseconds(ms);
        const auto reading = read(room);
        CAPTURE(ms, firstNull);
        CHECK(reading.pairs[0].firstNull->value == Approx(firstNull).epsilon(1e-4));
        REQUIRE(reading.notches.size() >= 2);
        // A parabola over bins of less than 1.5 Hz; the fractional delay's own phase is off by less than 3e-5 rad.
        CHECK(reading.notches[0].frequency.value == Approx(firstNull).margin(0.05));
        CHECK(reading.notches[1].frequency.value - reading.notches[0].frequency.value ==
              Approx(2.0 * firstNull).margin(0.1));
        CHECK(reading.notches[0].levelDb < -45.0);
        CHECK(levelAt(reading.sum, 2.0 * firstNull) == Approx(6.02).margin(0.2)); // the smoothing's width
    }
}

TEST_CASE("a level difference leaves crests of 1 + g and nulls of 1 - g") {
    // Computed, 20 lg(1 +- g) with g = 10^(-difference/20): difference, crest, null.
    const double table[][3] = {{1.0, 5.53, -19.27}, {2.0, 5.08, -13.74}, {3.0, 4.65, -10.69}, {6.0, 3.53, -6.04},
                               {9.54, 2.50, -3.52}, {10.0, 2.39, -3.30}, {12.0, 1.95, -2.51}, {15.0, 1.42, -1.70},
                               {18.0, 1.03, -1.17}, {20.0, 0.83, -0.92}, {24.0, 0.53, -0.57}, {30.0, 0.27, -0.28}};
    for (const auto& [difference, crest, null] : table) {
        PracticeRoom room = bare(1.0);
        room.microphones[1].position = {2.0, 5.0, 1.5};
        room.microphones[1].adjustment.nudge = milliseconds(1.0);
        room.microphones[1].adjustment.gain = Decibels(-difference);
        const auto reading = read(room);
        CAPTURE(difference);
        // The table's own rounding; the smoothing fills the deepest by a little more.
        CHECK(reading.pairs[0].peak.value == Approx(crest).margin(0.006));
        CHECK(reading.pairs[0].null.value == Approx(null).margin(0.006));
        CHECK(levelAt(reading.sum, 1000.0) == Approx(crest).margin(0.02 + 0.01));
        CHECK(levelAt(reading.sum, 500.0) == Approx(null).margin(difference < 3.0 ? 0.6 : 0.1));
        if (null < -3.3) CHECK(reading.notches[0].levelDb == Approx(null).margin(0.01));
    }
}

TEST_CASE("three times the distance is 9.54 dB, and leaves 6 dB from crest to null") {
    const auto reading = read(bare(3.0));
    const auto& pair = reading.pairs[0];
    CHECK(pair.distanceRatio == Approx(3.0));
    CHECK(pair.level.value == Approx(-9.5424).margin(1e-3)); // 20 lg 3
    CHECK(pair.peak.value - pair.null.value == Approx(6.02).margin(0.01));
    CHECK(pair.spacingRatio == Approx(2.0));
    CHECK(pair.arrival.value == Approx(2.0 / 343.2).epsilon(1e-9)); // ISO 9613-1 at 20 degrees
    CHECK(reading.paths[1].arrival.value == Approx(3.0 / 343.2).epsilon(1e-9));
    // Side by side, spaced three times the distance: the way is the root of 10 times as long, 10.0 dB.
    PracticeRoom square = bare(1.0);
    square.microphones[1].position = {3.0, 7.0, 1.5};
    const auto aside = read(square).pairs[0];
    CHECK(aside.spacingRatio == Approx(3.0));
    CHECK(aside.level.value == Approx(-10.0).margin(1e-3));
}

TEST_CASE("a small delay loses what the cosine of half its phase says") {
    // Computed, 20 lg |cos(pi f t)|, against the perfect sum: microseconds, hertz, dB.
    const double table[][3] = {{100, 200, -0.017},          {100, 500, -0.108}, {100, 1000, -0.436}, {250, 200, -0.108},
                               {250, 500, -0.688},          {250, 1000, -3.01}, {500, 200, -0.436},  {500, 500, -3.01},
                               {1e6 / 48000, 10000, -2.01}, {10, 20000, -1.84}};
    for (const auto& [us, hertz, loss] : table) {
        PracticeRoom room = bare(1.0);
        room.microphones[1].position = {2.0, 5.0, 1.5};
        room.microphones[1].adjustment.nudge = Seconds(1e-6 * us);
        CAPTURE(us, hertz);
        // The smoothing over 1/24 octave takes the slope's curvature in: below 0.02 dB down to -3 dB.
        CHECK(levelAt(read(room).sum, hertz) - 20.0 * std::log10(2.0) == Approx(loss).margin(0.03));
    }
}

TEST_CASE("a flip changes crests and nulls over, and a flip alone takes all") {
    PracticeRoom room = bare(1.0);
    room.microphones[1].position = {2.0, 5.0, 1.5};
    room.microphones[1].adjustment.nudge = milliseconds(1.0);
    room.microphones[1].adjustment.flip = true;
    auto reading = read(room);
    CHECK(reading.paths[1].polarity == Polarity::inverted);
    CHECK(reading.pairs[0].firstNull->value == Approx(1000.0));
    CHECK(reading.notches[0].frequency.value == Approx(1000.0).margin(0.05));
    CHECK(levelAt(reading.sum, 500.0) == Approx(6.02).margin(0.05));
    CHECK(levelAt(reading.sum, 30.0) < -14.0); // 2 sin(pi 30 Hz 1 ms) is -14.5 dB
    room.microphones[1].adjustment.nudge = Seconds(0.0);
    reading = read(room);
    CHECK_FALSE(reading.pairs[0].firstNull);
    for (double hertz : {50.0, 500.0, 5000.0, 15000.0})
        CHECK(levelAt(reading.sum, hertz) < -60.0);
}

TEST_CASE("the coherent sum of N microphones has N times the power of a sum without order") {
    for (std::size_t count : {1u, 2u, 4u, 8u}) {
        PracticeRoom room = bare(1.0);
        room.microphones.resize(count);
        for (std::size_t index = 0; index < count; ++index) {
            const double turn = 0.3 * static_cast<double>(index);
            room.microphones[index].name = std::to_string(index);
            room.microphones[index].position = {2.0 + std::cos(turn), 4.0 + std::sin(turn), 1.5};
        }
        const auto reading = read(room);
        // Against one alone 20 lg N; against the powers' sum 10 lg N of it is left (identity).
        CHECK(levelAt(reading.sum, 300.0) == Approx(20.0 * std::log10(static_cast<double>(count))).margin(0.01));
        CHECK(reading.pairs.size() == count * (count - 1) / 2);
        for (const auto& curve : reading.microphones)
            CHECK(levelAt(curve, 300.0) == Approx(0.0).margin(0.01));
    }
}

TEST_CASE("the comb of two equal sounds is drawn as deep at the top as at the bottom, and a live room smoothed") {
    PracticeRoom room = bare(1.0);
    room.microphones[1].position = {2.0, 5.0, 1.5};
    for (const double ms : {0.5, 2.0, 10.0}) {
        room.microphones[1].adjustment.nudge = milliseconds(ms);
        const auto reading = read(room);
        CAPTURE(ms);
        CHECK_FALSE(reading.smoothed);
        CHECK(std::is_sorted(reading.sum.frequencies.begin(), reading.sum.frequencies.end()));
        // Every null up to 16 kHz (Everest & Pohlmann, ch. 10: (2k+1)/(2t)); beyond the 200 notches that are kept too.
        for (double null = 500.0 / ms; null < 16000.0; null += 1000.0 / ms) {
            double lowest = 0.0, highest = -100.0;
            for (std::size_t i = 0; i < reading.sum.frequencies.size(); ++i)
                if (std::abs(reading.sum.frequencies[i] / null - 1.0) < 0.0075) { // a column is 0.0072 wide
                    lowest = std::min(lowest, reading.sum.values[i]);
                    highest = std::max(highest, reading.sum.values[i]);
                }
            CAPTURE(null);
            CHECK(lowest < -45.0);
            if (1000.0 / ms < 0.007 * null) CHECK(highest == Approx(6.02).margin(0.1)); // a crest beside each null
        }
    }
    CHECK(read(live()).smoothed);
    room.absorption[static_cast<std::size_t>(Surface::floor)] = 0.1;
    room.absorption[static_cast<std::size_t>(Surface::xLow)] = 0.1;
    CHECK_FALSE(read(room).smoothed); // four arrivals
    room.absorption[static_cast<std::size_t>(Surface::ceiling)] = 0.1;
    CHECK(read(room).smoothed);
}

TEST_CASE("where microphones are panned left and right are read as they are heard") {
    PracticeRoom room = bare(1.0);
    room.microphones[1].position = {2.0, 5.0, 1.5};
    room.microphones[1].adjustment.nudge = milliseconds(1.0);
    CHECK_FALSE(read(room).stereo());
    room.microphones[0].adjustment.pan = -1.0;
    room.microphones[1].adjustment.pan = 1.0;
    auto reading = read(room);
    REQUIRE(reading.stereo());
    CHECK(reading.notches.empty());
    for (const double hertz : {100.0, 500.0, 1000.0, 7500.0}) {
        CHECK(levelAt(reading.left, hertz) == Approx(0.0).margin(0.01));
        CHECK(levelAt(reading.right, hertz) == Approx(0.0).margin(0.01));
    }
    // Between: at constant power a side has the cosine of one and the sine of the other.
    room.microphones[0].adjustment.pan = -0.3;
    room.microphones[1].adjustment.pan = 0.3;
    reading = read(room);
    const double turn = 0.7 * std::acos(-1.0) / 4.0, loud = std::cos(turn), soft = std::sin(turn);
    for (const auto* side : {&reading.left, &reading.right}) {
        CHECK(levelAt(*side, 1000.0) == Approx(20.0 * std::log10(loud + soft)).margin(0.01));
        CHECK(levelAt(*side, 500.0) == Approx(20.0 * std::log10(loud - soft)).margin(0.05));
    }
    REQUIRE_FALSE(reading.notches.empty());
    CHECK(reading.notches.front().frequency.value == Approx(500.0).margin(0.1));
    // One that is muted does not count.
    room.microphones[1].adjustment.pan.reset();
    room.microphones[0].adjustment.muted = true;
    CHECK_FALSE(read(room).stereo());
}

TEST_CASE("the hard floor's reflection is a comb of one microphone") {
    // Both 1.2 m high, 3 m apart at 343 m/s: 3.8419 m by the floor, 2.454 ms behind (computed).
    PracticeRoom room = bare(3.0);
    room.temperature = Celsius(293.15 * (343.0 / 343.2) * (343.0 / 343.2) - 273.15);
    room.source.z = 1.2;
    room.microphones.erase(room.microphones.begin());
    room.microphones[0].position.z = 1.2;
    room.absorption[static_cast<std::size_t>(Surface::floor)] = 0.0;
    room.decay = Seconds(0.05);
    const auto reading = read(room);
    const double late = (std::sqrt(9.0 + 5.76) - 3.0) / 343.0;
    CHECK(late == Approx(0.002454).epsilon(1e-3));
    REQUIRE_FALSE(reading.notches.empty());
    // A copy that is softer moves no null.
    CHECK(reading.notches[0].frequency.value == Approx(0.5 / late).margin(0.2));
    CHECK(reading.notches[0].levelDb == Approx(20.0 * std::log10(1.0 - 3.0 / 3.8419)).margin(0.1));
}

TEST_CASE("warmer air moves every notch up by the root of the absolute temperature") {
    PracticeRoom room = bare(2.0);
    room.temperature = Celsius(0.0);
    const auto cold = read(room);
    room.temperature = Celsius(30.0);
    const auto warm = read(room);
    REQUIRE(cold.notches.size() > 5);
    for (std::size_t index = 0; index < 5; ++index)
        CHECK(warm.notches[index].frequency / cold.notches[index].frequency ==
              Approx(std::sqrt(303.15 / 273.15)).epsilon(1e-3));
}

TEST_CASE("muting takes a microphone out of the sum, and all of them leave no curve") {
    PracticeRoom room = bare(2.0);
    room.microphones[1].adjustment.muted = true;
    auto reading = read(room);
    CHECK(levelAt(reading.sum, 171.6) == Approx(0.0).margin(0.01)); // where the two would cancel
    CHECK(reading.notches.empty());
    CHECK(reading.microphones.size() == 2);
    room.microphones[0].adjustment.muted = true;
    reading = read(room);
    CHECK(reading.sum.values.empty());
    CHECK(reading.paths.size() == 2);
}

TEST_CASE("left and right follow the pans, the sum does not") {
    PracticeRoom room = bare(2.0);
    room.microphones[0].adjustment.pan = -1.0;
    room.microphones[1].adjustment.pan = 1.0;
    PracticeAcoustics acoustics(rate);
    const auto& responses = acoustics.follow(room, Detail::resting);
    CHECK(mostDifferent(responses.left, responses.microphones[0]) == 0.0f);
    CHECK(mostDifferent(responses.right, responses.microphones[1]) == 0.0f);
    std::vector<float> both = responses.microphones[0];
    for (std::size_t n = 0; n < both.size(); ++n)
        both[n] += responses.microphones[1][n];
    CHECK(mostDifferent(responses.sum, both) == 0.0f);
}

TEST_CASE("the responses are what a recording of the room makes of a click, treated") {
    PracticeRoom room = live();
    room.microphones[0].adjustment.nudge = milliseconds(-3.3);
    room.microphones[0].adjustment.flip = true;
    room.microphones[1].adjustment.gain = Decibels(4.0);
    room.microphones[1].adjustment.highPass = Hertz(90.0);
    room.microphones[1].adjustment.pan = 0.4;
    PracticeAcoustics acoustics(rate);
    const auto& responses = acoustics.follow(room, Detail::resting);
    std::vector<float> click(8000);
    click[5000] = 1.0f; // after what lies before a response's time 0
    Workers workers(1);
    const auto recorded = recordPractice(room, click, rate, workers);
    for (std::size_t index = 0; index < 2; ++index) {
        float worst = 0.0f, peak = 0.0f;
        for (std::size_t n = 5000 - ImpulseResponse::lead; n < recorded.microphones[index].size(); ++n) {
            const std::size_t at = n - 5000 + ImpulseResponse::lead;
            const float expected = at < responses.microphones[index].size() ? responses.microphones[index][at] : 0.0f;
            worst = std::max(worst, std::abs(recorded.microphones[index][n] - expected));
            peak = std::max(peak, std::abs(expected));
        }
        // Transforms and sums in another order: float rounding. -100 dB is also where a high-pass is let end.
        CHECK(worst < 2e-5f * peak);
    }
}

TEST_CASE("following a change step by step ends where a fresh look begins") {
    PracticeAcoustics followed(rate);
    PracticeRoom room = live();
    followed.follow(room, Detail::resting);
    for (int step = 0; step < 5; ++step) {
        room.microphones[0].position.x += 0.05;
        room.microphones[1].adjustment.nudge = milliseconds(0.1 * step);
        followed.follow(room, Detail::moving);
    }
    room.source.y += 0.1;
    room.absorption[2] = 0.5;
    followed.follow(room, Detail::moving);
    const auto& responses = followed.follow(room, Detail::resting);
    PracticeAcoustics fresh(rate);
    const auto& expected = fresh.follow(room, Detail::resting);
    for (std::size_t index = 0; index < 2; ++index)
        CHECK(mostDifferent(responses.microphones[index], expected.microphones[index]) == 0.0f);
    CHECK(mostDifferent(responses.left, expected.left) == 0.0f);
    // A microphone taken out and another put in.
    room.microphones.erase(room.microphones.begin());
    CHECK(followed.follow(room, Detail::resting).microphones.size() == 1);
    CHECK(mostDifferent(followed.follow(room, Detail::resting).sum, fresh.follow(room, Detail::resting).sum) == 0.0f);
}

TEST_CASE("while something moves the early sound is exact and the late reverberation stays") {
    PracticeRoom room = live();
    room.size = {3.0, 2.6, 2.4}; // small: the budget of moving ends early
    room.source = {0.9, 1.1, 1.2};
    room.microphones = {{"one", {2.1, 1.3, 1.4}, {}, {}}};
    PracticeAcoustics acoustics(rate);
    const auto before = acoustics.follow(room, Detail::resting).sum;
    room.microphones[0].position.x = 2.2;
    const auto moving = acoustics.follow(room, Detail::moving).sum;
    const auto after = acoustics.follow(room, Detail::resting).sum;
    const auto early = static_cast<std::size_t>(0.8 * sceneOf(room, rate, Detail::moving).rooms[0].decay.value * rate) +
                       ImpulseResponse::lead - 64;
    const auto energy = [](const std::vector<float>& x, std::size_t from, std::size_t to) {
        double sum = 0.0;
        for (std::size_t n = from; n < std::min(to, x.size()); ++n)
            sum += static_cast<double>(x[n]) * static_cast<double>(x[n]);
        return sum;
    };
    std::vector<float> difference = moving;
    for (std::size_t n = 0; n < difference.size(); ++n)
        difference[n] -= after[n];
    // The filter at 25 Hz rings for 3072 samples either way, and so carries a little of what comes later.
    CHECK(10.0 * std::log10(energy(difference, 0, early) / energy(after, 0, early)) < -50.0);
    // The same amount of reverberation, within the chance of its waves.
    const double late = energy(moving, early, moving.size()) / energy(after, early, after.size());
    CHECK(10.0 * std::log10(late) == Approx(0.0).margin(1.0));
    CHECK(energy(before, early, before.size()) > 0.0);

    // In a room that has changed nothing of the old one is left.
    room.absorption.fill(1.0);
    const auto bareRoom = acoustics.follow(room, Detail::moving).sum;
    CHECK(energy(bareRoom, early, bareRoom.size()) < 1e-9 * energy(bareRoom, 0, bareRoom.size()));
}

TEST_CASE("the coherence of a pair is what measuring noise in that room comes to, and falls with distance", "[long]") {
    PracticeRoom room = live();
    room.decay = Seconds(0.6);
    room.absorption.fill(0.12);
    Workers workers(1);
    double near = 1.1;
    for (double x : {1.9, 3.5, 5.0}) {
        const double apart = x == 1.9 ? 0.2 : 0.6;
        room.microphones[0].position = {x, 2.2 + apart, 1.5};
        room.microphones[1].position = {x, 2.2 - apart, 1.3};
        room.microphones[1].pattern = {};
        PracticeAcoustics acoustics(rate);
        const double predicted =
            pairCoherence(acoustics.follow(room, Detail::resting), 0, 1, lowMidBand, usualWindow(rate));
        const auto recorded = recordPractice(room, whiteNoise(120 * 48000, 7), rate, workers);
        const MemorySource source(recorded.microphones);
        const auto spectra = computeCrossSpectra(source, {}, workers, {});
        REQUIRE(spectra);
        // The raw mean over the band, as the prediction takes it; its bias is (1 - C)^2 / n.
        double sum = 0.0, weights = 0.0;
        for (int bin = 1; bin < spectra->binCount(); ++bin) {
            const double hertz = bin * spectra->binWidth();
            if (hertz < lowMidBand.low.value || hertz > lowMidBand.high.value) continue;
            sum += std::norm(spectra->at(bin, 0, 1)) / (spectra->power(bin, 0) * spectra->power(bin, 1)) / hertz;
            weights += 1.0 / hertz;
        }
        CAPTURE(x, predicted, sum / weights);
        CHECK(sum / weights == Approx(predicted).margin(0.01)); // 700 windows, 130 bins
        CHECK(predicted < near - 0.1);
        if (x == 1.9) near = predicted;
    }
}
