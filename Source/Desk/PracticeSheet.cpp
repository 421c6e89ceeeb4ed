#include "Desk/PracticeSheet.h"

#include "Core/Scene/PracticeSounds.h"
#include "Desk/Look.h"
#include "Media/TrackLoop.h"
#include "Report/PracticePlots.h"
#include "Session/Amounts.h"

#include <algorithm>
#include <charconv>
#include <cmath>

namespace spillwright::desk {

namespace {

constexpr double sampleRate = 48000.0; // the player brings it to the device's
constexpr double restAfter = 0.25;     ///< Seconds without a change.
constexpr float projectorScale = 1.5f, projectorThick = 1.7f;
constexpr int border = 14, gap = 8, lineHeight = 26, headHeight = 17, numbersLine = 19;
constexpr int mostSteps = 10; // keys 1 to 9 and 0
constexpr int firstTrackId = static_cast<int>(practiceSoundNames.size()) + 1;
constexpr double nudgeStepMs = 0.1, gainStepDb = 0.5, highPassStepHz = 10.0, absorptionStep = 0.05;
constexpr std::array surfaceWords{"left", "right", "lower", "upper", "floor", "ceiling"};
/// Of the columns of numbers, in parts of the whole.
constexpr std::array<float, 7> columns{0.20f, 0.12f, 0.15f, 0.13f, 0.11f, 0.13f, 0.16f};
constexpr std::array columnHeads{"", "metres", "arrival ms", "level dB", "ratio", "notch Hz", "coherence"};

double now() {
    return juce::Time::getMillisecondCounterHiRes() * 0.001;
}

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

std::string levelWords(const Player& player) {
    return signedAmount(player.outputLevel().value, 0) + " dB";
}

} // namespace

bool StepField::keyPressed(const juce::KeyPress& key) {
    const int way = key.isKeyCode(juce::KeyPress::upKey) ? 1 : key.isKeyCode(juce::KeyPress::downKey) ? -1 : 0;
    if (way == 0) return juce::TextEditor::keyPressed(key);
    onStep(way);
    return true;
}

PracticeSheet::PracticeSheet(const Parts& parts)
    : Sheet("Practice room and lessons"), controller(parts.controller), player(parts.player), device(parts.device),
      entries(lessons()), heard(std::make_shared<PracticeSum>(sampleRate)), acoustics(sampleRate) {
    setOpaque(true);
    addAndMakeVisible(board);
    board.setInterceptsMouseClicks(false, true);
    const auto add = [this](juce::Component& part) { board.addAndMakeVisible(part); };

    choice.setTitle("Lesson");
    for (std::size_t entry = 0; entry < entries.size(); ++entry)
        choice.addItem(ui::text(std::to_string(entry + 1) + "  " + entries[entry].title), static_cast<int>(entry) + 1);
    choice.setTextWhenNothingSelected("No lessons are installed: this is an empty room");
    choice.onChange = [this] { chooseLesson(); };
    add(choice);
    for (int k = 0; k < mostSteps; ++k) {
        steps.push_back(std::make_unique<juce::TextButton>(juce::String(k + 1)));
        steps.back()->onClick = [this, k] { chooseStep(k); };
        board.addChildComponent(*steps.back());
    }
    page.setTitle("The lesson's page");
    page.setMultiLine(true);
    page.setReadOnly(true);
    page.setCaretVisible(false);
    page.setScrollbarsShown(true);
    page.onEscapeKey = [this] {
        if (onClose) onClose();
    };
    add(page);
    answer.explanation = [] { return std::string("The answer to the question (A)"); };
    answer.onClick = [this] {
        answered = !answered;
        fillPage();
    };
    add(answer);
    play.explanation = [] { return "Play or stop (" + keyOf(CommandId::playStop) + ")"; };
    play.onClick = [this] { playOrStop(); };
    add(play);
    sound.setTitle("Sound of the source");
    for (std::size_t each = 0; each < practiceSoundNames.size(); ++each)
        sound.addItem(practiceSoundNames[each], static_cast<int>(each) + 1);
    if (controller.recording())
        for (int track = 0; track < controller.trackCount(); ++track)
            if (controller.tracks()[static_cast<std::size_t>(track)].state == TrackState::ok)
                sound.addItem(ui::text("track: " + controller.shownName(track)), firstTrackId + track);
    sound.onChange = [this] { chooseSound(); };
    add(sound);
    quieter.onClick = [this] {
        if (onCommand) onCommand(CommandId::quieter);
        board.repaint();
    };
    louder.onClick = [this] {
        if (onCommand) onCommand(CommandId::louder);
        board.repaint();
    };
    add(quieter);
    add(louder);
    projector.explanation = [] { return std::string("Large and in full contrast, or as usual (P)"); };
    projector.onClick = [this] { setProjected(!projected); };
    add(projector);
    leaveButton.explanation = [] { return "Back to the recording as it was (" + keyOf(CommandId::leave) + ")"; };
    leaveButton.onClick = [this] {
        if (onClose) onClose();
    };
    add(leaveButton);
    plan.onMove = [this](int which, Point place) {
        move.follow([this, which, place] {
            auto wanted = room;
            (which == FloorPlan::theSource ? wanted.source
                                           : wanted.microphones[static_cast<std::size_t>(which)].position) = place;
            take(wanted);
        });
        if (!plan.dragging()) move.finish();
    };
    plan.onRelease = [this] { move.finish(); };
    add(plan);
    for (int microphone = 0; microphone < static_cast<int>(practiceLimits::mostMicrophones); ++microphone)
        makeRow(microphone);
    makeRoomFields();
    add(comb);
    add(impulse);

    player.practise(heard);
    if (entries.empty()) {
        PracticeRoom plain;
        plain.microphones = {{"1", {2.5, 2.5, 1.2}, {}, {}}, {"2", {4.5, 2.5, 1.2}, {}, {}}};
        lesson.steps = {{"", plain}};
        chooseStep(0);
        sound.setSelectedId(1, juce::sendNotificationSync);
    } else
        choice.setSelectedId(1, juce::sendNotificationSync);
}

PracticeSheet::~PracticeSheet() {
    leave();
}

void PracticeSheet::leave() {
    if (left) return;
    left = true;
    player.practise(nullptr);
    if (projected && onProjector) onProjector(false);
}

bool PracticeSheet::settled() const {
    return rested && !behind && !resting.busy() && !loading.busy();
}

// ---- fields

void PracticeSheet::wire(NumberField& field, const std::string& title) {
    auto& editor = field.editor;
    editor.setTitle(ui::text(title));
    editor.setFont(ui::font(12.5f));
    editor.setIndents(4, 3);
    editor.setSelectAllWhenFocused(true);
    editor.onReturnKey = editor.onFocusLost = [this, &field] { takeTyped(field); };
    editor.onStep = [this, &field](int way) {
        auto wanted = room;
        field.step(wanted, way);
        take(wanted);
        fill();
    };
    editor.onEscapeKey = [this] {
        if (onClose) onClose();
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

void PracticeSheet::makeRow(int microphone) {
    const auto place = static_cast<std::size_t>(microphone);
    rows.push_back(std::make_unique<Row>());
    auto& row = *rows.back();
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
    const auto who = "Microphone " + std::to_string(microphone + 1) + ": ";
    wire(row.delay, who + "delay, ms");
    wire(row.gain, who + "gain, dB");
    wire(row.highPass, who + "high-pass, Hz");
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
    const auto show = [this](NumberField& field) { field.editor.setText(ui::text(field.read(room)), false); };
    for (std::size_t k = 0; k < rows.size(); ++k) {
        auto& row = *rows[k];
        const bool there = k < shownMicrophones();
        for (auto* field : {&row.delay, &row.gain, &row.highPass}) {
            field->editor.setVisible(there && !projected);
            if (there) show(*field);
        }
        for (auto* button : {&row.flip, &row.mute})
            button->setVisible(there && !projected);
        if (!there) continue;
        row.flip.setToggleState(room.microphones[k].adjustment.flip, juce::dontSendNotification);
        row.mute.setToggleState(room.microphones[k].adjustment.muted, juce::dontSendNotification);
    }
    show(temperature);
    for (auto& field : absorption)
        show(field);
    board.repaint();
}

// ---- lessons

void PracticeSheet::chooseLesson() {
    const int chosen = choice.getSelectedId() - 1;
    if (chosen < 0) return;
    auto opened = readLessonFile(entries[static_cast<std::size_t>(chosen)].file);
    if (!opened) return tell(opened.fault().line());
    lesson = std::move(opened).value();
    answered = false;
    chooseStep(0);
    fillPage();
    sound.setSelectedId(static_cast<int>(lesson.sound) + 1, juce::sendNotificationSync);
}

void PracticeSheet::chooseStep(int chosen) {
    if (chosen < 0 || chosen >= static_cast<int>(lesson.steps.size())) return;
    shownStep = chosen;
    for (int k = 0; k < mostSteps; ++k) {
        auto& button = stepButton(k);
        button.setVisible(k < static_cast<int>(lesson.steps.size()));
        button.setToggleState(k == shownStep, juce::dontSendNotification);
        if (!button.isVisible()) continue;
        const auto& title = lesson.steps[static_cast<std::size_t>(k)].title;
        button.setTitle(ui::text("Step " + std::to_string(k + 1) + ": " + title));
        button.setTooltip(ui::text(title + " (" + std::to_string((k + 1) % mostSteps) + ")"));
    }
    take(lesson.steps[static_cast<std::size_t>(shownStep)].room);
    fill();
    layOut();
}

void PracticeSheet::fillPage() {
    const auto& p = ui::palette();
    page.clear();
    const auto add = [&](const std::string& words, float height, bool bold, juce::Colour colour) {
        page.setFont(ui::font(height, bold));
        page.setColour(juce::TextEditor::textColourId, colour);
        page.insertTextAtCaret(ui::text(words + "\n"));
    };
    const auto part = [&](const char* head, const std::string& words) {
        if (words.empty()) return;
        add(head, 12.0f, true, p.accent);
        add(words + "\n", 13.5f, false, p.ink);
    };
    part("listen for", lesson.listenFor);
    part("look for", lesson.lookFor);
    part("question", lesson.question);
    if (answered) part("answer", lesson.answer);
    for (const auto& reference : lesson.references)
        add(reference, 11.5f, false, p.muted);
    if (answered)
        page.moveCaretToEnd();
    else
        page.setCaretPosition(0);
    board.repaint();
    answer.setButtonText(answered ? "Hide the answer" : "Show the answer");
    answer.setEnabled(!lesson.answer.empty());
}

// ---- sound

void PracticeSheet::chooseSound() {
    const int id = sound.getSelectedId();
    if (id < firstTrackId) {
        const auto chosen = static_cast<PracticeSound>(id - 1);
        return loading.start([this, chosen](const Watch&) -> Background::Finish {
            return [this, loop = std::make_shared<const std::vector<float>>(practiceSound(chosen, sampleRate))] {
                heard->setSound(loop);
            };
        });
    }
    loading.start([this, recording = controller.recording(), track = id - firstTrackId, from = player.loopFrom(),
                   to = player.loopTo()](const Watch&) -> Background::Finish {
        auto loop = trackLoop(*recording, track, from, to, sampleRate);
        if (!loop) return [this, line = loop.fault().line()] { tell(line); };
        levelPracticeSound(*loop);
        return [this, samples = std::make_shared<const std::vector<float>>(std::move(loop).value())] {
            heard->setSound(samples);
        };
    });
}

void PracticeSheet::playOrStop() {
    if (player.playing())
        player.stop();
    else if (device && !device->available())
        tell("No sound can be played: " + device->state());
    else
        player.play();
    follow();
}

void PracticeSheet::tell(const std::string& words) {
    told = words;
    board.repaint();
}

// ---- the room

bool PracticeSheet::take(const PracticeRoom& wanted) {
    if (const auto fault = faultOf(wanted)) {
        tell(fault->line());
        return false;
    }
    tell("");
    if (wanted == room) return true;
    room = wanted;
    rested = false;
    changedAt = now();
    plan.show(room);
    reckon();
    return true;
}

void PracticeSheet::reckon() {
    behind = resting.busy();
    if (behind) return;
    const auto& responses = acoustics.follow(room, Detail::moving);
    reading = readingOf(room, responses);
    coherence.clear();
    showReading(responses);
}

void PracticeSheet::showReading(const PracticeResponses& responses) {
    heard->hear(responses);
    const float thick = projected ? projectorThick : 1.0f;
    comb.show(plotPracticeComb(room, reading, thick));
    impulse.show(plotPracticeImpulse(room, reading, responses, thick));
    comb.setDescription(
        ui::text(reading.notches.empty()
                     ? std::string("no notch")
                     : "first notch at " + unsignedAmount(reading.notches.front().frequency.value, 1) + " Hz"));
    board.repaint();
}

void PracticeSheet::follow() {
    loading.poll();
    resting.poll();
    if (behind && !resting.busy()) reckon();
    if (!rested && !resting.busy() && !plan.dragging() && now() - changedAt > restAfter)
        resting.start([this, of = room](const Watch&) -> Background::Finish {
            const auto& responses = acoustics.follow(of, Detail::resting);
            auto read = readingOf(of, responses);
            std::vector<double> tied;
            for (int other = 0; other < static_cast<int>(of.microphones.size()); ++other)
                tied.push_back(other == 0 ? 1.0
                                          : pairCoherence(responses, 0, other, lowMidBand, usualWindow(sampleRate)));
            return [this, of, &responses, read = std::move(read), tied = std::move(tied)] {
                if (of != room) return;
                reading = read;
                coherence = tied;
                rested = true;
                showReading(responses);
            };
        });
    const juce::String word = player.playing() ? "Stop" : "Play";
    if (play.getButtonText() != word) play.setButtonText(word);
    play.setToggleState(player.playing(), juce::dontSendNotification);
}

// ---- keys and looks

bool PracticeSheet::keyPressed(const juce::KeyPress& key) {
    const auto typed = key.getTextCharacter();
    const bool plain = !key.getModifiers().isCommandDown() && !key.getModifiers().isAltDown();
    if (plain && typed >= '0' && typed <= '9')
        return chooseStep(typed == '0' ? 9 : static_cast<int>(typed - '1')), true;
    if (plain && (typed == 'a' || typed == 'A')) return answer.triggerClick(), true;
    if (plain && (typed == 'p' || typed == 'P')) return projector.triggerClick(), true;
    const auto wanted = commandFor(key);
    if (wanted == CommandId::playStop) return playOrStop(), true;
    if (wanted == CommandId::louder || wanted == CommandId::quieter)
        return (*wanted == CommandId::louder ? louder : quieter).triggerClick(), true;
    if (key.isKeyCode(juce::KeyPress::pageDownKey)) return page.pageDown(false);
    if (key.isKeyCode(juce::KeyPress::pageUpKey)) return page.pageUp(false);
    if (key.isKeyCode(juce::KeyPress::tabKey)) return ui::tabInto(*this, key);
    if ((wanted == CommandId::practice || wanted == CommandId::leave) && onClose) onClose();
    return true; // what lies below does not listen meanwhile
}

void PracticeSheet::setProjected(bool wanted) {
    projected = wanted;
    if (onProjector) onProjector(projected);
    projector.setToggleState(projected, juce::dontSendNotification);
    for (auto* shown : std::initializer_list<juce::Component*>{&page, &temperature.editor})
        shown->setVisible(!projected);
    for (auto& field : absorption)
        field.editor.setVisible(!projected);
    impulse.setVisible(!projected);
    fillPage();
    fill();
    for (auto& row : rows)
        for (auto* field : {&row->delay, &row->gain, &row->highPass})
            field->editor.applyColourToAllText(ui::palette().ink);
    resized();
    rested = false; // drawn anew, thicker or thinner
    reckon();
}

void PracticeSheet::resized() {
    const float scale = projected ? projectorScale : 1.0f;
    board.setTransform(juce::AffineTransform::scale(scale));
    board.setBounds(0, 0, static_cast<int>(static_cast<float>(getWidth()) / scale),
                    static_cast<int>(static_cast<float>(getHeight()) / scale));
    layOut();
}

void PracticeSheet::layOut() {
    auto area = board.getLocalBounds().reduced(border, 10);
    if (area.isEmpty()) return;
    auto top = area.removeFromTop(30);
    leaveButton.setBounds(top.removeFromRight(70));
    top.removeFromRight(gap);
    projector.setBounds(top.removeFromRight(120));
    top.removeFromRight(2 * gap);
    const auto placeLevel = [this](juce::Rectangle<int>& row) {
        louder.setBounds(row.removeFromRight(22).withSizeKeepingCentre(22, 22));
        levelArea = row.removeFromRight(58);
        quieter.setBounds(row.removeFromRight(22).withSizeKeepingCentre(22, 22));
    };
    if (!projected) {
        placeLevel(top);
        top.removeFromRight(2 * gap);
    }
    play.setBounds(top.removeFromRight(64));
    top.removeFromRight(gap);
    if (!projected) {
        sound.setBounds(top.removeFromRight(190));
        top.removeFromRight(gap);
    }
    choice.setBounds(top.withWidth(std::min(top.getWidth(), 420)));
    area.removeFromTop(gap);

    const auto placeSteps = [this](juce::Rectangle<int> row) {
        const int count = std::max<int>(1, static_cast<int>(lesson.steps.size()));
        const int width = std::min(36, row.getWidth() / count);
        for (int k = 0; k < mostSteps; ++k)
            if (stepButton(k).isVisible()) stepButton(k).setBounds(row.removeFromLeft(width).withTrimmedRight(3));
    };
    toldArea = area.removeFromBottom(projected ? 54 : 20);
    const int numbersHeight = numbersLine * (1 + static_cast<int>(shownMicrophones()));
    if (projected) {
        auto row = area.removeFromTop(28);
        placeSteps(row.removeFromLeft(std::min(row.getWidth() / 2, 300)));
        answer.setBounds(row.removeFromRight(130));
        stepTitle = row.reduced(gap, 0);
        area.removeFromTop(gap);
        auto side = area.removeFromLeft(area.getWidth() * 2 / 5);
        auto below = side.removeFromBottom(28);
        placeLevel(below);
        sound.setBounds(below.withTrimmedRight(gap));
        plan.setBounds(side);
        area.removeFromLeft(gap);
        numbers = area.removeFromBottom(numbersHeight);
        area.removeFromBottom(gap);
        comb.setBounds(area);
        return;
    }
    auto words = area.removeFromLeft(std::clamp(area.getWidth() * 26 / 100, 262, 420));
    area.removeFromLeft(border);
    placeSteps(words.removeFromTop(28));
    stepTitle = words.removeFromTop(38);
    answer.setBounds(words.removeFromBottom(30));
    words.removeFromBottom(gap);
    page.setBounds(words);

    auto middle = area.removeFromLeft(area.getWidth() / 2);
    area.removeFromLeft(border);
    auto fields = middle.removeFromBottom(lineHeight * static_cast<int>(shownMicrophones()));
    middle.removeFromBottom(headHeight); // their heads
    for (std::size_t k = 0; k < shownMicrophones(); ++k) {
        auto line = fields.removeFromTop(lineHeight).withTrimmedBottom(3);
        auto& row = *rows[k];
        row.mute.setBounds(line.removeFromRight(38));
        line.removeFromRight(3);
        row.flip.setBounds(line.removeFromRight(34));
        line.removeFromRight(3);
        for (auto* field : {&row.highPass, &row.gain, &row.delay})
            field->editor.setBounds(line.removeFromRight(62).withTrimmedRight(3));
    }
    auto walls = middle.removeFromBottom(lineHeight).withTrimmedBottom(3);
    middle.removeFromBottom(2 * headHeight);
    const int width = walls.getWidth() / (surfaces + 1);
    temperature.editor.setBounds(walls.removeFromLeft(width).withTrimmedRight(3));
    for (auto& field : absorption)
        field.editor.setBounds(walls.removeFromLeft(width).withTrimmedRight(3));
    plan.setBounds(middle);

    numbers = area.removeFromBottom(numbersHeight);
    area.removeFromBottom(gap);
    comb.setBounds(area.removeFromTop(area.getHeight() * 3 / 5));
    area.removeFromTop(gap);
    impulse.setBounds(area);
}

void PracticeSheet::paint(juce::Graphics& g) {
    g.fillAll(ui::palette().paper);
}

void PracticeSheet::paintBoard(juce::Graphics& g) {
    const auto& p = ui::palette();
    ui::draw(g, levelWords(player), levelArea.toFloat(), juce::Justification::centred, 12.0f, p.ink);
    if (shownStep < static_cast<int>(lesson.steps.size())) {
        g.setColour(p.ink);
        g.setFont(ui::font(13.0f, true));
        g.drawFittedText(ui::text(lesson.steps[static_cast<std::size_t>(shownStep)].title), stepTitle,
                         juce::Justification::centredLeft, 2, 1.0f);
    }
    if (projected && told.empty()) {
        g.setColour(p.ink);
        g.setFont(ui::font(12.5f));
        g.drawFittedText(ui::text(answered ? lesson.answer : lesson.question), toldArea,
                         juce::Justification::centredLeft, 3, 1.0f);
    } else
        ui::drawWhole(g,
                      told.empty()
                          ? "Keys: 1 to 0 steps, A answer, P projector; on the plan arrows move 1 cm (Shift: 10), "
                            "Page up and down in height. Ratio, notch, coherence: against microphone 1."
                          : told,
                      toldArea.toFloat(), juce::Justification::centredLeft, 12.0f, told.empty() ? p.muted : p.cancels);
    paintNumbers(g);
    if (projected) return;
    const auto head = [&](const std::string& words, const juce::Component& below) {
        ui::drawWhole(g, words, below.getBounds().withY(below.getY() - headHeight).withHeight(headHeight).toFloat(),
                      juce::Justification::centredLeft, 10.5f, p.muted);
    };
    head("air", temperature.editor);
    for (std::size_t surface = 0; surface < absorption.size(); ++surface)
        head(surfaceWords[surface], absorption[surface].editor);
    const auto& firstWall = absorption.front().editor;
    ui::drawWhole(g, "share of the sound that each surface absorbs, 0 to 1",
                  firstWall.getBounds()
                      .withY(firstWall.getY() - 2 * headHeight)
                      .withHeight(headHeight)
                      .withRight(absorption.back().editor.getRight())
                      .toFloat(),
                  juce::Justification::centredLeft, 10.5f, p.muted);
    head("delay ms", rows[0]->delay.editor);
    head("gain dB", rows[0]->gain.editor);
    head("high-pass", rows[0]->highPass.editor);
    for (std::size_t k = 0; k < shownMicrophones(); ++k) {
        const auto& field = rows[k]->delay.editor;
        ui::drawWhole(g, std::to_string(k + 1) + "  " + room.microphones[k].name,
                      juce::Rectangle<int>(plan.getX(), field.getY(), field.getX() - plan.getX() - 4, field.getHeight())
                          .toFloat(),
                      juce::Justification::centredLeft, 12.5f, p.ink);
    }
}

/// A row a microphone: its direct sound, and what it is against the first one.
void PracticeSheet::paintNumbers(juce::Graphics& g) {
    const auto& p = ui::palette();
    const auto row = [&](int line, const std::array<std::string, columns.size()>& words, float height,
                         juce::Colour colour) {
        auto area = numbers.toFloat().withHeight(numbersLine).translated(0.0f, static_cast<float>(line * numbersLine));
        const float whole = area.getWidth();
        for (std::size_t column = 0; column < columns.size(); ++column)
            ui::drawWhole(g, words[column], area.removeFromLeft(columns[column] * whole).withTrimmedRight(2.0f),
                          column == 0 ? juce::Justification::centredLeft : juce::Justification::centredRight, height,
                          colour);
    };
    std::array<std::string, columns.size()> heads;
    std::copy(columnHeads.begin(), columnHeads.end(), heads.begin());
    row(0, heads, 10.5f, p.muted);
    for (std::size_t k = 0; k < std::min(shownMicrophones(), reading.paths.size()); ++k) {
        const auto& path = reading.paths[k];
        std::array<std::string, columns.size()> words{
            std::to_string(k + 1) + "  " + room.microphones[k].name, unsignedAmount(path.distance.value, 2),
            signedAmount(inMilliseconds(path.arrival), 2), signedAmount(path.level.value, 1)};
        const auto pair = std::find_if(reading.pairs.begin(), reading.pairs.end(), [&](const PracticePair& each) {
            return each.first == 0 && each.second == static_cast<int>(k);
        });
        if (pair != reading.pairs.end()) {
            words[4] = unsignedAmount(pair->distanceRatio, 1) + " : 1";
            words[5] = pair->firstNull ? unsignedAmount(pair->firstNull->value, 0) : "\u2013";
            words[6] = k < coherence.size() ? unsignedAmount(coherence[k], 2) : "";
        }
        row(static_cast<int>(k) + 1, words, 12.0f, room.microphones[k].adjustment.muted ? p.muted : p.ink);
    }
}

} // namespace spillwright::desk
