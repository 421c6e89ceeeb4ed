#include "Desk/TrackPanel.h"

#include "Desk/Commands.h"
#include "Desk/Look.h"
#include "Desk/Words.h"
#include "Session/Amounts.h"
#include "Session/Setting.h"
#include "Session/Words.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace spillwright::desk {

namespace {

constexpr float headingHeight = 34.0f;
constexpr float groupInset = 12.0f;
constexpr float slopeWidth = 14.0f; ///< Kept for the slope beside the corner of a high-pass.

struct Column {
    TrackField field;
    const char* heading;
    float width;
    bool right;
};
constexpr std::array columns{
    Column{TrackField::level, "dBFS", 46.0f, true}, Column{TrackField::spill, "spill %", 40.0f, true},
    Column{TrackField::flip, "flip", 30.0f, false}, Column{TrackField::nudge, "nudge", 56.0f, true},
    Column{TrackField::gain, "gain", 44.0f, true},  Column{TrackField::highPass, "HP Hz", 54.0f, true},
    Column{TrackField::pan, "pan", 40.0f, true},    Column{TrackField::mute, "M", 20.0f, false},
    Column{TrackField::solo, "S", 20.0f, false},    Column{TrackField::hold, "hold", 30.0f, false},
    Column{TrackField::link, "", 14.0f, false},
};

std::size_t at(int index) {
    return static_cast<std::size_t>(index);
}

/// How a nudge may be typed.
constexpr const char* nudgeForms = "3.2 ms, 155 smp, 1.1 m or 43 in";

std::string explanation(TrackField field) {
    switch (field) {
    case TrackField::flip:
        return "Polarity: click or F turns the track upside down";
    case TrackField::nudge:
        return "Nudge: drag, or click and type " + std::string(nudgeForms) + "; plus is later";
    case TrackField::gain:
        return "Gain: drag, or click and type dB";
    case TrackField::highPass:
        return "High-pass: click and type a corner in Hz, or off; 80 24 is 24 dB an octave (12, 18, 24: up and down)";
    case TrackField::pan:
        return "Pan, at constant power (−3 dB in the centre): drag, or click and type L30, C or R100";
    case TrackField::mute:
        return "Mute: the track leaves the sum";
    case TrackField::solo:
        return "Solo: only such tracks are heard";
    case TrackField::hold:
        return "Hold: proposals leave flip and nudge as they are";
    case TrackField::link:
        return "Stereo pair: moves together; click to let pairs move singly";
    case TrackField::spill:
        return "Spill: the share of the track's energy that is not its own source, in per cent";
    case TrackField::name:
        return "Drag up or down to move it in the list; double click to call it something else here";
    case TrackField::level:
        return "Level: rms over what is read, dB of full scale";
    case TrackField::none:
        return "";
    }
    return "";
}

/// The next steeper slope (+1) or the next gentler one (-1), where there is one.
Slope neighbour(Slope slope, int direction) {
    const auto place = std::find(slopes.begin(), slopes.end(), slope) - slopes.begin() + direction;
    return slopes[static_cast<std::size_t>(std::clamp<std::ptrdiff_t>(place, 0, std::ssize(slopes) - 1))];
}

/// Up and down step the amount while it is typed.
class AmountEditor : public juce::TextEditor {
public:
    std::function<void(int)> step;
    bool keyPressed(const juce::KeyPress& key) override {
        if (step && (key.isKeyCode(juce::KeyPress::upKey) || key.isKeyCode(juce::KeyPress::downKey))) {
            step(key.isKeyCode(juce::KeyPress::upKey) ? 1 : -1);
            return true;
        }
        return juce::TextEditor::keyPressed(key);
    }
};

} // namespace

juce::Rectangle<float> fieldArea(TrackField field, juce::Rectangle<float> row) {
    row = row.withTrimmedRight(10.0f);
    float taken = 0.0f;
    for (auto it = columns.rbegin(); it != columns.rend(); ++it) {
        taken += it->width;
        if (it->field == field) return row.withX(row.getRight() - taken).withWidth(it->width);
    }
    return row.withTrimmedLeft(18.0f).withTrimmedRight(taken);
}

// ---- a row

TrackRow::TrackRow(Controller& c, int t, std::function<void(TrackField)> startEditing)
    : controller(c), track(t), edit(std::move(startEditing)) {
    setWantsKeyboardFocus(false);
    refresh();
}

