#include "Desk/TakeSheet.h"

#include "Desk/Look.h"
#include "Desk/Words.h"

#include <algorithm>
#include <utility>

namespace spillwright::desk {

namespace {

constexpr int gap = 12, leastRight = 384, mostRight = 560;
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
    secondGrid.standBeside(named("B", folder) + ", as recorded"); // the first is shown as it is set
    firstGrid.onPoint = [this](auto tracks) { pointInOther(false, tracks); };
    secondGrid.onPoint = [this](auto tracks) { pointInOther(true, tracks); };
    other.controller().addListener([this](unsigned what) { otherChanged(what); });

    words.setTitle("What was changed between the takes");
    words.setMultiLine(true);
    words.setReadOnly(true);
    words.setCaretVisible(false);
    words.setFont(ui::font(13.0f));
    words.onEscapeKey = [this] {
        if (onClose) onClose();
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
    for (juce::Component* part : std::initializer_list<juce::Component*>{&firstGrid, &secondGrid, &words, &hearFirst,
                                                                         &hearSecond, &play, &leave})
        addAndMakeVisible(part);
    follow();
}

void TakeSheet::follow() {
    const bool before = other.comparison().has_value();
    other.poll();
    if (!before && other.comparison()) {
        chooseInSecond();
        fillVerdict();
        repaint();
    }
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
    std::string found = count == 0 ? "Nothing was changed between the takes, as far as can be told."
                                   : "Something was changed between the takes: " + std::to_string(count) +
                                         (count == 1 ? " change of a track." : " changes of tracks.");
    return progress.empty() ? found : found + " (" + progress + ")";
}

void TakeSheet::fillVerdict() {
    std::string all;
    for (const auto& line : other.difference().verdict)
        all += line + "\n";
    std::string byOrder, unmatched;
    const auto& comparison = *other.comparison();
    const auto& inB = other.controller().tracks();
    for (const auto& track : comparison.tracks) {
        const int is = track.tracks.back();
        if (track.by == MatchedBy::order && is >= 0)
            byOrder += (byOrder.empty() ? "" : ", ") + track.name + " = " + inB[static_cast<std::size_t>(is)].name;
        if (is < 0 || track.tracks.front() < 0) unmatched += (unmatched.empty() ? "" : ", ") + track.name;
    }
    if (!byOrder.empty()) all += "matched by their order, not by name: " + byOrder + "\n";
    if (!unmatched.empty()) all += "in one of the takes alone: " + unmatched + "\n";
    words.setText(ui::text(all).replace("+-", ui::text("\u00b1")), false); // as a terminal writes it
}

// ---- one cursor

void TakeSheet::changed(unsigned what) {
    firstGrid.changed(what);
    if (what & Controller::selectionChanged) chooseInSecond();
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
    if (key.isKeyCode(K::pageDownKey)) return words.pageDown(false);
    if (key.isKeyCode(K::pageUpKey)) return words.pageUp(false);
    const auto typed = juce::CharacterFunctions::toLowerCase(key.getTextCharacter());
    const bool plain = !key.getModifiers().isCommandDown() && !key.getModifiers().isAltDown();
    if (plain && (typed == 'a' || typed == 'b' || typed == 'k')) {
        other.hear(typed == 'k' ? !other.secondWanted() : typed == 'b');
        follow();
        return true;
    }
    switch (const auto wanted = commandFor(key); wanted.value_or(CommandId::keys)) {
    case CommandId::trackUp:
    case CommandId::trackDown:
    case CommandId::firstTrack:
    case CommandId::lastTrack:
    case CommandId::partnerBefore:
    case CommandId::partnerAfter:
    case CommandId::playStop:
    case CommandId::louder:
    case CommandId::quieter:
        if (onCommand) onCommand(*wanted);
        return true;
    default:
        return Sheet::keyPressed(key);
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
    ui::draw(g, "Arrows: choose   Space: play, stop   K: the other take   A, B   Esc: close", title,
             juce::Justification::centredRight, 12.0f, p.muted);
    ui::drawWhole(g, shownState, head.removeFromTop(22.0f), juce::Justification::centredLeft, 13.0f,
                  other.fault().empty() ? p.accent : p.cancels, true);
    const auto foot = inside()
                          .removeFromBottom(footHeight - 10)
                          .withLeft(play.getRight() + gap)
                          .withRight(leave.getX() - gap)
                          .toFloat();
    ui::drawWhole(g, shownHearing, foot, juce::Justification::centredLeft, 12.5f, p.ink);
    if (!other.comparison()) return;

    auto table = rightColumn().removeFromTop(tableHead + tableRows * rowHeight).toFloat();
    ui::draw(g, chosenInWords(), table.removeFromTop(22.0f), juce::Justification::centredLeft, 13.0f, p.ink, true);
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
        ui::draw(g, stands, row.withTrimmedLeft(8.0f), juce::Justification::centredLeft, 11.5f, colour, bold);
    };
    line({"", "A", "B", "difference", {}}, "stands", p.accent, true);
    for (const auto& figure : figures())
        line(figure,
             !figure.stands   ? ""
             : *figure.stands ? "yes"
                              : "no",
             figure.stands == true ? p.accent : p.muted, false);
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
    words.setBounds(rightColumn().withTrimmedTop(tableHead + tableRows * rowHeight + gap));
    area.setRight(rightColumn().getX() - gap);
    firstGrid.setBounds(area.removeFromLeft((area.getWidth() - gap) / 2));
    secondGrid.setBounds(area.withTrimmedLeft(gap));
}

} // namespace spillwright::desk
