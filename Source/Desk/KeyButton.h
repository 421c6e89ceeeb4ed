#pragma once

#include "Desk/Commands.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <functional>
#include <string>

namespace spillwright::desk {

/// A button whose tooltip is asked for whenever it is shown, so that it names the keys of now.
template <class Button>
class Explained : public Button {
public:
    using Button::Button;
    std::function<std::string()> explanation;
    juce::String getTooltip() override { return explanation ? juce::String::fromUTF8(explanation().c_str()) : ""; }
};

/// A small button of a panel's header that says how things stand, with the key that does the same.
class KeyButton : public juce::Button {
public:
    KeyButton(const juce::String& title, const std::string& explanation);
    /// What it says; on: filled. Takes the width that this needs.
    void show(const std::string& words, CommandId key, bool on);
    void paintButton(juce::Graphics& g, bool highlighted, bool down) override;

private:
    std::string explanation, shownKey;
};

} // namespace spillwright::desk