void TrackRow::refresh() {
    const auto words = ui::text(words::track(controller, track));
    setTitle(words);
    repaint();
}

TrackField TrackRow::fieldAt(juce::Point<float> place) const {
    const auto bounds = getLocalBounds().toFloat();
    for (const auto& column : columns)
        if (fieldArea(column.field, bounds).contains(place)) return column.field;
    return TrackField::name;
}

void TrackRow::paintToggle(juce::Graphics& g, TrackField field, const char* letter, bool on, juce::Colour ground) {
    const auto& p = ui::palette();
    const auto area = fieldArea(field, getLocalBounds().toFloat()).withSizeKeepingCentre(17.0f, 17.0f);
    if (on) {
        g.setColour(ground);
        g.fillRoundedRectangle(area, 3.0f);
    } else if (hovered == field) {
        g.setColour(p.rules);
        g.drawRoundedRectangle(area, 3.0f, 1.0f);
    }
    ui::draw(g, letter, area, juce::Justification::centred, 11.5f, on ? p.paper : p.muted, on);
}

void TrackRow::paint(juce::Graphics& g) {
    const auto& p = ui::palette();
    const auto bounds = getLocalBounds().toFloat();
    const auto& info = controller.tracks()[at(track)];
    const auto& adjustment = controller.adjustments()[at(track)];
    const bool chosen = controller.selectedTrack() == track;

    const auto& together = controller.together();
    if (!chosen && std::binary_search(together.begin(), together.end(), track)) {
        g.setColour(p.selected.withAlpha(0.6f));
        g.fillRect(bounds.withTrimmedLeft(8.0f).withTrimmedRight(8.0f));
        g.setColour(p.accent);
        g.fillRect(bounds.withTrimmedLeft(8.0f).withWidth(1.5f));
    }
    if (chosen) {
        g.setColour(p.selected);
        g.fillRoundedRectangle(bounds.reduced(8.0f, 1.0f), 4.0f);
        g.setColour(p.accent);
        g.fillRoundedRectangle(bounds.reduced(8.0f, 4.0f).withWidth(3.0f), 1.5f);
    } else {
        g.setColour(p.rules.withAlpha(0.6f));
        g.fillRect(bounds.withTrimmedLeft(18.0f).withTrimmedRight(10.0f).removeFromBottom(1.0f));
        if (controller.partnerTrack() == track) { // the other of the chosen pair
            g.setColour(p.accent);
            g.fillEllipse(8.0f, bounds.getCentreY() - 2.5f, 5.0f, 5.0f);
        }
    }

    const bool silentNow = !isHeard(adjustment, controller.solo(), at(track));
    const auto nameColour = silentNow || info.state != TrackState::ok ? p.muted : p.ink;
    paintName(g, nameColour, chosen);

    if (const auto trouble = trackTrouble(info); !trouble.empty()) {
        const auto left = fieldArea(TrackField::level, bounds).getX();
        ui::draw(g, trouble, bounds.withLeft(left + 4.0f).withTrimmedRight(12.0f), juce::Justification::centredLeft,
                 12.5f, p.muted);
        return;
    }

    const auto number = [&](TrackField field, const std::string& text, bool set, float right = 0.0f) {
        auto area = fieldArea(field, bounds);
        if (hovered == field && (field == TrackField::nudge || field == TrackField::gain ||
                                 field == TrackField::highPass || field == TrackField::pan)) {
            g.setColour(p.rules);
            g.drawRoundedRectangle(area.reduced(2.0f, 4.0f), 3.0f, 1.0f);
        }
        ui::drawFigures(g, text, area.withTrimmedRight(6.0f + right), juce::Justification::centredRight, 13.0f,
                        set ? p.ink : p.muted, set);
    };
    const auto level = controller.levelDbfs(track);
    number(TrackField::level, level ? signedAmount(*level, 1) : "", false);
    if (controller.clippedSamples(track) > 0)
        ui::draw(g, "!", fieldArea(TrackField::level, bounds).withWidth(8.0f), juce::Justification::centred, 13.0f,
                 p.cancels, true);
    const auto spill = controller.spillShare(track);
    number(TrackField::spill,
           spill ? unsignedAmount(100.0 * *spill, 0) + (controller.spillShareUnsure(track) ? "?" : "") : "\u2013",
           false);
    number(TrackField::nudge, nudgeText(adjustment.nudge, controller.measures()), adjustment.nudge.value != 0.0);
    number(TrackField::gain, gainText(adjustment.gain.value), adjustment.gain.value != 0.0);
    number(TrackField::highPass, adjustment.highPass ? unsignedAmount(adjustment.highPass->value, 0) : "off",
           adjustment.highPass.has_value(), slopeWidth);
    if (adjustment.highPass)
        ui::drawFigures(g, std::to_string(inDecibelsPerOctave(adjustment.highPassSlope)),
                        fieldArea(TrackField::highPass, bounds).withTrimmedRight(6.0f),
                        juce::Justification::centredRight, 9.5f, p.muted);

    number(TrackField::pan, panText(effectivePan(info, adjustment)), adjustment.pan.has_value());

    // Polarity: an open ring with a stroke; filled when the track is upside down.
    const auto ring = fieldArea(TrackField::flip, bounds).withSizeKeepingCentre(17.0f, 17.0f);
    g.setColour(adjustment.flip ? p.ink : (hovered == TrackField::flip ? p.selected : p.raised));
    g.fillEllipse(ring);
    g.setColour(adjustment.flip ? p.ink : p.muted);
    g.drawEllipse(ring, 1.3f);
    g.setColour(adjustment.flip ? p.paper : p.muted);
    const auto inner = ring.reduced(5.0f);
    g.drawLine(inner.getX(), inner.getBottom(), inner.getRight(), inner.getY(), 1.6f);

    paintToggle(g, TrackField::mute, "M", adjustment.muted, p.ink);
    paintToggle(g, TrackField::solo, "S", controller.solo()[at(track)], p.accent);
    paintToggle(g, TrackField::hold, "H", controller.held(track), p.ink);

    if (info.linkedTo) { // two linked rows carry the two ends of one bracket
        const auto area = fieldArea(TrackField::link, bounds);
        const bool upper = *info.linkedTo > track;
        const float x = area.getCentreX(), y = area.getCentreY();
        juce::Path bracket;
        bracket.startNewSubPath(x - 4.0f, y);
        bracket.lineTo(x + 2.0f, y);
        bracket.lineTo(x + 2.0f, upper ? area.getBottom() : area.getY());
        if (!controller.linked()) {
            const float dashes[] = {2.0f, 2.5f};
            juce::PathStrokeType(1.3f).createDashedStroke(bracket, bracket, dashes, 2);
            g.setColour(p.muted);
            g.fillPath(bracket);
        } else {
            g.setColour(p.ink);
            g.strokePath(bracket, juce::PathStrokeType(1.4f));
        }
    }
}

