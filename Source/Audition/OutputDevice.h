#pragma once

#include <juce_audio_devices/juce_audio_devices.h>

#include <memory>
#include <string>
#include <vector>

namespace spillwright {

/// Which device plays, and how. Empty and 0: what suits.
struct DeviceChoice {
    std::string type;  ///< "JACK", "ALSA".
    std::string name;  ///< As names() has it.
    double rate = 0.0; ///< Hz.
    int buffer = 0;    ///< Samples.
    bool operator==(const DeviceChoice&) const = default;
};

/// Opens the machine's device (ALSA, JACK; "system" preferred), keeps an eye on it, tries it again when it has stopped,
/// and says how it is in one true line. [message thread]
class OutputDevice {
public:
    explicit OutputDevice(juce::AudioIODeviceCallback& callback);
    ~OutputDevice();

    /// As chosen; where that is not there or nothing was chosen, the first device that works: a running JACK server,
    /// else ALSA. No device is a state, not an error.
    void open();
    void choose(const DeviceChoice& choice); ///< And opens it. Stays chosen while it is not there.
    const DeviceChoice& choice() const;
    /// What is open now; empty: nothing.
    DeviceChoice opened() const;

    /// "JACK: system, 48 kHz, 128 samples", "no audio device: everything but sound works" or, when the device no longer
    /// asks for sound, "JACK: system has stopped; it is tried again every 3 s".
    std::string state() const;
    bool available() const; ///< There is a device, and it asks for sound.

    std::vector<std::string> types() const;
    std::vector<std::string> names(const std::string& type) const; ///< Looks for them anew.
    std::vector<double> rates() const;                             ///< Hz, of the device that is open.
    std::vector<int> buffers() const;                              ///< Samples, likewise.

    juce::AudioDeviceManager& manager();

private:
    struct Device;
    std::unique_ptr<Device> device;
};

} // namespace spillwright
