#pragma once

#include "Desk/Controller.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <array>
#include <memory>

namespace spillwright::desk {

/// A card for each version: what it gains, how far from the best, what it changes, the key to hear it. A double click
/// names what is kept.
class VersionCard : public juce::Button {
public:
    VersionCard(Controller& controller, VersionKind kind);
    void refresh();
    void paintButton(juce::Graphics& g, bool highlighted, bool down) override;
    void clicked() override;
    void mouseDoubleClick(const juce::MouseEvent& event) override;
    bool keyPressed(const juce::KeyPress& key) override;
    void resized() override;
    void typeName(); ///< Of what is kept.

private:
    void stopTyping();
    void paintLine(juce::Graphics& g, bool heard);

    Controller& controller;
    VersionKind kind;
    juce::TextEditor name; ///< Seen while it is typed.
};

class VersionRow : public juce::Component {
public:
    explicit VersionRow(Controller& controller);
    void changed(unsigned what);
    void paint(juce::Graphics& g) override;
    void resized() override;
    VersionCard& card(VersionKind kind) { return *cards[indexOf(kind)]; }

private:
    std::array<std::unique_ptr<VersionCard>, versionCount> cards;
};

} // namespace spillwright::desk