/// In a group it stands farther in; a label is a letter on its colour.
void TrackRow::paintName(juce::Graphics& g, juce::Colour colour, bool chosen) {
    const auto& p = ui::palette();
    auto area = fieldArea(TrackField::name, getLocalBounds().toFloat()).withTrimmedRight(4.0f);
    if (controller.trackList().groupOf(track) >= 0) area.removeFromLeft(groupInset);
    if (const int label = controller.trackList().labels[at(track)]; label > 0) {
        const auto disc = area.removeFromLeft(19.0f).withSizeKeepingCentre(15.0f, 15.0f).translated(-2.0f, 0.0f);
        g.setColour(labelColour(p, label));
        g.fillEllipse(disc);
        ui::draw(g, labelLetter(label), disc, juce::Justification::centred, 10.0f, p.ink, true);
    }
    ui::draw(g, controller.shownName(track), area, juce::Justification::centredLeft, 13.5f, colour, chosen);
}

void TrackRow::mouseMove(const juce::MouseEvent& event) {
    const auto field = fieldAt(event.position);
    if (field == hovered) return;
    hovered = field;
    const auto trouble = trackTrouble(controller.tracks()[at(track)]);
    auto told = trouble.empty() ? explanation(field) : trouble;
    if (const int clipped = controller.clippedSamples(track); field == TrackField::level && clipped > 0)
        told = "! " + std::to_string(clipped) + " samples at full scale: listen for clipping";
    if (field == TrackField::spill && controller.spillShareUnsure(track))
        told += "; not sure whether it stands close to a source: " + keyOf(CommandId::standing) + " says so";
    setTooltip(ui::text(told));
    const bool draggable = field == TrackField::nudge || field == TrackField::gain || field == TrackField::pan;
    setMouseCursor(draggable ? juce::MouseCursor::LeftRightResizeCursor : juce::MouseCursor::NormalCursor);
    repaint();
}

