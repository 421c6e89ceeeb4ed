#include "Desk/TakeSheet.h"

#include "Desk/Glossary.h"
#include "Desk/Look.h"
#include "Desk/Words.h"

#include <algorithm>
#include <set>
#include <utility>

namespace spillwright::desk {

namespace {

constexpr int gap = 12, leastRight = 428, mostRight = 560;
/// Of the table, from the left: the figure's name, A, B, the difference; the rest says whether it stands.
constexpr float nameWidth = 126.0f, valueWidth = 58.0f, differenceWidth = 92.0f;

std::string named(const char* take, const std::filesystem::path& folder) {
    return std::string(take) + "   " + folder.filename().string();
}

} // namespace

TakeSheet::TakeSheet(Controller& c, Player& p, const std::filesystem::path& folder)
    : Sheet("Two takes compared"), controller(c), player(p), other(c, p, folder), firstGrid(c),
      secondGrid(other.controller()) {
    firstGrid.standBeside(named("A", controller.recording()->folder()));
    secondGrid.standBeside(named("B", folder) + ", set as A");
    firstGrid.onPoint = [this](auto tracks) { pointInOther(false, tracks); };
    secondGrid.onPoint = [this](auto tracks) { pointInOther(true, tracks); };
    other.controller().addListener([this](unsigned what) { otherChanged(what); });

    verdictLines.onChoose = [this](const VerdictLine& line) { choose(*line.track, line.partner); };
    matchTracks.onClick = [this] { openMatching(); };
    otherFolder.onClick = [this] {
        if (onOtherFolder) onOtherFolder();
    };
    hearFirst.setTitle("Hear take A");
    hearSecond.setTitle("Hear take B");
    hearFirst.onClick = [this] { other.hear(false); };
    hearSecond.onClick = [this] { other.hear(true); };
    play.onClick = [this] {
        if (onCommand) onCommand(CommandId::playStop);
    };
    leave.onClick = [this] {
        if (onClose) onClose();
    };
    for (juce::Component* part :
         std::initializer_list<juce::Component*>{&firstGrid, &secondGrid, &verdictLines, &hearFirst, &hearSecond, &play,
                                                 &matchTracks, &otherFolder, &leave})
        addAndMakeVisible(part);
    follow();
}

void TakeSheet::follow() {
    const bool before = other.comparison().has_value();
    other.poll();
    if (!before && other.comparison()) {
        noteChanges();
        chooseFirstChange();
        chooseInSecond();
        fillVerdict();
        repaint();
    }
    matchTracks.setEnabled(other.canMatch() && !match);
    const bool canBeHeard = other.comparison().has_value();
    hearFirst.setEnabled(canBeHeard);
    hearSecond.setEnabled(canBeHeard);
    hearFirst.setToggleState(!other.secondWanted(), juce::dontSendNotification);
    hearSecond.setToggleState(other.secondWanted(), juce::dontSendNotification);
    play.setButtonText(player.playing() ? "Stop" : "Play");
    const auto state = stateInWords(), hearing = other.hearingInWords();
    if (state != std::exchange(shownState, state)) repaint();
    if (hearing != std::exchange(shownHearing, hearing)) repaint();
}

std::string TakeSheet::stateInWords() const {
    if (!other.fault().empty()) return other.fault();
    const auto progress = other.progressInWords();
    if (!other.comparison()) return progress;
    const auto count = other.difference().changes.size();
    std::string found = !isTold()    ? "Whether anything was changed cannot be told: is it the same set-up?"
                        : count == 0 ? "Nothing was changed between the takes, as far as can be told."
                                     : "Something was changed between the takes: " + std::to_string(count) +
                                           (count == 1 ? " change of a track." : " changes of tracks.");
    return progress.empty() ? found : found + " (" + progress + ")";
}

void TakeSheet::fillVerdict() {
    auto lines = other.difference().verdict;
    const auto add = [&](std::string text) { lines.push_back({std::move(text), std::nullopt, std::nullopt}); };
    std::string byOrder, unmatched;
    const auto& comparison = *other.comparison();
    const auto& inB = other.controller().tracks();
    for (const auto& track : comparison.tracks) {
        const int is = track.tracks.back();
        if (track.by == MatchedBy::order && is >= 0)
            byOrder += (byOrder.empty() ? "" : ", ") + track.name + " = " + inB[static_cast<std::size_t>(is)].name;
        if (is < 0 || track.tracks.front() < 0) unmatched += (unmatched.empty() ? "" : ", ") + track.name;
    }
    if (!byOrder.empty()) add("matched by their order, not by name: " + byOrder);
    if (!unmatched.empty()) add("in one of the takes alone: " + unmatched);
    for (const auto& line : other.comparison()->warnings)
        if (line.find("--match") == std::string::npos) add(line); // those are the two above
    verdictLines.show(std::move(lines));
}

// ---- what was changed

void TakeSheet::noteChanges() {
    std::set<int> inFirst, inSecond;
    for (const auto& change : other.difference().changes) {
        const auto& tracks = other.comparison()->tracks[static_cast<std::size_t>(change.track)].tracks;
        inFirst.insert(tracks.front());
        inSecond.insert(tracks.back());
    }
    firstGrid.note(std::move(inFirst));
    secondGrid.note(std::move(inSecond));
}

void TakeSheet::chooseFirstChange() {
    if (const auto& changes = other.difference().changes; !changes.empty()) choose(changes.front().track, std::nullopt);
}

void TakeSheet::choose(int track, std::optional<int> partner) {
    const auto& comparison = *other.comparison();
    if (!partner) {
        double clearest = -1.0;
        for (const auto& pair : other.difference().pairs) {
            const auto place = static_cast<std::size_t>(pair.pair);
            const auto [one, two] = comparison.pairOf(place);
            if (one != track && two != track) continue;
            const double coherence = comparison.takes.front().pairs[place]->coherence.value;
            if (coherence <= clearest) continue;
            clearest = coherence;
            partner = one == track ? two : one;
        }
    }
    const auto inFirst = [&](int compared) {
        return comparison.tracks[static_cast<std::size_t>(compared)].tracks.front();
    };
    if (inFirst(track) < 0) return;
    if (partner && inFirst(*partner) >= 0)
        controller.selectPair(inFirst(track), inFirst(*partner));
    else
        controller.selectTrack(inFirst(track));
}

// ---- which track is which

void TakeSheet::openMatching() {
    if (match || !other.canMatch()) return;
    std::vector<int> now;
    for (int track = 0; track < controller.trackCount(); ++track)
        now.push_back(other.inSecond(track).value_or(-1));
    match = std::make_unique<TakeMatch>(controller.tracks(), other.controller().tracks(), now);
    match->onDone = [this](auto chosen) {
        if (chosen) {
            other.match(std::move(*chosen));
            verdictLines.show({});
            firstGrid.note({});
            secondGrid.note({});
        }
        juce::MessageManager::callAsync([safe = juce::Component::SafePointer<TakeSheet>(this)] {
            if (safe) safe->closeMatching(); // not while its button still calls
        });
    };
    addAndMakeVisible(*match);
    resized();
    if (isShowing()) match->choice(0).grabKeyboardFocus();
}

void TakeSheet::closeMatching() {
    match.reset();
    if (isShowing()) grabKeyboardFocus();
    repaint();
}

// ---- one cursor

void TakeSheet::changed(unsigned what) {
    firstGrid.changed(what);
    if (what & Controller::selectionChanged) chooseInSecond();
    if (what & Controller::settingChanged) {
        other.followSetting();
        if (other.secondHeard()) player.hear(other.secondMix());
    }
    repaint();
}

void TakeSheet::otherChanged(unsigned what) {
    secondGrid.changed(what);
    if (!(what & Controller::selectionChanged) || following || !other.comparison()) return;
    const juce::ScopedValueSetter<bool> once(following, true);
    const auto track = other.inFirst(other.controller().selectedTrack()),
               partner = other.inFirst(other.controller().partnerTrack());
    if (track && partner) controller.selectPair(*track, *partner);
}

void TakeSheet::chooseInSecond() {
    if (following || !other.comparison()) return;
    const juce::ScopedValueSetter<bool> once(following, true);
    const auto track = other.inSecond(controller.selectedTrack()), partner = other.inSecond(controller.partnerTrack());
    if (track && partner) other.controller().selectPair(*track, *partner);
}

void TakeSheet::pointInOther(bool fromSecond, std::optional<std::pair<int, int>> tracks) {
    const auto matched = [&](int track) { return fromSecond ? other.inFirst(track) : other.inSecond(track); };
    const auto one = tracks ? matched(tracks->first) : std::nullopt,
               two = tracks ? matched(tracks->second) : std::nullopt;
    (fromSecond ? firstGrid : secondGrid).pointAt(one && two ? std::optional(std::pair(*one, *two)) : std::nullopt);
}

std::vector<TakeFigure> TakeSheet::figures() const {
    const auto track = other.comparedTrack(controller.selectedTrack());
    if (!track) return {};
    return takeFigures(*other.comparison(), other.difference(), *track, other.comparedTrack(controller.partnerTrack()));
}

std::string TakeSheet::chosenInWords() const {
    if (!other.comparison() || controller.selectedTrack() < 0) return {};
    const auto name = [&](int track) {
        return controller.shownName(track) + (other.inSecond(track) ? "" : " (not in B)");
    };
    const int partner = controller.partnerTrack();
    return name(controller.selectedTrack()) + (partner < 0 ? "" : " with " + name(partner));
}

// ---- the page

bool TakeSheet::keyPressed(const juce::KeyPress& key) {
    using K = juce::KeyPress;
    if (over) return over->keyPressed(key);
    if (match) {
        if (key.isKeyCode(K::escapeKey)) {
            closeMatching();
            return true;
        }
        return key.isKeyCode(K::tabKey) && ui::tabInto(*match, key);
    }
    if (key.isKeyCode(K::pageDownKey) || key.isKeyCode(K::pageUpKey)) {
        verdictLines.page(key.isKeyCode(K::pageDownKey) ? 1 : -1);
        return true;
    }
    const auto typed = juce::CharacterFunctions::toLowerCase(key.getTextCharacter());
    const bool plain = !key.getModifiers().isCommandDown() && !key.getModifiers().isAltDown();
    if (plain && (typed == 'a' || typed == 'b' || typed == 'k')) {
        other.hear(typed == 'k' ? !other.secondWanted() : typed == 'b');
        follow();
        return true;
    }
    if (key.isKeyCode(K::tabKey)) return Sheet::keyPressed(key);
    const auto wanted = commandFor(key);
    if (!wanted) return true;
    switch (*wanted) {
    case CommandId::trackUp:
    case CommandId::trackDown:
    case CommandId::firstTrack:
    case CommandId::lastTrack:
    case CommandId::partnerBefore:
    case CommandId::partnerAfter:
    case CommandId::flip:
    case CommandId::undo:
    case CommandId::redo:
    case CommandId::playStop:
    case CommandId::louder:
    case CommandId::quieter:
        if (onCommand) onCommand(*wanted);
        return true;
    case CommandId::glossary:
        readOver(*this, "What you see", takesGlossary());
        return true;
    case CommandId::keys:
        readOver(*this, "Keys of two takes compared", takesKeys());
        return true;
    case CommandId::leave:
    case CommandId::compareTakes:
        return Sheet::keyPressed(key);
    default:
        return true; // no other key ends a comparison
    }
}

juce::Rectangle<int> TakeSheet::pageArea() const {
    return page(getWidth(), getHeight());
}

juce::Rectangle<int> TakeSheet::rightColumn() const {
    const auto area = inside().withTrimmedTop(headHeight).withTrimmedBottom(footHeight);
    return area.withLeft(area.getRight() - std::clamp(area.getWidth() * 36 / 100, leastRight, mostRight));
}

void TakeSheet::paint(juce::Graphics& g) {
    Sheet::paint(g);
    const auto& p = ui::palette();
    auto head = inside().removeFromTop(headHeight).toFloat();
    auto title = head.removeFromTop(26.0f);
    ui::draw(g, getTitle().toStdString(), title, juce::Justification::centredLeft, 18.0f, p.ink, true);
    ui::draw(g,
             "Arrows: choose   F: flip in both   Space: play, stop   K: the other take   A, B   F1: help   Esc: close",
             title, juce::Justification::centredRight, 12.0f, p.muted);
    ui::drawWhole(g, shownState, head.removeFromTop(22.0f), juce::Justification::centredLeft, 13.0f,
                  other.fault().empty() && (!other.comparison() || isTold()) ? p.accent : p.cancels, true);
    const auto foot = inside()
                          .removeFromBottom(footHeight - 10)
                          .withLeft(play.getRight() + gap)
                          .withRight(matchTracks.getX() - gap)
                          .toFloat();
    ui::drawWhole(g, shownHearing, foot, juce::Justification::centredLeft, 12.5f, p.ink);
    if (!other.comparison()) return;

    auto table = rightColumn().removeFromTop(tableHead + tableRows * rowHeight + noteHeight).toFloat();
    ui::draw(g, chosenInWords(), table.removeFromTop(22.0f), juce::Justification::centredLeft, 13.0f, p.ink, true);
    auto note = table.withTop(table.getBottom() - noteHeight);
    const auto line = [&](const TakeFigure& figure, const std::string& stands, juce::Colour colour, bool bold) {
        auto row = table.removeFromTop(static_cast<float>(rowHeight));
        ui::draw(g, figure.name, row.removeFromLeft(nameWidth), juce::Justification::centredLeft, 12.0f,
                 bold ? p.accent : p.muted, bold);
        const auto cell = [&](const std::string& text, float width) {
            ui::drawFigures(g, text, row.removeFromLeft(width), juce::Justification::centredRight, 12.0f,
                            bold ? p.accent : p.ink, bold);
        };
        cell(figure.first, valueWidth);
        cell(figure.second, valueWidth);
        cell(figure.difference, differenceWidth);
        ui::drawWhole(g, stands, row.withTrimmedLeft(8.0f), juce::Justification::centredLeft, 11.5f, colour, bold,
                      9.0f);
    };
    line({"", "A", "B", "difference", {}, {}}, "stands", p.accent, true);
    for (const auto& figure : figures())
        line(figure, figure.why, figure.stands == true ? p.accent : p.muted, false);
    ui::drawWhole(g, "from ... on: smaller ones are found by chance where all pairs are asked", note,
                  juce::Justification::centredLeft, 11.5f, p.muted, false, 9.0f);
}

void TakeSheet::resized() {
    auto area = inside().withTrimmedTop(headHeight);
    auto foot = area.removeFromBottom(footHeight).withTrimmedTop(10);
    hearFirst.setBounds(foot.removeFromLeft(56));
    foot.removeFromLeft(6);
    hearSecond.setBounds(foot.removeFromLeft(56));
    foot.removeFromLeft(6);
    play.setBounds(foot.removeFromLeft(72));
    leave.setBounds(foot.removeFromRight(96));
    foot.removeFromRight(6);
    otherFolder.setBounds(foot.removeFromRight(112));
    foot.removeFromRight(6);
    matchTracks.setBounds(foot.removeFromRight(116));
    verdictLines.setBounds(rightColumn().withTrimmedTop(tableHead + tableRows * rowHeight + noteHeight + gap));
    area.setRight(rightColumn().getX() - gap);
    if (match) match->setBounds(area);
    if (over) over->setBounds(getLocalBounds());
    firstGrid.setBounds(area.removeFromLeft((area.getWidth() - gap) / 2));
    secondGrid.setBounds(area.withTrimmedLeft(gap));
}

} // namespace spillwright::desk
