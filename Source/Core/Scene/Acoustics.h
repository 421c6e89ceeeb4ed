#pragma once

#include "Core/Scene/Scene.h"

#include <optional>
#include <vector>

namespace spillwright {

/// One mirror image of a source, as a microphone hears it.
struct Image {
    std::array<int, 3> index{}; ///< Per axis: |index| reflections, the sign says to which side; odd: mirrored.
    int order = 0;              ///< Reflections in all.
    double distance = 0.0;      ///< Metres from the image to the microphone, scatter included.
    double pattern = 1.0;       ///< Product of the patterns of source and microphone, signed.
};

/// All images nearer than `farthest`, of at most `highestOrder` reflections where given.
/// Allen & Berkley, "Image method for efficiently simulating small-room acoustics", JASA 65(4):943-950, 1979.
std::vector<Image> images(const ShoeboxRoom& room, const SceneSource& source, const SceneMicrophone& microphone,
                          Metres farthest, std::optional<int> highestOrder = {});

/// The straight way from a source to a microphone; gains, patterns and faults included, filters left out.
struct DirectPath {
    Metres distance;
    Seconds arrival;                  ///< After the sound left the source; a late track's delay included.
    Decibels level;                   ///< Against the dry part: level, patterns, gain, 1/(4 pi distance).
    std::optional<Polarity> polarity; ///< None in the null of a pattern.
};
/// nullopt: they stand in different rooms.
std::optional<DirectPath> directPath(const Scene& scene, int source, int microphone);

/// What becomes of a click at the source, with levels, gains and patterns but without the microphone's faults.
struct ImpulseResponse {
    /// Samples before time 0: the octave filters are symmetric in time, so that no reflection is moved by them.
    static constexpr int lead = 3072;
    std::vector<float> samples; ///< samples[lead + n] is the response n samples after the click.
};

/// How true the delay of every image is, in samples, up to 0.9 of the Nyquist frequency: each is a band-limited tap, a
/// 64-tap Kaiser-windowed sinc at one of 1024 places a sample.
inline constexpr double tapAccuracySamples = 0.001;

/// All-positive image amplitudes pile up at 0 Hz: what lies below is taken out, by a filter without phase.
inline constexpr Hertz dcCorner{25.0};
double dcGain(Hertz frequency); ///< Of that filter, an amplitude.

/// Samples of every impulse response of a room, the lead included.
int responseLength(const ShoeboxRoom& room, double sampleRate);

/// O(images of the room within its decay): about 10 ms for 0.6 s in 340 m3. Where surfaces and air treat all octaves
/// alike, one band does the work of seven.
ImpulseResponse impulseResponse(const Scene& scene, int source, int microphone);

} // namespace spillwright
