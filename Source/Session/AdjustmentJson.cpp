#include "Session/AdjustmentJson.h"

#include "Session/JsonNumbers.h"

#include <array>
#include <limits>

namespace spillwright {

namespace {

/// Far beyond any sensible setting: what lies outside is a slip of the pen.
constexpr double largestNudgeMs = 1000.0;
constexpr double largestGainDb = 60.0;
constexpr auto decibelsPerOctave = [] {
    std::array<int, slopes.size()> values{};
    std::transform(slopes.begin(), slopes.end(), values.begin(), inDecibelsPerOctave);
    return values;
}();

} // namespace

void readAdjustment(Members& members, TrackAdjustment& into) {
    double nudgeMs = inMilliseconds(into.nudge);
    std::optional<double> highPassHz;
    int slope = inDecibelsPerOctave(into.highPassSlope);
    members.flag("flip", into.flip);
    members.number("nudge_ms", -largestNudgeMs, largestNudgeMs, nudgeMs);
    members.number("gain_dB", -std::numeric_limits<double>::max(), largestGainDb, into.gain.value);
    members.optionalNumber("highPass_Hz", 1.0, 20000.0, highPassHz);
    members.oneOf("highPassSlope_dBPerOctave", decibelsPerOctave, slope);
    members.optionalNumber("pan", -1.0, 1.0, into.pan);
    members.flag("muted", into.muted);
    into.nudge = milliseconds(nudgeMs);
    if (highPassHz) into.highPass = Hertz(*highPassHz);
    into.highPassSlope = static_cast<Slope>(slope);
}

void writeAdjustment(const TrackAdjustment& adjustment, nlohmann::ordered_json& into) {
    using nlohmann::ordered_json;
    into["flip"] = adjustment.flip;
    into["nudge_ms"] = jsonNumbers::rounded(inMilliseconds(adjustment.nudge), jsonNumbers::typedDigits);
    into["gain_dB"] = adjustment.gain.value;
    into["highPass_Hz"] = adjustment.highPass ? ordered_json(adjustment.highPass->value) : ordered_json();
    if (adjustment.highPassSlope != Slope::dB12)
        into["highPassSlope_dBPerOctave"] = inDecibelsPerOctave(adjustment.highPassSlope);
    into["pan"] = adjustment.pan ? ordered_json(*adjustment.pan) : ordered_json();
    into["muted"] = adjustment.muted;
}

} // namespace spillwright
