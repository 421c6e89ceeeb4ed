// The practice room's part that has to do with numbers that are typed.

#include "Desk/PracticeSheet.h"

#include "Desk/Look.h"
#include "Session/Amounts.h"

#include <algorithm>
#include <charconv>

namespace spillwright::desk {

namespace {

constexpr double sampleRate = 48000.0; // that samples are typed in
constexpr double nudgeStepMs = 0.1, gainStepDb = 0.5, highPassStepHz = 10.0, absorptionStep = 0.05, panStep = 0.1;
constexpr int heightDecimals = 3; // the nearest to a wall is 1 mm

std::optional<double> numberIn(const std::string& text) {
    auto plain = juce::String(text).trim().replaceCharacter(',', '.').toStdString();
    double value = 0.0;
    const auto [end, error] = std::from_chars(plain.data(), plain.data() + plain.size(), value);
    if (error != std::errc() || end != plain.data() + plain.size()) return std::nullopt;
    return value;
}

Measures measuresOf(const PracticeRoom& room) {
    return {{}, sampleRate, room.temperature};
}

/// Without zeros that say nothing: "1.2", "0.005".
std::string heightText(double metres) {
    const auto text = juce::String(unsignedAmount(metres, heightDecimals));
    return text.trimCharactersAtEnd("0").trimCharactersAtEnd(".").toStdString();
}

} // namespace

bool StepField::keyPressed(const juce::KeyPress& key) {
    const int way = key.isKeyCode(juce::KeyPress::upKey) ? 1 : key.isKeyCode(juce::KeyPress::downKey) ? -1 : 0;
    if (way == 0) return juce::TextEditor::keyPressed(key);
    onStep(way);
    return true;
}

void PracticeSheet::wire(NumberField& field, const std::string& title) {
    auto& editor = field.editor;
    editor.setTitle(ui::text(title));
    editor.setFont(ui::font(12.5f));
    editor.setIndents(4, 3);
    editor.setSelectAllWhenFocused(true);
    editor.onFocusLost = [this, &field] { takeTyped(field); };
    // Letters and digits are keys again afterwards.
    editor.onReturnKey = [this, &field] {
        takeTyped(field);
        if (isShowing()) grabKeyboardFocus();
    };
    editor.onEscapeKey = [this, &field] {
        field.editor.setText(ui::text(field.read(room)), false);
        if (isShowing()) grabKeyboardFocus();
    };
    editor.onStep = [this, &field](int way) {
        auto wanted = room;
        field.step(wanted, way);
        take(wanted);
        fill();
    };
    board.addAndMakeVisible(editor);
}

void PracticeSheet::takeTyped(NumberField& field) {
    const auto typed = field.editor.getText().toStdString();
    if (left || !field.editor.isVisible() || typed == field.read(room)) return;
    auto wanted = room;
    if (!field.write(wanted, typed))
        tell("'" + typed + "' is no such amount; " + field.mend);
    else
        take(wanted);
    fill();
}

void PracticeSheet::makeHeight(int which) {
    auto& field = heightOf(which);
    field.read = [which](const PracticeRoom& r) { return heightText(FloorPlan::positionIn(r, which).z); };
    field.write = [which](PracticeRoom& r, const std::string& text) {
        const auto metres = numberIn(text);
        if (metres) FloorPlan::positionIn(r, which).z = *metres;
        return metres.has_value();
    };
    field.step = [which](PracticeRoom& r, int way) {
        auto& place = FloorPlan::positionIn(r, which);
        place = withinWalls({place.x, place.y, place.z + way * FloorPlan::keyStep}, r.size);
    };
    field.mend = "type metres above the floor, such as 1.2";
    wire(field, (which == FloorPlan::theSource ? "Source" : "Microphone " + std::to_string(which + 1)) + ": height, m");
}

void PracticeSheet::makeRow(int microphone) {
    const auto place = static_cast<std::size_t>(microphone);
    rows.push_back(std::make_unique<Row>());
    auto& row = *rows.back();
    makeHeight(microphone);
    const auto of = [place](PracticeRoom& r) -> TrackAdjustment& { return r.microphones[place].adjustment; };
    row.delay.read = [place](const PracticeRoom& r) {
        return nudgeText(r.microphones[place].adjustment.nudge, measuresOf(r));
    };
    row.delay.write = [of](PracticeRoom& r, const std::string& text) {
        const auto nudge = parseNudge(text, measuresOf(r));
        if (nudge) of(r).nudge = *nudge;
        return nudge.has_value();
    };
    row.delay.step = [of](PracticeRoom& r, int way) { of(r).nudge = of(r).nudge + milliseconds(way * nudgeStepMs); };
    row.delay.mend = "type a delay such as 3.2 ms, 155 smp or 1.1 m";
    row.gain.read = [place](const PracticeRoom& r) { return gainText(r.microphones[place].adjustment.gain.value); };
    row.gain.write = [of](PracticeRoom& r, const std::string& text) {
        const auto gain = parseGain(text);
        if (gain) of(r).gain = *gain;
        return gain.has_value();
    };
    row.gain.step = [of](PracticeRoom& r, int way) { of(r).gain = of(r).gain + Decibels(way * gainStepDb); };
    row.gain.mend = "type decibels, such as -3";
    row.highPass.read = [place](const PracticeRoom& r) { return highPassText(r.microphones[place].adjustment); };
    row.highPass.write = [of](PracticeRoom& r, const std::string& text) {
        const auto entry = parseHighPass(text);
        if (!entry) return false;
        of(r).highPass = entry->corner;
        if (entry->slope) of(r).highPassSlope = *entry->slope;
        return true;
    };
    row.highPass.step = [of](PracticeRoom& r, int way) {
        const double hertz = (of(r).highPass ? of(r).highPass->value : 0.0) + way * highPassStepHz;
        of(r).highPass = hertz < practiceLimits::lowestHighPass ? std::nullopt : std::optional(Hertz(hertz));
    };
    row.highPass.mend = "type a corner in Hz, such as 80 or 80 24, or off";
    row.pan.read = [place](const PracticeRoom& r) {
        return panText(r.microphones[place].adjustment.pan.value_or(0.0));
    };
    row.pan.write = [of](PracticeRoom& r, const std::string& text) {
        const auto pan = parsePan(text);
        if (pan) of(r).pan = *pan;
        return pan.has_value();
    };
    row.pan.step = [of](PracticeRoom& r, int way) {
        of(r).pan = std::clamp(of(r).pan.value_or(0.0) + way * panStep, -1.0, 1.0);
    };
    row.pan.mend = "type a place between the loudspeakers, such as L30, C or R100";
    const auto who = "Microphone " + std::to_string(microphone + 1) + ": ";
    wire(row.delay, who + "delay, ms");
    wire(row.gain, who + "gain, dB");
    wire(row.highPass, who + "high-pass, Hz");
    wire(row.pan, who + "pan");
    const auto toggle = [&](Explained<SmallButton>& button, bool TrackAdjustment::*what, const std::string& words) {
        button.setTitle(ui::text(who + words));
        button.onClick = [this, of, what] {
            auto wanted = room;
            of(wanted).*what = !(of(wanted).*what);
            take(wanted);
            fill();
        };
        board.addChildComponent(button);
    };
    toggle(row.flip, &TrackAdjustment::flip, "flip");
    toggle(row.mute, &TrackAdjustment::muted, "mute");
}

void PracticeSheet::makeRoomFields() {
    makeHeight(FloorPlan::theSource);
    temperature.read = [](const PracticeRoom& r) { return temperatureText(r.temperature); };
    temperature.write = [](PracticeRoom& r, const std::string& text) {
        const auto degrees = parseTemperature(text);
        if (degrees) r.temperature = *degrees;
        return degrees.has_value();
    };
    temperature.step = [](PracticeRoom& r, int way) { r.temperature = r.temperature + Celsius(way); };
    temperature.mend = "type degrees Celsius, -30 to 50";
    wire(temperature, "Temperature");
    for (std::size_t surface = 0; surface < absorption.size(); ++surface) {
        auto& field = absorption[surface];
        field.read = [surface](const PracticeRoom& r) { return unsignedAmount(r.absorption[surface], 2); };
        field.write = [surface](PracticeRoom& r, const std::string& text) {
            const auto share = numberIn(text);
            if (share) r.absorption[surface] = *share;
            return share.has_value();
        };
        field.step = [surface](PracticeRoom& r, int way) {
            r.absorption[surface] = std::clamp(r.absorption[surface] + way * absorptionStep, 0.0, 1.0);
        };
        field.mend = "type the share that is absorbed, 0 to 1";
        wire(field, std::string("Absorption: ") + surfaceWords[surface]);
    }
}

void PracticeSheet::fill() {
    const auto show = [this](NumberField& field, bool there) {
        field.editor.setVisible(there && !projected);
        if (there) field.editor.setText(ui::text(field.read(room)), false);
    };
    for (std::size_t k = 0; k < rows.size(); ++k) {
        auto& row = *rows[k];
        const bool there = k < shownMicrophones();
        for (auto* field : row.fields())
            show(*field, there);
        for (auto* button : {&row.flip, &row.mute})
            button->setVisible(there && !projected);
        if (!there) continue;
        row.flip.setToggleState(room.microphones[k].adjustment.flip, juce::dontSendNotification);
        row.mute.setToggleState(room.microphones[k].adjustment.muted, juce::dontSendNotification);
    }
    for (auto* field : {&temperature, &sourceHeight})
        show(*field, true);
    for (auto& field : absorption)
        show(field, true);
    board.repaint();
}

} // namespace spillwright::desk
