#pragma once

#include "Core/Signal/AlignedVector.h"
#include "Core/Signal/Fourier.h"
#include "Core/Sources/SpillMap.h"
#include "Core/ThirdOctaves.h"

#include <complex>
#include <memory>
#include <optional>
#include <vector>

namespace spillwright {

/// How the way of one source from its close track to another track changed between two takes of one set-up. Both ways
/// were told apart from whatever else was played, so that other notes change nothing of it.
struct PathChange {
    Seconds later;       ///< Of the second take: the source reaches the track so much later after its close track.
    Seconds uncertainty; ///< One standard uncertainty.
    Polarity polarity = Polarity::same; ///< Inverted: the other way up than in the first take.
    double likeness = 0.0;              ///< Part of the frequencies whose phase agrees once both are taken out, 0..1.
    double asItWas = 0.0;               ///< The same with nothing taken out, -1..1.
    /// Level in the track against the close track: what the second take has more. Empty where one of them does not
    /// tell it in at least four third octaves.
    std::optional<Decibels> louder;
    Decibels louderUncertainty; ///< One standard uncertainty, from how third octaves differ.
};

/// The response from one track to another, at bins firstBin, firstBin+1 ...: 0 where nothing is told.
struct PathResponse {
    int firstBin = 0;
    std::vector<std::complex<float>> bins;
    std::vector<std::optional<Decibels>> levels; ///< Third octave by third octave of sourceBand.
};
/// From the close track of a source to a track; nullopt where its level is not told.
std::optional<PathResponse> pathOfSource(const SpillMap& map, int source, int track);
/// Between two tracks, of all that sounds, where they are coherent beyond chance; levels where their coherence is above
/// 0.5: elsewhere another source rules one of them. For recordings in which no sources are told apart.
PathResponse pathOfPair(const CrossSpectra& spectra, int from, int to);

/// Compares responses of two takes. Whitened and weighted by f^wideBandExponent over sourceBand, one against the other:
/// what two responses of one place have in common, the room's reflections included, agrees at no lag, and a microphone
/// that stands elsewhere shifts the straight way. Rates and windows may differ: the second take is read at the bins of
/// the first. Immutable, a Scratch a thread.
class PathComparison {
public:
    struct Scratch {
        AlignedVector<std::complex<float>> spectrum;
        AlignedVector<float> lags;
        std::vector<std::complex<float>> turned;
    };

    /// Of the takes' spectra. largest: shifts that are looked for.
    PathComparison(const CrossSpectra& first, const CrossSpectra& second, Seconds largest);

    /// nullopt: hardly anything of the two agrees.
    std::optional<PathChange> of(const PathResponse& first, const PathResponse& second, Scratch& scratch) const;

private:
    double widthA, widthB; // Hz, of a bin
    ThirdOctaveBins range; // of the first take's bins: those that both have
    std::shared_ptr<const Fourier> fourier;
    double step = 0.0; // s, of the lags
    int reach = 1;
    std::vector<float> weights; // of the range; together 1

    double uncertainty(const std::vector<std::complex<float>>& turned, double lag, double sign) const;
};

} // namespace spillwright
