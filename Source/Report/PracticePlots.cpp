#include "Report/PracticePlots.h"

#include "Core/Scene/Acoustics.h"
#include "Report/PairPlots.h"
#include "Session/Amounts.h"

#include <algorithm>
#include <cmath>

namespace spillwright {

namespace {

constexpr double lowestDb = -30.0, usualHighestDb = 6.0, stepDb = 6.0;
constexpr double beforeMs = 1.0, leastMs = 8.0, mostMs = 80.0; // of the impulse response
constexpr float sumThick = 1.7f, aloneThick = 1.1f;

/// Why there is nothing to see; else no words.
std::string silence(const PracticeReading& reading) {
    if (reading.sum.values.empty()) return "every microphone is muted";
    return reading.anythingAbove(nothingLeft) ? "" : "nothing is left: all of it cancels";
}

} // namespace

Plot plotPracticeComb(const PracticeRoom& room, const PracticeReading& reading, float thick) {
    Plot plot;
    plot.title = "Comb response";
    const std::string what = reading.stereo() ? "left and right" : "the sum";
    plot.caption = "comb of " + what + ", dB" + (reading.smoothed ? ", smoothed" : "");
    plot.x = frequencyAxis();
    plot.y = {"level of " + what + ", dB", lowestDb, usualHighestDb, false, {}};
    plot.instead = silence(reading);
    const std::vector<const FrequencyCurve*> heard =
        reading.stereo() ? std::vector{&reading.left, &reading.right} : std::vector{&reading.sum};
    for (const auto* curve : heard)
        for (const double dB : curve->values)
            plot.y.high = std::max(plot.y.high, stepDb * std::ceil(dB / stepDb));
    for (const double dB : {-20.0, -10.0, 0.0, 10.0}) {
        if (dB >= plot.y.high) continue;
        plot.y.ticks.push_back({dB, signedAmount(dB, 0)});
        plot.rules.push_back({false, dB, Plot::Ink::rules, dB == 0.0 ? 1.2f : 0.6f});
    }
    if (!plot.instead.empty()) return plot;
    bool named = false;
    for (std::size_t place = 0; place < reading.microphones.size(); ++place) {
        if (room.microphones[place].adjustment.muted || reading.stereo()) continue;
        plot.lines.push_back(frequencyLine(reading.microphones[place], named ? "" : "each alone", "", Plot::Ink::muted,
                                           Plot::Stroke::dashed, aloneThick * thick));
        named = true;
    }
    const auto add = [&](const FrequencyCurve& curve, const char* name, Plot::Ink ink, Plot::Stroke stroke) {
        plot.lines.push_back(frequencyLine(curve, name, "", ink, stroke, sumThick * thick));
    };
    if (reading.stereo()) {
        add(reading.left, "left", Plot::Ink::ink, Plot::Stroke::solid);
        add(reading.right, "right", Plot::Ink::accent, Plot::Stroke::dashed);
    } else
        add(reading.sum, "sum", Plot::Ink::ink, Plot::Stroke::solid);
    for (const auto& notch : reading.notches) {
        if (plot.marks.size() == mostPracticeNotches) break;
        const double hertz = notch.frequency.value;
        if (hertz < plot.x.low || hertz > plot.x.high) continue;
        const auto words = unsignedAmount(hertz, hertz < 100.0 ? 1 : 0);
        // On the lower of the curves; where it is smoothed the notch itself is deeper.
        double shown = usualHighestDb;
        for (const auto* curve : heard) {
            const auto& at = curve->frequencies;
            const auto next = std::lower_bound(at.begin(), at.end(), hertz) - at.begin();
            shown = std::min(shown, curve->values[std::min(static_cast<std::size_t>(next), at.size() - 1)]);
        }
        plot.marks.push_back({hertz, std::max(shown, lowestDb), {words + " Hz", words}, Plot::Ink::cancels, true});
    }
    return plot;
}

Plot plotPracticeImpulse(const PracticeRoom& room, const PracticeReading& reading, const PracticeResponses& responses,
                         float thick) {
    Plot plot;
    plot.title = "Impulse response";
    plot.caption = "impulse response of " + std::string(reading.stereo() ? "left and right" : "the sum") + ", ms";
    plot.instead = silence(reading);
    double latest = 0.0;
    for (const auto& path : reading.paths)
        latest = std::max(latest, inMilliseconds(path.arrival));
    plot.x = {"time after the click, ms", -beforeMs, std::clamp(1.5 * latest + 2.0, leastMs, mostMs), false, {}};
    const double tick = plot.x.high > 40.0 ? 20.0 : plot.x.high > 16.0 ? 5.0 : 2.0;
    for (double at = 0.0; at < plot.x.high; at += tick)
        plot.x.ticks.push_back({at, unsignedAmount(at, 0)});
    plot.y = {"amplitude, of the highest", -1.25, 1.25, false, {}, true};
    plot.rules.push_back({false, 0.0, Plot::Ink::rules, 1.0f});
    if (!plot.instead.empty()) return plot;
    struct Side {
        const std::vector<float>& response;
        const char* name;
        Plot::Ink ink;
        Plot::Stroke stroke;
    };
    const Side sum{responses.sum, "", Plot::Ink::ink, Plot::Stroke::solid},
        left{responses.left, "left", Plot::Ink::ink, Plot::Stroke::solid},
        right{responses.right, "right", Plot::Ink::accent, Plot::Stroke::dashed};
    const auto heard = reading.stereo() ? std::vector{left, right} : std::vector{sum};
    float highest = 0.0f;
    for (const auto& side : heard)
        for (const float sample : side.response)
            highest = std::max(highest, std::abs(sample));
    const double perMs = responses.sampleRate * 1e-3;
    const auto from = ImpulseResponse::lead - std::lround(beforeMs * perMs);
    const auto to =
        std::min(static_cast<long>(responses.sum.size()), ImpulseResponse::lead + std::lround(plot.x.high * perMs) + 1);
    for (const auto& side : heard) {
        Plot::Line line{side.name, "", {}, {}, side.ink, side.stroke, 1.3f * thick};
        for (auto sample = from; sample < to; ++sample) {
            line.x.push_back(static_cast<double>(sample - ImpulseResponse::lead) / perMs);
            line.y.push_back(static_cast<double>(side.response[static_cast<std::size_t>(sample)] / highest));
        }
        plot.lines.push_back(std::move(line));
    }
    for (std::size_t place = 0; place < reading.paths.size(); ++place) {
        const auto& path = reading.paths[place];
        if (room.microphones[place].adjustment.muted || !path.polarity) continue;
        plot.marks.push_back({inMilliseconds(path.arrival),
                              static_cast<double>(sign(*path.polarity)),
                              {std::to_string(place + 1)},
                              Plot::Ink::accent,
                              true});
    }
    return plot;
}

} // namespace spillwright
