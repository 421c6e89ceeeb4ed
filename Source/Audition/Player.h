#pragma once

#include "Core/TrackAdjustment.h"
#include "Media/Recording.h"

#include <juce_audio_devices/juce_audio_devices.h>

#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <vector>

namespace spillwright {

/// Plays the sum of all tracks of a recording, streamed from disk, looped, every change heard within a buffer and
/// without a click. All calls [message thread] unless said otherwise; the callback takes no lock and allocates nothing.
/// What is heard is what render() sums: same kernel, same filters, same pan law (before the output level and the
/// guard).
class Player {
public:
    Player();
    ~Player();

    /// The callback to give to a device manager, once, at start-up.
    juce::AudioIODeviceCallback& callback();

    void open(std::shared_ptr<const Recording> recording); ///< Stops first. nullptr closes.
    void play();
    void stop(); ///< Fades out within 20 ms.
    bool playing() const;

    /// One adjustment a track; solo: empty or one flag a track (any true: only those sound). Newest wins.
    void setAdjustments(std::span<const TrackAdjustment> adjustments, const std::vector<bool>& solo = {});
    void seek(std::int64_t sample);
    void setLoop(std::int64_t from, std::int64_t to); ///< from < to; the whole recording by default.
    std::int64_t loopFrom() const;
    std::int64_t loopTo() const;
    std::int64_t position() const; ///< Sample of the recording that is heard now.

    void setOutputLevel(Decibels level); ///< At most 0 dB; starts at -18 dB. Ramps.
    Decibels outputLevel() const;

    struct Meters {
        float peakLeft = 0.0f, peakRight = 0.0f; ///< Since the last call.
        float rmsLeft = 0.0f, rmsRight = 0.0f;
        bool guardActive = false;  ///< The output guard held the peak down since the last call.
        std::int64_t dropouts = 0; ///< Times the disk was too slow: the whole mix was muted with a ramp.
    };
    Meters meters();
    /// A line for the user when something stopped the sound (a file vanished); empty otherwise.
    std::string trouble() const;

private:
    struct Engine;
    std::unique_ptr<Engine> engine;
};

/// Opens the machine's device (ALSA, JACK; "system" preferred), keeps an eye on it, and says how it is in one true
/// line.
class OutputDevice {
public:
    explicit OutputDevice(juce::AudioIODeviceCallback& callback);
    ~OutputDevice();

    void open(); ///< First device that works; no device is a state, not an error.
    std::string
    state() const; ///< "JACK: system, 48 kHz, 128 samples" or "no audio device: everything but sound works".
    bool available() const;
    juce::AudioDeviceManager& manager();

private:
    struct Device;
    std::unique_ptr<Device> device;
};

} // namespace spillwright
