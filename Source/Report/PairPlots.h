#pragma once

#include "Core/Measure/PairReading.h"
#include "Report/Plot.h"

#include <string>

namespace spillwright {

/// What two tracks show as recorded: read once, drawn under any setting.
struct PairCurves {
    FrequencyCurve comb;
    CoherenceCurve coherence;
    CorrelationCurve correlation;
    double tallest = 1.0;             ///< Largest magnitude of the correlation.
    Seconds span = milliseconds(5.0); ///< The lag plot shows -span..+span.
};
PairCurves readPairCurves(const CrossSpectra& spectra, const PairReading& reading);

/// What a setting does to the two against each other.
struct PairShift {
    Seconds later; ///< How much later the second track is played than the first.
    int sign = 1;  ///< -1: one of them is flipped.
    PairShift() = default;
    PairShift(const TrackAdjustment& first, const TrackAdjustment& second)
        : later(second.nudge - first.nudge), sign(first.flip == second.flip ? 1 : -1) {}
};

/// A curve that is drawn beside what was recorded.
struct NamedCurve {
    FrequencyCurve curve;
    std::string name, brief;
};

/// 20 Hz to 20 kHz, every octave alike.
Plot::Axis frequencyAxis();
/// What of the curve lies on it.
Plot::Line frequencyLine(const FrequencyCurve& curve, std::string name, std::string brief, Plot::Ink ink,
                         Plot::Stroke stroke, float thick);

inline constexpr int mostNotches = 5, mostRunnerUps = 3;

/// Whether two comb responses look like two curves.
bool toldApart(const FrequencyCurve& a, const FrequencyCurve& b);

/// The summation gain of the two over frequency, as recorded and as `now`, where it has one, with what is filled and
/// marked in the band; the best proposal's beside them where it looks like another one. Titles, subject and remark are
/// left to the caller, as in the two that follow. null: no curve.
Plot plotComb(const FrequencyCurve* recorded, const NamedCurve* now, const NamedCurve* best, Band band);
/// null: no curve.
Plot plotCoherence(const CoherenceCurve* coherence, Band band);
/// `now`: what the curve under the setting is called. null: no curve.
Plot plotLag(const PairReading* reading, const PairCurves& curves, const PairShift& shift, const std::string& now);

} // namespace spillwright
