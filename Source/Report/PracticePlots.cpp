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

} // namespace

Plot plotPracticeComb(const PracticeRoom& room, const PracticeReading& reading, float thick) {
    Plot plot;
    plot.title = "Comb response";
    plot.caption = "comb of the sum, dB";
    plot.x = frequencyAxis();
    plot.y = {"level of the sum, dB", lowestDb, usualHighestDb, false, {}};
    for (const double dB : reading.sum.values)
        plot.y.high = std::max(plot.y.high, stepDb * std::ceil(dB / stepDb));
    for (const double dB : {-20.0, -10.0, 0.0, 10.0}) {
        if (dB >= plot.y.high) continue;
        plot.y.ticks.push_back({dB, signedAmount(dB, 0)});
        plot.rules.push_back({false, dB, Plot::Ink::rules, dB == 0.0 ? 1.2f : 0.6f});
    }
    if (reading.sum.values.empty()) return plot;
    bool named = false;
    for (std::size_t place = 0; place < reading.microphones.size(); ++place) {
        if (room.microphones[place].adjustment.muted) continue;
        plot.lines.push_back(frequencyLine(reading.microphones[place], named ? "" : "each alone", "", Plot::Ink::muted,
                                           Plot::Stroke::dashed, aloneThick * thick));
        named = true;
    }
    plot.lines.push_back(frequencyLine(reading.sum, "sum", "", Plot::Ink::ink, Plot::Stroke::solid, sumThick * thick));
    for (const auto& notch : reading.notches) {
        if (plot.marks.size() == mostPracticeNotches) break;
        const double hertz = notch.frequency.value;
        if (hertz < plot.x.low || hertz > plot.x.high) continue;
        const auto words = unsignedAmount(hertz, hertz < 100.0 ? 1 : 0);
        // On the curve, which is smoothed: the notch itself is deeper.
        const auto& at = reading.sum.frequencies;
        const auto next = std::lower_bound(at.begin(), at.end(), hertz) - at.begin();
        const double shown = reading.sum.values[std::min(static_cast<std::size_t>(next), at.size() - 1)];
        plot.marks.push_back({hertz, std::max(shown, lowestDb), {words + " Hz", words}, Plot::Ink::cancels, true});
    }
    return plot;
}

Plot plotPracticeImpulse(const PracticeRoom& room, const PracticeReading& reading, const PracticeResponses& responses,
                         float thick) {
    Plot plot;
    plot.title = "Impulse response";
    plot.caption = "impulse response of the sum, ms";
    double latest = 0.0;
    for (const auto& path : reading.paths)
        latest = std::max(latest, inMilliseconds(path.arrival));
    plot.x = {"time after the click, ms", -beforeMs, std::clamp(1.5 * latest + 2.0, leastMs, mostMs), false, {}};
    const double tick = plot.x.high > 40.0 ? 20.0 : plot.x.high > 16.0 ? 5.0 : 2.0;
    for (double at = 0.0; at < plot.x.high; at += tick)
        plot.x.ticks.push_back({at, unsignedAmount(at, 0)});
    plot.y = {"amplitude, of the highest", -1.25, 1.25, false, {}, true};
    plot.rules.push_back({false, 0.0, Plot::Ink::rules, 1.0f});
    float highest = 0.0f;
    for (const float sample : responses.sum)
        highest = std::max(highest, std::abs(sample));
    if (highest == 0.0f) return plot;
    const double perMs = responses.sampleRate * 1e-3;
    Plot::Line line{"", "", {}, {}, Plot::Ink::ink, Plot::Stroke::solid, 1.3f * thick};
    const auto from = ImpulseResponse::lead - std::lround(beforeMs * perMs);
    const auto to =
        std::min(static_cast<long>(responses.sum.size()), ImpulseResponse::lead + std::lround(plot.x.high * perMs) + 1);
    for (auto sample = from; sample < to; ++sample) {
        const double value = static_cast<double>(responses.sum[static_cast<std::size_t>(sample)] / highest);
        line.x.push_back(static_cast<double>(sample - ImpulseResponse::lead) / perMs);
        line.y.push_back(value);
    }
    plot.lines.push_back(std::move(line));
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
