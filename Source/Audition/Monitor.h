#pragma once

#include "Core/Types.h"

#include <juce_audio_basics/juce_audio_basics.h>

#include <array>
#include <optional>
#include <vector>

namespace spillwright {

/// How the finished sum is listened to. Nothing of it is rendered.
struct Listening {
    enum class Sides {
        stereo,
        mono, ///< Half the sum of left and right, on both sides.
        side  ///< Half of left less right, on both sides: what a mono listener loses.
    };
    Sides sides = Sides::stereo;
    std::optional<Band> band; ///< Only this band; none: all.

    bool operator==(const Listening&) const = default;
};

/// Turns the sum into what is listened to: in stereo and with no band every sample passes as it is. A change fades over
/// 10 ms; where it would make the sound louder by more than 3 dB, by the powers of the last 0.3 s, it begins that much
/// louder alone and rises by LiveSum::riseRate. The band is cut by Butterworth filters of fourth order at either edge
/// (-3 dB there, 24 dB an octave beyond). [audio thread]; after the constructor nothing is allocated and nothing waits.
class Monitor {
public:
    explicit Monitor(double sampleRate);

    /// In place. A wish that comes while another fades in is taken when that has ended.
    void process(float* left, float* right, int count, const Listening& wanted);

private:
    /// The sum as one of two ways of listening gives it.
    struct View {
        Listening how;
        float level = 1.0f;
        std::array<std::array<juce::SingleThreadedIIRFilter, 4>, 2> filters; ///< [side][section]
        void begin(const Listening& listening, double sampleRate);
        void hear(float* left, float* right, int count);
        bool plain() const { return how == Listening{}; }
    };
    static constexpr int mostAtOnce = 256;

    void processSome(float* left, float* right, int count);
    float powerOf(Listening::Sides sides) const {
        return sides == Listening::Sides::stereo ? stereoPower
               : sides == Listening::Sides::mono ? monoPower
                                                 : sidePower;
    }

    const double sampleRate;
    const int fade; ///< Samples.
    const std::vector<float> fadeCurve;
    View views[2];
    View* now = &views[0];
    View* before = &views[1];
    int fadeLeft = 0;
    std::array<float, mostAtOnce> otherLeft{}, otherRight{};
    const float powerShare, riseStep;
    float stereoPower = 0.0f, monoPower = 0.0f, sidePower = 0.0f, heardPower = 0.0f; ///< Of the last 0.3 s.
};

} // namespace spillwright
