#include "Desk/FloorPlan.h"

#include "Desk/Look.h"
#include "Session/Amounts.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace spillwright::desk {

namespace {

constexpr float margin = 14.0f, footHeight = 18.0f, dotSize = 9.0f, sourceSize = 15.0f, nearEnough = 14.0f;
constexpr int badgeSize = 22;
constexpr float thinnestWall = 1.0f, thickestWall = 8.0f;

} // namespace

struct FloorPlan::Badge : juce::Component {
    Badge(FloorPlan& p, int w) : plan(p), which(w) {
        setWantsKeyboardFocus(true);
        setMouseCursor(juce::MouseCursor::DraggingHandCursor);
    }
    void paint(juce::Graphics& g) override {
        const auto& p = ui::palette();
        const auto area = getLocalBounds().toFloat().reduced(1.0f);
        const bool source = which == theSource;
        const bool muted = !source && plan.room.microphones[static_cast<std::size_t>(which)].adjustment.muted;
        g.setColour(source ? p.accent : p.raised);
        g.fillRoundedRectangle(area, source ? 4.0f : area.getWidth() / 2.0f);
        g.setColour(source ? p.accent : muted ? p.muted : p.ink);
        g.drawRoundedRectangle(area, source ? 4.0f : area.getWidth() / 2.0f, 1.4f);
        ui::draw(g, source ? "S" : std::to_string(which + 1), area, juce::Justification::centred, 12.0f,
                 source  ? p.onAccent
                 : muted ? p.muted
                         : p.ink,
                 true);
        if (hasKeyboardFocus(true)) ui::drawFocus(g, getLocalBounds().toFloat(), 5.0f, source);
    }
    bool keyPressed(const juce::KeyPress& key) override {
        const double step = key.getModifiers().isShiftDown() ? largeKeyStep : keyStep;
        if (key.getModifiers().isCtrlDown() || key.getModifiers().isAltDown()) return false;
        if (key.isKeyCode(juce::KeyPress::leftKey)) return plan.moveByKey(which, -step, 0.0, 0.0), true;
        if (key.isKeyCode(juce::KeyPress::rightKey)) return plan.moveByKey(which, step, 0.0, 0.0), true;
        if (key.isKeyCode(juce::KeyPress::upKey)) return plan.moveByKey(which, 0.0, step, 0.0), true;
        if (key.isKeyCode(juce::KeyPress::downKey)) return plan.moveByKey(which, 0.0, -step, 0.0), true;
        if (key.isKeyCode(juce::KeyPress::pageUpKey)) return plan.moveByKey(which, 0.0, 0.0, step), true;
        if (key.isKeyCode(juce::KeyPress::pageDownKey)) return plan.moveByKey(which, 0.0, 0.0, -step), true;
        return false;
    }
    void focusGained(FocusChangeType) override { repaint(); }
    void focusLost(FocusChangeType) override { repaint(); }
    void mouseDown(const juce::MouseEvent& event) override {
        plan.press(which, event.getEventRelativeTo(&plan).position);
    }
    void mouseDrag(const juce::MouseEvent& event) override { plan.mouseDrag(event.getEventRelativeTo(&plan)); }
    void mouseUp(const juce::MouseEvent& event) override { plan.mouseUp(event.getEventRelativeTo(&plan)); }

    FloorPlan& plan;
    const int which;
};

FloorPlan::FloorPlan() {
    setTitle("Floor plan");
}

FloorPlan::~FloorPlan() = default;

juce::Component& FloorPlan::badge(int which) {
    return *badges[static_cast<std::size_t>(which + 1)];
}

void FloorPlan::show(const PracticeRoom& shown) {
    room = shown;
    while (badges.size() > room.microphones.size() + 1)
        badges.pop_back();
    while (badges.size() < room.microphones.size() + 1) {
        badges.push_back(std::make_unique<Badge>(*this, static_cast<int>(badges.size()) - 1));
        addAndMakeVisible(*badges.back());
    }
    for (const auto& each : badges) {
        const auto& at = position(each->which);
        each->setTitle(ui::text(each->which == theSource
                                    ? "Source"
                                    : "Microphone " + std::to_string(each->which + 1) + ", " +
                                          room.microphones[static_cast<std::size_t>(each->which)].name));
        each->setDescription(ui::text(unsignedAmount(at.x, 2) + " m from the left, " + unsignedAmount(at.y, 2) +
                                      " m from the lower wall, " + unsignedAmount(at.z, 2) + " m high"));
    }
    layOut();
}

float FloorPlan::perMetre() const {
    return floor.getWidth() / static_cast<float>(room.size.x);
}

juce::Point<float> FloorPlan::placeOf(const Point& point) const {
    return {floor.getX() + static_cast<float>(point.x) * perMetre(),
            floor.getBottom() - static_cast<float>(point.y) * perMetre()};
}

void FloorPlan::resized() {
    layOut();
}

