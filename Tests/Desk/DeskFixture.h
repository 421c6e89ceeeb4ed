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
        return mixed(delayed(sound, delaySamples, factor), noise(length, seed, 0.001f));
    };
    writeWav(folder / "1 close.wav", trackOf(0, 1.0f, 11));
    writeWav(folder / "2 under.wav", trackOf(24, -1.0f, 12));
    writeWav(folder / "3 room.wav", trackOf(12, 0.8f, 13));
    writeWav(folder / "4 overdub.wav", noise(length, 99));
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

/// A controller on the small band, measured.
struct MeasuredBand {
    TemporaryFolder folder;
    desk::Controller controller{2};

    MeasuredBand() {
        writeSmallBand(folder.path());
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

/// The whole window on it, without a display and without a device.
struct BandWindow {
    JuceWithoutDisplay juce;
    TemporaryFolder settings;
    MeasuredBand band;
    Player player;
    desk::Preferences preferences{juce::File(settings.path().string())};
    desk::MainComponent main{desk::MainComponent::Parts{band.controller, player, nullptr, preferences}};

    BandWindow() {
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
