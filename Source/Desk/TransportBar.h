#pragma once

#include "Audition/OutputDevice.h"
#include "Audition/Player.h"
#include "Desk/Controller.h"
#include "Desk/KeyButton.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <functional>
#include <optional>

namespace spillwright::desk {

/// The sum over time: waveform, place and loop, play and stop, output level, meter, and the state of the device in
/// words.
class TransportBar : public juce::Component {
public:
    /// device: nullptr where none was asked for (pictures, tests).
    TransportBar(Controller& controller, Player& player, OutputDevice* device);

    void changed(unsigned what);
    /// Reads meters and position; [30 times a second].
    void tick();

    void playOrStop();
    void toStart();
    void loopWhole();
    /// Loops these moments from their start; the loop that was is given back.
    Moments loop(const Moments& moments);
    /// The next moment at which the chosen source leads; says so where there is none.
    void loopNextLeading();
    void start(); ///< As playOrStop, where nothing plays.
    void louder(double dB);

    juce::Component& waveform() { return wave; }
    std::function<void(CommandId)> onCommand; ///< What a button of the row above the waveform asks for.
    std::function<void(Decibels)> onLevel;    ///< The user has set the output level.

    void paint(juce::Graphics& g) override;
    void resized() override;

private:
    struct PlayButton : juce::Button {
        PlayButton() : juce::Button("Play or stop") {}
        void paintButton(juce::Graphics& g, bool highlighted, bool down) override;
        bool playing = false;
    };
    /// A click goes there, a drag makes the loop, a double click loops the whole.
    struct Wave : juce::Component {
        explicit Wave(TransportBar& b) : bar(b) {}
        void paint(juce::Graphics& g) override;
        void mouseDown(const juce::MouseEvent& event) override;
        void mouseDrag(const juce::MouseEvent& event) override;
        void mouseUp(const juce::MouseEvent& event) override;
        void mouseDoubleClick(const juce::MouseEvent&) override;
        std::int64_t sampleAt(float x) const;
        float placeOf(std::int64_t sample) const;
        TransportBar& bar;
    };
    struct Meter : juce::Component {
        void paint(juce::Graphics& g) override;
        float left = -100.0f, right = -100.0f; ///< dBFS, falling slowly.
        float heldLeft = -100.0f, heldRight = -100.0f;
    };

    void refreshRow();
    void readMeters(const Player::Meters& meters);
    void followDevice();
    void setLoop(std::int64_t from, std::int64_t to);
    double seconds(std::int64_t sample) const;
    std::int64_t length() const;

    Controller& controller;
    Player& player;
    OutputDevice* device;
    Explained<PlayButton> play;
    Wave wave;
    Meter meter;
    juce::Slider level;
    /// How the sum is listened to.
    KeyButton match{"Loudness", "Every version as loud as the recording is as recorded"};
    KeyButton blind{"Blind", "Compare two versions without knowing which is which"};
    KeyButton difference{"Difference", "What is heard less the version heard before it"};
    KeyButton mono{"Mono", "Left and right together on both sides"};
    KeyButton sideOnly{"Side", "Left less right: what is lost in mono"};
    KeyButton bandOnly{"Band", "The low-mid band alone"};
    KeyButton spillSolo{"Spill", "Every track but those close to the chosen source"};
    KeyButton deviceButton{"Device", "Which audio device plays"};
    bool deviceThere = false;
    bool goOnWhenBack = false; ///< It was playing when the device went.
    std::int64_t shownPosition = -1;
    std::string shownState;
    bool over = false;                    ///< The highest true peak is above full scale.
    std::vector<TrackAdjustment> peaksOf; ///< The setting that it is of.
    std::string levels, peaks, gains;     ///< The meters in words, a line each.
    int ticks = 0;
    int guardFor = 0; ///< Ticks that the guard mark stays on.
    std::int64_t dropouts = 0;
};

} // namespace spillwright::desk
