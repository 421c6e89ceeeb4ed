#pragma once

#include "Desk/Commands.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <string>

namespace spillwright::desk {

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