void TrackRow::mouseExit(const juce::MouseEvent&) {
    hovered = TrackField::none;
    repaint();
}

void TrackRow::mouseDown(const juce::MouseEvent& event) {
    pressed = fieldAt(event.position);
    before = controller.adjustments()[at(track)];
    dragged = false;
    // Where nothing is set by a click, more tracks are chosen with Shift or Ctrl, and a plain click goes back to all.
    if (pressed == TrackField::name || pressed == TrackField::level || pressed == TrackField::spill) {
        if (event.mods.isShiftDown()) return controller.extendTogether(track);
        if (event.mods.isCommandDown()) return controller.toggleTogether(track);
        controller.leaveTogether();
    }
    controller.selectTrack(track);
    if (controller.tracks()[at(track)].state != TrackState::ok) {
        if (pressed != TrackField::name) pressed = TrackField::none;
        return;
    }
    switch (pressed) {
    case TrackField::flip:
        return controller.flip(track);
    case TrackField::mute:
        return controller.toggleMute(track);
    case TrackField::solo:
        return controller.toggleSolo(track);
    case TrackField::hold:
        return controller.toggleHold(track);
    case TrackField::link:
        if (controller.tracks()[at(track)].linkedTo) controller.toggleLinks();
        return;
    case TrackField::none:
    case TrackField::name:
    case TrackField::level:
    case TrackField::spill:
    case TrackField::nudge:
    case TrackField::gain:
    case TrackField::highPass:
    case TrackField::pan:
        return;
    }
}

void TrackRow::mouseDrag(const juce::MouseEvent& event) {
    if (pressed == TrackField::name) {
        if (!dragged && std::abs(event.getDistanceFromDragStartY()) < 6) return;
        dragged = true;
        if (onMove) onMove(track, event.position.y, false);
        return;
    }
    const int moved = event.getDistanceFromDragStartX();
    if (!dragged && std::abs(moved) < 3) return;
    dragged = true;
    const double by = moved * (event.mods.isShiftDown() ? 0.1 : 1.0);
    move.follow([this, by] {
        if (pressed == TrackField::nudge)
            controller.setNudge(track, Seconds(before.nudge.value + milliseconds(0.02 * by).value), true);
        if (pressed == TrackField::pan)
            controller.setPan(track, effectivePan(controller.tracks()[at(track)], before) + 0.01 * by, true);
        if (pressed == TrackField::gain) controller.setGain(track, Decibels(before.gain.value + 0.1 * by), true);
    });
}

void TrackRow::mouseDoubleClick(const juce::MouseEvent& event) {
    if (fieldAt(event.position) == TrackField::name) edit(TrackField::name);
}

void TrackRow::mouseUp(const juce::MouseEvent& event) {
    move.finish();
    controller.endGesture();
    if (pressed == TrackField::name && dragged && onMove) return onMove(track, event.position.y, true);
    const bool typed = pressed == TrackField::nudge || pressed == TrackField::gain || pressed == TrackField::highPass ||
                       pressed == TrackField::pan;
    if (typed && !dragged) edit(pressed);
}

// ---- a group

GroupRow::GroupRow(Controller& c, int group, std::function<void()> startRenaming)
    : controller(c), place(group), rename(std::move(startRenaming)) {
    setTitle(ui::text("Group " + controller.trackList().groups[at(place)].name));
    setTooltip("A click folds the group, a double click renames it");
}

void GroupRow::paint(juce::Graphics& g) {
    const auto& p = ui::palette();
    const auto& groups = controller.trackList().groups;
    if (place >= static_cast<int>(groups.size())) return; // a moment later it is laid out anew
    const auto& group = groups[at(place)];
    auto area = getLocalBounds().toFloat().withTrimmedLeft(18.0f);
    const auto mark = area.removeFromLeft(14.0f).withSizeKeepingCentre(8.0f, 8.0f).translated(-3.0f, 0.0f);
    juce::Path triangle;
    if (group.folded)
        triangle.addTriangle(mark.getTopLeft(), mark.getBottomLeft(), {mark.getRight(), mark.getCentreY()});
    else
        triangle.addTriangle(mark.getTopLeft(), mark.getTopRight(), {mark.getCentreX(), mark.getBottom()});
    g.setColour(p.muted);
    g.fillPath(triangle);
    ui::draw(g, group.name, area, juce::Justification::centredLeft, 12.5f, p.ink, true);
    area.removeFromLeft(ui::width(group.name, 12.5f, true) + 8.0f);
    ui::draw(g, std::to_string(group.tracks.size()) + " tracks", area, juce::Justification::centredLeft, 11.5f,
             p.muted);
}

