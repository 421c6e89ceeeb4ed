#pragma once

#include "Audition/OutputDevice.h"
#include "Desk/Sheets.h"

namespace spillwright::desk {

/// Which device plays, at which rate, in which buffers. Every choice counts at once and is kept.
class DeviceSheet : public Sheet {
public:
    /// `device`: null where none was asked for: then there is nothing to choose.
    explicit DeviceSheet(OutputDevice* device);
    std::function<void(const DeviceChoice&)> onChoice;
    void paint(juce::Graphics& g) override;
    void resized() override;
    juce::Component& firstPart() override { return kind; }

private:
    juce::Rectangle<int> pageArea() const override;
    void fill();
    void take(const juce::ComboBox& changed);

    OutputDevice* device;
    juce::ComboBox kind, name, rate, buffer;
    juce::TextButton look{"Look again"}, leave{"Close"};
};

} // namespace spillwright::desk
