#include "Desk/PracticeSheet.h"

#include "Core/Scene/PracticeSounds.h"
#include "Desk/Look.h"
#include "Desk/PracticeWords.h"
#include "Media/TrackLoop.h"
#include "Report/PracticePlots.h"
#include "Session/Amounts.h"
#include "Session/Words.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace spillwright::desk {

namespace {

constexpr double sampleRate = 48000.0; // the player brings it to the device's
constexpr double restAfter = 0.25;     ///< Seconds without a change.
constexpr const char* lessonFiles = "*.json";
constexpr int firstTrackId = static_cast<int>(practiceSoundNames.size()) + 1;

double now() {
    return juce::Time::getMillisecondCounterHiRes() * 0.001;
}

} // namespace

PracticeSheet::PracticeSheet(const Parts& parts)
    : Sheet("Practice room and lessons"), controller(parts.controller), player(parts.player), device(parts.device),
      playedBefore(parts.player.playing()), entries(lessons()), heard(std::make_shared<PracticeSum>(sampleRate)),
      acoustics(sampleRate) {
    setOpaque(true);
    addAndMakeVisible(board);
    board.setInterceptsMouseClicks(false, true);
    makeTop();
    plan.onMove = [this](int which, Point place) {
        move.follow([this, which, place] { moveTo(which, place); });
        if (!plan.dragging()) move.finish();
    };
    plan.onRelease = [this] { move.finish(); };
    board.addAndMakeVisible(plan);
    for (int microphone = 0; microphone < static_cast<int>(practiceLimits::mostMicrophones); ++microphone)
        makeRow(microphone);
    makeRoomFields();
    referee.explanation = [] { return std::string("What ratio, notch and coherence are against; the next one (R)"); };
    referee.onClick = [this] { setReference((reference + 1) % static_cast<int>(shownMicrophones())); };
    for (juce::Component* part : std::initializer_list<juce::Component*>{&referee, &comb, &impulse})
        board.addAndMakeVisible(part);

    player.practise(heard);
    if (!entries.empty()) choice.setSelectedId(1, juce::sendNotificationSync);
    if (lesson.steps.empty()) {
        PracticeRoom plain;
        plain.microphones = {{"1", {2.5, 2.5, 1.2}, {}, {}}, {"2", {4.5, 2.5, 1.2}, {}, {}}};
        lesson.steps = {{"", plain}};
        chooseStep(0);
        sound.setSelectedId(1, juce::sendNotificationSync);
    }
}

/// Lessons and their pages, sound, and what leads away.
void PracticeSheet::makeTop() {
    const auto add = [this](juce::Component& part) { board.addAndMakeVisible(part); };
    choice.setTitle("Lesson");
    for (std::size_t entry = 0; entry < entries.size(); ++entry)
        choice.addItem(ui::text(std::to_string(entry + 1) + "  " + entries[entry].title), static_cast<int>(entry) + 1);
    choice.setTextWhenNothingSelected("No lessons are installed: this is an empty room");
    choice.onChange = [this] { chooseLesson(); };
    add(choice);
    openButton.explanation = [] { return "A lesson file of your own (" + keyOf(CommandId::open) + ")"; };
    openButton.onClick = [this] { askForLesson(); };
    add(openButton);
    back.explanation = [] { return std::string("The room as the step has it (Backspace)"); };
    back.onClick = [this] { chooseStep(shownStep); };
    board.addChildComponent(back);
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
}

PracticeSheet::~PracticeSheet() {
    leave(After::silence);
}

void PracticeSheet::leave(After after) {
    if (left) return;
    left = true;
    player.practise(nullptr);
    if (playedBefore && after == After::asBefore) player.play();
    if (projected && onProjector) onProjector(false);
}

bool PracticeSheet::settled() const {
    return rested && !behind && !resting.busy() && !loading.busy();
}

// ---- lessons

void PracticeSheet::chooseLesson() {
    const int chosen = choice.getSelectedId() - 1;
    if (chosen < 0 || chosen == shownEntry) return;
    shownEntry = chosen;
    auto opened = readLessonFile(entries[static_cast<std::size_t>(chosen)].file);
    if (!opened) return tell(opened.fault().line());
    show(std::move(opened).value());
}

