#include "Core/Scene/Acoustics.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <complex>
#include <numbers>

using namespace spillwright;
using Catch::Detail::Approx;

namespace {

constexpr double rate = 48000.0;

PerOctave everyOctave(double value) {
    PerOctave result{};
    result.fill(value);
    return result;
}

std::array<PerOctave, surfaces> everySurface(double value) {
    std::array<PerOctave, surfaces> result{};
    result.fill(everyOctave(value));
    return result;
}

/// The temperature at which sound goes 343 m/s by the formula of ISO 9613-1.
const Celsius at343{293.15 * (343.0 / 343.2) * (343.0 / 343.2) - 273.15};

/// One room, one source, one microphone, both omni.
Scene duo(Point size, Point source, Point microphone, double absorption) {
    Scene scene;
    scene.sampleRate = rate;
    ShoeboxRoom room;
    room.size = size;
    room.absorption = everySurface(absorption);
    room.temperature = at343;
    room.decay = Seconds(0.1);
    scene.rooms = {room};
    SceneSource from;
    from.position = source;
    scene.sources = {from};
    SceneMicrophone to;
    to.position = microphone;
    scene.microphones = {to};
    return scene;
}

/// Slow and obvious: the response at one frequency, time 0 at the click.
std::complex<double> responseAt(const std::vector<float>& samples, double hz) {
    std::complex<double> sum = 0.0;
    for (std::size_t n = 0; n < samples.size(); ++n)
        sum += static_cast<double>(samples[n]) *
               std::polar(1.0, -2.0 * std::numbers::pi * hz / rate * (static_cast<double>(n) - ImpulseResponse::lead));
    return sum;
}

/// Samples by which the phase at a frequency is later than `expected` says; small.
double latenessAt(const std::vector<float>& samples, double hz, double expected) {
    const double omega = 2.0 * std::numbers::pi * hz / rate;
    return -std::arg(responseAt(samples, hz) * std::polar(1.0, omega * expected)) / omega;
}

/// Reverberation time from -5 to -25 dB of the backward integral (ISO 3382-1), in seconds.
double reverberationTime(const std::vector<float>& samples) {
    std::vector<double> left(samples.size() + 1);
    for (std::size_t n = samples.size(); n-- > 0;)
        left[n] = left[n + 1] + static_cast<double>(samples[n]) * static_cast<double>(samples[n]);
    double sumT = 0.0, sumD = 0.0, sumTt = 0.0, sumTd = 0.0, count = 0.0;
    for (std::size_t n = 0; n < samples.size(); ++n) {
        const double d = 10.0 * std::log10(left[n] / left[0]);
        if (d > -5.0 || d < -25.0) continue;
        const double t = static_cast<double>(n) / rate;
        sumT += t, sumD += d, sumTt += t * t, sumTd += t * d, count += 1.0;
    }
    return -60.0 / ((count * sumTd - sumT * sumD) / (count * sumTt - sumT * sumT));
}

} // namespace

TEST_CASE("the direct sound arrives d/c later at 1/(4 pi d), between the samples too") {
    // 3.43 m at 343 m/s are 480.00 samples: Allen & Berkley 1979, eq. for the direct term; the others fall anywhere.
    for (double distance : {3.43, 2.7183, 0.1234, 6.0001}) {
        const Scene scene = duo({20, 20, 20}, {5, 5, 5}, {5 + distance, 5, 5}, 1.0);
        const auto response = impulseResponse(scene, 0, 0).samples;
        const double expected = distance / 343.0 * rate;
        CAPTURE(distance, expected);
        for (double hz : {300.0, 1000.0, 5000.0, 12000.0, 20000.0}) {
            CAPTURE(hz);
            CHECK(std::abs(latenessAt(response, hz, expected)) < tapAccuracySamples);
            // 0.01 dB: what the filter at dcCorner, (300 / 25)^4 down, and the tap's ripple leave.
            CHECK(20.0 * std::log10(std::abs(responseAt(response, hz)) * 4.0 * std::numbers::pi * distance) ==
                  Approx(0.0).margin(0.01));
        }
        const auto path = directPath(scene, 0, 0);
        REQUIRE(path);
        CHECK(path->distance.value == Approx(distance));
        CHECK(path->arrival.value * rate == Approx(expected).margin(1e-6));
        CHECK(path->level.value == Approx(-20.0 * std::log10(4.0 * std::numbers::pi * distance)).margin(1e-9));
        CHECK(path->polarity == Polarity::same);
    }
}

