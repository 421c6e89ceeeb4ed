#pragma once

#include "Desk/Commands.h"
#include "Desk/Sheets.h"

namespace spillwright::desk {

/// The one table of commands, for reading, and for giving a command another key: a click on its row or Enter, then the
/// key. Backspace gives it back its usual one.
class KeySheet : public Sheet {
public:
    KeySheet();
    ~KeySheet() override;
    std::function<void()> onKeysChanged; ///< To be kept.
    void paint(juce::Graphics& g) override;
    void resized() override;
    bool keyPressed(const juce::KeyPress& key) override;
    juce::Component& firstPart() override { return *this; }
    juce::Button& row(CommandId id);
    juce::Button& usualButton() { return usual; }
    std::optional<CommandId> waitsFor() const { return waiting; } ///< Whose new key is to be pressed.

private:
    struct Row;
    juce::Rectangle<int> pageArea() const override;
    /// False where the columns do not hold all.
    bool layOut(juce::Rectangle<int> area, int lineHeight, bool torn);
    void wait(std::optional<CommandId> id);
    void told(std::string words);

    std::vector<std::unique_ptr<Row>> rows; ///< In the order of commands().
    std::vector<std::pair<std::string, juce::Rectangle<int>>> headings;
    std::optional<CommandId> waiting;
    std::string line;
    juce::TextButton usual{"All the usual keys"}, leave{"Close"};
};

} // namespace spillwright::desk
