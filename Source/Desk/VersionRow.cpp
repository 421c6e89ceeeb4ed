#include "Desk/VersionRow.h"

#include "Desk/Commands.h"
#include "Desk/Look.h"
#include "Desk/Words.h"
#include "Session/Amounts.h"

#include <algorithm>
#include <cmath>

namespace spillwright::desk {

namespace {

constexpr int narrowCard = 200; ///< Below it the gain leaves room for its proof.

} // namespace

VersionCard::VersionCard(Controller& c, VersionKind k)
    : juce::Button(ui::text(words::versionName(k))), controller(c), kind(k) {
    setMouseCursor(juce::MouseCursor::PointingHandCursor);
    name.setFont(ui::font(12.0f));
    name.setTitle(ui::text("Name of version " + std::to_string(indexOf(kind) + 1)));
    name.setSelectAllWhenFocused(true);
    name.setInputRestrictions(Controller::mostOfName);
    name.onReturnKey = [this] {
        const auto typed = name.getText().trim().toStdString();
        stopTyping();
        controller.renameKept(kind, typed);
    };
    name.onEscapeKey = name.onFocusLost = [this] { stopTyping(); };
    addChildComponent(name);
    refresh();
}

void VersionCard::resized() {
    name.setBounds(getLocalBounds());
}

void VersionCard::typeName() {
    if (!controller.version(kind)) return controller.renameKept(kind, {}); // which says what to do
    name.setText(ui::text(words::versionName(controller, kind)), false);
    name.setVisible(true);
    name.grabKeyboardFocus();
}

void VersionCard::stopTyping() {
    if (!name.isVisible()) return;
    const bool focused = name.hasKeyboardFocus(true);
    name.setVisible(false);
    if (focused && isShowing()) grabKeyboardFocus();
}

void VersionCard::mouseDoubleClick(const juce::MouseEvent&) {
    if (isKept(kind)) typeName();
}

bool VersionCard::keyPressed(const juce::KeyPress& key) {
    if (!isKept(kind) || commandFor(key) != CommandId::renameTrack) return juce::Button::keyPressed(key);
    typeName();
    return true;
}

void VersionCard::refresh() {
    const auto& version = controller.version(kind);
    const auto worths = words::versionWorths(controller, kind);
    const auto shown = words::versionName(controller, kind);
    if (isKept(kind))
        setTooltip(ui::text(version ? shown + ": " + gainText(version->gainDb) + " dB, " +
                                          words::versionChanges(controller, kind) + "\nA double click, or " +
                                          keyOf(CommandId::renameTrack) + " here, names it."
                                    : std::string()));
    else
        setTooltip(ui::text(version ? words::versionProof(controller, kind) + "\n" + worths : worths));
    std::string title = shown;
    if (version) title += ", " + gainText(version->gainDb) + " dB, " + words::versionProof(controller, kind);
    setTitle(ui::text(title));
    setDescription(ui::text(worths));
    setEnabled(controller.measurement() != nullptr);
    repaint();
}

void VersionCard::clicked() {
    controller.hear(kind);
}

/// What is kept needs one line.
void VersionCard::paintLine(juce::Graphics& g, bool heard) {
    const auto& p = ui::palette();
    const auto& version = controller.version(kind);
    auto area = getLocalBounds().toFloat().reduced(9.0f, 0.0f);
    auto keyArea = area.removeFromRight(17.0f);
    g.setColour(heard ? p.accent : p.rules);
    g.drawRoundedRectangle(keyArea.withSizeKeepingCentre(15.0f, 15.0f), 3.0f, 1.0f);
    ui::draw(g, std::to_string(indexOf(kind) + 1), keyArea, juce::Justification::centred, 10.5f,
             heard ? p.accent : p.ink, true);
    if (!version) {
        ui::draw(g, words::versionProof(controller, kind), area, juce::Justification::centredLeft, 11.5f, p.muted);
        return;
    }
    if (!version->called.empty())
        return ui::drawWhole(g, version->called, area, juce::Justification::centredLeft, 12.0f, p.ink, true, 8.0f);
    const std::string gain = gainText(version->gainDb) + " dB";
    const auto colour = std::abs(version->gainDb) < 0.05 ? p.ink : version->gainDb > 0.0 ? p.adds : p.cancels;
    ui::draw(g, gain, area, juce::Justification::centredLeft, 12.0f, colour, true);
    area.removeFromLeft(ui::width(gain, 12.0f, true) + 8.0f);
    ui::drawWhole(g, words::versionChanges(controller, kind), area, juce::Justification::centredLeft, 11.0f, p.muted,
                  false, 9.0f);
}

void VersionCard::paintButton(juce::Graphics& g, bool highlighted, bool down) {
    const auto& p = ui::palette();
    const auto& version = controller.version(kind);
    const bool heard = controller.measurement() && controller.heardVersion() == kind;
    const auto bounds = getLocalBounds().toFloat().reduced(0.5f);
    g.setColour(down                         ? p.selected
                : highlighted && isEnabled() ? p.raised.interpolatedWith(p.selected, 0.5f)
                                             : p.raised);
    g.fillRoundedRectangle(bounds, 5.0f);
    g.setColour(heard ? p.accent : p.rules);
    g.drawRoundedRectangle(bounds, 5.0f, heard ? 1.6f : 1.0f);
    if (heard) {
        juce::Path edge;
        edge.addRoundedRectangle(bounds.getX(), bounds.getY(), 5.0f, bounds.getHeight(), 4.0f, 4.0f, true, false, true,
                                 false);
        g.fillPath(edge);
    }

    if (isKept(kind)) {
        paintLine(g, heard);
        if (hasKeyboardFocus(true)) ui::drawFocus(g, getLocalBounds().toFloat(), 5.0f);
        return;
    }
    auto area = bounds.reduced(getWidth() < narrowCard ? 9.0f : 14.0f, 7.0f);
    auto top = area.removeFromTop(19.0f);
    auto keyArea = top.removeFromRight(18.0f);
    ui::drawWhole(g, words::versionName(controller, kind), top, juce::Justification::centredLeft, 13.0f,
                  version ? p.ink : p.muted);
    g.setColour(heard ? p.accent : p.rules);
    g.drawRoundedRectangle(keyArea.withSizeKeepingCentre(17.0f, 17.0f), 3.0f, 1.0f);
    ui::draw(g, std::to_string(indexOf(kind) + 1), keyArea.withSizeKeepingCentre(17.0f, 17.0f),
             juce::Justification::centred, 11.5f, heard ? p.accent : p.ink, true);

    auto middle = area.removeFromTop(27.0f);
    const auto proof = words::versionProof(controller, kind);
    if (version) {
        const auto colour = std::abs(version->gainDb) < 0.05 ? p.ink : version->gainDb > 0.0 ? p.adds : p.cancels;
        const std::string gain = gainText(version->gainDb) + " dB";
        const float size = getWidth() < narrowCard ? 14.0f : 19.0f;
        ui::draw(g, gain, middle, juce::Justification::centredLeft, size, colour, true);
        middle.removeFromLeft(ui::width(gain, size, true) + 0.6f * size);
        ui::drawWhole(g, proof, middle.translated(0.0f, 2.0f), juce::Justification::centredLeft, 11.5f, p.ink, false,
                      9.0f);
        ui::drawWhole(g, words::versionChanges(controller, kind), area.removeFromTop(18.0f),
                      juce::Justification::centredLeft, 11.5f, p.muted);
    } else {
        ui::drawWhole(g, proof, middle, juce::Justification::centredLeft, 12.5f, p.muted);
    }
    if (hasKeyboardFocus(true)) ui::drawFocus(g, getLocalBounds().toFloat(), 5.0f);
}

VersionRow::VersionRow(Controller& controller) {
    setTitle("Versions");
    setOpaque(true);
    for (int kind = 0; kind < versionCount; ++kind) {
        auto& made = cards[static_cast<std::size_t>(kind)];
        made = std::make_unique<VersionCard>(controller, static_cast<VersionKind>(kind));
        addAndMakeVisible(*made);
    }
}

void VersionRow::changed(unsigned what) {
    if (what & (Controller::versionsChanged | Controller::settingChanged | Controller::readingsChanged |
                Controller::recordingChanged))
        for (auto& each : cards)
            each->refresh();
}

void VersionRow::paint(juce::Graphics& g) {
    g.fillAll(ui::palette().paper);
}

void VersionRow::resized() {
    const auto area = getLocalBounds().reduced(12, 9);
    // What is kept stands in lines, one above the other, where another card would be.
    constexpr int cardCount = versionCount - keptCount, gap = 8, lineGap = 3, keptWidth = 138;
    const int width = (area.getWidth() - keptWidth) / cardCount - gap;
    const int line = (area.getHeight() - lineGap * (keptCount - 1)) / keptCount;
    for (int kind = 0; kind < versionCount; ++kind) {
        const int column = std::min(kind, cardCount), row = kind - column;
        cards[static_cast<std::size_t>(kind)]->setBounds(
            area.getX() + column * (width + gap), area.getY() + row * (line + lineGap),
            kind < cardCount ? width : area.getRight() - area.getX() - cardCount * (width + gap),
            kind < cardCount ? area.getHeight() : line);
    }
}

} // namespace spillwright::desk
