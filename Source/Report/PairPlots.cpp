#include "Report/PairPlots.h"

#include "Core/Measure/Notches.h"
#include "Session/Amounts.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

namespace spillwright {

namespace {

constexpr double lowestHz = 20.0, highestHz = 20000.0;
constexpr double combLowDb = -24.0, combHighDb = 6.0;
constexpr double coherenceBelow = -0.03, coherenceAbove = 1.06;
constexpr double tallestShare = 0.8; ///< Of the upper half of the lag plot.
constexpr Seconds widestLag(0.05);
constexpr double seriousRival = 0.1, namedRival = 0.01; // probabilities
constexpr double toldApartDb = 0.1;                     ///< Curves that differ by less look like one.

/// The part of the curve that is shown.
FrequencyCurve shownPart(const FrequencyCurve& curve) {
    FrequencyCurve part;
    for (std::size_t i = 0; i < curve.frequencies.size(); ++i) {
        if (curve.frequencies[i] < lowestHz || curve.frequencies[i] > highestHz) continue;
        part.frequencies.push_back(curve.frequencies[i]);
        part.values.push_back(curve.values[i]);
    }
    return part;
}

/// Within the band, from the zero line to the curve where it lies on that side of it.
Plot::Area gainArea(const FrequencyCurve& curve, Band band, bool above) {
    Plot::Area area{"", "", {}, {}, {}, above ? Plot::Ink::adds : Plot::Ink::cancels, 0.35f};
    for (std::size_t i = 0; i < curve.frequencies.size(); ++i) {
        if (curve.frequencies[i] < band.low.value || curve.frequencies[i] > band.high.value) continue;
        area.x.push_back(curve.frequencies[i]);
        area.low.push_back(std::min(0.0, above ? 0.0 : curve.values[i]));
        area.high.push_back(std::max(0.0, above ? curve.values[i] : 0.0));
    }
    return area;
}

/// The correlation, moved by so many milliseconds and turned over or not.
Plot::Line traced(const CorrelationCurve& correlation, double spanMs, double movedMs, int sign) {
    Plot::Line line;
    for (std::size_t i = 0; i < correlation.values.size(); ++i) {
        const double ms =
            inMilliseconds(correlation.firstLag) + static_cast<double>(i) * inMilliseconds(correlation.step) + movedMs;
        if (std::abs(ms) > spanMs * 1.02) continue;
        line.x.push_back(ms);
        line.y.push_back(sign * static_cast<double>(correlation.values[i]));
    }
    return line;
}

} // namespace

Plot::Axis frequencyAxis() {
    return {"frequency, Hz",
            lowestHz,
            highestHz,
            true,
            {{50.0, "50"},
             {100.0, "100"},
             {200.0, "200"},
             {500.0, "500"},
             {1000.0, "1k"},
             {2000.0, "2k"},
             {5000.0, "5k"},
             {10000.0, "10k"}}};
}

Plot::Line frequencyLine(const FrequencyCurve& curve, std::string name, std::string brief, Plot::Ink ink,
                         Plot::Stroke stroke, float thick) {
    auto part = shownPart(curve);
    return {std::move(name), std::move(brief), std::move(part.frequencies), std::move(part.values), ink, stroke, thick};
}

PairCurves readPairCurves(const CrossSpectra& spectra, const PairReading& reading) {
    PairCurves curves;
    const Seconds delay = reading.arrival ? reading.arrival->delay : Seconds(0.0);
    curves.comb = combResponse(spectra, reading.first, reading.second, {}, {});
    curves.coherence = coherenceCurve(spectra, reading.first, reading.second, delay);
    curves.correlation = correlationCurve(spectra, reading.first, reading.second, widestLag);
    curves.tallest = 1e-6;
    for (float value : curves.correlation.values)
        curves.tallest = std::max(curves.tallest, std::abs(static_cast<double>(value)));
    // Wide enough for the arrival and for those that may well be it instead.
    double farthest = std::abs(inMilliseconds(delay));
    for (const auto& candidate : reading.arrivalCandidates)
        if (candidate.probability >= seriousRival)
            farthest = std::max(farthest, std::abs(inMilliseconds(candidate.delay)));
    curves.span = widestLag;
    for (double ms : {2.0, 5.0, 10.0, 20.0}) {
        if (farthest * 1.6 < ms) {
            curves.span = milliseconds(ms);
            break;
        }
    }
    return curves;
}

bool toldApart(const FrequencyCurve& a, const FrequencyCurve& b) {
    for (std::size_t i = 0; i < a.values.size(); ++i)
        if (std::max(a.values[i], b.values[i]) > combLowDb && std::abs(a.values[i] - b.values[i]) > toldApartDb)
            return true;
    return false;
}

Plot plotComb(const FrequencyCurve* recorded, const NamedCurve* now, const NamedCurve* best, Band band) {
    Plot plot;
    plot.caption = "comb, dB";
    plot.x = frequencyAxis();
    plot.y = {"summation gain of the two, dB", combLowDb, combHighDb, false, {}};
    for (double dB : {-20.0, -10.0, 0.0}) {
        plot.y.ticks.push_back({dB, signedAmount(dB, 0)});
        plot.rules.push_back({false, dB});
    }
    plot.bands.push_back({band.low.value, band.high.value});
    if (!recorded || !now) return plot;
    for (bool above : {true, false})
        plot.areas.push_back(gainArea(now->curve, band, above));
    std::string recordedToo; // the best may be to leave the two as they are
    if (best) {
        if (!toldApart(best->curve, *recorded))
            recordedToo = ", best";
        else if (toldApart(best->curve, now->curve))
            plot.lines.push_back(
                frequencyLine(best->curve, best->name, best->brief, Plot::Ink::accent, Plot::Stroke::dotted, 1.1f));
    }
    plot.lines.push_back(
        frequencyLine(*recorded, "as recorded" + recordedToo, "", Plot::Ink::muted, Plot::Stroke::dashed, 1.1f));
    plot.lines.push_back(frequencyLine(now->curve, now->name, now->brief, Plot::Ink::ink, Plot::Stroke::solid, 1.7f));
    for (const auto& notch : notches(shownPart(now->curve), band, mostNotches)) {
        const auto frequency = unsignedAmount(notch.frequency.value, 0) + " Hz";
        plot.marks.push_back({notch.frequency.value,
                              notch.levelDb,
                              {frequency + " " + signedAmount(notch.levelDb, 0) + " dB", frequency},
                              Plot::Ink::cancels,
                              true});
    }
    return plot;
}

Plot plotCoherence(const CoherenceCurve* coherence, Band band) {
    Plot plot;
    plot.caption = "coherence, 0 to 1";
    plot.x = frequencyAxis();
    plot.y = {"magnitude-squared coherence, 0 to 1", coherenceBelow, coherenceAbove, false, {}, true};
    plot.bands.push_back({band.low.value, band.high.value});
    for (double value : {0.0, 0.5, 1.0})
        plot.rules.push_back({false, value});
    plot.y.ticks = {{0.0, "0"}, {0.5, "0.5"}, {1.0, "1"}};
    if (coherence) {
        const auto low = shownPart({coherence->frequencies, coherence->low});
        const auto high = shownPart({coherence->frequencies, coherence->high});
        plot.areas.push_back({"95 % sure", "", low.frequencies, low.values, high.values, Plot::Ink::accent, 0.28f});
        plot.lines.push_back(frequencyLine(*coherence, "measured", "", Plot::Ink::ink, Plot::Stroke::solid, 1.3f));
    }
    return plot;
}

Plot plotLag(const PairReading* reading, const PairCurves& curves, const PairShift& shift, const std::string& now) {
    Plot plot;
    plot.caption = "lag, ms: drag to nudge";
    const double spanMs = inMilliseconds(curves.span), tallest = curves.tallest;
    plot.x = {"lag, ms: plus is later in the second track", -spanMs, spanMs, false, {}};
    for (double ms : {-spanMs, -spanMs / 2.0, 0.0, spanMs / 2.0, spanMs}) {
        const bool tenths = std::abs(std::abs(ms) - std::round(std::abs(ms))) > 0.01;
        plot.x.ticks.push_back({ms, ms == 0.0 ? "0" : signedAmount(ms, tenths ? 1 : 0)});
    }
    plot.y = {"correlation, \u22121 to 1", -tallest / tallestShare, tallest / tallestShare, false, {}, true};
    plot.rules = {{false, 0.0}, {true, 0.0}};
    if (!reading) return plot;
    plot.y.ticks = {{-tallest, signedAmount(-tallest, 2)}, {0.0, "0"}, {tallest, signedAmount(tallest, 2)}};
    const double shiftMs = inMilliseconds(shift.later);
    if (shiftMs != 0.0 || shift.sign < 0) {
        auto recorded = traced(curves.correlation, spanMs, 0.0, 1);
        recorded.name = "as recorded";
        recorded.ink = Plot::Ink::muted;
        recorded.stroke = Plot::Stroke::dashed;
        recorded.thick = 1.0f;
        plot.lines.push_back(std::move(recorded));
    }
    auto line = traced(curves.correlation, spanMs, shiftMs, shift.sign);
    line.name = now;
    plot.lines.push_back(std::move(line));
    if (reading->arrival)
        plot.rules.push_back({true, inMilliseconds(reading->arrival->delay) + shiftMs, Plot::Ink::accent, 1.4f});

    const auto percent = [](double probability) {
        return std::to_string(std::clamp(static_cast<int>(100.0 * probability), 0, 99)) + " %";
    };
    int runnerUps = 0;
    for (const auto& candidate : reading->arrivalCandidates) {
        const bool isArrival = &candidate == reading->arrivalCandidates.data();
        const double ms = inMilliseconds(candidate.delay) + shiftMs;
        if (!reading->arrival || (!isArrival && candidate.probability < namedRival)) break;
        if (std::abs(ms) > spanMs) continue;
        if (!isArrival && ++runnerUps > mostRunnerUps) break;
        const bool inverted = sign(candidate.polarity) * shift.sign < 0;
        const auto lagNow = signedAmount(ms, 2), share = percent(candidate.probability);
        Plot::Mark mark{ms, (inverted ? -1 : 1) * candidate.height, {}, Plot::Ink::muted, isArrival};
        if (isArrival) {
            mark.ink = Plot::Ink::accent;
            mark.words = {lagNow + (inverted ? ", inverted, " : ", ") + share};
        } else {
            mark.words = {"or " + lagNow + ", " + share, share};
        }
        plot.marks.push_back(std::move(mark));
    }
    return plot;
}

} // namespace spillwright
