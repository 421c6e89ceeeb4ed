#include "Desk/SpillView.h"

#include "Desk/Look.h"
#include "Desk/Words.h"
#include "Session/Amounts.h"

#include <algorithm>
#include <cmath>

namespace spillwright::desk {

namespace {

constexpr float headerHeight = 34.0f, footerHeight = 62.0f;
constexpr float nameHeight = 12.5f, slant = -0.9f; // radians: column names lean, so that many fit
constexpr float widest = 46.0f, highest = 34.0f;
constexpr float smallestWithSign = 9.0f;
constexpr double earliestMs = -5.0, latestMs = 30.0;

std::size_t at(int index) {
    return static_cast<std::size_t>(index);
}

} // namespace

float SpillView::sizeOf(Decibels level) {
    return static_cast<float>(std::clamp(1.0 - level.value / faintest.value, 0.0, 1.0)) * 0.82f + 0.18f;
}

float SpillView::tickOf(Seconds later) {
    return static_cast<float>(std::clamp((inMilliseconds(later) - earliestMs) / (latestMs - earliestMs), 0.0, 1.0));
}

SpillView::SpillView(Controller& c) : controller(c) {
    setTitle("Map of sources");
    setOpaque(true);
    setMouseClickGrabsKeyboardFocus(false);
    addAndMakeVisible(pairsButton);
    addAndMakeVisible(standingButton);
    changed(~0u);
}

void SpillView::refreshButtons() {
    pairsButton.show("pairs", CommandId::sourceMap, false);
    pairsButton.setTopRightPosition(getWidth() - 10, 6);
    const auto* m = controller.withSources();
    const auto unsure = m ? m->sources->unsure.size() : 0;
    standingButton.show(!m                     ? ""
                        : !m->sources->guessed ? "as you said"
                        : unsure > 0           ? "guessed, " + std::to_string(unsure) + " unsure"
                                               : "guessed",
                        CommandId::standing, unsure > 0);
    standingButton.setTopLeftPosition(juce::roundToInt(left) + 66, 6);
}

void SpillView::layOut() {
    listed = controller.trackList();
    rows.resize(listed.order.size());
    for (std::size_t row = 0; row < rows.size(); ++row)
        rows[at(listed.order[row])] = static_cast<int>(row);
    const auto tracks = static_cast<float>(std::max(1, controller.trackCount()));
    const auto sources = static_cast<float>(std::max(1, controller.sourceCount()));
    names = 40.0f;
    for (int t = 0; t < controller.trackCount(); ++t)
        names = std::max(names, ui::width(controller.shownName(t), nameHeight, true) + 10.0f);
    names = std::min(names, static_cast<float>(getWidth()) * 0.34f);
    float longest = 40.0f;
    for (int source = 0; source < controller.sourceCount(); ++source)
        longest = std::max(longest, ui::width(controller.shownSourceName(source), nameHeight, true));
    longest = std::min(longest, 130.0f);
    top = headerHeight + longest * std::sin(-slant) + 18.0f;
    const float room = static_cast<float>(getWidth()) - left - names - longest * std::cos(slant) - 12.0f;
    wide = std::clamp(room / sources, 6.0f, widest);
    high = std::clamp((static_cast<float>(getHeight()) - top - footerHeight) / tracks, 5.0f, highest);
}

void SpillView::resized() {
    layOut();
    refreshButtons();
}

juce::Rectangle<float> SpillView::cellArea(Cell cell) const {
    return {left + names + static_cast<float>(cell.source) * wide,
            top + static_cast<float>(rows[at(cell.track)]) * high, wide, high};
}

std::optional<SpillView::Cell> SpillView::cellAt(juce::Point<float> place) const {
    const int source = static_cast<int>(std::floor((place.x - left - names) / wide));
    const int row = static_cast<int>(std::floor((place.y - top) / high));
    if (source < 0 || row < 0 || source >= controller.sourceCount() || row >= controller.trackCount())
        return std::nullopt;
    return Cell{listed.order[at(row)], source};
}

std::optional<int> SpillView::headingAt(juce::Point<float> place) const {
    if (place.y < headerHeight || place.y >= top) return std::nullopt;
    // The names lean to the right: back along the slant to the column they begin at.
    const float x = place.x - (top - place.y) / std::tan(-slant);
    const int source = static_cast<int>(std::floor((x - left - names) / wide));
    return source >= 0 && source < controller.sourceCount() ? std::optional(source) : std::nullopt;
}

void SpillView::showHeard(std::optional<Cell> cell, const std::string& words) {
    if (heard == cell && toldOfHeard == words) return;
    heard = cell;
    toldOfHeard = words;
    repaint();
}

void SpillView::changed(unsigned what) {
    const bool listedAnew = what & Controller::settingChanged && listed != controller.trackList();
    if (listedAnew || what & (Controller::recordingChanged | Controller::sourcesChanged)) {
        hovered.reset();
        layOut();
        refreshButtons();
        repaint();
    }
    if (what & (Controller::selectionChanged | Controller::settingChanged | Controller::readingsChanged)) repaint();
}

void SpillView::paintCell(juce::Graphics& g, Cell cell) {
    const auto& p = ui::palette();
    const auto* reading = controller.spill(cell.source, cell.track);
    if (!reading) return;
    const auto area = cellArea(cell);
    const auto& close = controller.withSources()->sources->map.plan.sources[at(cell.source)].closeTracks;
    const bool own = std::find(close.begin(), close.end(), cell.track) != close.end();
    const float room = std::min(wide, high) - 5.0f;
    auto disc = area.withTrimmedBottom(3.0f);
    if (!reading->level) {
        g.setColour(p.muted.withAlpha(0.6f));
        if (reading->whyNoLevel == Untold::tooFaint)
            g.fillEllipse(disc.withSizeKeepingCentre(2.0f, 2.0f));
        else
            ui::draw(g, "?", disc, juce::Justification::centred, std::min(11.0f, high * 0.6f), p.muted);
        return;
    }
    const float size = std::max(2.5f, room * sizeOf(*reading->level));
    disc = disc.withSizeKeepingCentre(size, size);
    const auto fill = own ? p.accent : p.ink;
    g.setColour(fill);
    g.fillEllipse(disc);
    if (own) {
        g.setColour(p.accent);
        g.drawEllipse(area.withTrimmedBottom(3.0f).withSizeKeepingCentre(room + 3.0f, room + 3.0f), 1.2f);
    }
    if (reading->polarity) {
        const bool inverted = reading->polarity->polarity == Polarity::inverted;
        const bool inside = size >= smallestWithSign;
        const auto mark =
            inside ? disc : disc.withPosition(disc.getRight() + 1.0f, disc.getCentreY() - 3.5f).withSize(7.0f, 7.0f);
        const float arm = inside ? std::min(3.5f, size * 0.27f) : 2.5f;
        g.setColour(inside ? (own ? p.onAccent : p.paper) : p.muted);
        const auto c = mark.getCentre();
        if (inverted || inside || wide >= 24.0f) {
            g.fillRect(c.x - arm, c.y - 0.75f, 2.0f * arm, 1.5f);
            if (!inverted) g.fillRect(c.x - 0.75f, c.y - arm, 1.5f, 2.0f * arm);
        }
    }
    if (reading->arrival && !own && high >= 14.0f) {
        const auto line = area.reduced(3.0f, 0.0f).removeFromBottom(4.0f);
        g.setColour(p.rules);
        g.fillRect(line.withSizeKeepingCentre(line.getWidth(), 1.0f));
        g.setColour(p.accent);
        g.fillRect(line.getX() + line.getWidth() * tickOf(reading->arrival->delay) - 0.75f, line.getY(), 1.5f,
                   line.getHeight());
    }
}

void SpillView::paintLegend(juce::Graphics& g, juce::Rectangle<float> area) {
    const auto& p = ui::palette();
    const auto line = [&](const std::string& words) {
        ui::drawWhole(g, words, area.removeFromTop(17.0f), juce::Justification::centredLeft, 12.0f, p.muted);
    };
    line("Disc: level, down to \u221230 dB; ringed: close track. Sign: polarity.");
    line("Tick: how late, \u22125 to 30 ms. Dot: too faint. ?: cannot be told.");
    line("Click: a cell to hear it, a name to read it alone. " + keyOf(CommandId::hearAlone) + ", " +
         keyOf(CommandId::hearAloneInAll) + ": hear it alone.");
}

void SpillView::paint(juce::Graphics& g) {
    const auto& p = ui::palette();
    g.fillAll(p.paper);
    const auto bounds = getLocalBounds().toFloat();
    ui::heading(g, "SOURCES", bounds.withHeight(headerHeight).withTrimmedLeft(left));
    auto footer = bounds.withTop(bounds.getBottom() - footerHeight).reduced(left, 4.0f);
    const int sources = controller.sourceCount(), tracks = controller.trackCount();
    const auto* told = controller.withSources();
    if (!told || told->sources->map.readings.empty()) {
        const bool empty = told && sources == 0;
        g.setColour(p.muted);
        g.setFont(ui::font(13.5f));
        g.drawFittedText(
            ui::text(empty  ? "No track stands close to a source: " + keyOf(CommandId::standing) + " says which does."
                     : told ? "The recording is too short to tell its sources apart."
                            : (controller.hearingSources() ? "hearing which source is where ..." : "not measured yet")),
            bounds.withSizeKeepingCentre(bounds.getWidth() - 40.0f, 48.0f).toNearestInt(), juce::Justification::centred,
            2, 1.0f);
        return;
    }
    const int chosen = controller.chosenSource(), track = controller.selectedTrack();
    g.setColour(p.selected);
    if (track >= 0) g.fillRect(cellArea({track, 0}).withX(left).withRight(cellArea({track, sources - 1}).getRight()));
    if (chosen >= 0)
        g.fillRect(cellArea({0, chosen}).withTop(top - 4.0f).withBottom(top + static_cast<float>(tracks) * high));
    for (int s = 0; s < sources; ++s) {
        juce::Graphics::ScopedSaveState saved(g);
        const auto foot = juce::Point<float>(cellArea({0, s}).getCentreX() + 2.0f, top - 8.0f);
        g.addTransform(juce::AffineTransform::rotation(slant, foot.x, foot.y));
        const bool alone = controller.focused() == s;
        ui::draw(g, controller.shownSourceName(s), {foot.x, foot.y - 8.0f, 132.0f, 16.0f},
                 juce::Justification::centredLeft, std::clamp(wide * 0.7f, 9.0f, nameHeight),
                 alone         ? p.accent
                 : s == chosen ? p.ink
                               : p.muted,
                 alone || s == chosen);
    }
    for (int t = 0; t < tracks; ++t) {
        const auto row = cellArea({t, 0});
        if (high >= 10.0f || t == track)
            ui::draw(g, controller.shownName(t), row.withX(left + 4.0f).withWidth(names - 8.0f),
                     juce::Justification::centredLeft, std::clamp(high * 0.7f, 9.0f, nameHeight),
                     t == track ? p.ink : p.muted, t == track);
        g.setColour(p.rules.withAlpha(0.5f));
        g.fillRect(row.withX(left).withRight(cellArea({t, sources - 1}).getRight()).removeFromBottom(1.0f));
        for (int s = 0; s < sources; ++s)
            paintCell(g, {t, s});
    }
    if (heard) {
        g.setColour(p.accent);
        g.drawRect(cellArea(*heard), 2.0f);
    }
    if (hovered) {
        g.setColour(p.muted);
        g.drawRect(cellArea(*hovered), 1.0f);
        g.setColour(p.ink);
        g.setFont(ui::font(12.5f));
        auto words = words::cell(controller, hovered->source, hovered->track);
        words += heard == hovered ? "\nclick: back to the sum" : "\nclick: hear it where the source leads";
        g.drawFittedText(ui::text(words), footer.toNearestInt(), juce::Justification::topLeft, 3, 1.0f);
    } else if (heard) {
        g.setColour(p.ink);
        g.setFont(ui::font(12.5f));
        g.drawFittedText(ui::text(toldOfHeard), footer.toNearestInt(), juce::Justification::topLeft, 3, 1.0f);
    } else {
        paintLegend(g, footer);
    }
}

void SpillView::mouseMove(const juce::MouseEvent& event) {
    const auto cell = cellAt(event.position);
    setMouseCursor(cell || headingAt(event.position) ? juce::MouseCursor::PointingHandCursor
                                                     : juce::MouseCursor::NormalCursor);
    if (cell == hovered) return;
    hovered = cell;
    repaint();
}

void SpillView::mouseExit(const juce::MouseEvent&) {
    hovered.reset();
    repaint();
}

void SpillView::mouseDown(const juce::MouseEvent& event) {
    if (const auto cell = cellAt(event.position)) {
        controller.selectTrack(cell->track);
        controller.chooseSource(cell->source);
        if (onHear) onHear(*cell);
    } else if (const auto source = headingAt(event.position)) {
        controller.setFocus(controller.focused() == source ? std::nullopt : source);
    }
    if (auto* window = getParentComponent(); window && window->isShowing()) window->grabKeyboardFocus();
}

} // namespace spillwright::desk
