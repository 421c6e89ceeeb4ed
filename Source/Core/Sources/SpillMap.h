#pragma once

#include "Core/Measure/CrossSpectra.h"
#include "Core/Measure/PairReading.h"
#include "Core/Sources/Sources.h"
#include "Core/Types.h"
#include "Core/Workers.h"

#include <optional>
#include <span>
#include <vector>

namespace spillwright {

/// Why a value is not told.
enum class Untold {
    told,
    alwaysTogether, ///< Two sources sound at the same moments, in one proportion.
    tooFaint,       ///< The source is lost among the others in that track.
    noLeadingPeak,  ///< No lag stands out: reverberation, or several paths alike.
};

/// One source in one track.
struct SpillReading {
    int source = 0;
    int track = 0;
    /// Power of the source in the track against its own close track, direct sound and reverberation together; 100 Hz to
    /// 8 kHz, and in the low-mid band. Empty where untold; of the close track it is told from, 0 dB.
    std::optional<Decibels> level, levelLowMid;
    std::vector<std::optional<Decibels>> levelByThirdOctave; ///< One a SpillMap::centres: the tone it has there.
    Untold whyNoLevel = Untold::told;
    double shareOfTrack = 0.0;      ///< Of the track's energy, 0..1.
    std::optional<Arrival> arrival; ///< Against the close track; positive: later.
    std::optional<PolarityReading> polarity;
    Untold whyNoArrival = Untold::told;
    double coherence = 0.0; ///< Of the source in the two tracks, mean over the band of the readings, 0..1.
};

/// What every microphone hears.
struct SpillMap {
    SourcePlan plan;
    std::vector<Hertz> centres;         ///< Third octaves, 100 Hz to 8 kHz (nominal).
    std::vector<SpillReading> readings; ///< Source by source, each with every usable track in order.
    std::vector<double> spillShare;     ///< [track of the recording] Of its energy, what is not its own source: 0..1;
                                        ///< 1 of a track that has no own; NaN of one that is not usable.
    std::vector<double> unexplained;    ///< [track of the recording] Of its energy, what no source explains: 0..1.
    std::vector<Seconds> times;         ///< Middle of each window that presence is told of.
    std::vector<std::vector<float>> presence;            ///< [source][time] dB against its own mean.
    std::vector<std::vector<double>> powerByThirdOctave; ///< [source][centre] In its close track, squares of full scale.
    std::vector<std::vector<double>> shareByThirdOctave; ///< [reading][centre] Of the track's energy there, 0..1.
};

/// A span of the recording.
struct Moments {
    Seconds from, to;
    bool operator==(const Moments&) const = default;
};

} // namespace spillwright
