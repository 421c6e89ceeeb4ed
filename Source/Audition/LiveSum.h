#pragma once

#include "Audition/PlayState.h"
#include "Audition/SongBlocks.h"

#include <juce_audio_basics/juce_audio_basics.h>

#include <cstdint>
#include <vector>

namespace spillwright {

/// The sum of all tracks as it is heard, at the recording's rate, before the output level: the audio thread's part of
/// the player. One position for all tracks. After the constructor nothing is allocated and nothing waits.
///
/// What is heard is sum_i pan_i chain_i(track_i), tracks in order (less the same of another setting, where the
/// difference is asked for), but for: 10 ms of cross-fade where a setting changes, after a seek, where other sound
/// takes the place of the tracks' own or gives it back, and where the loop begins anew (there the end of the loop runs
/// on beneath its beginning); 10 ms of fading where playing starts or stops; and a rise after a change that was asked
/// to start lower.
class LiveSum {
public:
    static constexpr Seconds fadeTime = Seconds(0.01);
    static constexpr Seconds shortestLoop = Seconds(0.05);
    static constexpr double mostLouderDb = 3.0;          ///< Than what is heard, without a rise.
    static constexpr double riseRate = 20.0;             ///< dB a second, of what starts lower than it is asked for ...
    static constexpr Seconds longestRise = Seconds(1.0); ///< ... and faster, where that would take longer.

    /// `length`: of the recording, samples. `needs`: as kept in memory before sound begins.
    LiveSum(SongBlocks& blocks, PlayState& state, double sampleRate, std::int64_t length, Seconds readyAhead);

    void render(float* left, float* right, int count);

private:
    /// One place in the recording under one mix.
    struct Deck {
        explicit Deck(SongBlocks& blocks) : mix(static_cast<std::size_t>(blocks.trackCount())), pinned(blocks) {}
        Mix mix;
        float level = 1.0f;    ///< Of all of it; rises to 1 while the deck is the one that is heard ...
        float riseStep = 1.0f; ///< ... by this factor a sample.
        SongBlocks::Pinned pinned;
        StandIn* standIn = nullptr; ///< Null: the files.
        std::int64_t position = 0;

        const float* read(std::size_t voice, std::int64_t from, int count, float* scratch) const;
    };
    struct Bus {
        std::vector<float> left, right;
        void clear(int count);
    };

    static constexpr int mostAtOnce = 256;

    void takeWishes();
    void takeStandIn();
    void changeMix();
    void jump(std::int64_t target);
    void beginLoopAnew();
    void settleAll();
    void settle(std::size_t voice);
    void decideCurtain();
    bool mixTogether(float* left, float* right, int count);
    void add(Deck& deck, std::size_t voice, Bus& bus, int count);
    void rise(int count);
    void startNow(bool newMix);
    void beginAt(double startDb);
    void drawCurtain(float* left, float* right, int count);
    void closeCurtain();

    bool silent() const { return curtain == 0 && !open; }
    bool ready(const Mix& mix, std::int64_t from, std::int64_t samples) const;
    bool readyToGoOn(std::int64_t samples) const;
    std::int64_t landing(std::int64_t target) const;
    /// Where playing turns back to the loop's head: its end, or that of the recording for who is past it.
    std::int64_t boundaryAfter(std::int64_t position) const;
    std::int64_t toBoundary() const { return boundaryAfter(now->position) - now->position; }

    SongBlocks& blocks;
    PlayState& state;
    const std::int64_t length;
    const std::int64_t readyAhead;
    const int fade;                     ///< Samples.
    const double hertz;                 ///< Of the recording.
    const std::vector<float> fadeCurve; ///< 0 .. 1, fade + 1 values, raised cosine.

    Deck decks[2];
    Deck* now = &decks[0];
    Deck* before = &decks[1];   ///< What fades out.
    int fadeLeft = 0;           ///< Samples of the fade still to come.
    bool outgoingThere = false; ///< All that fades out is in memory.
    std::vector<char> changed;  ///< Voices that differ between the decks.
    Bus common, incoming, outgoing;

    bool mixWaits = false;
    StandIn* standInWaits = nullptr;
    Loop loop;
    // The curtain fades the whole sum: when playing starts and stops, and when the disk is too slow.
    bool open = false;     ///< Where it moves to.
    int curtain = 0;       ///< 0 closed .. fade open.
    bool wrapOwed = false; ///< The curtain fell before the loop could begin anew.
    std::vector<float> scratch, treated;
};

} // namespace spillwright
