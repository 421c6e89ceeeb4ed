#pragma once

#include "Desk/Sheets.h"

namespace spillwright::desk {

/// What was done, newest last, the place that is heard marked. Up, Down or a click goes there, and it is heard at once;
/// Enter closes.
class HistorySheet : public Sheet, private juce::ListBoxModel {
public:
    explicit HistorySheet(Controller& controller);
    ~HistorySheet() override;
    void paint(juce::Graphics& g) override;
    void resized() override;
    bool keyPressed(const juce::KeyPress& key) override;
    juce::Component& firstPart() override { return list; }
    /// To be told of what changed in the controller.
    void changed(unsigned what);
    juce::ListBox& steps() { return list; }
    juce::String lineText(int row) const; ///< "3   flip of 'snare under'   heard now"

private:
    juce::Rectangle<int> pageArea() const override;
    int getNumRows() override;
    void paintListBoxItem(int row, juce::Graphics& g, int width, int height, bool selected) override;
    juce::String getNameForRow(int row) override { return lineText(row); }
    void selectedRowsChanged(int row) override;
    void returnKeyPressed(int row) override;

    static constexpr int rowHeight = 26, titleHeight = 36, border = 18;
    Controller& controller;
    juce::ListBox list;
};

} // namespace spillwright::desk
