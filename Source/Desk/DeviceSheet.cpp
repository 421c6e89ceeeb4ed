#include "Desk/DeviceSheet.h"

#include "Desk/Look.h"

#include <algorithm>
#include <array>

namespace spillwright::desk {

namespace {

constexpr int idWhatSuits = 1; // of the choices; 0 would be none
constexpr int lineHeight = 34, labelWidth = 120;

void fillChoices(juce::ComboBox& box, const juce::StringArray& words, const juce::String& chosen) {
    box.clear(juce::dontSendNotification);
    box.addItem("what suits", idWhatSuits);
    for (int k = 0; k < words.size(); ++k)
        box.addItem(words[k], idWhatSuits + 1 + k);
    // What was chosen is shown even where it is not there today.
    if (chosen.isNotEmpty() && !words.contains(chosen)) box.addItem(chosen, idWhatSuits + 1 + words.size());
    const int place = chosen.isEmpty() ? 0 : std::max(0, words.indexOf(chosen) + 1);
    box.setSelectedId(chosen.isNotEmpty() && place == 0 ? idWhatSuits + 1 + words.size() : idWhatSuits + place,
                      juce::dontSendNotification);
}

juce::String chosenWords(const juce::ComboBox& box) {
    return box.getSelectedId() <= idWhatSuits ? juce::String() : box.getText();
}

} // namespace

DeviceSheet::DeviceSheet(OutputDevice* d) : Sheet("Audio device"), device(d) {
    kind.setTitle("Kind of audio system");
    name.setTitle("Device");
    rate.setTitle("Sample rate of the device");
    buffer.setTitle("Buffer of the device");
    for (auto* box : {&kind, &name, &rate, &buffer}) {
        box->onChange = [this, box] { take(*box); };
        box->setEnabled(device != nullptr);
        addAndMakeVisible(box);
    }
    look.setTooltip("Looks for devices and opens the one that is chosen");
    look.onClick = [this] {
        if (device) device->open();
        fill();
    };
    leave.onClick = [this] {
        if (onClose) onClose();
    };
    leave.setToggleState(true, juce::dontSendNotification);
    addAndMakeVisible(look);
    addAndMakeVisible(leave);
    fill();
}

void DeviceSheet::fill() {
    if (!device) return;
    const auto& chosen = device->choice();
    const auto words = [](const std::vector<std::string>& all) {
        juce::StringArray texts;
        for (const auto& one : all)
            texts.add(ui::text(one));
        return texts;
    };
    fillChoices(kind, words(device->types()), ui::text(chosen.type));
    const auto type = chosen.type.empty() ? device->opened().type : chosen.type;
    fillChoices(name, words(device->names(type)), ui::text(chosen.name));
    juce::StringArray rates, buffers;
    for (double hertz : device->rates())
        rates.add(juce::String(hertz / 1000.0) + " kHz");
    for (int samples : device->buffers())
        buffers.add(juce::String(samples) + " samples");
    fillChoices(rate, rates, chosen.rate > 0.0 ? juce::String(chosen.rate / 1000.0) + " kHz" : juce::String());
    fillChoices(buffer, buffers, chosen.buffer > 0 ? juce::String(chosen.buffer) + " samples" : juce::String());
    repaint();
}

void DeviceSheet::take(const juce::ComboBox& changed) {
    DeviceChoice choice;
    choice.type = chosenWords(kind).toStdString();
    if (&changed != &kind) { // another kind has other devices
        choice.name = chosenWords(name).toStdString();
        if (choice.type.empty() && !choice.name.empty()) choice.type = device->opened().type;
        choice.rate = chosenWords(rate).getDoubleValue() * 1000.0;
        choice.buffer = chosenWords(buffer).getIntValue();
    }
    device->choose(choice);
    if (onChoice) onChoice(choice);
    fill();
}

juce::Rectangle<int> DeviceSheet::pageArea() const {
    return page(640, 330);
}

void DeviceSheet::paint(juce::Graphics& g) {
    Sheet::paint(g);
    const auto& p = ui::palette();
    auto area = pageArea().toFloat().reduced(28.0f, 20.0f);
    ui::draw(g, "Audio device", area.removeFromTop(30.0f), juce::Justification::centredLeft, 18.0f, p.ink, true);
    g.setColour(p.muted);
    g.setFont(ui::font(12.5f));
    g.drawFittedText(ui::text(device ? device->state() : std::string("no sound was asked for")),
                     area.removeFromTop(34.0f).toNearestInt(), juce::Justification::topLeft, 2, 1.0f);
    for (const char* label : {"system", "device", "sample rate", "buffer"})
        ui::draw(g, label, area.removeFromTop(lineHeight).withWidth(labelWidth), juce::Justification::centredLeft,
                 13.0f, p.ink);
    ui::draw(g,
             "A recording of another rate is converted as it plays. Smaller buffers answer sooner, larger ones hold.",
             area.removeFromTop(24.0f), juce::Justification::centredLeft, 12.0f, p.muted);
}

void DeviceSheet::resized() {
    auto area = pageArea().reduced(28, 20).withTrimmedTop(64);
    for (auto* box : {&kind, &name, &rate, &buffer})
        box->setBounds(area.removeFromTop(lineHeight).withTrimmedLeft(labelWidth).reduced(0, 3));
    auto foot = area.removeFromBottom(32);
    leave.setBounds(foot.removeFromRight(110));
    foot.removeFromRight(8);
    look.setBounds(foot.removeFromRight(120));
}

} // namespace spillwright::desk
