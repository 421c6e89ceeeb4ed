#pragma once

#include "Core/TrackAdjustment.h"
#include "Core/Types.h"

#include <optional>
#include <string>
#include <string_view>

namespace spillwright {

enum class NudgeUnit { milliseconds, samples, distance };
enum class DistanceUnit { metric, inches };
/// In what nudges are listed and typed, and in what distances are told first.
struct Units {
    NudgeUnit nudges = NudgeUnit::milliseconds;
    DistanceUnit distances = DistanceUnit::metric;
    bool operator==(const Units&) const = default;
};
/// Units, and what samples and distances depend on: a distance is the way sound goes in a time at that temperature.
struct Measures {
    Units units;
    double sampleRate = 48000.0; ///< Hz.
    Celsius temperature{20.0};
};

/// A time as people type it: "3.2 ms", "-3,2", "155 smp", "1.1 m", "110 cm", "43 in", "3.5 ft", "0.003 s"; a bare
/// number is of the unit that nudges are listed in. Empty text is 0. nullopt: no such amount.
std::optional<Seconds> parseNudge(std::string_view text, const Measures& measures);
std::string nudgeUnitName(const Units& units); ///< "ms", "smp", "cm" or "in".
/// In the unit that nudges are listed in, without its name: "0", or signed.
std::string nudgeText(Seconds nudge, const Measures& measures);
/// What one step of a key changes while a nudge is typed: 0.1 ms, a sample, 1 cm or 1 inch.
Seconds nudgeStep(const Measures& measures);
/// The way that sound goes in that time: "31.2 ± 0.4 cm", "1.07 ± 0.01 m", "12.3 ± 0.2 in"; without a sign.
std::string distanceText(Seconds arrival, Seconds uncertainty, Celsius temperature, DistanceUnit unit);
/// An amount, without its sign, to the digits that its uncertainty leaves: "0.113 ± 0.001".
std::string withUncertainty(double amount, double uncertainty, int mostDecimals);
int decimalsLeftBy(double uncertainty, int most); ///< 0..most, as withUncertainty() has them.
/// "-3", "+1.5 dB"; empty text is 0. nullopt: no such amount.
std::optional<Decibels> parseGain(std::string_view text);

/// "C", "L30", "R 100", "-30", "30 right"; -1 left .. +1 right, the amount in per cent. Empty text or "auto": none, as
/// the recording has it. The outer nullopt: no such place.
std::optional<std::optional<double>> parsePan(std::string_view text);
std::string panText(double pan); ///< "C", "L30", "R100".

/// "178 562", "178-562 Hz", "178:562"; both above 0, the lower first. nullopt: no such band.
std::optional<Band> parseBand(std::string_view text);
std::string bandText(const Band& band); ///< "178\u2013562 Hz".
/// "20", "18.5 \u00b0C"; -30 to 50. nullopt: no such temperature.
std::optional<Celsius> parseTemperature(std::string_view text);
std::string temperatureText(Celsius temperature); ///< "20 \u00b0C", "\u22123.5 \u00b0C".

struct HighPassEntry {
    std::optional<Hertz> corner; ///< none: no filter.
    std::optional<Slope> slope;  ///< none: nothing is said of it.
};
/// "80", "80 Hz", "0.1 kHz"; with a slope in dB per octave after it "80 24", "80 Hz 24", "80 Hz 24 dB"; empty, "off" or
/// "0": no filter. nullopt: no such amount, or a slope that there is not.
std::optional<HighPassEntry> parseHighPass(std::string_view text);

/// With a true minus sign, and a plus where the amount is above 0: "+0.30", "−2.9", "0".
std::string signedAmount(double amount, int decimals);
std::string unsignedAmount(double amount, int decimals);
std::string labelLetter(int label);   ///< 1: "A".
std::string nudgeText(Seconds nudge); ///< Milliseconds, "0" or signed with two decimals.
/// "off", or corner and slope: "80 24". parseHighPass() understands it.
std::string highPassText(const TrackAdjustment& adjustment);
std::string gainText(double dB); ///< Signed, one decimal; "−∞" for no level.
/// Words for plain text as they are printed: a true minus sign before each amount of dB, dBFS, ms or smp.
std::string withTrueMinus(std::string_view words);

} // namespace spillwright
