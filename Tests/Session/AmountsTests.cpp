#include "Session/Amounts.h"

#include <catch2/catch.hpp>

using namespace spillwright;

namespace {
// Far below a sample at 192 kHz (5 us); what is left is rounding of a decimal number.
constexpr double roundingSeconds = 1e-12;

double nudge(const char* text) {
    const auto parsed = parseNudge(text, Measures{});
    REQUIRE(parsed);
    return parsed->value;
}
} // namespace

TEST_CASE("a nudge is understood in milliseconds, samples and metres") {
    CHECK(nudge("3.2 ms") == Approx(0.0032).margin(roundingSeconds));
    CHECK(nudge("3.2") == Approx(0.0032).margin(roundingSeconds));
    CHECK(nudge("-3,2ms") == Approx(-0.0032).margin(roundingSeconds));
    CHECK(nudge("\u22120.40") == Approx(-0.0004).margin(roundingSeconds));
    CHECK(nudge("+155 smp") == Approx(155.0 / 48000.0).margin(roundingSeconds));
    CHECK(nudge("155 samples") == Approx(155.0 / 48000.0).margin(roundingSeconds));
    // 343.2 m/s at 20 degrees (ISO 9613-1): 1.1 m are 3.20513 ms.
    CHECK(nudge("1.1 m") == Approx(1.1 / 343.2).margin(roundingSeconds));
    CHECK(nudge("110 cm") == Approx(1.1 / 343.2).margin(roundingSeconds));
    // The international inch is 25.4 mm, the foot twelve of it.
    CHECK(nudge("40 in") == Approx(1.016 / 343.2).margin(roundingSeconds));
    CHECK(nudge("-3.5 ft") == Approx(-1.0668 / 343.2).margin(roundingSeconds));
    CHECK(nudge("0.003 s") == Approx(0.003).margin(roundingSeconds));
    CHECK(nudge("250 us") == Approx(0.00025).margin(roundingSeconds));
    CHECK(nudge("") == 0.0);
}

TEST_CASE("a longer way in cold air takes more time") {
    CHECK(parseNudge("1 m", {{}, 48000.0, Celsius(0.0)})->value >
          parseNudge("1 m", {{}, 48000.0, Celsius(20.0)})->value);
}

TEST_CASE("what is no amount is refused") {
    for (const char* text : {"abc", "3 parsec", "1e3", "--3", "3.2.1", "nan", "inf", "0x10", "ms"}) {
        INFO(text);
        CHECK_FALSE(parseNudge(text, Measures{}));
    }
    CHECK_FALSE(parseGain("3 ms"));
    CHECK_FALSE(parseHighPass("-80"));
    CHECK_FALSE(parseHighPass("80 dB"));
    for (const char* text : {"80 6", "80 Hz 15", "80 24 ms", "80 -24", "80 24 24", "1e3", "x 24"}) {
        INFO(text);
        CHECK_FALSE(parseHighPass(text));
    }
}

TEST_CASE("gains and high-passes are understood") {
    CHECK(parseGain("-3 dB")->value == -3.0);
    CHECK(parseGain("+1.5")->value == 1.5);
    CHECK(parseHighPass("80")->corner->value == 80.0);
    CHECK(parseHighPass("0.1 kHz")->corner->value == Approx(100.0));
    CHECK_FALSE(parseHighPass("off")->corner);
    CHECK_FALSE(parseHighPass("")->corner);
    CHECK_FALSE(parseHighPass("80")->slope);
    for (const char* text : {"80 24", " 80 Hz 24", "0.08 kHz 24 dB", "80,0hz 24 dB/oct"}) {
        INFO(text);
        REQUIRE(parseHighPass(text));
        CHECK(parseHighPass(text)->corner->value == Approx(80.0));
        CHECK(parseHighPass(text)->slope == Slope::dB24);
    }
}

TEST_CASE("a high-pass is written so that it is understood again") {
    TrackAdjustment adjustment;
    CHECK(highPassText(adjustment) == "off");
    adjustment.highPass = Hertz(120.0);
    CHECK(highPassText(adjustment) == "120 12");
    for (const Slope slope : {Slope::dB18, Slope::dB24}) {
        adjustment.highPassSlope = slope;
        CHECK(parseHighPass(highPassText(adjustment))->corner == adjustment.highPass);
        CHECK(parseHighPass(highPassText(adjustment))->slope == slope);
    }
}

TEST_CASE("a pan is understood by side and per cent, and what is written is understood again") {
    CHECK(parsePan("C") == std::optional<double>(0.0));
    CHECK(**parsePan("L30") == Approx(-0.3));
    CHECK(**parsePan("r 100") == Approx(1.0));
    CHECK(**parsePan("right") == Approx(1.0));
    CHECK(**parsePan("30 left") == Approx(-0.3));
    CHECK(**parsePan("-45 %") == Approx(-0.45));
    REQUIRE(parsePan("auto"));
    CHECK_FALSE(parsePan("auto")->has_value());
    for (const char* wrong : {"L130", "x", "L-3", "-101", "3 dB", "LR"})
        CHECK_FALSE(parsePan(wrong));
    for (int percent = -100; percent <= 100; ++percent)
        CHECK(**parsePan(panText(percent / 100.0)) == Approx(percent / 100.0).margin(1e-12));
}

