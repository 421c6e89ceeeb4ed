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
/// Nothing gets dangerously loud: see hear().
class PracticeSum {
public:
    static constexpr int block = 256;      ///< Samples; what is heard comes without delay, a change with up to this.
    static constexpr int fade = 4 * block; ///< Samples of a cross-fade, a raised cosine.
    /// How much louder than where it began a change may be, and how loud at most that beginning, against the loop
    /// through one omni microphone 1 m away; one that is softer counts as that. What would be louder is turned down.
    static constexpr double mostLouderDb = 6.0, loudestBeginningDb = 12.0;

    explicit PracticeSum(double sampleRate);
    ~PracticeSum();

    double sampleRate() const { return rate; }

    // [message thread]
    /// A loop at this rate; null or empty is silence.
    void setSound(std::shared_ptr<const std::vector<float>> loop);
    enum class Change { beginning, going };
    /// Of this rate; a beginning is what later ones are measured by. Some 2 ms.
    void hear(const PracticeResponses& responses, Change change = Change::going);
    Decibels turnedDown() const { return turnedDownBy; } ///< 0 or more: of what was asked for last.
    void play() { wanted = true; }                       ///< Goes on where it stopped.
    void stop() { wanted = false; }                      ///< Fades out over LiveSum::fadeTime.
    bool playing() const { return wanted; }

    bool sounding() const { return audible; } ///< [any thread]

    /// [audio thread] wait-free, allocates nothing.
    void render(float* left, float* right, int count);

private:
    struct Wish;
    struct Voice;
    void ask();
    void limit();

    const double rate;
    std::atomic<bool> wanted{false}, audible{false};
    std::atomic<Wish*> asked{nullptr}; ///< Taken by the audio thread, which then tells when it lets go.
    static_assert(std::atomic<Wish*>::is_always_lock_free);

    // ---- the message thread's alone
    std::vector<std::unique_ptr<Wish>> wishes; ///< That the audio thread may still read.
    std::shared_ptr<const std::vector<float>> sound;
    std::vector<double> soundSpectrum;
    std::vector<float> responseLeft, responseRight;
    std::vector<float> beginningLeft, beginningRight;
    double most = 0.0; ///< Power.
    Decibels turnedDownBy{0.0};

    std::unique_ptr<Voice> voice; ///< The audio thread's alone.
};

} // namespace spillwright
