#pragma once

#include "Desk/Controller.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <array>
#include <memory>

namespace spillwright::desk {

/// A card for each version: what it gains, how far from the best, what it changes, the key to hear it.
class VersionCard : public juce::Button {
public:
    VersionCard(Controller& controller, VersionKind kind);
    void refresh();
    void paintButton(juce::Graphics& g, bool highlighted, bool down) override;
    void clicked() override;

private:
    void paintLine(juce::Graphics& g, bool heard);

    Controller& controller;
    VersionKind kind;
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
