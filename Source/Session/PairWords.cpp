#include "Session/PairWords.h"

#include "Session/Amounts.h"
#include "Session/Words.h"

#include <algorithm>
#include <cmath>

namespace spillwright {

namespace {

constexpr double almostCertainFrom = 0.95, sureFrom = 0.8, likelyFrom = 0.6;
constexpr const char* dot = " \u00b7 ";
constexpr const char* noDelay = "no delay";
constexpr double coarseMs = 0.1; ///< An uncertainty from here on can hide which of the two comes first.

std::string trusted(double confidence) {
    // Nothing that is measured is certain.
    return certainty(confidence) + ", " + std::to_string(std::clamp(static_cast<int>(100.0 * confidence), 0, 99)) +
           " %";
}

std::string movement(const std::optional<Movement>& found) {
    if (!found) return "too few moments to tell";
    switch (found->kind) {
    case MovementKind::still:
        return "holds still";
    case MovementKind::drifts:
        return "drifts by " + withUncertainty(found->driftPpm, found->driftPpmUncertainty, 2) + " ppm";
    case MovementKind::steps:
        return "steps by " + signedAmount(inMilliseconds(found->step), 2) + " ms" +
               (found->stepTime ? " at " + clockText(std::round(found->stepTime->value), false) : "");
    case MovementKind::wanders:
        return "wanders over " + unsignedAmount(inMilliseconds(found->range), 2) + " ms";
    }
    return {};
}

/// What stands in the place of an arrival.
std::string whyNoArrival(Shared shared) {
    switch (shared) {
    case Shared::oneTone:
        return "one tone in common: no one arrival";
    case Shared::mainsHum:
        return "unrelated: only mains hum in common";
    case Shared::noiseFloor:
        return "unrelated: only a noise floor in common";
    case Shared::offset:
        return "unrelated: only a constant offset in common";
    case Shared::nothing:
        return "unrelated: nothing in common beyond chance";
    case Shared::sound:
    case Shared::printed:
        break;
    }
    return "same sound, but no one arrival";
}

} // namespace

std::string delayInWords(double ms, double uncertaintyMs) {
    const int decimals = decimalsLeftBy(uncertaintyMs, 2);
    const auto amount = unsignedAmount(ms, decimals);
    if (std::abs(ms) < noDelayMs || amount.find_first_not_of("0.") == std::string::npos) return noDelay;
    return amount + " ms " + (ms > 0.0 ? "later" : "earlier");
}

const char* wayUp(Polarity polarity) {
    return polarity == Polarity::inverted ? "upside down" : "same way up";
}

std::string timeWithUncertainty(Seconds time, Seconds uncertainty) {
    const double ms = inMilliseconds(time);
    return withUncertainty(ms, inMilliseconds(uncertainty), 3) + " ms" + (ms < 0.0 ? " earlier" : " later");
}

std::string certainty(double confidence) {
    return confidence >= almostCertainFrom ? "almost certain"
           : confidence >= sureFrom        ? "sure"
           : confidence >= likelyFrom      ? "likely"
                                           : "a guess";
}

bool isSure(double confidence) {
    return confidence >= sureFrom;
}

bool isSure(const PairReading& reading) {
    return reading.arrival && reading.polarity && isSure(reading.arrival->confidence) &&
           isSure(reading.polarity->confidence);
}

PairWords pairInWords(const PairReading& reading, double sampleRate, Celsius temperature, bool ofAllMoments,
                      DistanceUnit unit) {
    PairWords words;
    const std::string coherence = unsignedAmount(reading.coherence, 2) + " (" +
                                  unsignedAmount(reading.coherenceLow, 2) + "\u2013" +
                                  unsignedAmount(reading.coherenceHigh, 2) + ")";
    if (!reading.arrival) {
        words.sentence = whyNoArrival(reading.shared);
        if (reading.shared == Shared::oneTone) words.rows.push_back({"arrival", "known only to the tone's period"});
        words.rows.push_back({"coherence", coherence});
        if (reading.movement) words.rows.push_back({"in time", movement(reading.movement)});
    } else {
        const auto& arrival = *reading.arrival;
        const double ms = inMilliseconds(arrival.delay);
        const bool printed = reading.shared == Shared::printed;
        const double uncertaintyMs = inMilliseconds(arrival.uncertainty);
        // What may as well be none, or as much again, is no more than a guess.
        const bool guessed = !printed && (arrival.confidence < likelyFrom ||
                                          (uncertaintyMs >= coarseMs && uncertaintyMs >= std::abs(ms)));
        const auto delay = delayInWords(ms, uncertaintyMs);
        words.sentence = printed ? "printed on both" : guessed ? "same sound, perhaps" : "same sound";
        words.sentence += (delay == noDelay && !guessed ? ", " : " ") + delay;
        if (reading.polarity) words.sentence += std::string(", ") + wayUp(reading.polarity->polarity);
        words.sure = isSure(reading);
        words.sureness = words.sure ? "sure" : "not sure";

        words.rows.push_back(
            {"arrival", timeWithUncertainty(arrival.delay, arrival.uncertainty) + dot + trusted(arrival.confidence)});
        words.rows.push_back(
            {"samples", withUncertainty(arrival.delay.value * sampleRate, arrival.uncertainty.value * sampleRate, 2) +
                            (ms < 0.0 ? " earlier" : " later")});
        words.rows.push_back({"fitted", reading.arrivalFitted ? timeWithUncertainty(reading.arrivalFitted->delay,
                                                                                    reading.arrivalFitted->uncertainty)
                                        : reading.closesTriangles == false ? "contradicts the pairs beside it"
                                                                           : "no triangle of pairs holds it"});
        if (reading.polarity)
            words.rows.push_back({"polarity", wayUp(reading.polarity->polarity) + std::string(dot) +
                                                  trusted(reading.polarity->confidence) +
                                                  (reading.bandsDisagree ? std::string(dot) + "low end opposed" : "")});
        const auto inUnit = [&](DistanceUnit of) {
            return distanceText(arrival.delay, arrival.uncertainty, temperature, of);
        };
        const auto other = unit == DistanceUnit::metric ? DistanceUnit::inches : DistanceUnit::metric;
        words.rows.push_back(
            {"distance", printed ? "none: by wire, no room between" : inUnit(unit) + dot + inUnit(other)});
        words.rows.push_back({"coherence", coherence});
        if (ofAllMoments) words.rows.push_back({"in time", movement(reading.movement)});
    }
    return words;
}

std::string lines(const PairWords& pair) {
    if (pair.names.empty()) return {};
    std::string text = pair.names + "\n" + pair.sentence + (pair.sureness.empty() ? "" : ", " + pair.sureness) + "\n";
    for (const auto& row : pair.rows)
        text += row.name + ": " + row.value + "\n";
    if (!pair.now.empty()) text += "summation gain: " + pair.now + "\n";
    return text;
}

} // namespace spillwright
