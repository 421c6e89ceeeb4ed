#include "Audition/OutputDevice.h"

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <optional>

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

constexpr int smallestBuffer = 16, largestBuffer = 4096; ///< Samples, that are offered.
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
    static constexpr auto retryEvery = std::chrono::seconds(3);

    CountingCallback counting;
    juce::AudioDeviceManager manager;
    DeviceChoice chosen;
    std::optional<DeviceChoice> working; ///< What was opened last, whether it still works or not.
    std::int64_t callsSeen = 0;
    Clock::time_point lastSign = Clock::now(), lastTry = lastSign;
    bool priorityAsked = false;

    void timerCallback() override {
        const bool alive = manager.getCurrentAudioDevice() && look();
        raisePriority();
        if (alive || !working || Clock::now() - lastTry < retryEvery) return;
        // The same device and no other: what it was turned down for, another may play far too loud.
        openOne(*working);
        lastTry = Clock::now();
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

    juce::AudioIODeviceType* typeNamed(const juce::String& name) {
        for (auto* type : manager.getAvailableDeviceTypes())
            if (type->getTypeName() == name) return type;
        return nullptr;
    }

    /// False where there is no such device, or it cannot be opened.
    bool openOne(const DeviceChoice& wanted) {
        auto* type = typeNamed(juce::String::fromUTF8(wanted.type.c_str()));
        if (!type) return false;
        type->scanForDevices();
        const auto names = type->getDeviceNames(false);
        const bool isAlsa = type->getTypeName() == "ALSA";
        juce::AudioDeviceManager::AudioDeviceSetup setup;
        if (wanted.name.empty()) {
            // JACK lists every program that can take sound; "system" is the sound card. ALSA's "default" is the one
            // that the desktop has chosen.
            const juce::String preferred = isAlsa ? "default" : "system";
            for (const auto& name : names)
                if (setup.outputDeviceName.isEmpty() && name.startsWithIgnoreCase(preferred))
                    setup.outputDeviceName = name;
            if (setup.outputDeviceName.isEmpty() && !names.isEmpty()) setup.outputDeviceName = names[0];
        } else if (const auto name = juce::String::fromUTF8(wanted.name.c_str()); names.contains(name)) {
            setup.outputDeviceName = name;
        }
        if (setup.outputDeviceName.isEmpty()) return false;
        manager.setCurrentAudioDeviceType(type->getTypeName(), true);
        setup.useDefaultInputChannels = false;
        setup.useDefaultOutputChannels = false;
        setup.outputChannels.setRange(0, 2, true);
        setup.sampleRate = wanted.rate;
        setup.bufferSize = wanted.buffer > 0 ? wanted.buffer : isAlsa ? firstAlsaBuffer : 0;
        for (int tries = 0; tries == 0 || (tries < mostTries && channelsMissing()); ++tries) {
            manager.closeAudioDevice();
            manager.setAudioDeviceSetup(setup, false);
        }
        if (!manager.getCurrentAudioDevice()) return false; // what it returns as an error may be empty without one
        working = wanted;
        working->type = type->getTypeName().toStdString();
        working->name = setup.outputDeviceName.toStdString();
        lastSign = Clock::now();
        priorityAsked = false;
        return true;
    }
};

OutputDevice::OutputDevice(juce::AudioIODeviceCallback& callback) : device(std::make_unique<Device>(callback)) {}

OutputDevice::~OutputDevice() = default;

void OutputDevice::open() {
    device->manager.closeAudioDevice();
    device->working.reset();
    if (!device->chosen.type.empty() && device->openOne(device->chosen)) return;
    if (device->openOne({"JACK", "", 0.0, 0}) || device->openOne({"ALSA", "", 0.0, 0})) return;
    for (const auto& type : types()) // of other systems
        if (device->openOne({type, "", 0.0, 0})) return;
}

void OutputDevice::choose(const DeviceChoice& choice) {
    device->chosen = choice;
    open();
}

const DeviceChoice& OutputDevice::choice() const {
    return device->chosen;
}

DeviceChoice OutputDevice::opened() const {
    auto* current = device->manager.getCurrentAudioDevice();
    if (!current) return {};
    return {current->getTypeName().toStdString(), current->getName().toStdString(), current->getCurrentSampleRate(),
            current->getCurrentBufferSizeSamples()};
}

std::string OutputDevice::state() const {
    const auto now = opened();
    if (device->working && (now.type.empty() || !device->look()))
        return device->working->type + ": " + device->working->name + " has stopped; it is tried again every " +
               std::to_string(Device::retryEvery.count()) + " s";
    if (now.type.empty()) return "no audio device: everything but sound works";
    std::string state =
        now.type + ": " + now.name + ", " + inKilohertz(now.rate) + ", " + std::to_string(now.buffer) + " samples";
    const auto& chosen = device->chosen;
    if (!chosen.type.empty() && (chosen.type != now.type || (!chosen.name.empty() && chosen.name != now.name)))
        state += "; " + chosen.type + (chosen.name.empty() ? "" : ": " + chosen.name) + " is not there";
    return state;
}

std::vector<std::string> OutputDevice::types() const {
    std::vector<std::string> found;
    for (auto* type : device->manager.getAvailableDeviceTypes())
        found.push_back(type->getTypeName().toStdString());
    return found;
}

std::vector<std::string> OutputDevice::names(const std::string& typeName) const {
    std::vector<std::string> found;
    if (auto* type = device->typeNamed(juce::String::fromUTF8(typeName.c_str()))) {
        type->scanForDevices();
        for (const auto& name : type->getDeviceNames(false))
            found.push_back(name.toStdString());
    }
    return found;
}

std::vector<double> OutputDevice::rates() const {
    std::vector<double> found;
    if (auto* current = device->manager.getCurrentAudioDevice())
        for (double rate : current->getAvailableSampleRates())
            found.push_back(rate);
    return found;
}

std::vector<int> OutputDevice::buffers() const {
    std::vector<int> found;
    if (auto* current = device->manager.getCurrentAudioDevice())
        for (int size : current->getAvailableBufferSizes())
            if (size >= smallestBuffer && size <= largestBuffer) found.push_back(size);
    return found;
}

bool OutputDevice::available() const {
    return device->manager.getCurrentAudioDevice() != nullptr && device->look();
}

juce::AudioDeviceManager& OutputDevice::manager() {
    return device->manager;
}

} // namespace spillwright