void GroupRow::mouseUp(const juce::MouseEvent& event) {
    if (event.getNumberOfClicks() == 2) {
        controller.toggleFold(place); // back to what it was before the first click
        return rename();
    }
    controller.toggleFold(place);
}

// ---- the panel

TrackPanel::TrackPanel(Controller& c) : controller(c) {
    setTitle("Tracks");
    setOpaque(true);
    viewport.setViewedComponent(&list, false);
    viewport.setScrollBarsShown(true, false);
    viewport.setWantsKeyboardFocus(false);
    addAndMakeVisible(viewport);
    list.addChildComponent(dropLine);
    dropLine.setInterceptsMouseClicks(false, false);
    rebuild();
}

TrackPanel::~TrackPanel() = default;

void TrackPanel::DropLine::paint(juce::Graphics& g) {
    g.fillAll(ui::palette().accent);
}

void TrackPanel::rebuild() {
    stopTyping();
    rows.clear();
    for (int track = 0; track < controller.trackCount(); ++track) {
        rows.push_back(std::make_unique<TrackRow>(controller, track, [this](TrackField field) { type(field); }));
        rows.back()->onMove = [this](int moved, float y, bool dropped) {
            const float height = rows[at(moved)]->getY() + y;
            const int place = placeAt(moved, height);
            if (dropped) {
                dropLine.setVisible(false);
                return controller.moveTrack(moved, place);
            }
            const int line = juce::roundToInt(height / static_cast<float>(rows[at(moved)]->getHeight())) *
                             rows[at(moved)]->getHeight();
            dropLine.setBounds(12, line - 1, list.getWidth() - 24, 2);
            dropLine.setVisible(true);
            dropLine.toFront(false);
        };
        list.addAndMakeVisible(*rows.back());
    }
    layOut();
    repaint();
}

int TrackPanel::placeAt(int track, float y) const {
    const auto& order = controller.trackList().order;
    int place = 0;
    for (int other : order) {
        if (other == track) continue;
        const auto& each = *rows[at(other)];
        const bool hidden = controller.trackList().hidden(other);
        const float middle = hidden ? -1.0f : static_cast<float>(each.getBounds().getCentreY());
        if (!hidden && middle > y) break;
        ++place;
    }
    return place;
}

void TrackPanel::changed(unsigned what) {
    if (what & Controller::recordingChanged) return rebuild();
    if ((what & Controller::settingChanged) && !(shownList == controller.trackList())) {
        stopTyping();
        layOut();
    }
    if (what & Controller::selectionChanged) {
        if (typing() && editedTrack >= 0 && editedTrack != controller.selectedTrack()) stopTyping();
        if (const int chosen = controller.selectedTrack(); chosen >= 0 && chosen < static_cast<int>(rows.size())) {
            const auto area = rows[at(chosen)]->getBounds();
            const auto view = viewport.getViewArea();
            if (area.getY() < view.getY())
                viewport.setViewPosition(0, area.getY());
            else if (area.getBottom() > view.getBottom())
                viewport.setViewPosition(0, area.getBottom() - view.getHeight());
        }
    }
    if (what & (Controller::readingsChanged | Controller::settingChanged | Controller::selectionChanged |
                Controller::sourcesChanged))
        for (auto& each : rows)
            each->refresh();
}

void TrackPanel::resized() {
    const auto area = getLocalBounds().withTrimmedTop(juce::roundToInt(headingHeight)).withTrimmedBottom(4);
    viewport.setBounds(area);
    layOut();
}

