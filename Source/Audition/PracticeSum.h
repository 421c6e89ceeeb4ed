#pragma once

#include "Core/Scene/PracticeAcoustics.h"

#include <atomic>
#include <cstdint>
#include <memory>
#include <vector>

namespace spillwright {

/// The sound of a practice room: a loop, mono, through the responses of what is heard into left and right. A change
/// sounds within a block and a cross-fade, 27 ms; one that comes meanwhile is taken when that has ended, the newest
/// wins. What is louder by more than LiveSum::mostLouderDb begins that much louder alone, and rises. Convolution is
/// uniformly partitioned (overlap-save); it is not JUCE's, whose loading thread decides when a change is heard.
class PracticeSum {
public:
    static constexpr int block = 256;      ///< Samples; what is heard comes without delay, a change with up to this.
    static constexpr int fade = 4 * block; ///< Samples of a cross-fade, a raised cosine.

    explicit PracticeSum(double sampleRate);
    ~PracticeSum();

    double sampleRate() const { return rate; }

    // [message thread]
    /// A loop at this rate; null or empty is silence.
    void setSound(std::shared_ptr<const std::vector<float>> loop);
    void hear(const PracticeResponses& responses); ///< Of this rate. Some 2 ms.
    void play() { wanted = true; }                 ///< Goes on where it stopped.
    void stop() { wanted = false; }                ///< Fades out over LiveSum::fadeTime.
    bool playing() const { return wanted; }

    bool sounding() const { return audible; } ///< [any thread]

    /// [audio thread] wait-free, allocates nothing.
    void render(float* left, float* right, int count);

private:
    struct Wish;
    struct Voice;
    void ask();

    const double rate;
    std::atomic<bool> wanted{false}, audible{false};
    std::atomic<Wish*> asked{nullptr}; ///< Taken by the audio thread, which then tells when it lets go.
    static_assert(std::atomic<Wish*>::is_always_lock_free);

    // ---- the message thread's alone
    std::vector<std::unique_ptr<Wish>> wishes; ///< That the audio thread may still read.
    std::shared_ptr<const std::vector<float>> sound;
    std::vector<double> soundSpectrum;
    std::vector<float> responseLeft, responseRight;

    std::unique_ptr<Voice> voice; ///< The audio thread's alone.
};

} // namespace spillwright
