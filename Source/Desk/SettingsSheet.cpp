#include "Desk/SettingsSheet.h"

#include "Desk/Look.h"
#include "Session/Amounts.h"

#include <algorithm>
#include <array>

namespace spillwright::desk {

namespace {

constexpr int idLight = 1, idDark = 2; // of the choices; 0 would be none
template <class Unit>
constexpr int idOf(Unit unit) {
    return 1 + static_cast<int>(unit);
}
constexpr int lineHeight = 36, labelWidth = 150;
constexpr std::array scales{75, 80, 90, 100, 110, 125, 150, 175, 200, 225, 250};

} // namespace

SettingsSheet::SettingsSheet(Controller& c, Preferences& p) : Sheet("Settings"), controller(c), preferences(p) {
    band.setText(ui::text(bandText(preferences.band())), false);
    band.setTitle("Band of the readings");
    temperature.setText(ui::text(temperatureText(preferences.temperature())), false);
    temperature.setTitle("Temperature of the room");
    for (auto* field : {&band, &temperature}) {
        field->setFont(ui::font(13.5f));
        field->setSelectAllWhenFocused(true);
        field->onReturnKey = field->onFocusLost = [this] { takeReading(); };
        field->onEscapeKey = [this] {
            if (onClose) onClose();
        };
        addAndMakeVisible(field);
    }
    nudges.setTitle("Nudges are listed in");
    for (const auto& [unit, words] : {std::pair(NudgeUnit::milliseconds, "milliseconds"),
                                      {NudgeUnit::samples, "samples"},
                                      {NudgeUnit::distance, "distance"}})
        nudges.addItem(words, idOf(unit));
    nudges.setSelectedId(idOf(controller.units().nudges), juce::dontSendNotification);
    distances.setTitle("Distances are told in");
    for (const auto& [unit, words] : {std::pair(DistanceUnit::metric, "metres"), {DistanceUnit::inches, "inches"}})
        distances.addItem(words, idOf(unit));
    distances.setSelectedId(idOf(controller.units().distances), juce::dontSendNotification);
    for (auto* choice : {&nudges, &distances})
        choice->onChange = [this] { takeUnits(); };
    look.setTitle("Light or dark");
    look.addItem("light", idLight);
    look.addItem("dark", idDark);
    look.setSelectedId(preferences.dark() ? idDark : idLight, juce::dontSendNotification);
    look.onChange = [this] {
        if (onDark) onDark(look.getSelectedId() == idDark);
    };
    scale.setTitle("Size of everything");
    for (int percent : scales)
        scale.addItem(juce::String(percent) + " %", percent);
    if (std::find(scales.begin(), scales.end(), preferences.scalePercent()) == scales.end())
        scale.addItem(juce::String(preferences.scalePercent()) + " %", preferences.scalePercent());
    scale.setSelectedId(preferences.scalePercent(), juce::dontSendNotification);
    scale.onChange = [this] {
        if (onScale) onScale(scale.getSelectedId());
    };
    clear.setTooltip("Recordings are then read again when they are opened");
    clear.onClick = [this] {
        controller.cache().clear();
        showCache();
    };
    keys.onClick = [this] {
        if (onCommand) onCommand(CommandId::keys);
    };
    device.onClick = [this] {
        if (onCommand) onCommand(CommandId::audioDevice);
    };
    leave.setToggleState(true, juce::dontSendNotification);
    leave.onClick = [this] {
        if (onClose) onClose();
    };
    for (juce::Component* part :
         std::initializer_list<juce::Component*>{&nudges, &distances, &look, &scale, &clear, &keys, &device, &leave})
        addAndMakeVisible(part);
    showCache();
}

void SettingsSheet::takeUnits() {
    const Units chosen{static_cast<NudgeUnit>(nudges.getSelectedId() - 1),
                       static_cast<DistanceUnit>(distances.getSelectedId() - 1)};
    preferences.setUnits(chosen);
    controller.setUnits(chosen);
}

void SettingsSheet::showCache() {
    const auto& cache = controller.cache();
    cacheWords = cache.where().empty() ? "nothing is kept of what was measured"
                                       : unsignedAmount(static_cast<double>(cache.bytes()) / (1 << 20), 0) +
                                             " MiB in " + cache.where().string();
    clear.setEnabled(!cache.where().empty());
    repaint();
}

void SettingsSheet::takeReading() {
    const auto newBand = parseBand(band.getText().toStdString());
    const auto degrees = parseTemperature(temperature.getText().toStdString());
    wrong.clear();
    if (!newBand)
        wrong = "'" + band.getText().toStdString() + "' is no band; type its edges in Hz, such as 178 562";
    else if (!degrees)
        wrong = "'" + temperature.getText().toStdString() +
                "' is no temperature of a room; type degrees Celsius, -30 to 50";
    else {
        // As it is shown it is rounded; what was not changed stays exact.
        const Band kept = bandText(*newBand) == bandText(preferences.band()) ? preferences.band() : *newBand;
        const Band meant = bandText(kept) == bandText(lowMidBand) ? lowMidBand : kept;
        preferences.setReading(meant, *degrees);
        controller.setMeasureOptions(meant, *degrees);
    }
    repaint();
}

juce::Rectangle<int> SettingsSheet::pageArea() const {
    return page(660, 440);
}

void SettingsSheet::paint(juce::Graphics& g) {
    Sheet::paint(g);
    const auto& p = ui::palette();
    auto area = pageArea().toFloat().reduced(28.0f, 20.0f);
    ui::draw(g, "Settings", area.removeFromTop(34.0f), juce::Justification::centredLeft, 18.0f, p.ink, true);
    const auto line = [&](const char* label, const std::string& words) {
        auto row = area.removeFromTop(static_cast<float>(lineHeight));
        ui::draw(g, label, row.removeFromLeft(labelWidth), juce::Justification::centredLeft, 13.0f, p.ink);
        ui::draw(g, words, row.withTrimmedLeft(190.0f), juce::Justification::centredLeft, 12.0f, p.muted);
    };
    line("band", "the low-mids are 178\u2013562 Hz");
    line("temperature", "of the room, for distances");
    line("nudges", "in the list; any unit may be typed");
    line("distances", "");
    line("look", "");
    line("size", "of everything, as far as the screen has room");
    auto row = area.removeFromTop(static_cast<float>(lineHeight));
    ui::draw(g, "measured before", row.removeFromLeft(labelWidth), juce::Justification::centredLeft, 13.0f, p.ink);
    ui::draw(g, cacheWords, row.withTrimmedRight(110.0f), juce::Justification::centredLeft, 12.0f, p.muted);
    ui::draw(g, wrong, area.removeFromTop(30.0f), juce::Justification::centredLeft, 12.5f, p.cancels);
}

void SettingsSheet::resized() {
    auto area = pageArea().reduced(28, 20).withTrimmedTop(34);
    for (juce::Component* part :
         std::initializer_list<juce::Component*>{&band, &temperature, &nudges, &distances, &look, &scale})
        part->setBounds(area.removeFromTop(lineHeight).withTrimmedLeft(labelWidth).withWidth(180).reduced(0, 4));
    clear.setBounds(area.removeFromTop(lineHeight).removeFromRight(100).reduced(0, 3));
    auto foot = area.removeFromBottom(32);
    leave.setBounds(foot.removeFromRight(110));
    keys.setBounds(foot.removeFromLeft(110));
    foot.removeFromLeft(8);
    device.setBounds(foot.removeFromLeft(140));
}

} // namespace spillwright::desk
