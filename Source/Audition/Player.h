#pragma once

#include "Audition/LoudnessMeter.h"
#include "Audition/Mix.h"
#include "Audition/Monitor.h"
#include "Audition/PracticeSum.h"
#include "Audition/StandIn.h"
#include "Media/Recording.h"

#include <juce_audio_devices/juce_audio_devices.h>

#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <vector>

namespace spillwright {

/// Plays the sum of all tracks of a recording, streamed from disk, looped, every change heard within a buffer and
/// without a click. All calls [message thread] unless said otherwise; the callback takes no lock and allocates nothing.
/// What is heard is what render() sums: same kernel, same filters, same pan law (before the output level and the
/// guard). It differs only where that is asked for (a gain of the whole, a difference, one side or one band of it), in
/// the 10 ms of cross-fade at a change, at the seam of the loop and after a seek, and of fading at start and stop.
class Player {
public:
    /// A nudge beyond this, either way, is heard as this much, and trouble() says so.
    static constexpr Seconds largestNudge = Seconds(1.0);

    Player();
    ~Player();

    /// The callback to give to a device manager, once, at start-up. A device of another rate than the recording's gets
    /// the sum resampled.
    juce::AudioIODeviceCallback& callback();

    void open(std::shared_ptr<const Recording> recording); ///< Stops first. nullptr closes.
    /// The same for any source; `tracks`: one a track of it.
    void open(std::shared_ptr<const SampleSource> source, std::vector<TrackInfo> tracks);
    /// In the place of the recording, which stops and stays where it is, until null is given. What is said of playing,
    /// listening, level, guard and meters then holds for the practice room; all else for the recording.
    void practise(std::shared_ptr<PracticeSum> room);
    void play();          ///< Also tries again after a trouble.
    void stop();          ///< Fades out over 10 ms.
    bool playing() const; ///< As asked for; false again when a file failed.
    /// Around the position, and a place that was asked for, all is in memory: play() would sound at once.
    bool ready() const;

    /// A second recording may lie beside the one that is heard: silent, with a mix, a loop and a position of its own,
    /// ready to take its place.
    enum class Which { heard, beside };
    void openBeside(std::shared_ptr<const Recording> recording); ///< nullptr closes. open() closes it too.
    void openBeside(std::shared_ptr<const SampleSource> source, std::vector<TrackInfo> tracks);
    /// It is in memory where it would go on: changeOver() would sound at once.
    bool besideReady() const;
    /// [audio thread] Which sample of the other one is the same place as a sample of the one that is heard. Wait-free,
    /// allocates nothing; the message thread stands still meanwhile.
    using SamePlace = std::function<std::int64_t(std::int64_t)>;
    /// The two take each other's place, cross-faded over 10 ms where they play. From here on all that is said of what
    /// is heard is said of the other one. `louder`: how much louder it is about to be; what is above
    /// LiveSum::mostLouderDb rises.
    /// `place`: asked of the sample that sounds when the audio thread changes over (what is still in resamplers counted
    /// in), so that nothing slips; none: the other one goes on from where it is, or was asked to go. Returns when it is
    /// done, after one buffer of the device. False: nothing was changed, since there is no other one, or it is not in
    /// memory at that place, and now sought.
    bool changeOver(Decibels louder, const SamePlace& place = {});

    /// Newest wins.
    void hear(const HeardMix& mix, Which which = Which::heard);
    void setAdjustments(std::vector<TrackAdjustment> adjustments, std::vector<bool> solo = {}); ///< hear() of no more.
    /// In the place of the tracks' own sound, under the same adjustments, loop and position, until null is given or
    /// another recording is opened; cross-faded like any change. One a track of the recording.
    void playInstead(std::shared_ptr<const TrackSound> sound);
    void setListening(const Listening& listening); ///< Stays when another recording is opened.
    void seek(std::int64_t sample, Which which = Which::heard);
    /// from < to; the whole recording by default. Lengthened to 50 ms where shorter. A position outside goes to `from`.
    void setLoop(std::int64_t from, std::int64_t to, Which which = Which::heard);
    std::int64_t loopFrom() const;
    std::int64_t loopTo() const;
    std::int64_t position() const; ///< Sample of the recording that is heard now.

    static constexpr Decibels startLevel = Decibels(-18.0);
    void setOutputLevel(Decibels level); ///< At most 0 dB; startLevel at first. Ramps.
    Decibels outputLevel() const;

    struct Meters {
        float peakLeft = 0.0f, peakRight = 0.0f; ///< Of the output, since the last call.
        LoudnessMeter::Readings sum;             ///< Of the sum before listening, output level and guard.
        bool guardActive = false;                ///< The output guard held the peak down since the last call.
        std::int64_t dropouts = 0;               ///< Times the disk was too slow: the whole mix was muted with a ramp.
    };
    Meters meters();
    void resetMeters(); ///< The highest true peak and the integrated loudness begin anew.
    /// What is in memory around the position: `count` samples a track, half of them before it; empty where they are
    /// not all there.
    std::vector<std::vector<float>> samplesAround(int count) const;
    /// A line for the user when something stopped the sound (a file vanished) or changed it; empty otherwise.
    std::string trouble() const;

private:
    struct Engine;
    std::unique_ptr<Engine> engine;
};

} // namespace spillwright
