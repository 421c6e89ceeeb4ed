#pragma once

#include "Core/TrackAdjustment.h"
#include "Core/Types.h"

#include <optional>
#include <string>
#include <string_view>

namespace spillwright::desk {

/// A time as people type it: "3.2 ms", "-3,2", "155 smp", "1.1 m", "110 cm", "0.003 s"; a bare number is milliseconds.
/// A distance is the way sound goes in that time at the given temperature. Empty text is 0. nullopt: no such amount.
std::optional<Seconds> parseNudge(std::string_view text, double sampleRate, Celsius temperature);
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

} // namespace spillwright::desk
