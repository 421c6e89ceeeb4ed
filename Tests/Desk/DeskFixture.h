#pragma once

#include "Desk/MainComponent.h"

#include "Support/TemporaryFolder.h"
#include "Support/TestWav.h"

#include <catch2/catch.hpp>

#include <chrono>
#include <cstdlib>
#include <functional>
#include <thread>

namespace spillwright::test {

/// Three microphones and an overdub. The second track hears the first one's sound upside down and 24 samples (0.5 ms)
/// later, the third the right way up 12 samples (0.25 ms) later, the fourth something else.
inline void writeSmallBand(const std::filesystem::path& folder) {
    const std::size_t length = 48000 * 30;
    const auto sound = noise(length, 1);
    const auto trackOf = [&](int delaySamples, float factor, unsigned seed) {
        auto heard = delayed(sound, delaySamples, factor);
        // A reflection 30 dB down: without any room between them the tracks would be one signal, printed twice.
        if (delaySamples > 0) heard = mixed(heard, delayed(sound, delaySamples + 210, 0.03f * factor));
        return mixed(heard, noise(length, seed, 0.001f));
    };
    writeWav(folder / "1 close.wav", trackOf(0, 1.0f, 11));
    writeWav(folder / "2 under.wav", trackOf(24, -1.0f, 12));
    writeWav(folder / "3 room.wav", trackOf(12, 0.8f, 13));
    writeWav(folder / "4 overdub.wav", noise(length, 99));
}

/// Two microphones and an overdub. At half time another source takes over: the second track heard it upside down and 24
/// samples (0.5 ms) later, and hears it then the right way up and 48 samples (1 ms) earlier. The overdub then falls
/// silent.
inline void writeChangingBand(const std::filesystem::path& folder) {
    const std::size_t length = 48000 * 30;
    const auto half = static_cast<std::ptrdiff_t>(length / 2);
    const auto sound = noise(length + 48, 1);
    const std::vector<float> close(sound.begin(), sound.end() - 48);
    auto under = delayed(close, 24, -1.0f);
    std::copy(sound.begin() + 48 + half, sound.end(), under.begin() + half);
    auto overdub = noise(length, 99);
    std::fill(overdub.begin() + half, overdub.end(), 0.0f);
    writeWav(folder / "1 close.wav", mixed(close, noise(length, 11, 0.001f)));
    writeWav(folder / "2 under.wav", mixed(under, noise(length, 12, 0.001f)));
    writeWav(folder / "3 overdub.wav", overdub);
}

/// The second track hears the first one's sound three times, about as loud: which of them is the arrival is a guess.
inline void writeEchoingBand(const std::filesystem::path& folder) {
    const std::size_t length = 48000 * 20;
    const auto sound = noise(length, 1);
    const auto echoes = mixed(mixed(delayed(sound, 24, 1.0f), delayed(sound, 120, -0.95f)), delayed(sound, 150, 0.9f));
    writeWav(folder / "1 close.wav", mixed(sound, noise(length, 11, 0.001f)));
    writeWav(folder / "2 far.wav", mixed(echoes, noise(length, 12, 0.001f)));
}

/// Polls until the condition holds; false after a long time.
inline bool waitFor(desk::Controller& controller, const std::function<bool()>& condition) {
    const auto deadline = std::chrono::steady_clock::now() + std::chrono::seconds(120);
    while (!condition()) {
        if (std::chrono::steady_clock::now() > deadline) return false;
        controller.poll();
        std::this_thread::sleep_for(std::chrono::milliseconds(2));
    }
    return true;
}

inline bool waitUntilIdle(desk::Controller& controller) {
    return waitFor(controller, [&] { return !controller.busy(); });
}

/// A controller on a band of the above, measured.
struct MeasuredBand {
    TemporaryFolder folder;
    desk::Controller controller{2};

    explicit MeasuredBand(const std::function<void(const std::filesystem::path&)>& write = writeSmallBand) {
        write(folder.path());
        controller.openFolder(folder.path());
        REQUIRE(waitUntilIdle(controller));
        INFO((controller.notice() ? controller.notice()->text : ""));
        REQUIRE(controller.measurement());
    }
};

/// JUCE without a display, whatever the machine has: where DISPLAY is empty it would try the first one, which may be
/// another test's and go away at any moment.
struct JuceWithoutDisplay {
    struct Hidden {
        Hidden() {
#if JUCE_LINUX
            setenv("DISPLAY", ":64999", 1);
#endif
        }
    } hidden;
    juce::ScopedJuceInitialiser_GUI juce;
};

/// The window without a recording, a display and a device.
struct EmptyWindow {
    JuceWithoutDisplay juce;
    TemporaryFolder settings;
    desk::Controller controller{2};
    Player player;
    desk::Preferences preferences{juce::File(settings.path().string())};
    desk::MainComponent main{desk::MainComponent::Parts{controller, player, nullptr, preferences}};
};

/// The whole window on a small band, without a display and without a device.
struct BandWindow {
    JuceWithoutDisplay juce;
    TemporaryFolder settings;
    MeasuredBand band;
    Player player;
    desk::Preferences preferences{juce::File(settings.path().string())};
    desk::MainComponent main{desk::MainComponent::Parts{band.controller, player, nullptr, preferences}};

    explicit BandWindow(const std::function<void(const std::filesystem::path&)>& write = writeSmallBand) : band(write) {
        // The window was not there to hear of the recording: it is told by opening it once more.
        band.controller.openFolder(band.folder.path());
        REQUIRE(waitUntilIdle(band.controller));
        REQUIRE(waitFor(band.controller, [this] { return band.controller.waveform().has_value(); }));
    }
    desk::Controller& controller() { return band.controller; }
    bool key(int code, juce::juce_wchar typed, int modifiers = 0) {
        return main.keyPressed(juce::KeyPress(code, juce::ModifierKeys(modifiers), typed));
    }
    bool typed(char character) { return key(character, static_cast<juce::juce_wchar>(character)); }
};

inline juce::MouseEvent mouseAt(juce::Component& component, juce::Point<float> place, juce::Point<float> pressedAt) {
    const auto now = juce::Time::getCurrentTime();
    return {juce::Desktop::getInstance().getMainMouseSource(),
            place,
            juce::ModifierKeys(juce::ModifierKeys::leftButtonModifier),
            juce::MouseInputSource::defaultPressure,
            juce::MouseInputSource::defaultOrientation,
            juce::MouseInputSource::defaultRotation,
            juce::MouseInputSource::defaultTiltX,
            juce::MouseInputSource::defaultTiltY,
            &component,
            &component,
            now,
            pressedAt,
            now,
            1,
            place != pressedAt};
}

inline void click(juce::Component& component, juce::Point<float> place) {
    component.mouseDown(mouseAt(component, place, place));
    component.mouseUp(mouseAt(component, place, place));
}

inline void drag(juce::Component& component, juce::Point<float> from, juce::Point<float> to) {
    component.mouseDown(mouseAt(component, from, from));
    component.mouseDrag(mouseAt(component, (from + to) / 2.0f, from));
    component.mouseDrag(mouseAt(component, to, from));
    component.mouseUp(mouseAt(component, to, from));
}

} // namespace spillwright::test