void PracticeSheet::show(Lesson chosen) {
    lesson = std::move(chosen);
    answered = false;
    reference = 0;
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
    begins = true;
    take(lesson.steps[static_cast<std::size_t>(shownStep)].room);
    fill();
    layOut();
}

bool PracticeSheet::own() const {
    return room != lesson.steps[static_cast<std::size_t>(shownStep)].room;
}

std::string PracticeSheet::shownTitle() const {
    if (own()) return "Your own, from step " + std::to_string(shownStep + 1);
    return lesson.steps[static_cast<std::size_t>(shownStep)].title;
}

void PracticeSheet::openLesson(const juce::File& file) {
    const std::filesystem::path path(file.getFullPathName().toStdString());
    auto opened = readLessonFile(path);
    if (!opened) return tell(opened.fault().line());
    // One that is opened again has changed, perhaps.
    auto entry = std::find_if(entries.begin(), entries.end(), [&](const auto& one) { return one.file == path; });
    const int id = static_cast<int>(entry - entries.begin()) + 1;
    const auto listed = ui::text(std::to_string(id) + "  " + opened->title);
    if (entry == entries.end()) {
        entries.push_back({path.stem().string(), opened->title, path});
        choice.addItem(listed, id);
    } else
        choice.changeItemText(id, listed);
    choice.setSelectedId(id, juce::dontSendNotification);
    shownEntry = id - 1;
    show(std::move(opened).value());
}

void PracticeSheet::askForLesson() {
    chooser = std::make_unique<juce::FileChooser>(
        "Open a lesson file", juce::File::getSpecialLocation(juce::File::userHomeDirectory), lessonFiles);
    chooser->launchAsync(juce::FileBrowserComponent::openMode | juce::FileBrowserComponent::canSelectFiles,
                         [this](const juce::FileChooser& done) {
                             if (done.getResult() != juce::File()) openLesson(done.getResult());
                             if (isShowing()) grabKeyboardFocus();
                         });
}

bool PracticeSheet::isInterestedInFileDrag(const juce::StringArray& files) {
    return files.size() == 1 && juce::File(files[0]).hasFileExtension("json");
}

