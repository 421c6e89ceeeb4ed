#include "Desk/HistorySheet.h"

#include "Desk/Commands.h"
#include "Desk/Look.h"

#include <algorithm>

namespace spillwright::desk {

HistorySheet::HistorySheet(Controller& c) : Sheet("What was done"), controller(c) {
    list.setTitle(getTitle());
    list.setModel(this);
    list.setRowHeight(rowHeight);
    list.setColour(juce::ListBox::backgroundColourId, juce::Colours::transparentBlack);
    addAndMakeVisible(list);
    changed(Controller::settingChanged);
}

HistorySheet::~HistorySheet() {
    list.setModel(nullptr);
}

void HistorySheet::changed(unsigned what) {
    if (!(what & Controller::settingChanged)) return;
    list.updateContent();
    list.selectRow(controller.historyPlace());
    list.repaint();
}

juce::Rectangle<int> HistorySheet::pageArea() const {
    const int rows = std::clamp(controller.historySize(), 6, 20);
    return page(620, rows * rowHeight + titleHeight + 2 * border);
}

void HistorySheet::paint(juce::Graphics& g) {
    Sheet::paint(g);
    const auto& p = ui::palette();
    const auto title = pageArea().reduced(28, border).removeFromTop(titleHeight - 6).toFloat();
    ui::draw(g, getTitle().toStdString(), title, juce::Justification::centredLeft, 18.0f, p.ink, true);
    ui::draw(g, "Up, Down: hear it as it was there   Esc: close", title, juce::Justification::centredRight, 12.0f,
             p.muted);
}

void HistorySheet::resized() {
    list.setBounds(pageArea().reduced(28, border).withTrimmedTop(titleHeight));
    list.scrollToEnsureRowIsOnscreen(controller.historyPlace());
}

bool HistorySheet::keyPressed(const juce::KeyPress& key) {
    switch (commandFor(key).value_or(CommandId::leave)) {
    case CommandId::undo:
        controller.undo();
        return true;
    case CommandId::redo:
        controller.redo();
        return true;
    default:
        return Sheet::keyPressed(key);
    }
}

int HistorySheet::getNumRows() {
    return controller.historySize();
}

juce::String HistorySheet::lineText(int row) const {
    if (row < 0 || row >= controller.historySize()) return {};
    return ui::text(std::to_string(row) + "   " + controller.historyWords(row) +
                    (row == controller.historyPlace() ? "   heard now" : ""));
}

void HistorySheet::paintListBoxItem(int row, juce::Graphics& g, int width, int height, bool) {
    if (row >= controller.historySize()) return;
    const auto& p = ui::palette();
    auto area = juce::Rectangle<int>(width, height).toFloat();
    const bool here = row == controller.historyPlace(), undone = row > controller.historyPlace();
    if (here) {
        g.setColour(p.selected);
        g.fillRect(area);
        g.setColour(p.accent);
        g.fillRect(area.removeFromLeft(3.0f));
    } else {
        area.removeFromLeft(3.0f);
    }
    ui::draw(g, std::to_string(row), area.removeFromLeft(38.0f).withTrimmedRight(10.0f),
             juce::Justification::centredRight, 12.0f, p.muted);
    const auto mark = area.removeFromRight(84.0f).withTrimmedRight(8.0f);
    ui::draw(g,
             here     ? "heard now"
             : undone ? "undone"
                      : "",
             mark, juce::Justification::centredRight, 12.0f, here ? p.accent : p.muted);
    ui::draw(g, controller.historyWords(row), area, juce::Justification::centredLeft, 13.5f, undone ? p.muted : p.ink,
             here);
}

void HistorySheet::selectedRowsChanged(int row) {
    if (row >= 0) controller.goToHistory(row);
}

void HistorySheet::returnKeyPressed(int) {
    if (onClose) onClose();
}

} // namespace spillwright::desk
