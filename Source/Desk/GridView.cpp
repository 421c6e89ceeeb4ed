#include "Desk/GridView.h"

#include "Desk/Amounts.h"
#include "Desk/Commands.h"
#include "Desk/Look.h"
#include "Desk/Words.h"

#include <algorithm>
#include <cmath>

namespace spillwright::desk {

namespace {

constexpr float headingHeight = 34.0f;
constexpr float footerHeight = 62.0f;
constexpr float nameHeight = 12.5f, nameGap = 6.0f;
constexpr float smallestStep = 4.0f, largestStep = 44.0f;
/// Squares at which a sign can be read; below it the shape alone carries the sign: a bar for what cancels.
constexpr float smallestWithSign = 8.0f;

std::size_t at(int index) {
    return static_cast<std::size_t>(index);
}

void plus(juce::Graphics& g, juce::Rectangle<float> area, bool upright) {
    const float arm = std::min(4.0f, area.getWidth() * 0.27f), thick = area.getWidth() > 14.0f ? 1.7f : 1.4f;
    const auto c = area.getCentre();
    g.fillRect(c.x - arm, c.y - thick / 2.0f, 2.0f * arm, thick);
    if (upright) g.fillRect(c.x - thick / 2.0f, c.y - arm, thick, 2.0f * arm);
}

void hatch(juce::Graphics& g, juce::Rectangle<float> area, juce::Colour colour) {
    juce::Graphics::ScopedSaveState saved(g);
    g.reduceClipRegion(area.toNearestIntEdges());
    g.setColour(colour);
    for (float x = area.getX() - area.getHeight(); x < area.getRight(); x += 4.0f)
        g.drawLine(x, area.getBottom(), x + area.getHeight(), area.getY(), 1.2f);
}

} // namespace

GridView::GridView(Controller& c) : controller(c), squares(*this) {
    setTitle("Grid of pairs");
    setOpaque(true);
    setMouseClickGrabsKeyboardFocus(false); // it would give it to its button
    addAndMakeVisible(squares);
    momentsButton.onClick = [this] {
        if (controller.focused())
            controller.setFocus(std::nullopt);
        else
            controller.toggleReadLoop();
    };
    addAndMakeVisible(momentsButton);
    addAndMakeVisible(mapButton);
    changed(~0u);
}

void GridView::refreshChoice() {
    const bool alone = controller.focused().has_value();
    momentsButton.show(words::reads(controller), alone ? CommandId::nextFocus : CommandId::readLoop,
                       alone || controller.readsLoop());
    mapButton.show(controller.measurement() ? "sources" : "", CommandId::sourceMap, false);
    mapButton.setTopRightPosition(getWidth() - 10, 6);
}

void GridView::layOut() {
    const int count = std::max(2, controller.trackCount());
    const float high = static_cast<float>(getHeight()) - headingHeight - footerHeight;
    step = std::min(largestStep, high / static_cast<float>(count));
    // Each name stands at the end of its row, and all of them are to fit.
    const float wide = static_cast<float>(getWidth()) - left - nameGap - 10.0f;
    for (int row = 1; row < controller.trackCount(); ++row)
        step = std::min(step, (wide - ui::width(controller.tracks()[at(row)].name, nameHeight, true)) /
                                  static_cast<float>(row));
    step = std::max(step, smallestStep);
    top = headingHeight + std::max(0.0f, (high - step * static_cast<float>(count)) * 0.35f);
}

void GridView::resized() {
    layOut();
    squares.setBounds(getLocalBounds());
    momentsButton.setTopLeftPosition(juce::roundToInt(left) + 46, 6);
    mapButton.setTopRightPosition(getWidth() - 10, 6);
}

juce::Rectangle<float> GridView::cellArea(Cell cell) const {
    return {left + static_cast<float>(cell.column) * step, top + static_cast<float>(cell.row) * step, step, step};
}

std::optional<GridView::Cell> GridView::cellAt(juce::Point<float> place) const {
    const int column = static_cast<int>(std::floor((place.x - left) / step));
    const int row = static_cast<int>(std::floor((place.y - top) / step));
    if (column < 0 || row >= controller.trackCount() || column >= row) return std::nullopt;
    return Cell{row, column};
}

void GridView::changed(unsigned what) {
    if (what & (Controller::recordingChanged | Controller::measurementChanged)) {
        hovered.reset();
        layOut();
    }
    if (what & (Controller::recordingChanged | Controller::readingsChanged | Controller::settingChanged)) {
        refreshChoice();
        squares.repaint();
        repaint();
    }
    if (what & Controller::selectionChanged) {
        squares.repaint();
        repaint();
    }
}

void GridView::paint(juce::Graphics& g) {
    const auto& p = ui::palette();
    g.fillAll(p.paper);
    auto area = getLocalBounds().toFloat();
    ui::heading(g, "GRID", area.removeFromTop(headingHeight).withTrimmedLeft(left));
}

void GridView::paintSquare(juce::Graphics& g, juce::Rectangle<float> area, const PairReading& reading,
                           const PairNow& now) {
    const auto& p = ui::palette();
    if (!reading.related) {
        g.setColour(p.muted.withAlpha(0.55f));
        const auto line = area.withSizeKeepingCentre(std::min(9.0f, step * 0.45f), std::min(9.0f, step * 0.45f));
        g.drawLine(line.getX(), line.getBottom(), line.getRight(), line.getY(), 1.0f);
        return;
    }
    const float room = step - std::max(1.0f, step * 0.1f);
    const auto coherence = static_cast<float>(std::clamp(reading.coherence, 0.0, 1.0));
    const float smallest = std::min(room, std::max(room * 0.3f, std::min(smallestWithSign, room)));
    const auto square = area.withSizeKeepingCentre(1.0f, 1.0f)
                            .expanded((smallest + (room - smallest) * std::sqrt(coherence)) / 2.0f - 0.5f);
    if (!now.heard) {
        g.setColour(p.rules);
        g.drawRect(square, 1.0f);
        return;
    }
    const bool adds = now.gainDb >= 0.0;
    const auto hue = adds ? p.adds : p.cancels;
    // Full hue from 2 dB either way: of two alike tracks +3 dB is all there is to have.
    const auto strength = static_cast<float>(std::clamp(std::abs(now.gainDb) / 2.0, 0.0, 1.0));
    const bool strong = strength > 0.45f;
    const auto fill = p.paper.interpolatedWith(hue, strong ? 0.55f + 0.45f * strength : 0.22f + 0.5f * strength);
    const bool hasSign = square.getWidth() >= smallestWithSign;
    g.setColour(fill);
    g.fillRect(hasSign || adds ? square : square.withSizeKeepingCentre(square.getWidth(), square.getHeight() * 0.4f));
    if (!words::sure(reading)) hatch(g, square, p.paper.withAlpha(0.75f));
    if (hasSign) {
        g.setColour(contrastRatio(fill, p.onSign) >= 4.5 ? p.onSign : p.ink);
        plus(g, square, adds);
    }
}

void GridView::paintSquares(juce::Graphics& g) {
    const auto& p = ui::palette();
    const int count = controller.trackCount();
    if (count == 0) return;
    const int chosen = controller.selectedTrack(), partner = controller.partnerTrack();
    const bool names = step >= 11.0f;

    // The row and the column that lead to the chosen square.
    if (chosen >= 0 && partner >= 0) {
        const Cell cell{std::max(chosen, partner), std::min(chosen, partner)};
        const auto area = cellArea(cell);
        g.setColour(p.selected);
        g.fillRect(area.withRight(left + static_cast<float>(cell.row) * step));
        g.fillRect(area.withTop(top + static_cast<float>(cell.column + 1) * step).withBottom(area.getBottom()));
    }

    for (int row = 0; row < count; ++row) {
        const auto diagonal = cellArea({row, row});
        const bool marked = row == chosen || row == partner;
        if (names || marked) {
            const auto label =
                diagonal.withX(diagonal.getX() + nameGap).withRight(static_cast<float>(getWidth()) - 2.0f);
            ui::draw(g, controller.tracks()[at(row)].name, label.withSizeKeepingCentre(label.getWidth(), 18.0f),
                     juce::Justification::centredLeft, std::clamp(step * 0.7f, 10.0f, nameHeight),
                     marked ? p.ink : p.muted, marked);
        }
        for (int column = 0; column < row; ++column) {
            const auto area = cellArea({row, column});
            const auto* reading = controller.reading(column, row);
            const auto now = controller.pairNow(column, row);
            if (reading && now) {
                paintSquare(g, area, *reading, *now);
            } else {
                g.setColour(p.rules);
                g.fillEllipse(area.withSizeKeepingCentre(2.5f, 2.5f));
            }
        }
    }
    if (controller.measurement()) {
        const auto legend = juce::Rectangle<float>(150.0f, 98.0f)
                                .withPosition(static_cast<float>(getWidth()) - 160.0f, headingHeight - 4.0f);
        paintLegend(g, legend);
    }
}

void GridView::paintLegend(juce::Graphics& g, juce::Rectangle<float> area) {
    const auto& p = ui::palette();
    const auto line = [&](const std::string& words, const std::function<void(juce::Rectangle<float>)>& symbol) {
        auto row = area.removeFromTop(18.0f);
        symbol(row.removeFromLeft(16.0f).withSizeKeepingCentre(12.0f, 12.0f));
        ui::draw(g, words, row.withTrimmedLeft(6.0f), juce::Justification::centredLeft, 11.5f, p.muted);
    };
    line("adds", [&](auto box) {
        g.setColour(p.adds);
        g.fillRect(box);
        g.setColour(p.onSign);
        plus(g, box, true);
    });
    line("cancels", [&](auto box) {
        g.setColour(p.cancels);
        g.fillRect(box);
        g.setColour(p.onSign);
        plus(g, box, false);
    });
    line("not sure", [&](auto box) {
        g.setColour(p.muted);
        g.fillRect(box);
        hatch(g, box, p.paper.withAlpha(0.75f));
    });
    line("unrelated", [&](auto box) {
        g.setColour(p.muted);
        const auto slash = box.reduced(2.0f);
        g.drawLine(slash.getX(), slash.getBottom(), slash.getRight(), slash.getY(), 1.0f);
    });
    line("larger: more coherent", [&](auto box) {
        g.setColour(p.muted);
        g.drawRect(box.withSizeKeepingCentre(12.0f, 12.0f), 1.0f);
        g.drawRect(box.withSizeKeepingCentre(5.0f, 5.0f), 1.0f);
    });
}

std::string GridView::hint() const {
    if (!hovered) return {};
    const auto told = words::pair(controller, hovered->column, hovered->row);
    return told.names + "\n" + told.sentence + (told.sureness.empty() ? "" : " (" + told.sureness + ")") + "\n" +
           told.now;
}

void GridView::paintOverChildren(juce::Graphics& g) {
    const auto& p = ui::palette();
    const int chosen = controller.selectedTrack(), partner = controller.partnerTrack();
    if (chosen >= 0 && partner >= 0 && controller.trackCount() > 1) {
        g.setColour(p.ink);
        g.drawRect(cellArea({std::max(chosen, partner), std::min(chosen, partner)}).expanded(1.0f), 1.6f);
    }
    if (hovered) {
        g.setColour(p.muted);
        g.drawRect(cellArea(*hovered), 1.0f);
    }
    auto footer = getLocalBounds().toFloat().removeFromBottom(footerHeight).reduced(left, 6.0f);
    if (const auto words = hint(); !words.empty()) {
        g.setColour(p.ink);
        g.setFont(ui::font(12.5f));
        g.drawFittedText(ui::text(words), footer.toNearestInt(), juce::Justification::topLeft, 3, 1.0f);
    } else if (controller.measurement()) {
        ui::draw(g, "Point at a square to read it, click to see the pair.", footer.removeFromTop(18.0f),
                 juce::Justification::centredLeft, 12.5f, p.muted);
    }
}

void GridView::mouseMove(const juce::MouseEvent& event) {
    const auto cell = cellAt(event.position);
    if (cell == hovered) return;
    hovered = cell;
    repaint();
}

void GridView::mouseExit(const juce::MouseEvent&) {
    hovered.reset();
    repaint();
}

void GridView::mouseDown(const juce::MouseEvent& event) {
    if (const auto cell = cellAt(event.position)) controller.selectPair(cell->row, cell->column);
    // The keyboard stays with the window; the button of the header is no more meant than any other.
    if (auto* window = getParentComponent(); window && window->isShowing()) window->grabKeyboardFocus();
}

} // namespace spillwright::desk