/// From top to bottom as they are listed, each group under its name.
void TrackPanel::layOut() {
    const auto& shown = controller.trackList();
    if (shownList.groups != shown.groups || headers.size() != shown.groups.size()) {
        headers.clear();
        for (int group = 0; group < static_cast<int>(shown.groups.size()); ++group) {
            headers.push_back(std::make_unique<GroupRow>(controller, group, [this, group] { typeGroup(group); }));
            list.addAndMakeVisible(*headers.back());
        }
    }
    shownList = shown;
    const auto hiddenCount =
        std::count_if(shown.order.begin(), shown.order.end(), [&](int t) { return shown.hidden(t); });
    const int count = static_cast<int>(shown.order.size() + shown.groups.size()) - static_cast<int>(hiddenCount);
    if (rows.empty() || shown.order.size() != rows.size()) return;
    const auto area = viewport.getBounds();
    const int height = std::clamp(area.getHeight() / count, 22, 29);
    const bool scrolls = height * count > area.getHeight();
    list.setSize(area.getWidth() - (scrolls ? viewport.getScrollBarThickness() : 0), height * count);
    int y = 0;
    const auto place = [&](juce::Component& line) {
        line.setBounds(0, y, list.getWidth(), height);
        y += height;
    };
    for (int track : shown.order) {
        if (const int group = shown.groupOf(track); group >= 0 && shown.groups[at(group)].tracks.front() == track)
            place(*headers[at(group)]);
        rows[at(track)]->setVisible(!shown.hidden(track));
        if (!shown.hidden(track)) place(*rows[at(track)]);
    }
    list.repaint();
}

void TrackPanel::paint(juce::Graphics& g) {
    const auto& p = ui::palette();
    g.fillAll(p.paper);
    auto header = getLocalBounds().toFloat().removeFromTop(headingHeight);
    ui::heading(g, "TRACKS", header.withTrimmedLeft(18.0f));
    if (rows.empty()) return;
    if (viewport.isVerticalScrollBarShown())
        header.removeFromRight(static_cast<float>(viewport.getScrollBarThickness()));
    for (const auto& column : columns) {
        auto area = fieldArea(column.field, header);
        std::string heading = column.heading;
        if (column.field == TrackField::nudge) heading += " " + nudgeUnitName(controller.units());
        ui::draw(g, heading, column.right ? area.withTrimmedRight(6.0f).withTrimmedLeft(-20.0f) : area,
                 column.right ? juce::Justification::centredRight : juce::Justification::centred, 11.0f, p.muted);
    }
}

void TrackPanel::type(TrackField field) {
    const int track = controller.selectedTrack();
    if (track < 0 || track >= static_cast<int>(rows.size())) return;
    if (field != TrackField::name && controller.tracks()[at(track)].state != TrackState::ok) return;
    stopTyping();
    edited = field;
    editedTrack = track;
    const auto& adjustment = controller.adjustments()[at(track)];
    std::string text;
    if (field == TrackField::name) text = controller.shownName(track);
    if (field == TrackField::nudge) text = nudgeText(adjustment.nudge, controller.measures());
    if (field == TrackField::gain) text = gainText(adjustment.gain.value);
    if (field == TrackField::highPass) text = highPassText(adjustment);
    if (field == TrackField::pan) text = panText(effectivePan(controller.tracks()[at(track)], adjustment));

    openEditor(
        field == TrackField::nudge  ? "Nudge"
        : field == TrackField::name ? "Name"
        : field == TrackField::gain ? "Gain"
        : field == TrackField::pan  ? "Pan"
                                    : "High-pass",
        text,
        (field == TrackField::name
             ? fieldArea(field, rows[at(track)]->getBounds().toFloat())
             : fieldArea(field, rows[at(track)]->getBounds().toFloat()).expanded(4.0f, 0.0f).withTrimmedLeft(-26.0f))
            .toNearestInt());
    auto* typed = static_cast<AmountEditor*>(editor.get());
    typed->step = [this](int direction) {
        if (edited == TrackField::nudge)
            controller.nudgeBy(editedTrack, Seconds(nudgeStep(controller.measures()).value * direction));
        if (edited == TrackField::gain)
            controller.setGain(editedTrack,
                               Decibels(controller.adjustments()[at(editedTrack)].gain.value + 0.5 * direction));
        if (edited == TrackField::highPass) {
            const auto& before = controller.adjustments()[at(editedTrack)];
            controller.setHighPass(editedTrack, before.highPass, neighbour(before.highPassSlope, direction));
        }
        if (edited == TrackField::pan)
            controller.setPan(editedTrack, effectivePan(controller.tracks()[at(editedTrack)],
                                                        controller.adjustments()[at(editedTrack)]) +
                                               0.05 * direction);
        const auto& now = controller.adjustments()[at(editedTrack)];
        if (edited == TrackField::pan)
            editor->setText(ui::text(panText(effectivePan(controller.tracks()[at(editedTrack)], now))), false);
        if (edited == TrackField::highPass) editor->setText(ui::text(highPassText(now)), false);
        if (edited == TrackField::nudge) editor->setText(ui::text(nudgeText(now.nudge, controller.measures())), false);
        if (edited == TrackField::gain) editor->setText(ui::text(gainText(now.gain.value)), false);
    };
}