TEST_CASE("warmer air brings the sound sooner, as the square root of the absolute temperature") {
    Scene scene = duo({20, 20, 20}, {5, 5, 5}, {12, 5, 5}, 1.0);
    scene.rooms[0].temperature = Celsius(0.0);
    const double cold = directPath(scene, 0, 0)->arrival.value;
    CHECK(cold == Approx(7.0 / 331.286).epsilon(2e-6)); // 331.286 m/s at 0 degrees: 343.2 sqrt(273.15 / 293.15)
    scene.rooms[0].temperature = Celsius(30.0);
    CHECK(directPath(scene, 0, 0)->arrival.value / cold == Approx(std::sqrt(273.15 / 303.15)));
}

TEST_CASE("source and microphone changed over hear the same") {
    Scene scene = duo({7.1, 5.3, 3.2}, {1.3, 2.1, 1.1}, {5.9, 4.2, 1.8}, 0.3);
    scene.rooms[0].absorption[1] = {0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7};
    scene.rooms[0].scatter = Metres(0.1);
    const auto there = impulseResponse(scene, 0, 0).samples;
    std::swap(scene.sources[0].position, scene.microphones[0].position);
    const auto back = impulseResponse(scene, 0, 0).samples;
    REQUIRE(there.size() == back.size());
    double peak = 0.0;
    double difference = 0.0;
    for (std::size_t n = 0; n < there.size(); ++n) {
        peak = std::max(peak, std::abs(static_cast<double>(there[n])));
        difference = std::max(difference, std::abs(static_cast<double>(there[n]) - static_cast<double>(back[n])));
    }
    CHECK(difference < 1e-6 * peak); // the images are summed in another order: float rounding
}

TEST_CASE("the images up to an order are the octahedral numbers") {
    const Scene scene = duo({4, 5, 3}, {1, 2, 1}, {3, 3, 2}, 0.5);
    const std::size_t expected[] = {1, 7, 25, 63}; // (2n + 1)(2n^2 + 2n + 3) / 3
    for (int order = 0; order < 4; ++order)
        CHECK(images(scene.rooms[0], scene.sources[0], scene.microphones[0], Metres(1000.0), order).size() ==
              expected[order]);
}

TEST_CASE("the images within a time fill the sphere that sound reaches") {
    // 4 pi (c t)^3 / (3 V), Kuttruff, Room Acoustics. The boundary layer is edge / radius thick: a few per cent.
    const Scene scene = duo({4, 5, 3}, {1, 2, 1}, {3, 3, 2}, 0.5);
    const double radius = 40.0;
    const double expected = 4.0 / 3.0 * std::numbers::pi * std::pow(radius, 3.0) / 60.0;
    const auto found = images(scene.rooms[0], scene.sources[0], scene.microphones[0], Metres(radius));
    CHECK(static_cast<double>(found.size()) == Approx(expected).epsilon(0.03));
}

TEST_CASE("a floor's reflection comes by the way of the mirror image") {
    // Both 1.2 m high, 3 m apart: sqrt(3^2 + 2.4^2) = 3.8419 m, 2.454 ms behind the direct sound at 343 m/s.
    Scene scene = duo({30, 30, 30}, {10, 10, 1.2}, {13, 10, 1.2}, 1.0);
    scene.rooms[0].absorption[static_cast<std::size_t>(Surface::floor)] = everyOctave(0.0);
    const auto found = images(scene.rooms[0], scene.sources[0], scene.microphones[0], Metres(1000.0), 1);
    double floorWay = 0.0;
    for (const Image& image : found)
        if (image.index == std::array<int, 3>{0, 0, -1}) floorWay = image.distance;
    CHECK(floorWay == Approx(3.8419).margin(5e-5));

    // Twice the same sound: the comb 1 + g e^{-j w t}, g the ratio of the ways; 1 / (2 t) is its first notch.
    const auto response = impulseResponse(scene, 0, 0).samples;
    const double lag = (floorWay - 3.0) / 343.0;
    CHECK(lag == Approx(2.454e-3).margin(0.5e-6));
    const double g = 3.0 / floorWay;
    const double direct = 1.0 / (4.0 * std::numbers::pi * 3.0);
    CHECK(std::abs(responseAt(response, 10.5 / lag)) == Approx(direct * (1.0 - g)).epsilon(0.002));
    CHECK(std::abs(responseAt(response, 10.0 / lag)) == Approx(direct * (1.0 + g)).epsilon(0.002));
}

