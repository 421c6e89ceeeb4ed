#include "Audition/Player.h"

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cmath>
#include <cstdio>

#if JUCE_LINUX
#include <pthread.h>
#include <sched.h>
#endif

namespace spillwright {

namespace {

/// Passes everything on and counts the calls: when a device dies, JUCE 7 tells nobody (its ALSA thread just ends, JACK
/// closes from a thread of its own), and the missing calls are the only sign.
class CountingCallback : public juce::AudioIODeviceCallback {
public:
    explicit CountingCallback(juce::AudioIODeviceCallback& callback) : inner(callback) {}

    std::int64_t calls() const { return callCount.load(std::memory_order_relaxed); }

#if JUCE_LINUX
    /// The thread that called last; its handle is valid only while calls go on.
    pthread_t thread() const {
        return audioThread.load(std::memory_order_relaxed);
    }
#endif

    void audioDeviceAboutToStart(juce::AudioIODevice* device) override {
        inner.audioDeviceAboutToStart(device);
    }
    void audioDeviceStopped() override {
        inner.audioDeviceStopped();
    }
    void audioDeviceError(const juce::String& message) override {
        inner.audioDeviceError(message);
    }
    void audioDeviceIOCallbackWithContext(const float* const* inputs, int inputCount, float* const* outputs,
                                          int outputCount, int samples,
                                          const juce::AudioIODeviceCallbackContext& context) override {
#if JUCE_LINUX
        audioThread.store(pthread_self(), std::memory_order_relaxed);
#endif
        callCount.fetch_add(1, std::memory_order_relaxed);
        inner.audioDeviceIOCallbackWithContext(inputs, inputCount, outputs, outputCount, samples, context);
    }

private:
    juce::AudioIODeviceCallback& inner;
    std::atomic<std::int64_t> callCount{0};
#if JUCE_LINUX
    std::atomic<pthread_t> audioThread{};
#endif
};

std::string inKilohertz(double hertz) {
    char text[32];
    std::snprintf(text, sizeof text, "%g kHz", hertz / 1000.0);
    return text;
}

constexpr int firstAlsaBuffer = 1024; ///< Samples; through a sound server small ones are known to run dry for ever.

} // namespace

struct OutputDevice::Device : private juce::Timer {
    explicit Device(juce::AudioIODeviceCallback& callback) : counting(callback) {
        manager.addAudioCallback(&counting);
        startTimer(500);
    }
    ~Device() override {
        stopTimer();
        manager.removeAudioCallback(&counting);
        manager.closeAudioDevice();
    }

    using Clock = std::chrono::steady_clock;
    static constexpr auto patience = std::chrono::seconds(2); ///< Without a call after which a device has stopped.

    CountingCallback counting;
    juce::AudioDeviceManager manager;
    std::int64_t callsSeen = 0;
    Clock::time_point lastSign = Clock::now();
    bool priorityAsked = false;

    void timerCallback() override {
        look();
        raisePriority();
    }

    /// Whether the device asks for sound. Called often enough or not, it never takes a live device for a dead one.
    bool look() {
        const std::int64_t calls = counting.calls();
        if (calls != callsSeen) {
            callsSeen = calls;
            lastSign = Clock::now();
            return true;
        }
        return Clock::now() - lastSign < patience;
    }

    /// JUCE's ALSA thread has the priority of any other; JACK gives its own threads what they need.
    void raisePriority() {
#if JUCE_LINUX
        if (priorityAsked || callsSeen == 0 || manager.getCurrentAudioDeviceType() != "ALSA" || !look()) return;
        priorityAsked = true;
        sched_param priority{};
        priority.sched_priority = 10;
        pthread_setschedparam(counting.thread(), SCHED_RR, &priority); // a user without the right goes on without
#endif
    }

    /// A busy JACK server connects some periods later than it says, and JUCE 7 looks at once and but once: it would ask
    /// for the sound of fewer channels from then on, or of none.
    bool channelsMissing() const {
        auto* opened = manager.getCurrentAudioDevice();
        return opened && opened->getActiveOutputChannels().countNumberOfSetBits() <
                             std::min(2, opened->getOutputChannelNames().size());
    }
    static constexpr int mostTries = 20;

    bool openType(const juce::String& typeName) {
        for (auto* type : manager.getAvailableDeviceTypes()) {
            if (typeName.isNotEmpty() && type->getTypeName() != typeName) continue;
            type->scanForDevices();
            const auto names = type->getDeviceNames(false);
            if (names.isEmpty()) continue;
            manager.setCurrentAudioDeviceType(type->getTypeName(), true);
            juce::AudioDeviceManager::AudioDeviceSetup setup;
            // JACK lists every program that can take sound; "system" is the sound card. ALSA's "default" is the one
            // that the desktop has chosen.
            const juce::String preferred = type->getTypeName() == "JACK" ? "system" : "default";
            setup.outputDeviceName = names[0];
            for (const auto& name : names)
                if (name.compareIgnoreCase(preferred) == 0 || name.startsWithIgnoreCase(preferred)) {
                    setup.outputDeviceName = name;
                    break;
                }
            setup.useDefaultInputChannels = false;
            setup.useDefaultOutputChannels = false;
            setup.outputChannels.setRange(0, 2, true);
            if (type->getTypeName() == "ALSA") setup.bufferSize = firstAlsaBuffer;
            for (int tries = 0; tries == 0 || (tries < mostTries && channelsMissing()); ++tries) {
                manager.closeAudioDevice();
                manager.setAudioDeviceSetup(setup, false);
            }
            if (manager.getCurrentAudioDevice()) return true; // what it returns as an error may be empty without one
        }
        return false;
    }
};

OutputDevice::OutputDevice(juce::AudioIODeviceCallback& callback) : device(std::make_unique<Device>(callback)) {}

OutputDevice::~OutputDevice() = default;

void OutputDevice::open() {
    device->manager.closeAudioDevice();
    device->priorityAsked = false;
    if (!device->openType("JACK") && !device->openType("ALSA")) device->openType({});
    device->lastSign = Device::Clock::now();
}

std::string OutputDevice::state() const {
    const auto* current = device->manager.getCurrentAudioDevice();
    if (!current) return "no audio device: everything but sound works";
    const std::string name = (current->getTypeName() + ": " + current->getName()).toStdString();
    if (!device->look()) return name + " has stopped; open the device again";
    return name + ", " + inKilohertz(device->manager.getCurrentAudioDevice()->getCurrentSampleRate()) + ", " +
           std::to_string(device->manager.getCurrentAudioDevice()->getCurrentBufferSizeSamples()) + " samples";
}

bool OutputDevice::available() const {
    return device->manager.getCurrentAudioDevice() != nullptr && device->look();
}

juce::AudioDeviceManager& OutputDevice::manager() {
    return device->manager;
}

} // namespace spillwright
