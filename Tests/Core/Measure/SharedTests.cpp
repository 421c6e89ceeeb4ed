#include "Core/Measure/PairReading.h"

#include "Core/Scene/SceneSound.h"
#include "Support/MemorySource.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

using namespace spillwright;
using namespace spillwright::test;

namespace {

constexpr double rate = 48000.0;
constexpr std::size_t twentySeconds = 48000 * 20;

PairReading readTwo(const std::vector<float>& first, const std::vector<float>& second, double atRate = rate) {
    Workers workers(2);
    auto spectra = computeCrossSpectra(MemorySource({first, second}, atRate), {}, workers, {});
    REQUIRE(spectra);
    return readPair(*spectra, 0, 1, {});
}

double samplesOf(const Arrival& arrival) {
    return arrival.delay.value * rate;
}

/// Mains that wander slowly by `wander` Hz, with `partials` multiples; level and phase of each by `seed`, as every
/// cable picks them up in its own way.
SPILLWRIGHT_NOT_SANITIZED std::vector<float> hum(double mains, double wander, int partials, double level,
                                                 std::uint64_t seed, std::size_t length = twentySeconds) {
    Noise random(seed);
    std::vector<std::complex<double>> amplitudes;
    for (int partial = 1; partial <= partials; ++partial) {
        const double own = level / partial * (0.5 + random.uniform());
        amplitudes.push_back(std::polar(own, 2.0 * std::numbers::pi * random.uniform()));
    }
    std::vector<float> samples(length);
    double turn = 0.0;
    for (std::size_t n = 0; n < length; ++n) {
        const double t = static_cast<double>(n) / rate;
        turn += 2.0 * std::numbers::pi / rate * (mains + wander * std::sin(0.7 * t));
        const double real = std::cos(turn), imaginary = std::sin(turn);
        double value = 0.0, cosine = 1.0, sine = 0.0; // of `partial` turns: the turn multiplied by itself
        for (std::size_t k = 0; k < amplitudes.size(); ++k) {
            const double next = cosine * real - sine * imaginary;
            sine = cosine * imaginary + sine * real;
            cosine = next;
            value += amplitudes[k].real() * sine + amplitudes[k].imag() * cosine;
        }
        samples[n] = static_cast<float>(value);
    }
    return samples;
}

/// Notes of twelve partials, two a second, pitches by `seed`.
std::vector<float> tune(std::uint64_t seed, std::size_t length = twentySeconds, double level = 0.1) {
    Noise random(seed);
    std::vector<float> samples(length);
    const std::size_t notes = length / 24000;
    std::vector<double> envelope(36000);
    for (std::size_t n = 0; n < envelope.size(); ++n) {
        const double t = static_cast<double>(n) / rate;
        envelope[n] = std::min(1.0, t * 100.0) * std::exp(-3.0 * t);
    }
    for (std::size_t note = 0; note + 2 < notes; ++note) {
        const double pitch = 98.0 * std::exp2(std::floor(random.uniform() * 24.0) / 12.0);
        for (int partial = 1; partial <= 12; ++partial) {
            const double phase = 2.0 * std::numbers::pi * random.uniform();
            const double step = 2.0 * std::numbers::pi * pitch * partial / rate;
            for (std::size_t n = 0; n < envelope.size(); ++n)
                samples[note * 24000 + n] +=
                    static_cast<float>(level / partial * envelope[n] * std::cos(step * static_cast<double>(n) + phase));
        }
    }
    return sum(samples, whiteNoise(length, seed + 1, 1e-4));
}

/// A metronome: bursts of 5 ms, two a second.
std::vector<float> clicks(std::size_t length = twentySeconds, double level = 0.3) {
    std::vector<float> samples(length);
    for (std::size_t beat = 4000; beat + 480 < length; beat += 24000)
        for (std::size_t n = 0; n < 480; ++n) {
            const double t = static_cast<double>(n) / rate;
            samples[beat + n] =
                static_cast<float>(level * std::exp(-600.0 * t) * std::sin(2.0 * std::numbers::pi * 1500.0 * t));
        }
    return samples;
}

ShoeboxRoom room(double absorption, double decay) {
    ShoeboxRoom made;
    made.size = {6.3, 4.9, 3.1};
    for (auto& surface : made.absorption)
        surface.fill(absorption);
    made.decay = Seconds(decay);
    return made;
}

/// What two microphones of a room with one source hear.
PairReading readScene(const ShoeboxRoom& of, const SceneMicrophone& first, const SceneMicrophone& second, Point source,
                      const std::vector<float>& dry) {
    Scene scene;
    scene.rooms = {of};
    scene.sources = {{"voice", 0, source, {}, Decibels(0.0)}};
    scene.microphones = {first, second};
    Workers workers(2);
    const SceneSound sound(scene, std::vector<std::vector<float>>{dry}, workers);
    return readTwo(sound.track(0), sound.track(1));
}

SceneMicrophone microphone(Point at, FirstOrderPattern pattern = {}) {
    return {"m", 0, at, pattern, Decibels(20.0), Decibels(-90.0), {}};
}

} // namespace

