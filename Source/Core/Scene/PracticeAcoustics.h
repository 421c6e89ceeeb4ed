#pragma once

#include "Core/Measure/Notches.h"
#include "Core/Scene/Acoustics.h"
#include "Core/Scene/PracticeRoom.h"

#include <memory>
#include <optional>
#include <vector>

namespace spillwright {

/// What becomes of a click at the source. Index ImpulseResponse::lead + n: n samples after the click; all of one
/// length.
struct PracticeResponses {
    double sampleRate = 48000.0;
    std::vector<std::vector<float>> microphones; ///< As treated by their adjustments; a muted one as if it were not.
    std::vector<float> sum;                      ///< Of those that are not muted; pans left aside.
    std::vector<float> left, right;              ///< The same by their pans: what is heard.
};

/// Follows a practice room while it is changed: what has not moved is not reckoned anew. A response is that of
/// impulseResponse(), treated by TrackChain: what is heard of a recording comes from the same two.
class PracticeAcoustics {
public:
    explicit PracticeAcoustics(double sampleRate);
    ~PracticeAcoustics();

    /// No fault in the room. Some milliseconds a microphone that has moved (all, when the source or the room has);
    /// while moving, reflections beyond the budget are those of the last time at rest, where the room is the same.
    const PracticeResponses& follow(const PracticeRoom& room, Detail detail);

    static int longestResponse(double sampleRate); ///< Samples; no response is longer.

private:
    struct Contents;
    std::unique_ptr<Contents> contents;
};

/// The direct sound in one microphone's track.
struct PracticePath {
    Metres distance;
    Seconds arrival;                  ///< After it left the source; the track's nudge included, its high-pass not.
    Decibels level;                   ///< Against an omni microphone 1 m away; pattern and gain included.
    std::optional<Polarity> polarity; ///< Flip included; none in the null of a pattern.
};

/// Two microphones, first < second.
struct PracticePair {
    int first = 0, second = 0;
    Seconds arrival; ///< Positive: the second track has it later.
    Decibels level;  ///< Of the second against the first.
    Metres spacing;  ///< Between the two.
    /// The farther one's distance from the source over the nearer one's, and the spacing over the nearer one's: either
    /// is the 3 of the 3:1 rule, in its two wordings.
    double distanceRatio = 1.0, spacingRatio = 0.0;
    /// Of the two direct sounds alone: |1 + g| and |1 - g|, g how much softer one is, 20 log10.
    Decibels peak, null;
    /// 1/(2t) where the two are the same way up, 1/t (after 0 Hz) where not; none where they meet at once, or in a
    /// pattern's null.
    std::optional<Hertz> firstNull;
};

/// What is read from the responses. Levels are in dB against the loudest direct sound of the tracks that are not muted:
/// one such track alone, in a room without walls, reads 0 dB at every frequency.
struct PracticeReading {
    std::vector<PracticePath> paths; ///< One a microphone.
    std::vector<PracticePair> pairs; ///< All of them; muted ones too.
    /// The comb response, and the same of each microphone alone; empty where all are muted. Where two surfaces that
    /// face each other reflect it is smoothed to 1/24 octave for the eye. Else, with at most eight arrivals a
    /// microphone, it is exact: of every 1/96 octave the lowest and the highest.
    FrequencyCurve sum;
    std::vector<FrequencyCurve> microphones;
    bool smoothed = false;
    /// Where a track that is not muted is panned: the same of what goes to either side; one such track alone, all of it
    /// on that side, reads 0 dB there.
    FrequencyCurve left, right;
    bool stereo() const { return !left.values.empty(); }
    /// Of the sum, in stereo of the power of both sides; unsmoothed, as notches() tells them, the lowest 200 by
    /// frequency. Within 0.1 Hz; one below -45 dB may be deeper than it says.
    std::vector<Notch> notches;
    /// Somewhere the sum is above `dB`; in stereo, one of the sides.
    bool anythingAbove(Decibels dB) const;
};
inline constexpr Decibels nothingLeft{-60.0}; ///< What is below this everywhere is called silence.
PracticeReading readingOf(const PracticeRoom& room, const PracticeResponses& responses);

/// The mean coherence of two microphones in a band, each octave alike, of a source that is noise: what measuring with
/// windows of `window` samples (Hann) comes to, on a recording without end. It keeps what window's autocorrelation
/// leaves of the pair's correlations: reverberation longer than the window is lost to it. About 2 ms.
double pairCoherence(const PracticeResponses& responses, int first, int second, Band band, int window);

} // namespace spillwright
