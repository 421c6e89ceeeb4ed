#pragma once

#include "Desk/Sheets.h"
#include "Session/BlindTest.h"

#include <array>

namespace spillwright::desk {

/// Two versions compared blind: chosen, heard without knowing which is which, the result told and saved. It covers the
/// window, which would tell.
class BlindSheet : public Sheet {
public:
    explicit BlindSheet(Controller& controller);

    std::function<void(const HeardMix&)> onHear; ///< To be played now.
    std::function<void()> onPlayStop;
    std::function<bool()> isPlaying; ///< No answer is taken to silence.
    std::function<void()> onStart;   ///< The comparison begins; from here on only onHear decides what is heard.
    /// What the order comes from; tests have their own.
    std::function<std::uint64_t()> seed;

    void paint(juce::Graphics& g) override;
    void resized() override;
    bool keyPressed(const juce::KeyPress& key) override;
    void mouseDown(const juce::MouseEvent&) override {} // a click beside it must not end a comparison
    juce::Component& firstPart() override;

    bool running() const { return test && !test->over(); }
    const std::optional<BlindTest>& comparison() const { return test; }
    juce::ComboBox& firstChoice() { return first; }
    juce::ComboBox& secondChoice() { return second; }
    juce::ComboBox& questionChoice() { return question; }
    juce::ComboBox& trialsChoice() { return trials; }
    juce::Button& beginButton() { return begin; }
    juce::Button& saveButton() { return save; }
    juce::TextEditor& fileField() { return file; }
    /// What is to be read now, a line each.
    const std::vector<std::string>& lines() const { return shown; }

private:
    juce::Rectangle<int> pageArea() const override;
    std::optional<VersionKind> chosenIn(const juce::ComboBox& box) const;
    void startTest();
    void hear(BlindSound sound);
    void answer(BlindSound sound);
    void endEarly();
    void showPhase();
    void saveProtocol();

    Controller& controller;
    std::optional<BlindTest> test;
    std::array<HeardMix, 2> mixes; ///< Of A and of B.
    std::optional<BlindSound> heard;
    double trialBegan = 0.0; ///< Seconds.
    std::array<std::string, 2> names;
    std::vector<std::string> shown;

    juce::ComboBox first, second, question, trials;
    juce::TextButton begin{"Begin"}, leave{"Close"}, early{"End here"}, save{"Save as text"};
    std::array<juce::TextButton, 4> sounds;  ///< In the order of BlindSound.
    std::array<juce::TextButton, 2> answers; ///< Left and right.
    juce::TextEditor file;
};

} // namespace spillwright::desk