// ---- mains ----------------------------------------------------------------------------------------------------------

TEST_CASE("hum of the mains under unrelated music relates nothing, and is named", "[long]") {
    const auto music = tune(100), other = tune(200);
    for (const double mains : {50.0, 60.0, 49.93, 60.04})
        for (const double level : {0.002, 0.02}) {
            const auto reading =
                readTwo(sum(hum(mains, 0.02, 30, level, 1), music), sum(hum(mains, 0.02, 30, level, 2), other));
            CAPTURE(mains, level);
            CHECK_FALSE(reading.related);
            CHECK(reading.shared == Shared::mainsHum);
            CHECK_FALSE(reading.arrival);
            CHECK_FALSE(reading.polarity);
        }
    // In pink noise as loud as the hum is at its first line.
    const auto noisy = readTwo(sum(hum(50.0, 0.02, 12, 0.02, 1), pinkNoise(twentySeconds, 5, rate, 0.02)),
                               sum(hum(50.0, 0.02, 12, 0.02, 2), pinkNoise(twentySeconds, 6, rate, 0.02)));
    CHECK_FALSE(noisy.related);
    CHECK(noisy.shared == Shared::mainsHum);
}

TEST_CASE("hum alone, loud over faint noise of each track's own, is hum, one line of it too", "[long]") {
    for (const int partials : {1, 2, 3, 40})
        for (const double mains : {50.0, 60.0}) {
            CAPTURE(partials, mains);
            const auto reading = readTwo(sum(hum(mains, 0.02, partials, 0.05, 3), whiteNoise(twentySeconds, 4, 1e-5)),
                                         sum(hum(mains, 0.02, partials, 0.05, 5), whiteNoise(twentySeconds, 6, 1e-5)));
            CHECK_FALSE(reading.related);
            CHECK(reading.shared == Shared::mainsHum);
        }
}

TEST_CASE("spill under hum is spill, with the arrival it has without the hum") {
    const auto music = pinkNoise(twentySeconds, 7, rate, 0.02);
    for (const double mains : {50.0, 60.0}) {
        const auto first = sum(music, whiteNoise(twentySeconds, 8, 0.003));
        const auto second = sum(delayed(music, 77.3, -0.5), whiteNoise(twentySeconds, 9, 0.003));
        const auto clean = readTwo(first, second);
        const auto reading =
            readTwo(sum(hum(mains, 0.02, 30, 0.05, 1), first), sum(hum(mains, 0.02, 30, 0.05, 2), second));
        REQUIRE(reading.related);
        CHECK(reading.shared == Shared::sound);
        REQUIRE(reading.arrival);
        CHECK(samplesOf(*reading.arrival) == Approx(77.3).margin(3.0 * clean.arrival->uncertainty.value * rate));
        CHECK(reading.polarity->polarity == Polarity::inverted);
        CHECK(reading.polarity->confidence > 0.99);
        // The bins that the lines leave are fewer, not others.
        CHECK(reading.coherence == Approx(clean.coherence).margin(0.03));
    }
}

TEST_CASE("hum in one track alone is nothing in common, and a shared tune is no hum", "[long]") {
    const auto music = tune(100), other = tune(200);
    const auto alone = readTwo(sum(hum(50.0, 0.02, 30, 0.02, 1), music), other);
    CHECK(alone.shared == Shared::nothing);
    for (std::uint64_t seed = 300; seed < 304; ++seed) {
        const auto shared = tune(seed);
        const auto reading = readTwo(sum(shared, whiteNoise(twentySeconds, 1, 1e-3)),
                                     sum(delayed(shared, 50.0), whiteNoise(twentySeconds, 2, 1e-3)));
        CHECK(reading.related);
        CHECK(reading.shared == Shared::sound);
        REQUIRE(reading.arrival);
        CHECK(samplesOf(*reading.arrival) == Approx(50.0).margin(0.1));
    }
    // Hum of one country in one track, of another in the other.
    const auto abroad = readTwo(sum(hum(50.0, 0.02, 30, 0.02, 1), music), sum(hum(60.0, 0.02, 30, 0.02, 1), other));
    CHECK_FALSE(abroad.related);
}

// ---- offset and noise floor -----------------------------------------------------------------------------------------

TEST_CASE("an offset in both tracks is named, in one of them it is nothing in common") {
    auto first = whiteNoise(twentySeconds, 1, 0.01), second = whiteNoise(twentySeconds, 2, 0.01);
    const auto plain = second;
    for (auto* track : {&first, &second})
        for (auto& sample : *track)
            sample += 0.3f;
    const auto reading = readTwo(first, second);
    CHECK_FALSE(reading.related);
    CHECK(reading.shared == Shared::offset);
    CHECK(readTwo(first, plain).shared == Shared::nothing);
    // Beside a sound that both hear it is of no account.
    const auto heard = readTwo(first, delayed(first, 20.0));
    CHECK(heard.related);
}

