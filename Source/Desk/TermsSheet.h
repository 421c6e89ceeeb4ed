#pragma once

#include "Desk/Sheets.h"

namespace spillwright::desk {

/// What proposals may do and whom they serve: the sum, the sources, groups that move as one, tracks that may move less.
/// Every choice counts for the next proposals.
class TermsSheet : public Sheet {
public:
    explicit TermsSheet(Controller& controller);
    ~TermsSheet() override;
    void paint(juce::Graphics& g) override;
    void resized() override;
    juce::Component& firstPart() override { return serves; }
    /// To be told of what changed in the controller.
    void changed(unsigned what);
    juce::ComboBox& servesChoice() { return serves; }
    juce::ComboBox& sumChoice() { return sum; }
    juce::ComboBox& groupChoice(int track);
    juce::ComboBox& largestChoice(int track);
    juce::Button& equallyLoudButton() { return equallyLoud; }
    juce::Button& proposeButton() { return propose; }

private:
    struct Row;
    juce::Rectangle<int> pageArea() const override;
    void fill();
    void take();

    static constexpr int rowHeight = 30, headHeight = 152, footHeight = 44;
    Controller& controller;
    juce::ComboBox serves, sum;
    juce::Viewport viewport;
    juce::Component list;
    std::vector<std::unique_ptr<Row>> rows;
    juce::TextButton equallyLoud{"Make all equally loud"}, propose{"Propose"}, leave{"Close"};
};

} // namespace spillwright::desk
