#include "Desk/OfferBar.h"

#include "Desk/Commands.h"
#include "Desk/Look.h"

#include <algorithm>

namespace spillwright::desk {

OfferBar::OfferBar(Autosave* a) : autosave(a) {
    setTitle("What was not saved");
    goOn.explanation = [] {
        return "Every setting and version as it was, but for the last second (" + keyOf(CommandId::goOn) + ")";
    };
    goOn.setToggleState(true, juce::dontSendNotification);
    goOn.onClick = [this] { autosave->take(); };
    notNow.onClick = [this] { autosave->decline(); };
    for (auto* button : std::initializer_list<juce::TextButton*>{&goOn, &notNow}) {
        button->setMouseClickGrabsKeyboardFocus(false);
        addAndMakeVisible(button);
    }
    refresh();
}

void OfferBar::refresh() {
    const bool any = autosave && autosave->offer();
    if (any) goOn.setButtonText(ui::text(autosave->offer()->words));
    setVisible(any);
    resized();
}

void OfferBar::paint(juce::Graphics& g) {
    g.fillAll(ui::palette().selected);
}

void OfferBar::resized() {
    auto area = getLocalBounds().reduced(16, 7);
    notNow.setBounds(area.removeFromRight(84));
    area.removeFromRight(8);
    const auto words = ui::width(goOn.getButtonText().toStdString(), 14.0f, true) + 40.0f;
    goOn.setBounds(area.removeFromLeft(std::min(area.getWidth(), juce::roundToInt(words))));
}

} // namespace spillwright::desk
