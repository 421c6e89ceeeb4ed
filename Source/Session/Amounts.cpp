#include "Session/Amounts.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <cmath>
#include <cstdio>
#include <cstdlib>

namespace spillwright {

namespace {

struct NumberAndUnit {
    double number = 0.0;
    std::string unit; ///< Lower case, without spaces.
};

std::optional<NumberAndUnit> split(std::string_view text) {
    std::string plain;
    for (std::size_t i = 0; i < text.size(); ++i) {
        if (text.substr(i, 3) == "\u2212") { // the true minus, as we write it ourselves
            plain += '-';
            i += 2;
        } else if (text[i] == ',') {
            plain += '.';
        } else if (!std::isspace(static_cast<unsigned char>(text[i]))) {
            plain += static_cast<char>(std::tolower(static_cast<unsigned char>(text[i])));
        }
    }
    if (plain.empty()) return NumberAndUnit{};
    // strtod knows hexadecimal, "inf" and "nan", which nobody means here.
    const auto numberEnd = plain.find_first_not_of("+-.0123456789");
    const std::string digits = plain.substr(0, numberEnd);
    char* end = nullptr;
    const double number = std::strtod(digits.c_str(), &end);
    if (digits.empty() || end != digits.c_str() + digits.size()) return std::nullopt;
    return NumberAndUnit{number, numberEnd == std::string::npos ? "" : plain.substr(numberEnd)};
}

std::string printed(double amount, int decimals) {
    std::array<char, 64> text{};
    std::snprintf(text.data(), text.size(), "%.*f", decimals, amount);
    return text.data();
}

constexpr double metresPerInch = 0.0254, inchesPerFoot = 12.0;

/// The time that one of a unit is.
std::optional<Seconds> lengthOf(std::string_view unit, const Measures& measures) {
    if (unit == "ms") return milliseconds(1.0);
    if (unit == "s") return Seconds(1.0);
    if (unit == "us" || unit == "\u00b5s" || unit == "\u03bcs") return Seconds(1e-6);
    if (unit == "smp" || unit == "sample" || unit == "samples") return Seconds(1.0 / measures.sampleRate);
    const auto way = [&](double metres) { return Seconds(metres / speedOfSound(measures.temperature)); };
    if (unit == "m") return way(1.0);
    if (unit == "cm") return way(0.01);
    if (unit == "in" || unit == "inch" || unit == "inches" || unit == "\"") return way(metresPerInch);
    if (unit == "ft" || unit == "foot" || unit == "feet" || unit == "'") return way(metresPerInch * inchesPerFoot);
    return std::nullopt;
}

} // namespace

std::string nudgeUnitName(const Units& units) {
    switch (units.nudges) {
    case NudgeUnit::milliseconds:
        return "ms";
    case NudgeUnit::samples:
        return "smp";
    case NudgeUnit::distance:
        return units.distances == DistanceUnit::metric ? "cm" : "in";
    }
    return {};
}

std::optional<Seconds> parseNudge(std::string_view text, const Measures& measures) {
    auto entry = split(text);
    if (!entry) return std::nullopt;
    if (entry->unit.empty()) entry->unit = nudgeUnitName(measures.units);
    const auto length = lengthOf(entry->unit, measures);
    if (!length) return std::nullopt;
    return Seconds(entry->number * length->value);
}

std::string nudgeText(Seconds nudge, const Measures& measures) {
    if (nudge.value == 0.0) return "0";
    const double amount = nudge.value / lengthOf(nudgeUnitName(measures.units), measures)->value;
    if (measures.units.nudges == NudgeUnit::milliseconds) return signedAmount(amount, 2);
    constexpr double asGoodAsWhole = 1e-4, roomForDecimals = 1000.0;
    const bool whole =
        measures.units.nudges == NudgeUnit::samples && std::abs(amount - std::round(amount)) < asGoodAsWhole;
    return signedAmount(amount, whole || std::abs(amount) >= roomForDecimals ? 0 : 1);
}

Seconds nudgeStep(const Measures& measures) {
    constexpr double stepMs = 0.1;
    if (measures.units.nudges == NudgeUnit::milliseconds) return milliseconds(stepMs);
    return *lengthOf(nudgeUnitName(measures.units), measures);
}

int decimalsLeftBy(double uncertainty, int most) {
    int decimals = most;
    for (double least = std::pow(10.0, -most); decimals > 0 && uncertainty >= 20.0 * least; least *= 10.0)
        --decimals;
    return decimals;
}

std::string withUncertainty(double amount, double uncertainty, int mostDecimals) {
    const int decimals = decimalsLeftBy(uncertainty, mostDecimals);
    return unsignedAmount(amount, decimals) + " \u00b1 " +
           unsignedAmount(std::max(uncertainty, std::pow(10.0, -decimals)), decimals);
}

std::string distanceText(Seconds arrival, Seconds uncertainty, Celsius temperature, DistanceUnit unit) {
    const double metres = arrival.value * speedOfSound(temperature);
    const double spread = distanceUncertainty(arrival, uncertainty, temperature).value;
    if (unit == DistanceUnit::inches) return withUncertainty(metres / metresPerInch, spread / metresPerInch, 2) + " in";
    return std::abs(metres) < 1.0 ? withUncertainty(100.0 * metres, 100.0 * spread, 1) + " cm"
                                  : withUncertainty(metres, spread, 2) + " m";
}

std::optional<Decibels> parseGain(std::string_view text) {
    const auto entry = split(text);
    if (!entry || !(entry->unit.empty() || entry->unit == "db")) return std::nullopt;
    return Decibels(entry->number);
}

std::optional<std::optional<double>> parsePan(std::string_view text) {
    std::string plain;
    for (const char letter : text)
        if (letter != ' ' && letter != '%')
            plain += static_cast<char>(std::tolower(static_cast<unsigned char>(letter)));
    if (plain.empty() || plain == "auto") return std::optional<double>();
    if (plain == "c" || plain == "centre" || plain == "center") return std::optional(0.0);
    double side = 1.0;
    for (const auto& [word, sign] : {std::pair{"left", -1.0}, {"right", 1.0}, {"l", -1.0}, {"r", 1.0}})
        if (const std::string_view name = word; plain.starts_with(name) || plain.ends_with(name)) {
            side = sign;
            plain.erase(plain.starts_with(name) ? 0 : plain.size() - name.size(), name.size());
            if (plain.empty()) plain = "100";
            if (plain.front() == '-') return std::nullopt;
            break;
        }
    const auto entry = split(plain);
    if (!entry || !entry->unit.empty() || std::abs(entry->number) > 100.0) return std::nullopt;
    return std::optional(side * entry->number / 100.0);
}

std::optional<Band> parseBand(std::string_view text) {
    constexpr auto number = "0123456789.,";
    const auto firstFrom = text.find_first_of(number);
    if (firstFrom == std::string_view::npos) return std::nullopt;
    const auto firstTo = text.find_first_not_of(number, firstFrom);
    if (firstTo == std::string_view::npos) return std::nullopt;
    const auto secondFrom = text.find_first_of(number, firstTo);
    if (secondFrom == std::string_view::npos) return std::nullopt;
    const auto low = split(text.substr(firstFrom, firstTo - firstFrom)), high = split(text.substr(secondFrom));
    if (!low || !high || !(high->unit.empty() || high->unit == "hz")) return std::nullopt;
    if (!(low->number > 0.0 && low->number < high->number)) return std::nullopt;
    return Band{Hertz(low->number), Hertz(high->number)};
}

std::string bandText(const Band& band) {
    return unsignedAmount(band.low.value, 0) + "\u2013" + unsignedAmount(band.high.value, 0) + " Hz";
}

std::optional<Celsius> parseTemperature(std::string_view text) {
    if (const auto degree = text.find("\u00b0"); degree != std::string_view::npos) text = text.substr(0, degree);
    const auto entry = split(text);
    if (text.find_first_of("0123456789") == std::string_view::npos) return std::nullopt;
    if (!entry || !(entry->unit.empty() || entry->unit == "c") || std::abs(entry->number - 10.0) > 40.0)
        return std::nullopt;
    return Celsius(entry->number);
}

std::string temperatureText(Celsius temperature) {
    const double tenths = std::round(temperature.value * 10.0) / 10.0;
    const auto figures = unsignedAmount(std::abs(tenths), tenths == std::round(tenths) ? 0 : 1);
    return (tenths < 0.0 ? "\u2212" : "") + figures + " \u00b0C";
}

std::string labelLetter(int label) {
    return std::string(1, static_cast<char>('A' + label - 1));
}

std::string panText(double pan) {
    const int percent = static_cast<int>(std::lround(100.0 * pan));
    return percent == 0 ? "C" : (percent < 0 ? "L" : "R") + std::to_string(std::abs(percent));
}

std::optional<HighPassEntry> parseHighPass(std::string_view text) {
    if (text == "off" || text == "\u2013") return HighPassEntry{};
    HighPassEntry result;
    // A second number is the slope.
    constexpr auto digits = "0123456789";
    const auto firstEnd = text.find_first_not_of(".,0123456789", text.find_first_of(digits));
    if (const auto second = text.find_first_of(digits, firstEnd); second != std::string_view::npos) {
        const auto entry = split(text.substr(second));
        if (!entry || !(entry->unit.empty() || entry->unit.starts_with("db"))) return std::nullopt;
        const auto meant = std::find_if(slopes.begin(), slopes.end(),
                                        [&](Slope one) { return entry->number == inDecibelsPerOctave(one); });
        if (meant == slopes.end()) return std::nullopt;
        result.slope = *meant;
        text = text.substr(0, second);
    }
    const auto entry = split(text);
    if (!entry || entry->number < 0.0) return std::nullopt;
    if (entry->number == 0.0) return HighPassEntry{};
    if (entry->unit.empty() || entry->unit == "hz")
        result.corner = Hertz(entry->number);
    else if (entry->unit == "k" || entry->unit == "khz")
        result.corner = Hertz(entry->number * 1000.0);
    else
        return std::nullopt;
    return result;
}

std::string unsignedAmount(double amount, int decimals) {
    return printed(std::abs(amount), decimals);
}

std::string signedAmount(double amount, int decimals) {
    const std::string magnitude = unsignedAmount(amount, decimals);
    const bool zero = magnitude.find_first_not_of("0.") == std::string::npos;
    if (zero) return magnitude;
    return (amount > 0.0 ? "+" : "\u2212") + magnitude;
}

std::string nudgeText(Seconds nudge) {
    return nudge.value == 0.0 ? "0" : signedAmount(inMilliseconds(nudge), 2);
}

std::string highPassText(const TrackAdjustment& adjustment) {
    if (!adjustment.highPass) return "off";
    return unsignedAmount(adjustment.highPass->value, 0) + " " +
           std::to_string(inDecibelsPerOctave(adjustment.highPassSlope));
}

std::string withTrueMinus(std::string_view words) {
    std::string text;
    for (std::size_t i = 0; i < words.size(); ++i) {
        const bool begins = i == 0 || words[i - 1] == ' ' || words[i - 1] == '(';
        const auto number = words.substr(std::min(i + 1, words.size()));
        const auto end = number.find_first_not_of(".0123456789");
        const auto unit = end == 0 || end == std::string_view::npos ? std::string_view() : number.substr(end);
        const bool amount = unit.starts_with(" dB") || unit.starts_with(" ms") || unit.starts_with(" smp");
        text += words[i] == '-' && begins && amount ? std::string("\u2212") : std::string(1, words[i]);
    }
    return text;
}

std::string gainText(double dB) {
    return std::isfinite(dB) ? signedAmount(dB, 1) : "\u2212\u221e";
}

} // namespace spillwright
