#include "Desk/KeyButton.h"

#include "Desk/Look.h"

#include <algorithm>

namespace spillwright::desk {

namespace {

constexpr float textHeight = 12.0f;
constexpr float keyHeight = 10.5f;
constexpr int height = 22;

float keyWidth(const std::string& key) {
    return std::max(15.0f, ui::width(key, keyHeight, true) + 7.0f);
}

} // namespace

KeyButton::KeyButton(const juce::String& title, const std::string& what) : juce::Button(title), explanation(what) {
    setMouseClickGrabsKeyboardFocus(false);
}

void KeyButton::show(const std::string& words, CommandId key, bool on) {
    shownKey = keyOf(key);
    setVisible(!words.empty());
    setButtonText(ui::text(words));
    setTooltip(ui::text(explanation + " (" + shownKey + ")"));
    setToggleState(on, juce::dontSendNotification);
    setSize(juce::roundToInt(ui::width(words, textHeight, on) + keyWidth(shownKey)) + 26, height);
    repaint();
}

void KeyButton::paintButton(juce::Graphics& g, bool highlighted, bool down) {
    const auto& p = ui::palette();
    const bool on = getToggleState();
    auto area = getLocalBounds().toFloat().reduced(0.5f);
    const auto words = on ? p.onAccent : p.ink;
    auto ground = on ? p.accent : p.raised;
    if (down || highlighted) ground = ground.interpolatedWith(on ? p.ink : p.selected, 0.35f);
    g.setColour(ground);
    g.fillRoundedRectangle(area, 4.0f);
    g.setColour(on ? ground : p.rules);
    g.drawRoundedRectangle(area, 4.0f, 1.0f);
    const float box = keyWidth(shownKey);
    const auto key = area.removeFromRight(box + 9.0f).withSizeKeepingCentre(box, 15.0f);
    g.setColour(on ? words : p.rules);
    g.drawRoundedRectangle(key, 3.0f, 1.0f);
    ui::draw(g, shownKey, key, juce::Justification::centred, keyHeight, words, true);
    ui::draw(g, getButtonText().toStdString(), area.withTrimmedLeft(9.0f), juce::Justification::centredLeft, textHeight,
             words, on);
    if (hasKeyboardFocus(true)) ui::drawFocus(g, getLocalBounds().toFloat(), 4.0f, on);
}

} // namespace spillwright::desk
