#include "Core/Measure/Notches.h"

#include <catch2/catch.hpp>

#include <cmath>

using namespace spillwright;

namespace {

/// The same sound twice, a third octave's fortieth a point: what combResponse() gives a point for.
FrequencyCurve comb(Seconds delay, Polarity polarity, Decibels level, int points = 1200) {
    FrequencyCurve curve;
    for (int i = 0; i < points; ++i) {
        curve.frequencies.push_back(20.0 * std::pow(1000.0, i / (points - 1.0)));
        curve.values.push_back(combResponseOfCopy(Hertz(curve.frequencies.back()), delay, polarity, level));
    }
    return curve;
}

} // namespace

TEST_CASE("the notches of a copy that comes 1 ms later lie at odd multiples of 500 Hz, as deep as the copy is loud") {
    const auto found = notches(comb(milliseconds(1.0), Polarity::same, Decibels(-3.0)), lowMidBand, 5);
    REQUIRE(found.size() == 5);
    // |1 - g| with g of -3 dB.
    const double depth = 20.0 * std::log10(1.0 - std::pow(10.0, -3.0 / 20.0));
    CHECK(found[0].frequency.value == Approx(500.0).epsilon(0.002)); // the only one within the band comes first
    CHECK(found[0].levelDb == Approx(depth).margin(0.3));            // a point lies up to 0.3 % beside the tip
    for (const auto& notch : found) {
        const double order = notch.frequency.value / 1000.0 - 0.5;
        CHECK(std::abs(order - std::round(order)) < 0.02);
        CHECK(notch.levelDb < -8.0);
    }
}

TEST_CASE("the notch of the band comes first, whichever band it is") {
    const auto response = comb(milliseconds(1.0), Polarity::same, Decibels(-3.0));
    for (double hertz : {500.0, 1500.0, 2500.0, 3500.0}) {
        const auto found = notches(response, {Hertz(hertz - 100.0), Hertz(hertz + 100.0)}, 3);
        REQUIRE(found.size() == 3);
        CHECK(found[0].frequency.value == Approx(hertz).epsilon(0.003));
        CHECK(found[1].levelDb <= found[2].levelDb);
    }
}

TEST_CASE("an inverted copy has its notches between those of one that is not") {
    const auto found =
        notches(comb(milliseconds(1.0), Polarity::inverted, Decibels(-3.0)), {Hertz(900), Hertz(1100)}, 1);
    REQUIRE(found.size() == 1);
    CHECK(found[0].frequency.value == Approx(1000.0).epsilon(0.002));
}

TEST_CASE("shallow dips and ripples on a slope are no notches") {
    CHECK(notches(comb(milliseconds(1.0), Polarity::same, Decibels(-20.0)), lowMidBand, 5).empty()); // +-0.9 dB
    FrequencyCurve slope;
    for (int i = 0; i < 300; ++i) {
        slope.frequencies.push_back(20.0 * std::pow(1000.0, i / 299.0));
        slope.values.push_back(-0.05 * i + 0.5 * std::sin(i));
    }
    CHECK(notches(slope, lowMidBand, 5).empty());
    CHECK(notches({}, lowMidBand, 5).empty());
}
