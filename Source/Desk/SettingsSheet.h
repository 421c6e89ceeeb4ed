#pragma once

#include "Desk/Commands.h"
#include "Desk/Preferences.h"
#include "Desk/Sheets.h"

namespace spillwright::desk {

/// What the window keeps from one day to the next. Every choice counts at once.
class SettingsSheet : public Sheet {
public:
    SettingsSheet(Controller& controller, Preferences& preferences);
    std::function<void(CommandId)> onCommand; ///< Another sheet is asked for.
    std::function<void(bool)> onDark;
    std::function<void(int)> onScale;
    void paint(juce::Graphics& g) override;
    void resized() override;
    juce::Component& firstPart() override { return band; }
    juce::TextEditor& bandField() { return band; }
    juce::TextEditor& temperatureField() { return temperature; }
    juce::ComboBox& nudgesChoice() { return nudges; }
    juce::ComboBox& distancesChoice() { return distances; }
    juce::ComboBox& lookChoice() { return look; }
    juce::ComboBox& scaleChoice() { return scale; }
    juce::Button& clearButton() { return clear; }

private:
    juce::Rectangle<int> pageArea() const override;
    void takeReading();
    void takeUnits();
    void showCache();

    Controller& controller;
    Preferences& preferences;
    juce::TextEditor band, temperature;
    juce::ComboBox nudges, distances, look, scale;
    juce::TextButton clear{"Empty it"}, keys{"Keys..."}, device{"Audio device..."}, leave{"Close"};
    std::string cacheWords, wrong;
};

} // namespace spillwright::desk