TEST_CASE("the very same faint noise in both tracks is a noise floor, not spill", "[long]") {
    const auto floor = whiteNoise(twentySeconds, 11, 1e-4); // -80 dBFS
    const auto band = [](std::uint64_t seed) {
        return filtered(pinkNoise(twentySeconds, seed, rate, 0.03), rate,
                        [](double hertz) { return hertz < 4000.0 ? 1.0 : 0.0; });
    };
    const auto pausing = [](std::uint64_t seed) {
        auto samples = pinkNoise(twentySeconds, seed, rate, 0.03);
        std::fill(samples.begin() + 48000 * 4, samples.begin() + 48000 * 16, 0.0f);
        return samples;
    };
    const auto alone = readTwo(floor, floor);
    const auto underMusic = readTwo(sum(floor, band(12)), sum(floor, band(13)));
    const auto inPauses = readTwo(sum(floor, pausing(14)), sum(floor, pausing(15)));
    for (const auto* reading : {&alone, &underMusic, &inPauses}) {
        CHECK(reading->shared == Shared::noiseFloor);
        CHECK_FALSE(reading->related);
        CHECK_FALSE(reading->arrival);
    }
    // Each track's own noise is none in common; under shared music the same noise changes nothing.
    const auto own = whiteNoise(twentySeconds, 16, 1e-4);
    CHECK(readTwo(sum(floor, band(12)), sum(own, band(13))).shared == Shared::nothing);
    const auto music = band(12);
    const auto heard = readTwo(sum(floor, music), sum(floor, delayed(music, 200.0)));
    CHECK(heard.shared == Shared::sound);
    REQUIRE(heard.arrival);
    CHECK(samplesOf(*heard.arrival) == Approx(200.0).margin(0.1));
}

// ---- printed --------------------------------------------------------------------------------------------------------

TEST_CASE("a copy, whole, scaled, upside down or late, is printed on both") {
    const auto music = tune(400);
    CHECK(readTwo(music, music).shared == Shared::printed);
    CHECK(readTwo(music, delayed(music, 0.0, -0.3)).shared == Shared::printed);
    const auto late = readTwo(music, delayed(music, 441.0, 0.5));
    CHECK(late.shared == Shared::printed);
    CHECK(late.related);
    REQUIRE(late.arrival);
    CHECK(samplesOf(*late.arrival) == Approx(441.0).margin(0.1));
    // 16 bits: rounding to 2^-15 of full scale is noise of each track's own.
    auto rounded = music;
    for (auto& sample : rounded)
        sample = std::round(sample * 0.7f * 32768.0f) / 32768.0f;
    CHECK(readTwo(music, rounded).shared == Shared::printed);
}

TEST_CASE("a click printed on two tracks is named under unrelated music", "[long]") {
    const auto click = clicks();
    const auto music = [](std::uint64_t seed) { return tune(seed, twentySeconds, 0.01); };
    for (const double lag : {0.0, 64.0}) {
        const auto reading = readTwo(sum(click, music(500)), sum(delayed(click, lag, 0.6), music(600)));
        CAPTURE(lag);
        CHECK(reading.related);
        CHECK(reading.shared == Shared::printed);
        REQUIRE(reading.arrival);
        CHECK(samplesOf(*reading.arrival) == Approx(lag).margin(0.1));
    }
    // The click heard by a microphone has a room in it.
    const auto room = filtered(click, rate, [](double hertz) { // one reflection 20 dB down, 7 ms later
        return 1.0 + 0.1 * std::polar(1.0, -2.0 * std::numbers::pi * hertz * 0.007);
    });
    CHECK(readTwo(sum(click, music(500)), sum(room, music(600))).shared == Shared::sound);
}

TEST_CASE("two microphones are never called printed, however close and however dry the room") {
    const auto voice = pinkNoise(48000 * 12, 21);
    const Point source{2.7, 2.2, 1.4};
    for (const auto& [absorption, decay] : {std::pair{0.9, 0.12}, {0.6, 0.2}, {0.25, 0.5}}) {
        CAPTURE(absorption);
        // 4 cm apart at 30 cm, 25 cm apart at 1 m.
        const auto close = readScene(room(absorption, decay), microphone({3.0, 2.2, 1.4}), microphone({3.0, 2.24, 1.4}),
                                     source, voice);
        CHECK(close.shared == Shared::sound);
        const auto spaced = readScene(room(absorption, decay), microphone({3.7, 2.2, 1.4}),
                                      microphone({3.7, 2.45, 1.4}), source, voice);
        CHECK(spaced.shared == Shared::sound);
        // Coincident: two cardioids crossed by 90 degrees, and a cardioid with a figure of eight.
        const Point pair{3.6, 2.3, 1.5};
        const auto crossed = readScene(room(absorption, decay), microphone(pair, {0.5, {2.6, 3.3, 1.5}}),
                                       microphone(pair, {0.5, {2.6, 1.3, 1.5}}), source, voice);
        CHECK(crossed.shared == Shared::sound);
        CHECK(crossed.related);
        const auto middleAndSide = readScene(room(absorption, decay), microphone(pair, {0.5, {2.6, 2.3, 1.5}}),
                                             microphone(pair, {0.0, {3.6, 3.3, 1.5}}), source, voice);
        CHECK(middleAndSide.shared == Shared::sound);
    }
}