void PracticeSheet::filesDropped(const juce::StringArray& files, int, int) {
    openLesson(juce::File(files[0]));
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
    for (const auto& source : lesson.references)
        add(source, 11.5f, false, p.muted);
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
                board.repaint(); // how much is turned down
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
            board.repaint();
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

void PracticeSheet::tell(const std::string& words, bool wrong) {
    told = words;
    toldWrong = wrong;
    board.repaint();
}

void PracticeSheet::read(const juce::String& title, const LinesSheet::Words& words) {
    readOver(board, title, words);
}

// ---- the room

bool PracticeSheet::take(const PracticeRoom& wanted) {
    if (const auto fault = faultOf(wanted)) {
        tell(fault->line());
        return false;
    }
    tell("");
    if (wanted == room && !begins) return true;
    room = wanted;
    setReference(std::min(reference, static_cast<int>(shownMicrophones()) - 1));
    changedAt = now();
    plan.show(room);
    back.setVisible(own());
    stepButton(shownStep).setToggleState(!own(), juce::dontSendNotification);
    reckon();
    return true;
}

/// To a place on the plan, as near as the walls let it.
void PracticeSheet::moveTo(int which, Point place) {
    auto wanted = room;
    FloorPlan::positionIn(wanted, which) = withinWalls(place, room.size);
    take(wanted);
    fill();
}

void PracticeSheet::setReference(int microphone) {
    reference = microphone;
    referee.setButtonText("to " + juce::String(reference + 1));
    referee.setVisible(shownMicrophones() > 1);
    coherence.clear();
    rested = false;
    board.repaint();
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
    heard->hear(responses, std::exchange(begins, false) ? PracticeSum::Change::beginning : PracticeSum::Change::going);
    const float thick = projected ? projectorThick : 1.0f;
    comb.show(titled(plotPracticeComb(room, reading, thick)));
    impulse.show(titled(plotPracticeImpulse(room, reading, responses, thick)));
    comb.setDescription(
        ui::text(!comb.plot().instead.empty() ? comb.plot().instead
                 : reading.notches.empty()
                     ? std::string("no notch")
                     : "first notch at " + unsignedAmount(reading.notches.front().frequency.value, 1) + " Hz"));
    board.repaint();
}

/// What a file of it says above the curves.
Plot PracticeSheet::titled(Plot plot) const {
    plot.subject = lesson.title + " \u00b7 " + shownTitle();
    for (const auto& microphone : room.microphones)
        if (!microphone.adjustment.muted) {
            const auto place = static_cast<std::size_t>(&microphone - room.microphones.data());
            plot.remark += (plot.remark.empty() ? "" : " \u00b7 ") + microphone.name + " " +
                           unsignedAmount(reading.paths[place].distance.value, 2) + " m";
            if (microphone.adjustment != TrackAdjustment{})
                plot.remark += ", " + adjustmentInWords(microphone.adjustment);
        }
    return plot;
}

void PracticeSheet::follow() {
    loading.poll();
    resting.poll();
    if (behind && !resting.busy()) reckon();
    if (!rested && !resting.busy() && !plan.dragging() && now() - changedAt > restAfter)
        resting.start([this, of = room, to = reference](const Watch&) -> Background::Finish {
            const auto& responses = acoustics.follow(of, Detail::resting);
            auto read = readingOf(of, responses);
            std::vector<double> tied;
            for (int other = 0; other < static_cast<int>(of.microphones.size()); ++other)
                tied.push_back(other == to ? 1.0
                                           : pairCoherence(responses, to, other, lowMidBand, usualWindow(sampleRate)));
            return [this, of, to, &responses, read = std::move(read), tied = std::move(tied)] {
                if (of != room || to != reference) return;
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

// ---- keys

bool PracticeSheet::keyPressed(const juce::KeyPress& key) {
    // A dialogue for files may lie within the sheet: what it has no use for is not meant for what is below it.
    if (juce::ModalComponentManager::getInstance()->getNumModalComponents() > 0) return false;
    if (over) return over->keyPressed(key);
    const auto typed = key.getTextCharacter();
    const bool plain = !key.getModifiers().isCommandDown() && !key.getModifiers().isAltDown();
    chooseLesson(); // one that was chosen by a key just before is told of later
    if (plain && typed >= '0' && typed <= '9')
        return chooseStep(typed == '0' ? 9 : static_cast<int>(typed - '1')), true;
    if (plain && (typed == 'a' || typed == 'A')) return answer.triggerClick(), true;
    if (plain && (typed == 'p' || typed == 'P')) return projector.triggerClick(), true;
    if (plain && (typed == 'n' || typed == 'N' || typed == 'b' || typed == 'B')) {
        const int beside = choice.getSelectedItemIndex() + (typed == 'n' || typed == 'N' ? 1 : -1);
        if (beside >= 0 && beside < choice.getNumItems())
            choice.setSelectedItemIndex(beside, juce::sendNotificationSync);
        return true;
    }
    if (plain && (typed == 'r' || typed == 'R')) return referee.triggerClick(), true;
    if (key.isKeyCode(juce::KeyPress::backspaceKey)) return chooseStep(shownStep), true;
    const auto wanted = commandFor(key);
    if (wanted == CommandId::glossary) return read("What you see", practiceGlossary()), true;
    if (wanted == CommandId::keys) return read("Keys of the practice room", practiceKeys()), true;
    if (wanted == CommandId::open) return askForLesson(), true;
    if (wanted == CommandId::savePlots) return saver.askWhereToSaveAll(), true;
    if (wanted == CommandId::playStop) return playOrStop(), true;
    if (wanted == CommandId::louder || wanted == CommandId::quieter)
        return (*wanted == CommandId::louder ? louder : quieter).triggerClick(), true;
    if (key.isKeyCode(juce::KeyPress::pageDownKey)) return page.pageDown(false);
    if (key.isKeyCode(juce::KeyPress::pageUpKey)) return page.pageUp(false);
    if (key.isKeyCode(juce::KeyPress::tabKey)) return ui::tabInto(*this, key);
    if ((wanted == CommandId::practice || wanted == CommandId::leave) && onClose) onClose();
    return true; // what lies below does not listen meanwhile
}

} // namespace spillwright::desk