void TrackPanel::typeGroup(int group) {
    if (group < 0 || group >= static_cast<int>(headers.size())) return;
    stopTyping();
    edited = TrackField::name;
    editedTrack = -1;
    editedGroup = group;
    openEditor("Name of the group", controller.trackList().groups[at(group)].name,
               headers[at(group)]->getBounds().withTrimmedLeft(26).withWidth(170));
}

void TrackPanel::openEditor(const juce::String& title, const std::string& text, juce::Rectangle<int> area) {
    auto typed = std::make_unique<AmountEditor>();
    typed->setFont(ui::font(13.0f));
    typed->setJustification(edited == TrackField::name ? juce::Justification::centredLeft
                                                       : juce::Justification::centredRight);
    typed->setText(ui::text(text), false);
    typed->setTitle(title);
    typed->setSelectAllWhenFocused(true);
    typed->onReturnKey = [this] { takeText(); };
    typed->onEscapeKey = [this] { stopTyping(); };
    typed->onFocusLost = [this] { stopTyping(); };
    typed->setBounds(area);
    editor = std::move(typed);
    list.addAndMakeVisible(*editor);
    editor->grabKeyboardFocus();
}

void TrackPanel::takeText() {
    const auto typed = editor->getText().toStdString();
    bool understood = false;
    if (edited == TrackField::name) {
        const auto name = juce::String::fromUTF8(typed.c_str()).trim().toStdString();
        const int track = editedTrack, group = editedGroup;
        stopTyping(); // what follows lays the rows out anew
        return track >= 0 ? controller.renameTrack(track, name) : controller.renameGroup(group, name);
    }
    if (edited == TrackField::nudge) {
        const auto measures = controller.measures();
        if (const auto nudge = parseNudge(typed, measures)) {
            // It is shown rounded: what was not changed stays exact.
            if (typed != nudgeText(controller.adjustments()[at(editedTrack)].nudge, measures))
                controller.setNudge(editedTrack, *nudge);
            if (std::abs(nudge->value) > Controller::largestNudge.value)
                controller.say("A nudge is at most 1 s, either way; it was set to that.");
            understood = true;
        } else {
            controller.say("'" + typed + "' is no nudge; type " + nudgeForms, true);
        }
    } else if (edited == TrackField::gain) {
        if (const auto gain = parseGain(typed)) {
            controller.setGain(editedTrack, *gain);
            understood = true;
        } else {
            controller.say("'" + typed + "' is no gain; type decibels, such as -3 or 1.5", true);
        }
    } else if (edited == TrackField::pan) {
        if (const auto pan = parsePan(typed)) {
            controller.setPan(editedTrack, *pan);
            understood = true;
        } else {
            controller.say("'" + typed + "' is no place between left and right; type L30, C or R100", true);
        }
    } else if (edited == TrackField::highPass) {
        if (const auto entry = parseHighPass(typed)) {
            controller.setHighPass(editedTrack, entry->corner, entry->slope);
            understood = true;
        } else {
            controller.say(
                "'" + typed +
                    "' is no high-pass; type a corner such as 80 Hz, a slope of 12, 18 or 24 after it, or off",
                true);
        }
    }
    if (understood) stopTyping();
}

void TrackPanel::stopTyping() {
    if (!editor) return;
    auto leaving = std::move(editor);
    leaving->onFocusLost = nullptr;
    list.removeChildComponent(leaving.get());
    if (auto* home = getParentComponent(); home && home->isShowing()) home->grabKeyboardFocus();
    // The editor may be the one that called: it goes when its call is over.
    juce::MessageManager::callAsync(
        [kept = std::shared_ptr<juce::TextEditor>(leaving.release())] { juce::ignoreUnused(kept); });
}

} // namespace spillwright::desk
