#pragma once

#include "Core/Measure/Coherence.h"
#include "Core/Measure/CrossSpectra.h"
#include "Core/Measure/Movement.h"
#include "Core/TrackAdjustment.h"
#include "Core/Types.h"

#include <optional>
#include <span>
#include <string>
#include <vector>

namespace spillwright {

/// Positive: the second track hears it later.
struct Arrival {
    Seconds delay;
    Seconds uncertainty;     ///< One standard uncertainty, widened to the runner-up where the peak is not sure.
    double confidence = 0.0; ///< 0..1 that the peak is the right one; sure from 0.8.
    std::optional<Seconds> runnerUp;
};

/// One peak of the wide-band curve: an answer that the pair allows.
struct ArrivalCandidate {
    Seconds delay;            ///< Positive: the second track hears it later.
    Polarity polarity{};      ///< Same: a peak; inverted: a dip.
    double height = 0.0;      ///< Of the peak, 0..1; 1: every frequency agrees.
    double probability = 0.0; ///< 0..1; all candidates of a reading together 1.
};

struct PolarityReading {
    Polarity polarity = Polarity::same;
    double confidence = 0.5; ///< 0.5..1; sure from 0.8.
};

/// An arrival as the triangles say that it takes part in: see Consistency.h.
struct FittedArrival {
    Seconds delay;
    Seconds uncertainty; ///< One standard uncertainty.
};

struct ThirdOctaveCoherence {
    Hertz centre; ///< Nominal (100, 125, 160 ...).
    double coherence = 0.0;
    double low = 0.0; ///< With high: holds the true coherence in 95 of 100 recordings of a steady sound.
    double high = 1.0;
};

/// What two tracks have in common, beyond chance. Only the first three relate them: what reaches a track without being
/// heard says nothing of when a sound arrives.
enum class Shared {
    sound,      ///< Heard by both: spill.
    oneTone,    ///< The same, but one tone alone: its delay is known only modulo its period.
    printed,    ///< One signal on both by wire, a copy or a click: one lag, one gain, and nothing of a room between.
    mainsHum,   ///< Lines at multiples of 50 or 60 Hz, and nothing besides.
    offset,     ///< A constant in each, of notedOffset or more, and nothing besides.
    noiseFloor, ///< The very same faint noise, by wire, and nothing besides.
    nothing,
};

/// A mean this far from 0 is a fault of the recording chain and worth a word: full scale = 1, so -60 dBFS.
inline constexpr double notedOffset = 1e-3;

/// Root mean square, full scale = 1 (-66 dBFS), below which a signal printed on two tracks is a noise floor.
inline constexpr double faintNoise = 5e-4;

/// A signal counts as printed where the phase left after one lag is flat to this, in degrees, over all that it fills.
/// Reflections 40 dB below the direct sound move it by as much; no room is that dry at any distance but a hand's.
inline constexpr double printedFlatness = 0.4;

/// Everything that is read of two tracks. For unrelated pairs arrival and polarity are empty.
struct PairReading {
    int first = 0;
    int second = 0;
    bool related = false; ///< The same sound is in both, beyond chance.
    Shared shared = Shared::nothing;
    bool bandsDisagree = false; ///< Wide band and low end ask for opposite polarity.
    /// Mean over the band, every octave alike, bias and the pair's own arrival taken out, lines of the mains left out.
    double coherence = 0.0;
    double coherenceLow = 0.0; ///< With coherenceHigh: holds the true one in 95 of 100 recordings of a steady sound.
    double coherenceHigh = 1.0;
    std::vector<ThirdOctaveCoherence> coherenceByThirdOctave; ///< Up to 8 kHz, where the rate allows.
    std::optional<Arrival> arrival;                           ///< Wide band.
    /// The arrival first, with its confidence for probability, then up to five others, the likeliest first.
    std::vector<ArrivalCandidate> arrivalCandidates;
    std::optional<Arrival> arrivalInBand;       ///< Phase slope within the band around the wide-band arrival.
    std::optional<FittedArrival> arrivalFitted; ///< From all pairs that agree with this one; empty where none do.
    std::optional<Movement> movement;           ///< Of the arrival in the course of the recording: see Stability.h.
    std::optional<bool> closesTriangles; ///< With the other pairs of its tracks; empty where that cannot be asked.
    std::optional<PolarityReading> polarity;
    Decibels summationGain;        ///< Of these two tracks as they are, in the band.
    Decibels summationGainFlipped; ///< With one of them flipped.
};

struct ReadingOptions {
    Band band = lowMidBand;
    Seconds largestArrival = Seconds(0.05);
};

/// Reads one pair. O(window log window), allocates.
PairReading readPair(const CrossSpectra& spectra, int first, int second, const ReadingOptions& options);

/// All unordered pairs of the given tracks, first before second in the given order. Same result for any number of
/// workers.
Result<std::vector<PairReading>> readPairs(const CrossSpectra& spectra, std::span<const int> tracks,
                                           const ReadingOptions& options, Workers& workers, const Watch& watch);

// ---- curves for the eye -------------------------------------------------------------------------------------------

/// The whitened, f^-0.75-weighted correlation over lag, -largest..+largest. 1 = every bin agrees.
struct CorrelationCurve {
    Seconds firstLag;
    Seconds step;
    std::vector<float> values; ///< -1..1; positive lag: the second track hears it later.
};
CorrelationCurve correlationCurve(const CrossSpectra& spectra, int first, int second, Seconds largest);

/// Points of a curve over frequency, log-spaced from low to high.
struct FrequencyCurve {
    std::vector<double> frequencies; ///< Hz, ascending.
    std::vector<double> values;
};

/// P(f)/P0(f) of the pair alone in dB under two adjustments, smoothed to 1/24 octave, 20 Hz to 20 kHz (or Nyquist).
FrequencyCurve combResponse(const CrossSpectra& spectra, int first, int second, const TrackAdjustment& adjustFirst,
                            const TrackAdjustment& adjustSecond, int points = 400);

/// A coherence over frequency, and what it may truly be.
struct CoherenceCurve : FrequencyCurve {
    std::vector<double> low, high; ///< Hold the true one in 95 of 100 recordings of a steady sound.
};

/// Magnitude-squared coherence, smoothed to 1/24 octave (or to one bin, where that is wider), bias and the given
/// arrival taken out. 0 with an interval of 0..1 where nothing sounds.
CoherenceCurve coherenceCurve(const CrossSpectra& spectra, int first, int second, Seconds arrival, int points = 400);

/// |1 + s g e^{-j 2 pi f tau}| of the same sound twice, in dB.
double combResponseOfCopy(Hertz frequency, Seconds delay, Polarity polarity, Decibels level);

} // namespace spillwright