TEST_CASE("a wall keeps its share of every octave and delays none of them") {
    const PerOctave absorption{0.02, 0.1, 0.2, 0.36, 0.5, 0.75, 0.9};
    Scene scene = duo({30, 30, 30}, {10, 10, 1.5}, {14, 10, 2.5}, 1.0);
    const auto direct = impulseResponse(scene, 0, 0).samples;
    scene.rooms[0].absorption[static_cast<std::size_t>(Surface::floor)] = absorption;
    auto reflection = impulseResponse(scene, 0, 0).samples;
    for (std::size_t n = 0; n < reflection.size(); ++n)
        reflection[n] -= direct[n];
    const double way = std::hypot(4.0, 4.0);
    for (std::size_t octave = 0; octave < octaves; ++octave) {
        const double hz = octaveCentresHz[octave];
        CAPTURE(hz);
        const double gain = std::abs(responseAt(reflection, hz)) * 4.0 * std::numbers::pi * way;
        CHECK(gain == Approx(std::sqrt(1.0 - absorption[octave])).epsilon(0.005));
        // The difference of two float responses leaves 1e-5 of phase: 0.006 samples at 125 Hz.
        CHECK(std::abs(latenessAt(reflection, hz, way / 343.0 * rate)) < 0.01);
    }
}

TEST_CASE("air takes its decibels a metre") {
    Scene scene = duo({30, 30, 30}, {5, 5, 5}, {25, 5, 5}, 1.0);
    const auto without = impulseResponse(scene, 0, 0).samples;
    scene.rooms[0].airLossDbPerMetre = {0.0, 0.0, 0.0, 0.0, 0.009, 0.0229, 0.0766}; // ISO 9613-2, 20 degrees, 70 %
    const auto with = impulseResponse(scene, 0, 0).samples;
    const auto lossDb = [&](double hz) {
        return 20.0 * std::log10(std::abs(responseAt(without, hz)) / std::abs(responseAt(with, hz)));
    };
    CHECK(lossDb(1000.0) == Approx(0.0).margin(0.005));
    CHECK(lossDb(4000.0) == Approx(20.0 * 0.0229).margin(0.005));
    CHECK(lossDb(8000.0) == Approx(20.0 * 0.0766).margin(0.005));
}

TEST_CASE("a room decays as statistics say, a little slower", "[long]") {
    // 8 x 6 x 3 m. Eyring: 24 ln 10 / c * V / (-S ln(1 - a)), V = 144, S = 180. The image model of a shoebox with equal
    // surfaces stays above it by some 5 to 30 %, more in a flat room (Lehmann & Johansson 2008, from memory).
    const std::pair<double, double> eyring[] = {{0.2, 0.578}, {0.3, 0.361}, {0.5, 0.186}};
    for (const auto& [absorption, seconds] : eyring) {
        Scene scene = duo({8, 6, 3}, {2, 2.2, 1.2}, {6.1, 4.3, 1.6}, absorption);
        scene.rooms[0].decay = Seconds(0.8);
        for (double scatter : {0.0, 0.15}) {
            scene.rooms[0].scatter = Metres(scatter);
            double sum = 0.0;
            const Point places[] = {{6.1, 4.3, 1.6}, {1.1, 4.8, 1.9}, {5.2, 0.9, 0.8}};
            for (const Point& place : places) {
                scene.microphones[0].position = place;
                sum += reverberationTime(impulseResponse(scene, 0, 0).samples);
            }
            CAPTURE(absorption, scatter);
            CHECK(sum / 3.0 > 1.0 * seconds);
            CHECK(sum / 3.0 < 1.4 * seconds);
        }
    }
}

TEST_CASE("what piles up at 0 Hz is taken out") {
    Scene scene = duo({5, 4, 3}, {1, 1, 1}, {4, 3, 2}, 0.1);
    scene.rooms[0].decay = Seconds(0.5);
    double pile = 0.0; // all image amplitudes are positive; those of the last fifth are faded and left out here
    for (const Image& image : images(scene.rooms[0], scene.sources[0], scene.microphones[0], Metres(0.8 * 0.5 * 343.0)))
        pile += std::pow(0.9, 0.5 * image.order) / (4.0 * std::numbers::pi * image.distance);
    const auto response = impulseResponse(scene, 0, 0).samples;
    const double musical = std::abs(responseAt(response, 100.0));
    CHECK(pile > 10.0 * musical);
    // 60 dB: the filter's tails end with the lead, e^(-2 pi 25 Hz sin 45 degrees 64 ms) = 8e-4 of them is cut off.
    CHECK(std::abs(responseAt(response, 0.0)) < 1e-3 * pile);
}