TEST_CASE("a band and a temperature are understood, and what is written is understood again") {
    CHECK(parseBand("178 562") == Band{Hertz(178.0), Hertz(562.0)});
    CHECK(parseBand("100:8000") == Band{Hertz(100.0), Hertz(8000.0)});
    CHECK(parseBand("60-250 Hz") == Band{Hertz(60.0), Hertz(250.0)});
    CHECK(parseBand(bandText({Hertz(178.0), Hertz(562.0)})) == Band{Hertz(178.0), Hertz(562.0)});
    for (const char* wrong : {"", "178", "562 178", "0 100", "a b", "100 200 m"})
        CHECK_FALSE(parseBand(wrong));
    CHECK(parseTemperature("18.5")->value == 18.5);
    CHECK(parseTemperature("25 \u00b0C")->value == 25.0);
    for (double degrees : {-12.5, 0.0, 20.0, 36.6})
        CHECK(parseTemperature(temperatureText(Celsius(degrees)))->value == Approx(degrees));
    for (const char* wrong : {"", "warm", "200", "-60"})
        CHECK_FALSE(parseTemperature(wrong));
}

TEST_CASE("amounts are written with their sign, and zero without one") {
    CHECK(signedAmount(0.3, 2) == "+0.30");
    CHECK(signedAmount(-2.9, 1) == "\u22122.9");
    CHECK(signedAmount(-0.001, 2) == "0.00");
    CHECK(nudgeText(Seconds(0.0)) == "0");
    CHECK(nudgeText(milliseconds(-0.4)) == "\u22120.40");
}

TEST_CASE("what is written is understood again") {
    for (double ms : {-12.34, -0.01, 0.0, 0.5, 50.0})
        CHECK(nudge(nudgeText(milliseconds(ms)).c_str()) == Approx(ms * 1e-3).margin(roundingSeconds));
}

TEST_CASE("a nudge is listed in the unit that was chosen, and a bare number is of that unit") {
    const double metre = 1.0 / 343.2;
    const Measures samples{{NudgeUnit::samples, DistanceUnit::metric}, 44100.0, Celsius(20.0)};
    const Measures cm{{NudgeUnit::distance, DistanceUnit::metric}, 48000.0, Celsius(20.0)};
    const Measures inches{{NudgeUnit::distance, DistanceUnit::inches}, 48000.0, Celsius(20.0)};
    CHECK(nudgeText(Seconds(97.0 / 44100.0), samples) == "+97");
    CHECK(nudgeText(Seconds(-97.25 / 44100.0), samples) == "\u221297.2");
    CHECK(nudgeText(Seconds(1.0), samples) == "+44100");
    CHECK(nudgeText(Seconds(0.312 * metre), cm) == "+31.2");
    CHECK(nudgeText(Seconds(-0.254 * metre), inches) == "\u221210.0");
    CHECK(nudgeText(Seconds(0.0), inches) == "0");
    CHECK(nudgeText(milliseconds(-0.4), Measures{}) == nudgeText(milliseconds(-0.4)));
    CHECK(parseNudge("97", samples)->value == Approx(97.0 / 44100.0).margin(roundingSeconds));
    CHECK(parseNudge("31.2", cm)->value == Approx(0.312 * metre).margin(roundingSeconds));
    CHECK(parseNudge("\u221210", inches)->value == Approx(-0.254 * metre).margin(roundingSeconds));
    CHECK(parseNudge("2 ms", inches)->value == Approx(0.002).margin(roundingSeconds));
    CHECK(nudgeStep(samples).value == Approx(1.0 / 44100.0));
    CHECK(nudgeStep(inches).value == Approx(0.0254 * metre));
}

TEST_CASE("a distance is told in metres or in inches, no more exactly than it is known") {
    const Celsius room(20.0);
    const Seconds metre(1.0 / 343.2), hundredth(0.01 / 343.2);
    CHECK(distanceText(metre, hundredth, room, DistanceUnit::metric) == "1.00 \u00b1 0.01 m");
    CHECK(distanceText(Seconds(-0.3 * metre.value), hundredth, room, DistanceUnit::metric) == "30.0 \u00b1 1.0 cm");
    CHECK(distanceText(metre, hundredth, room, DistanceUnit::inches) == "39.4 \u00b1 0.4 in");
}

TEST_CASE("the minus of an amount is a true one, and the hyphens of names stay") {
    CHECK(withTrueMinus("(-0.6 dB), -12 dBFS, -0.25 ms (-12.0 smp)") ==
          "(\u22120.6 dB), \u221212 dBFS, \u22120.25 ms (\u221212.0 smp)");
    CHECK(withTrueMinus("-3 dB") == "\u22123 dB");
    for (const char* words : {"low-mids", "mic -3", "take 1-2 dB", "x - 3 dB", "-", "", "- dB"})
        CHECK(withTrueMinus(words) == words);
}