/// The room as large as it goes; no badge lies over another one.
void FloorPlan::layOut() {
    const auto area = getLocalBounds().toFloat().reduced(margin).withTrimmedBottom(footHeight);
    const float scale = std::max(1.0f, std::min(area.getWidth() / static_cast<float>(room.size.x),
                                                area.getHeight() / static_cast<float>(room.size.y)));
    floor =
        area.withSizeKeepingCentre(static_cast<float>(room.size.x) * scale, static_cast<float>(room.size.y) * scale);
    const auto within = getLocalBounds().withTrimmedBottom(juce::roundToInt(footHeight));
    constexpr float diagonal = 15.0f, straight = 20.0f;
    static const std::array<juce::Point<float>, 8> ways{{{diagonal, -diagonal},
                                                         {-diagonal, -diagonal},
                                                         {diagonal, diagonal},
                                                         {-diagonal, diagonal},
                                                         {0.0f, -straight},
                                                         {straight, 0.0f},
                                                         {0.0f, straight},
                                                         {-straight, 0.0f}}};
    for (std::size_t k = 0; k < badges.size(); ++k) {
        const auto dot = placeOf(position(badges[k]->which));
        juce::Rectangle<int> found;
        for (float far = 1.0f; found.isEmpty() && far < 8.0f; far += 0.5f)
            for (const auto& way : ways) {
                const auto place =
                    juce::Rectangle<int>(badgeSize, badgeSize).withCentre((dot + way * far).roundToInt());
                const bool free = within.contains(place) &&
                                  std::none_of(badges.begin(), badges.begin() + static_cast<std::ptrdiff_t>(k),
                                               [&](const auto& other) { return other->getBounds().intersects(place); });
                if (!free) continue;
                found = place;
                break;
            }
        badges[k]->setBounds(found);
    }
    repaint();
}

void FloorPlan::paint(juce::Graphics& g) {
    const auto& p = ui::palette();
    g.setColour(p.raised);
    g.fillRect(floor);
    g.setColour(p.rules.withAlpha(0.5f));
    for (int metre = 1; metre < room.size.x; ++metre)
        g.fillRect(floor.getX() + static_cast<float>(metre) * perMetre(), floor.getY(), 0.6f, floor.getHeight());
    for (int metre = 1; metre < room.size.y; ++metre)
        g.fillRect(floor.getX(), floor.getBottom() - static_cast<float>(metre) * perMetre(), floor.getWidth(), 0.6f);

    const auto corners =
        std::array{floor.getBottomLeft(), floor.getTopLeft(), floor.getTopRight(), floor.getBottomRight()};
    const auto wall = [&](Surface surface, juce::Point<float> from, juce::Point<float> to) {
        const double absorbed = room.absorption[static_cast<std::size_t>(surface)];
        const juce::Line<float> line(from, to);
        g.setColour(absorbed == 1.0 ? p.muted : p.ink);
        const float dashes[] = {3.0f, 4.0f};
        if (absorbed == 1.0)
            g.drawDashedLine(line, dashes, 2, thinnestWall);
        else
            g.drawLine(line, thinnestWall + (thickestWall - thinnestWall) * static_cast<float>(1.0 - absorbed));
    };
    wall(Surface::xLow, corners[0], corners[1]);
    wall(Surface::yHigh, corners[1], corners[2]);
    wall(Surface::xHigh, corners[2], corners[3]);
    wall(Surface::yLow, corners[3], corners[0]);

    const auto source = placeOf(room.source);
    g.setColour(p.muted);
    for (const auto& microphone : room.microphones) {
        const float dashes[] = {5.0f, 4.0f};
        g.drawDashedLine({source, placeOf(microphone.position)}, dashes, 2, 1.0f);
    }
    for (const auto& each : badges) {
        const auto dot = placeOf(position(each->which));
        g.setColour(p.muted);
        g.drawLine({dot, each->getBounds().toFloat().getCentre()}, 1.0f);
        g.setColour(each->which == theSource ? p.accent : p.ink);
        const float size = each->which == theSource ? sourceSize : dotSize;
        g.fillEllipse(juce::Rectangle<float>(size, size).withCentre(dot));
        if (each->which == theSource) continue;
        const auto& pattern = room.microphones[static_cast<std::size_t>(each->which)].pattern;
        if (pattern.omniShare == 1.0) continue;
        const auto aim = placeOf(pattern.aimedAt) - dot;
        if (aim.getDistanceFromOrigin() < 1.0f) continue;
        g.drawLine({dot, dot + aim / aim.getDistanceFromOrigin() * 14.0f}, 2.5f);
    }
    const auto sizes = unsignedAmount(room.size.x, 1) + " \u00d7 " + unsignedAmount(room.size.y, 1) + " m, " +
                       unsignedAmount(room.size.z, 1) + " m high; a square is 1 m";
    ui::drawWhole(g, sizes, getLocalBounds().toFloat().removeFromBottom(footHeight), juce::Justification::centred,
                  11.5f, p.muted);
}

void FloorPlan::press(int which, juce::Point<float> at) {
    held = Held{which, placeOf(position(which)) - at};
    if (isShowing()) badge(which).grabKeyboardFocus();
}

/// The nearest of what stands there; of several on one place the one that has the keyboard.
void FloorPlan::mouseDown(const juce::MouseEvent& event) {
    std::optional<int> nearest;
    float distance = nearEnough;
    for (const auto& each : badges) {
        const float away = placeOf(position(each->which)).getDistanceFrom(event.position) -
                           (each->hasKeyboardFocus(true) ? 1.0f : 0.0f);
        if (away < distance) nearest = each->which, distance = away;
    }
    if (nearest) press(*nearest, event.position);
}

void FloorPlan::mouseDrag(const juce::MouseEvent& event) {
    if (!held || !onMove) return;
    const auto at = event.position + held->offset;
    onMove(held->which, {static_cast<double>((at.x - floor.getX()) / perMetre()),
                         static_cast<double>((floor.getBottom() - at.y) / perMetre()), position(held->which).z});
}

void FloorPlan::mouseUp(const juce::MouseEvent&) {
    if (!held) return;
    held.reset();
    if (onRelease) onRelease();
}

void FloorPlan::moveByKey(int which, double x, double y, double z) {
    const auto& from = position(which);
    if (onMove) onMove(which, {from.x + x, from.y + y, from.z + z});
}

} // namespace spillwright::desk