TEST_CASE("a cardioid halves the side and is deaf behind, a figure of eight hears upside down behind") {
    Scene scene = duo({20, 20, 20}, {5, 5, 5}, {9, 5, 5}, 1.0);
    auto& microphone = scene.microphones[0];
    const auto gain = [&](double omniShare, Point aimedAt) {
        microphone.pattern = {omniShare, aimedAt};
        const auto h = responseAt(impulseResponse(scene, 0, 0).samples, 1000.0);
        const auto straight = std::polar(1.0, 2.0 * std::numbers::pi * 1000.0 * 4.0 / 343.0);
        return (h * straight).real() * 4.0 * std::numbers::pi * 4.0;
    };
    const Point front{5, 5, 5}, side{9, 8, 5}, behind{12, 5, 5};
    const double margin = 1e-3; // 1000 Hz phase of tapAccuracySamples, and float sums
    CHECK(gain(0.5, front) == Approx(1.0).margin(margin));
    CHECK(gain(0.5, side) == Approx(0.5).margin(margin));
    CHECK(gain(0.5, behind) == Approx(0.0).margin(margin));
    CHECK_FALSE(directPath(scene, 0, 0)->polarity);
    CHECK(gain(0.0, front) == Approx(1.0).margin(margin));
    CHECK(directPath(scene, 0, 0)->polarity == Polarity::same);
    CHECK(gain(0.0, side) == Approx(0.0).margin(margin));
    CHECK_FALSE(directPath(scene, 0, 0)->polarity);
    CHECK(gain(0.0, behind) == Approx(-1.0).margin(margin));
    CHECK(directPath(scene, 0, 0)->polarity == Polarity::inverted);
    microphone.faults.inverted = true;
    CHECK(directPath(scene, 0, 0)->polarity == Polarity::same);
}

TEST_CASE("a reflection leaves a directed source the way the mirror turned it") {
    // A cardioid source that plays at the wall behind it: nothing goes straight to the microphone, all by the wall.
    Scene scene = duo({30, 30, 30}, {2, 15, 15}, {6, 15, 15}, 1.0);
    scene.sources[0].pattern = {0.5, {0, 15, 15}};
    CHECK_FALSE(directPath(scene, 0, 0)->polarity);
    for (const Image& image : images(scene.rooms[0], scene.sources[0], scene.microphones[0], Metres(1000.0), 1)) {
        if (image.order == 0) CHECK(image.pattern == Approx(0.0).margin(1e-12));
        if (image.index == std::array<int, 3>{-1, 0, 0}) CHECK(image.pattern == Approx(1.0));
        if (image.index == std::array<int, 3>{1, 0, 0}) CHECK(image.pattern == Approx(0.0).margin(1e-12));
    }
}

TEST_CASE("scatter leaves the direct sound and the first reflections, and moves the others by no more than it says") {
    Scene scene = duo({4, 5, 3}, {1, 2, 1}, {3, 3, 2}, 0.5);
    const auto exact = images(scene.rooms[0], scene.sources[0], scene.microphones[0], Metres(60.0));
    scene.rooms[0].scatter = Metres(0.2);
    const auto moved = images(scene.rooms[0], scene.sources[0], scene.microphones[0], Metres(60.0));
    REQUIRE(exact.size() == moved.size());
    double furthest = 0.0;
    double sum = 0.0;
    bool early = true;
    for (std::size_t n = 0; n < exact.size(); ++n) {
        const double by = moved[n].distance - exact[n].distance;
        if (exact[n].order <= 1 && by != 0.0) early = false;
        furthest = std::max(furthest, std::abs(by));
        sum += by;
    }
    CHECK(early);
    CHECK(furthest <= 0.2);
    CHECK(furthest > 0.19);
    CHECK(std::abs(sum / static_cast<double>(exact.size())) < 0.01); // to neither side
}

TEST_CASE("different rooms have no way between them") {
    Scene scene = duo({4, 5, 3}, {1, 2, 1}, {3, 3, 2}, 0.5);
    scene.rooms.push_back(scene.rooms[0]);
    scene.microphones[0].room = 1;
    CHECK_FALSE(directPath(scene, 0, 0));
}
