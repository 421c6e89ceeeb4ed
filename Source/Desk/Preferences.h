#pragma once

#include "Audition/OutputDevice.h"
#include "Core/Types.h"
#include "Session/Amounts.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <filesystem>

namespace spillwright::desk {

/// What the window remembers from one day to the next, in one file of the given folder.
class Preferences {
public:
    explicit Preferences(const juce::File& folder);

    static juce::File usualFolder();

    bool dark() const { return file.getBoolValue("dark", false); }
    void setDark(bool dark) { file.setValue("dark", dark); }
    int scalePercent() const; ///< 75..250.
    void setScalePercent(int percent);
    juce::String windowState() const { return file.getValue("window"); }
    void setWindowState(const juce::String& state) { file.setValue("window", state); }
    bool hearingTold() const { return file.getBoolValue("hearingTold", false); }
    void setHearingTold() { file.setValue("hearingTold", true); }
    /// The output level of last time, where that was lower than the usual start: playback never begins louder.
    Decibels startLevel() const;
    void setOutputLevel(Decibels level) { file.setValue("outputLevel_dB", level.value); }
    bool matchesLoudness() const { return file.getBoolValue("matchLoudness", true); }
    void setMatchesLoudness(bool matches) { file.setValue("matchLoudness", matches); }
    juce::String ownKeys() const { return file.getValue("keys"); } ///< As setOwnKeysFromText() takes them.
    void setOwnKeys(const juce::String& text) { file.setValue("keys", text); }
    Band band() const; ///< The low-mid band unless another was chosen.
    Celsius temperature() const;
    void setReading(Band band, Celsius temperature);
    Units units() const;
    void setUnits(const Units& units);
    DeviceChoice deviceChoice() const;
    void setDeviceChoice(const DeviceChoice& choice);
    juce::StringArray recent() const; ///< Folders and session files, the last first.
    void addRecent(const juce::String& path);

    static constexpr int smallestScale = 75, largestScale = 250;

private:
    juce::PropertiesFile file;
};

} // namespace spillwright::desk
