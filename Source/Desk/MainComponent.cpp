#include "Desk/MainComponent.h"

#include "Desk/BlindSheet.h"
#include "Desk/DeviceSheet.h"
#include "Desk/Glossary.h"
#include "Desk/HistorySheet.h"
#include "Desk/KeySheet.h"
#include "Desk/PracticeSheet.h"
#include "Desk/SettingsSheet.h"
#include "Desk/TakeSheet.h"
#include "Desk/TermsSheet.h"
#include "Desk/Words.h"
#include "Session/Amounts.h"

#include <algorithm>

namespace spillwright::desk {

namespace {

constexpr int titleHeight = 52, cardHeight = 92, transportHeight = 152;
constexpr int framesPerSecond = 30;
constexpr double sampleSteps = 1.0;
constexpr double sweepSpeed = 0.0005; ///< Seconds a second: past the comb of 500 Hz in 4 s.
constexpr Seconds sweepReach = milliseconds(10.0);
constexpr const char* hearingLine =
    "Playback starts quietly, at \u221218 dB. Turn up slowly, and rest your ears: hearing does not grow back.";

} // namespace

// ---- start page

MainComponent::StartPage::StartPage(MainComponent& m) : main(m) {
    setTitle("Start");
    setOpaque(true);
    open.setToggleState(true, juce::dontSendNotification);
    open.onClick = [this] { main.perform(CommandId::open); };
    demo.onClick = [this] { main.perform(CommandId::openDemo); };
    practice.onClick = [this] { main.perform(CommandId::practice); };
    for (auto* button : {&open, &demo, &practice})
        addAndMakeVisible(button);
}

void MainComponent::StartPage::refresh() {
    recent.clear();
    for (const auto& path : main.preferences.recent()) {
        auto made = std::make_unique<juce::TextButton>(path);
        made->onClick = [this, path] { main.open(juce::File(path)); };
        addAndMakeVisible(*made);
        recent.push_back(std::move(made));
    }
    resized();
}

void MainComponent::StartPage::paint(juce::Graphics& g) {
    const auto& p = ui::palette();
    g.fillAll(p.paper);
    auto area = getLocalBounds().toFloat();
    const float middle = area.getCentreY() - 90.0f;
    const bool busy = main.controller.busy();
    const auto line = [&](float y, const std::string& words, float size, juce::Colour colour, bool bold) {
        ui::draw(g, words, area.withY(y).withHeight(28.0f), juce::Justification::centred, size, colour, bold);
    };
    line(middle - 54.0f,
         busy ? words::task(main.controller) : "Open a folder of tracks that were recorded together, or the demo.",
         20.0f, p.ink, true);
    line(middle - 20.0f, "Every pair is measured; proposals say which tracks to flip; you hear each under one key.",
         14.0f, p.muted, false);
    if (!recent.empty()) line(middle + 84.0f, "or one of the last", 12.0f, p.muted, false);
    ui::draw(g, hearingLine, area.removeFromBottom(44.0f), juce::Justification::centred, 12.5f, p.muted);
}

void MainComponent::StartPage::resized() {
    const int middle = getLocalBounds().getCentreY() - 90, x = getWidth() / 2;
    open.setBounds(x - 241, middle + 24, 150, 38);
    demo.setBounds(x - 75, middle + 24, 150, 38);
    practice.setBounds(x + 91, middle + 24, 150, 38);
    int y = middle + 116;
    for (auto& each : recent) {
        each->setBounds(x - 260, y, 520, 30);
        y += 36;
    }
}

// ---- the window

MainComponent::MainComponent(const Parts& parts)
    : controller(parts.controller), player(parts.player), device(parts.device), preferences(parts.preferences),
      autosave(parts.autosave), tracks(controller), grid(controller), spill(controller), pair(controller),
      versions(controller), transport(controller, player, device), start(*this), offer(parts.autosave),
      noticeLine(controller) {
    look.setDark(preferences.dark());
    setLookAndFeel(&look);
    juce::LookAndFeel::setDefaultLookAndFeel(&look); // of dialogues for files
    setTitle("Spillwright");
    setOpaque(true);
    setWantsKeyboardFocus(true);
    setFocusContainerType(FocusContainerType::keyboardFocusContainer);

    const auto button = [this](Explained<juce::TextButton>& made, CommandId id, const char* explanation) {
        made.onClick = [this, id] { perform(id); };
        made.explanation = [id, explanation] { return std::string(explanation) + " (" + keyOf(id) + ")"; };
        made.setMouseClickGrabsKeyboardFocus(false);
        addAndMakeVisible(made);
    };
    remarksButton.onClick = [this] { perform(CommandId::remarks); };
    addChildComponent(remarksButton); // left of the others
    button(openButton, CommandId::open, "Open a folder of tracks that were recorded together, or a session");
    button(demoButton, CommandId::openDemo, "Open the demo recording");
    button(proposeButton, CommandId::propose, "Look for the flips and nudges that add best");
    button(renderButton, CommandId::render, "Write the tracks as they are heard now");
    button(keysButton, CommandId::keys, "All keys");
    button(menuButton, CommandId::menu, "Everything that can be done");
    button(settingsButton, CommandId::settings, "What is kept from one day to the next");
    proposeButton.setToggleState(true, juce::dontSendNotification);
    stopButton.onClick = [this] { controller.cancel(); };
    addChildComponent(stopButton);

    for (juce::Component* panel :
         std::initializer_list<juce::Component*>{&tracks, &grid, &pair, &versions, &transport, &start})
        addAndMakeVisible(panel);
    addChildComponent(spill);
    addChildComponent(offer);
    offer.refresh();
    addChildComponent(noticeLine);
    noticeLine.onRemarks = [this] { perform(CommandId::remarks); };
    if (autosave)
        autosave->onOffer = [this] {
            offer.refresh();
            placeLaidOver();
        };
    grid.toMap().onClick = spill.toPairs().onClick = [this] { perform(CommandId::sourceMap); };
    spill.toStanding().onClick = [this] { perform(CommandId::standing); };
    spill.onHear = [this](SpillView::Cell cell) { hear(cell); };
    transport.onCommand = [this](CommandId id) { perform(id); };
    transport.onLevel = [this](Decibels level) { preferences.setOutputLevel(level); };
    int place = 0; // of the title's row, from the left; by their heights they would come otherwise
    for (juce::Component* part : std::initializer_list<juce::Component*>{
             &noticeLine, &remarksButton, &stopButton, &openButton, &demoButton, &proposeButton, &renderButton,
             &settingsButton, &menuButton, &keysButton})
        part->setExplicitFocusOrder(++place);
    start.refresh();
    controller.setMatching(preferences.matchesLoudness());
    controller.setMeasureOptions(preferences.band(), preferences.temperature());
    controller.setUnits(preferences.units());
    controller.addListener([this](unsigned what) { changed(what); });
    changed(~0u);
    setSize(1280, 800);
    startTimerHz(framesPerSecond);
}

MainComponent::~MainComponent() {
    stopTimer();
    if (autosave) autosave->onOffer = nullptr;
    juce::LookAndFeel::setDefaultLookAndFeel(nullptr);
    setLookAndFeel(nullptr);
}

bool MainComponent::settled() const {
    return !controller.busy() && !controller.readingLoop() && !controller.hearingSources() &&
           !controller.computingAlone() && (!controller.recording() || controller.waveform().has_value());
}

void MainComponent::timerCallback() {
    controller.poll();
    if (autosave) autosave->poll(juce::Time::getMillisecondCounterHiRes() * 0.001);
    transport.tick();
    followSweep(juce::Time::getMillisecondCounterHiRes() * 0.001);
    followHearing();
    if (auto* render = dynamic_cast<RenderSheet*>(openSheet.get())) render->follow();
    if (auto* takes = dynamic_cast<TakeSheet*>(openSheet.get())) takes->follow();
    if (auto* practice = dynamic_cast<PracticeSheet*>(openSheet.get())) practice->follow();
    if (++ticks % (framesPerSecond / 3) == 0) showTitle();
    if (const int percent = controller.busy() ? static_cast<int>(controller.progress() * 100.0) : -1;
        percent != shownPercent) {
        shownPercent = percent;
        repaint(0, 0, getWidth(), titleHeight);
        if (start.isVisible()) start.repaint();
    }
}

void MainComponent::changed(unsigned what) {
    if (what & Controller::recordingChanged) {
        if (auto* practice = dynamic_cast<PracticeSheet*>(openSheet.get()))
            practice->leave(PracticeSheet::After::silence);
        closeSheet(); // what it shows is of the recording before
        lastTake = juce::File();
        hearing.reset(); // solo and loop went with the recording
        spill.showHeard(std::nullopt);
        player.open(controller.recording());
        if (!controller.loopsWhole()) transport.loop(controller.loopMoments());
    }
    if (what & Controller::sessionFileChanged) followSession();
    // A source alone is no louder than the sum: it is there before the mix is, and the mix before it goes, so that the
    // sum can rise from what was heard.
    if ((what & Controller::aloneChanged) && controller.alone()) player.playInstead(controller.alone());
    if (what & (Controller::recordingChanged | Controller::settingChanged | Controller::listeningChanged |
                Controller::aloneChanged))
        if (controller.recording() && !heardByOther()) player.hear(controller.nextMix());
    if ((what & Controller::aloneChanged) && !controller.alone()) player.playInstead(nullptr);
    if (what & Controller::listeningChanged) player.setListening(controller.listening());
    if ((what & Controller::sourcesChanged) && hearing && hearing->of != controller.withSources()) stopHearing();

    if (what & Controller::aloneChanged) {
        if (hearing && hearing->what != Heard::track && !controller.alone()) stopHearing();
    }

    tracks.changed(what);
    grid.changed(what);
    spill.changed(what);
    pair.changed(what);
    versions.changed(what);
    transport.changed(what);
    if (auto* standing = dynamic_cast<StandingSheet*>(openSheet.get())) standing->changed(what);
    if (auto* terms = dynamic_cast<TermsSheet*>(openSheet.get())) terms->changed(what);
    if (auto* steps = dynamic_cast<HistorySheet*>(openSheet.get())) steps->changed(what);
    if (auto* takes = dynamic_cast<TakeSheet*>(openSheet.get())) takes->changed(what);

    if ((what & Controller::measurementChanged) && controller.measurement() && !preferences.hearingTold() && device) {
        if (!controller.notice()) {
            preferences.setHearingTold();
            controller.caution(hearingLine);
        }
    }
    if (what & Controller::readingsChanged) repaint(0, 0, getWidth(), titleHeight);
    const bool busy = controller.busy();
    if (what & (Controller::taskChanged | Controller::recordingChanged | Controller::measurementChanged |
                Controller::sourcesChanged)) {
        const bool open = controller.recording() != nullptr;
        start.setVisible(!open);
        for (juce::Component* panel : std::initializer_list<juce::Component*>{&tracks, &pair, &versions, &transport})
            panel->setVisible(open); // the keyboard does not go where nothing is seen
        grid.setVisible(open && !spill.isVisible());
        proposeButton.setEnabled(controller.measurement() && !busy);
        renderButton.setEnabled(controller.recording() && !busy);
        stopButton.setVisible(busy);
        resized();
        repaint(0, 0, getWidth(), titleHeight);
        start.repaint();
        showTitle();
    }
    if (what & (Controller::noticeChanged | Controller::taskChanged | Controller::recordingChanged |
                Controller::measurementChanged | Controller::sourcesChanged)) {
        const auto count = static_cast<int>(controller.remarks().count());
        noticeLine.refresh();
        remarksButton.show(count == 0 || busy ? "" : std::to_string(count) + (count == 1 ? " remark" : " remarks"),
                           CommandId::remarks, false);
        placeLaidOver();
        repaint(0, 0, getWidth(), titleHeight);
    }
}

void MainComponent::showTitle() {
    auto* window = findParentComponentOfClass<juce::DocumentWindow>();
    if (const auto title = windowTitle(); window && title != shownTitle) window->setName(shownTitle = title);
}

juce::String MainComponent::windowTitle() const {
    if (!controller.recording()) return "Spillwright";
    const auto& file = controller.sessionPath();
    const auto name = file.empty() ? controller.sessionName() : file.stem().string();
    const char* unsaved = controller.sessionChanged() ? ", not saved" : "";
    const char* state = controller.withSources()                           ? " (measured, sources heard)"
                        : controller.measurement()                         ? " (measured)"
                        : controller.task() == Controller::Task::measuring ? " (measuring)"
                                                                           : "";
    return ui::text(name + unsaved + state + " \u2013 Spillwright");
}

float MainComponent::nameWidth() const {
    const std::string name = controller.recording() ? controller.sessionName() : "Spillwright";
    const float room = static_cast<float>(openButton.getX()) - 32.0f;
    return std::min(ui::width(name, 18.0f, true) + 2.0f, room * 0.55f);
}

/// What comes and goes moves nothing else.
void MainComponent::placeLaidOver() {
    const int words = 20 + juce::roundToInt(nameWidth()) + 16;
    const int right = (stopButton.isVisible() ? stopButton.getX() : openButton.getX()) - 12;
    remarksButton.setTopLeftPosition(
        std::min(right - remarksButton.getWidth(),
                 words + juce::roundToInt(ui::width(words::recording(controller), 13.0f)) + 12),
        (titleHeight - remarksButton.getHeight()) / 2);
    auto below = getLocalBounds().withTrimmedTop(titleHeight);
    if (offer.isVisible()) offer.setBounds(below.removeFromTop(OfferBar::height));
    // While something is at work the title tells of it.
    const auto beside =
        controller.busy() ? juce::Rectangle<int>() : juce::Rectangle<int>(words, 0, right - words, titleHeight - 1);
    noticeLine.place(beside, below);
    if (tellsBeside()) remarksButton.setVisible(false);
}

bool MainComponent::tellsBeside() const {
    return noticeLine.isVisible() && noticeLine.getY() < titleHeight;
}

void MainComponent::paint(juce::Graphics& g) {
    const auto& p = ui::palette();
    g.fillAll(p.paper);
    auto area = getLocalBounds();
    auto title = area.removeFromTop(titleHeight).toFloat();
    g.setColour(p.rules);
    g.fillRect(title.removeFromBottom(1.0f));

    auto words = title.withTrimmedLeft(20.0f).withRight(static_cast<float>(openButton.getX()) - 12.0f);
    if (stopButton.isVisible()) words.setRight(static_cast<float>(stopButton.getX()) - 12.0f);
    const std::string name = controller.recording() ? controller.sessionName() : "Spillwright";
    ui::draw(g, name, words.removeFromLeft(nameWidth()), juce::Justification::centredLeft, 18.0f, p.ink, true);
    words.removeFromLeft(16.0f);
    if (controller.busy()) {
        ui::drawWhole(g, words::task(controller), words, juce::Justification::centredLeft, 13.0f, p.accent);
        g.setColour(p.accent);
        g.fillRect(0.0f, static_cast<float>(titleHeight) - 3.0f,
                   static_cast<float>(controller.progress()) * title.getWidth(), 3.0f);
    } else if (!tellsBeside()) {
        if (remarksButton.isVisible()) words.setRight(static_cast<float>(remarksButton.getX()) - 8.0f);
        ui::drawWhole(g, words::recording(controller), words, juce::Justification::centredLeft, 13.0f, p.muted);
    }

    g.setColour(p.rules);
    if (!start.isVisible()) {
        g.fillRect(tracks.getRight(), tracks.getY(), 1, tracks.getHeight());
        g.fillRect(grid.getRight(), tracks.getY(), 1, tracks.getHeight());
        g.fillRect(0, versions.getY() - 1, getWidth(), 1);
        g.fillRect(0, transport.getY() - 1, getWidth(), 1);
    }
    if (dropping) {
        g.setColour(p.accent);
        g.drawRect(getLocalBounds(), 4);
    }
}

void MainComponent::resized() {
    auto area = getLocalBounds();
    auto title = area.removeFromTop(titleHeight).reduced(16, 11);
    keysButton.setBounds(title.removeFromRight(32));
    title.removeFromRight(8);
    menuButton.setBounds(title.removeFromRight(68));
    title.removeFromRight(8);
    settingsButton.setBounds(title.removeFromRight(86));
    for (auto* each : {&renderButton, &proposeButton, &demoButton, &openButton}) {
        title.removeFromRight(8);
        each->setBounds(title.removeFromRight(82));
    }
    title.removeFromRight(8);
    stopButton.setBounds(title.removeFromRight(64));

    start.setBounds(area);
    transport.setBounds(area.removeFromBottom(transportHeight));
    area.removeFromBottom(1);
    versions.setBounds(area.removeFromBottom(cardHeight));
    area.removeFromBottom(1);
    const int width = area.getWidth();
    tracks.setBounds(area.removeFromLeft(std::clamp(width * 42 / 100, 526, 660)));
    area.removeFromLeft(1);
    pair.setBounds(area.removeFromRight(std::clamp(width * 27 / 100, 300, 560)));
    area.removeFromRight(1);
    grid.setBounds(area);
    spill.setBounds(area);
    placeLaidOver();
    if (openSheet) openSheet->setBounds(getLocalBounds());
}

/// Every command with its key, group by group.
juce::PopupMenu MainComponent::menuOfAll() {
    juce::PopupMenu menu;
    std::vector<std::pair<std::string, juce::PopupMenu>> groups;
    for (const auto& entry : commands()) {
        if (groups.empty() || groups.back().first != entry.group) groups.emplace_back(entry.group, juce::PopupMenu());
        juce::PopupMenu::Item item(ui::text(entry.words));
        item.shortcutKeyDescription = ui::text(keyOf(entry.id));
        item.action = [this, id = entry.id] { perform(id); };
        groups.back().second.addItem(std::move(item));
    }
    for (auto& [name, part] : groups)
        menu.addSubMenu(ui::text(name), part);
    juce::PopupMenu recent;
    for (const auto& path : preferences.recent())
        recent.addItem(path, [this, path] { open(juce::File(path)); });
    if (recent.getNumItems() > 0) menu.addSubMenu("Opened before", recent);
    return menu;
}

void MainComponent::showMenu() {
    menuOfAll().showMenuAsync(
        juce::PopupMenu::Options().withParentComponent(this).withTargetComponent(menuButton).withMinimumWidth(150));
}

void MainComponent::show(std::unique_ptr<Sheet> sheet) {
    tracks.stopTyping();
    openSheet = std::move(sheet);
    openSheet->onClose = [this] { closeSheet(); };
    addAndMakeVisible(*openSheet);
    openSheet->setBounds(getLocalBounds());
    if (openSheet->isShowing()) openSheet->firstPart().grabKeyboardFocus();
}

/// While versions are compared blind nothing else decides what is heard.
bool MainComponent::blindFold() const {
    const auto* sheet = dynamic_cast<const BlindSheet*>(openSheet.get());
    return sheet && sheet->comparison();
}

/// What is heard is not what is set: versions compared blind, or another take.
bool MainComponent::heardByOther() const {
    const auto* takes = dynamic_cast<const TakeSheet*>(openSheet.get());
    return blindFold() || (takes && takes->otherTake().secondHeard());
}

void MainComponent::closeSheet() {
    if (!openSheet) return;
    const bool wasBlind = blindFold();
    auto* takes = dynamic_cast<TakeSheet*>(openSheet.get());
    const bool firstAgain = takes && takes->otherTake().leave();
    if (auto* practice = dynamic_cast<PracticeSheet*>(openSheet.get())) practice->leave(PracticeSheet::After::asBefore);
    openSheet->setVisible(false);
    // The sheet may be the one that called: it goes when its call is over.
    juce::MessageManager::callAsync([kept = std::shared_ptr<Sheet>(openSheet.release())] { juce::ignoreUnused(kept); });
    if (wasBlind && controller.recording()) {
        controller.setListening(std::exchange(listeningBeforeBlind, {}));
        player.hear(controller.nextMix());
    }
    if (firstAgain) player.hear(controller.nextMix()); // what changed meanwhile
    if (isShowing()) grabKeyboardFocus();
}

void MainComponent::showMap(bool map) {
    if (!map) stopHearing(); // nothing in the grid would say what is heard
    spill.setVisible(map);
    grid.setVisible(!map);
}

std::optional<SpillView::Cell> MainComponent::heardCell() const {
    return hearing ? std::optional(hearing->cell) : std::nullopt;
}

void MainComponent::hear(SpillView::Cell cell, Heard what) {
    if (hearing && hearing->cell == cell && hearing->what == what) return stopHearing();
    if (controller.tracks()[static_cast<std::size_t>(cell.track)].state != TrackState::ok) return;
    const bool alone = what != Heard::track, throughOne = what != Heard::aloneInAll;
    if (alone && controller.tracksThatTell(cell.source, throughOne ? std::optional(cell.track) : std::nullopt).empty())
        return controller.say(controller.shownSourceName(cell.source) + " cannot be told in " +
                              (throughOne ? controller.shownName(cell.track) : std::string("any track")) +
                              ": it cannot be heard alone there.");
    if (controller.spillSoloed()) controller.toggleSpillSolo();
    if (!hearing) hearing = Hearing{cell, what, {}, controller.solo(), {}, player.playing(), controller.withSources()};
    hearing->cell = cell;
    std::vector<bool> solo(static_cast<std::size_t>(controller.trackCount()), false);
    solo[static_cast<std::size_t>(cell.track)] = true;
    hearing->what = Heard::track; // until what is heard alone now has been left
    controller.leaveAlone();
    hearing->what = what;
    controller.setSolo(throughOne ? solo : std::vector<bool>(solo.size(), false));
    const double rate = controller.recording()->sampleRate();
    const auto longest = std::llround(Controller::longestAlone.value * rate);
    const auto moments = controller.leading();
    std::optional<Moments> wanted;
    if (!moments.empty() && (!alone || player.loopTo() - player.loopFrom() > longest))
        wanted = moments.front();
    else if (alone && player.loopTo() - player.loopFrom() > longest) {
        const Seconds from = Seconds(static_cast<double>(player.position()) / rate);
        wanted = Moments{from, from + Controller::longestAlone};
    } else if (!alone)
        controller.say(controller.shownSourceName(cell.source) +
                       " never plays nearly alone: the track is heard with all that is in it.");
    if (wanted) {
        const auto before = transport.loop(*wanted);
        if (!hearing->loopBefore) hearing->loopBefore = before;
    }
    if (alone) computeAlone();
    followHearing();
    transport.start();
}

void MainComponent::hearChosen(Heard what) {
    if (hearing && hearing->what == what) return stopHearing();
    if (controller.selectedTrack() < 0 || controller.chosenSource() < 0) return;
    showMap(true); // which says what is heard
    hear({controller.selectedTrack(), controller.chosenSource()}, what);
}

/// For the present loop, and for what nudges may bring in from beside it.
void MainComponent::computeAlone() {
    const double rate = controller.recording()->sampleRate();
    const auto beside = std::llround((Player::largestNudge + Seconds(0.5)).value * rate);
    hearing->computedFor = {player.loopFrom(), player.loopTo()};
    controller.computeAlone(hearing->cell.source,
                            controller.tracksThatTell(hearing->cell.source, hearing->what == Heard::aloneInTrack
                                                                                ? std::optional(hearing->cell.track)
                                                                                : std::nullopt),
                            {player.loopFrom() - beside, player.loopTo() + beside});
}

/// A source alone follows the loop; the map says what is heard.
void MainComponent::followHearing() {
    if (!hearing) return;
    if (hearing->what != Heard::track && hearing->computedFor != StretchSpan{player.loopFrom(), player.loopTo()}) {
        const double seconds =
            static_cast<double>(player.loopTo() - player.loopFrom()) / controller.recording()->sampleRate();
        if (seconds > Controller::longestAlone.value + 0.001) {
            hearing->loopBefore.reset(); // the user chose another one
            controller.say("A source alone is heard in loops of up to 20 s.");
            return stopHearing();
        }
        computeAlone();
    }
    spill.showHeard(hearing->cell, heardInWords());
}

std::string MainComponent::heardInWords() const {
    const auto source = controller.shownSourceName(hearing->cell.source);
    const auto& track = controller.shownName(hearing->cell.track);
    if (hearing->what == Heard::track)
        return "Heard: " + track + " alone, where " + source + " leads.\nI: back to the sum. J: the next such moment.";
    const bool all = hearing->what == Heard::aloneInAll;
    const std::string what = source + " alone as " + (all ? "all tracks together hear" : track + " hears") + " it";
    if (controller.computingAlone())
        return "Computing " + what + ": " + std::to_string(static_cast<int>(controller.aloneProgress() * 100.0)) +
               " %.\n" + (all ? "Y" : "U") + ": stop.";
    return "Heard: " + what + ", computed (100 Hz to 8 kHz, no late reverberation).\n" + (all ? "Y" : "U") +
           ": back to the sum. J: the next moment it leads.";
}

void MainComponent::stopHearing() {
    if (!hearing) return;
    const auto before = *std::exchange(hearing, std::nullopt);
    spill.showHeard(std::nullopt);
    controller.leaveAlone();
    if (!before.played && player.playing()) transport.playOrStop();
    controller.setSolo(before.soloBefore);
    if (before.loopBefore) transport.loop(*before.loopBefore);
}

void MainComponent::startSweep() {
    const int track = controller.selectedTrack();
    if (sweep || track < 0) return;
    sweep = Sweep{track, 1.0, std::nullopt};
}

/// The nudge goes to the end of its range, turns round, and goes to the other end, for as long as the key is held.
void MainComponent::followSweep(double seconds) {
    if (!sweep) return;
    if (!sweepHeld() || sweep->track != controller.selectedTrack()) {
        controller.endGesture();
        sweep.reset();
        return;
    }
    const double step = sweep->last ? std::min(seconds - *sweep->last, 0.1) * sweepSpeed : 0.0;
    sweep->last = seconds;
    const auto& own = controller.terms().largest[static_cast<std::size_t>(sweep->track)];
    const double reach = own ? own->value : sweepReach.value;
    double nudge = controller.adjustments()[static_cast<std::size_t>(sweep->track)].nudge.value;
    nudge += sweep->direction * step;
    if (nudge * sweep->direction >= reach) {
        nudge = sweep->direction * std::max(reach, std::abs(nudge) - step);
        sweep->direction = -sweep->direction;
    }
    if (step > 0.0) controller.setNudge(sweep->track, Seconds(nudge), true);
}

void MainComponent::listenTo(Listening::Sides sides) {
    auto how = controller.listening();
    how.sides = how.sides == sides ? Listening::Sides::stereo : sides;
    controller.setListening(how);
}

void MainComponent::openDemo() {
    controller.openDemo();
}

void MainComponent::setDark(bool dark) {
    preferences.setDark(dark);
    look.setDark(dark);
    sendLookAndFeelChange();
    for (juce::Component* panel :
         std::initializer_list<juce::Component*>{&tracks, &grid, &spill, &pair, &versions, &transport, &start, this})
        panel->repaint();
    grid.changed(Controller::settingChanged);
    pair.changed(Controller::settingChanged);
    tracks.changed(Controller::settingChanged);
}

void MainComponent::setScale(int percent) {
    preferences.setScalePercent(percent);
    juce::Desktop::getInstance().setGlobalScaleFactor(static_cast<float>(preferences.scalePercent()) / 100.0f);
}

bool MainComponent::keyPressed(const juce::KeyPress& key) {
    // A dialogue for files lies within the window: what it has no use for is not meant for what is below it.
    if (juce::ModalComponentManager::getInstance()->getNumModalComponents() > 0) return false;
    // Nor do keys pass a sheet by, wherever the keyboard has gone to; what it has had and left is for nobody below it.
    if (openSheet) {
        if (openSheet->hasKeyboardFocus(true)) return false;
        if (!key.isKeyCode(juce::KeyPress::tabKey)) return openSheet->keyPressed(key);
        openSheet->firstPart().grabKeyboardFocus();
        return true;
    }
    if (ui::tabInto(*this, key)) return true;
    const auto wanted = commandFor(key);
    if (!wanted) return false;
    perform(*wanted);
    return true;
}

void MainComponent::perform(CommandId id) {
    const int track = controller.selectedTrack(), partner = controller.partnerTrack();
    const bool usable = track >= 0 && controller.tracks()[static_cast<std::size_t>(track)].state == TrackState::ok;
    const double sample = controller.recording() ? sampleSteps / controller.recording()->sampleRate() : 0.0;
    const auto lookedAtBeside = [&](int from, int step) { // beyond the ends there is none
        const auto& some = controller.together();
        int other = from + step;
        while (!some.empty() && other >= 0 && other < controller.trackCount() &&
               std::find(some.begin(), some.end(), other) == some.end())
            other += step;
        return other;
    };
    const auto toTrack = [&](int step) {
        if (controller.together().empty()) return controller.selectTrack(controller.besideInList(track, step));
        const int other = lookedAtBeside(track, step);
        if (other >= 0 && other < controller.trackCount()) controller.selectTrack(other);
    };
    const auto besides = [&](int step) { // the next track that is not the chosen one
        int other = lookedAtBeside(partner, step);
        if (other == track) other = lookedAtBeside(other, step);
        if (other >= 0 && other < controller.trackCount()) controller.selectPair(track, other);
    };
    const bool sourcesChosen = spill.isVisible() && !openSheet; // in the map of sources; a sheet over it has pairs
    const auto gainBy = [&](double dB) {
        if (usable)
            controller.setGain(track,
                               Decibels(controller.adjustments()[static_cast<std::size_t>(track)].gain.value + dB));
    };
    switch (id) {
    case CommandId::open:
        return chooseWhatToOpen();
    case CommandId::openDemo:
        return openDemo();
    case CommandId::save:
        return save();
    case CommandId::saveAs:
        return saveAs();
    case CommandId::goOn:
        if (autosave) autosave->take();
        return;
    case CommandId::propose:
        return controller.propose();
    case CommandId::terms:
        if (controller.measurement()) show(std::make_unique<TermsSheet>(controller));
        return;
    case CommandId::render:
        if (controller.recording() && !controller.busy()) show(std::make_unique<RenderSheet>(controller));
        return;
    case CommandId::report:
        return saveReport();
    case CommandId::playStop:
        return transport.playOrStop();
    case CommandId::toStart:
        return transport.toStart();
    case CommandId::wholeLoop:
        return transport.loopWhole();
    case CommandId::readLoop:
        return controller.toggleReadLoop();
    case CommandId::nextMoment:
        if (controller.recording()) transport.loopNextLeading();
        return;
    case CommandId::hearCell:
        return hearChosen(Heard::track);
    case CommandId::hearAlone:
        return hearChosen(Heard::aloneInTrack);
    case CommandId::hearAloneInAll:
        return hearChosen(Heard::aloneInAll);
    case CommandId::sourceMap:
        if (controller.recording()) showMap(!spill.isVisible());
        return;
    case CommandId::nextFocus:
        return controller.focusNext();
    case CommandId::findings:
        return show(std::make_unique<LinesSheet>("Order of entry, help, spacing", words::findings(controller)));
    case CommandId::standing:
        if (controller.withSources()) show(std::make_unique<StandingSheet>(controller));
        return;
    case CommandId::louder:
        return transport.louder(1.0);
    case CommandId::quieter:
        return transport.louder(-1.0);
    case CommandId::firstTrack:
        return controller.selectTrack(controller.besideInList(track, -controller.trackCount()));
    case CommandId::lastTrack:
        return controller.selectTrack(controller.besideInList(track, controller.trackCount()));
    case CommandId::trackUp:
        return toTrack(-1);
    case CommandId::trackDown:
        return toTrack(1);
    case CommandId::trackUpToo:
        return controller.extendTogether(controller.besideInList(track, -1));
    case CommandId::trackDownToo:
        return controller.extendTogether(controller.besideInList(track, 1));
    case CommandId::moveUp:
    case CommandId::moveDown: {
        const auto& order = controller.trackList().order;
        const auto place = std::find(order.begin(), order.end(), track) - order.begin();
        return controller.moveTrack(track, static_cast<int>(place) + (id == CommandId::moveUp ? -1 : 1));
    }
    case CommandId::groupTracks:
        return controller.toggleGroup();
    case CommandId::foldGroup:
        return controller.toggleFold(track >= 0 ? controller.trackList().groupOf(track) : -1);
    case CommandId::labelTrack:
        return controller.labelNext();
    case CommandId::renameTrack:
        return tracks.type(TrackField::name);
    case CommandId::partnerBefore:
        return sourcesChosen ? controller.chooseSource(controller.chosenSource() - 1) : besides(-1);
    case CommandId::partnerAfter:
        return sourcesChosen ? controller.chooseSource(controller.chosenSource() + 1) : besides(1);
    case CommandId::flip:
        if (usable) controller.flip(track);
        return;
    case CommandId::earlier:
        if (usable) controller.nudgeBy(track, Seconds(-sample));
        return;
    case CommandId::later:
        if (usable) controller.nudgeBy(track, Seconds(sample));
        return;
    case CommandId::muchEarlier:
        if (usable) controller.nudgeBy(track, milliseconds(-0.1));
        return;
    case CommandId::muchLater:
        if (usable) controller.nudgeBy(track, milliseconds(0.1));
        return;
    case CommandId::align:
        return controller.alignPair();
    case CommandId::typeNudge:
        if (!controller.recording()) return chooseWhatToOpen(); // Enter
        return tracks.type(TrackField::nudge);
    case CommandId::typeGain:
        return tracks.type(TrackField::gain);
    case CommandId::typeHighPass:
        return tracks.type(TrackField::highPass);
    case CommandId::typePan:
        return tracks.type(TrackField::pan);
    case CommandId::quieterTrack:
        return gainBy(-0.5);
    case CommandId::louderTrack:
        return gainBy(0.5);
    case CommandId::mute:
        return controller.toggleMute(track);
    case CommandId::solo:
        return controller.toggleSolo(track);
    case CommandId::hold:
        return controller.toggleHold(track);
    case CommandId::link:
        return controller.toggleLinks();
    case CommandId::version1:
        return controller.hear(VersionKind::asRecorded);
    case CommandId::version2:
        return controller.hear(VersionKind::flips);
    case CommandId::version3:
        return controller.hear(VersionKind::nudgesTo1ms);
    case CommandId::version4:
        return controller.hear(VersionKind::nudgesTo10ms);
    case CommandId::version5:
        return controller.hear(VersionKind::mine);
    case CommandId::version6:
        return controller.hear(VersionKind::keptFirst);
    case CommandId::version7:
        return controller.hear(VersionKind::keptSecond);
    case CommandId::version8:
        return controller.hear(VersionKind::keptThird);
    case CommandId::keep6:
        return controller.keep(VersionKind::keptFirst);
    case CommandId::keep7:
        return controller.keep(VersionKind::keptSecond);
    case CommandId::keep8:
        return controller.keep(VersionKind::keptThird);
    case CommandId::nameKept: {
        const auto heard = controller.heardVersion();
        if (heard && isKept(*heard)) return versions.card(*heard).typeName();
        return controller.say("Hear what is kept first, under 6, 7 or 8: " + keyOf(id) + " names it then.");
    }
    case CommandId::difference:
        return controller.toggleDifference();
    case CommandId::matchLoudness:
        controller.setMatching(!controller.matchesLoudness());
        return preferences.setMatchesLoudness(controller.matchesLoudness());
    case CommandId::blindTest: {
        if (!controller.measurement() || blindFold()) return;
        stopHearing(); // its loop is not the one that is meant
        auto sheet = std::make_unique<BlindSheet>(controller);
        sheet->onHear = [this](const HeardMix& mix) { player.hear(mix); };
        sheet->onPlayStop = [this] { transport.playOrStop(); };
        sheet->isPlaying = [this] { return player.playing(); };
        sheet->onStart = [this] {
            listeningBeforeBlind = controller.listening();
            controller.setListening({});
            transport.start();
        };
        return show(std::move(sheet));
    }
    case CommandId::compareTakes:
        if (controller.measurement()) return chooseOtherTake();
        return controller.say(controller.busy() ? "Another take is compared with once this recording is measured."
                                                : "Open a recording first; then choose here the folder of another take "
                                                  "of it.");
    case CommandId::mono:
        return listenTo(Listening::Sides::mono);
    case CommandId::sideOnly:
        return listenTo(Listening::Sides::side);
    case CommandId::bandOnly: {
        auto how = controller.listening();
        if (how.band)
            how.band.reset();
        else if (controller.measurement())
            how.band = controller.measurement()->options.band;
        return controller.setListening(how);
    }
    case CommandId::spillSolo:
        return controller.toggleSpillSolo();
    case CommandId::sweep:
        if (usable) startSweep();
        return;
    case CommandId::gridOrder:
        return grid.nextOrder();
    case CommandId::gridCloser:
        return grid.zoom(1);
    case CommandId::gridFarther:
        return grid.zoom(-1);
    case CommandId::copyPair:
        return pair.copyWords();
    case CommandId::savePlots:
        return pair.askWhereToSaveAll();
    case CommandId::undo:
        return controller.undo();
    case CommandId::redo:
        return controller.redo();
    case CommandId::history:
        if (controller.recording()) show(std::make_unique<HistorySheet>(controller));
        return;
    case CommandId::darkTwin:
        return setDark(!Look::isDark());
    case CommandId::largerWindow:
        return setScale(preferences.scalePercent() + 25);
    case CommandId::smallerWindow:
        return setScale(preferences.scalePercent() - 25);
    case CommandId::keys: {
        auto sheet = std::make_unique<KeySheet>();
        sheet->onKeysChanged = [this] {
            preferences.setOwnKeys(ownKeysAsText());
            changed(~0u & ~Controller::recordingChanged); // buttons show their keys
        };
        return show(std::move(sheet));
    }
    case CommandId::glossary: {
        auto sheet = std::make_unique<LinesSheet>("What you see", glossary());
        sheet->leadOn("The manual...", [this] {
            closeSheet();
            perform(CommandId::manual);
        });
        return show(std::move(sheet));
    }
    case CommandId::manual: {
        auto chapters = spillwright::manual();
        if (!chapters) return controller.say(chapters.fault().line(), true);
        return show(std::make_unique<ManualSheet>(std::move(chapters).value(), manualPlace));
    }
    case CommandId::hearPair:
        return controller.togglePairSolo();
    case CommandId::remarks:
        return show(std::make_unique<LinesSheet>("Remarks", remarkLines(controller.remarks())));
    case CommandId::menu:
        return showMenu();
    case CommandId::settings: {
        auto sheet = std::make_unique<SettingsSheet>(controller, preferences);
        sheet->onDark = [this](bool dark) { setDark(dark); };
        sheet->onScale = [this](int percent) { setScale(percent); };
        sheet->onCommand = [this](CommandId wanted) {
            closeSheet();
            perform(wanted);
        };
        return show(std::move(sheet));
    }
    case CommandId::practice: {
        if (blindFold()) return;
        auto sheet = std::make_unique<PracticeSheet>(PracticeSheet::Parts{controller, player, device});
        sheet->onCommand = [this](CommandId wanted) { perform(wanted); };
        sheet->onProjector = [this](bool projected) {
            look.setProjected(projected);
            setDark(Look::isDark()); // all that is drawn ahead is drawn anew
        };
        return show(std::move(sheet));
    }
    case CommandId::audioDevice: {
        auto sheet = std::make_unique<DeviceSheet>(device);
        sheet->onChoice = [this](const DeviceChoice& choice) { preferences.setDeviceChoice(choice); };
        return show(std::move(sheet));
    }
    case CommandId::leave:
        if (controller.busy())
            controller.cancel();
        else if (controller.notice())
            controller.dismissNotice();
        else if (!controller.together().empty())
            controller.leaveTogether();
        else if (hearing)
            stopHearing();
        else
            grabKeyboardFocus();
        return;
    }
}

bool MainComponent::isInterestedInFileDrag(const juce::StringArray& files) {
    return !files.isEmpty();
}

void MainComponent::fileDragEnter(const juce::StringArray&, int, int) {
    dropping = true;
    repaint();
}

void MainComponent::fileDragExit(const juce::StringArray&) {
    dropping = false;
    repaint();
}

void MainComponent::filesDropped(const juce::StringArray& files, int, int) {
    dropping = false;
    repaint();
    // One track stands for the folder it lies in; of all else that is no folder it is told what it is.
    const juce::File dropped(files[0]);
    const bool track = dropped.existsAsFile() && hasAudioEnding(dropped.getFullPathName().toStdString());
    open(track ? dropped.getParentDirectory() : dropped);
}

} // namespace spillwright::desk
