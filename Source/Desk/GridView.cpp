#include "Desk/GridView.h"

#include "Desk/Commands.h"
#include "Desk/Look.h"
#include "Desk/Words.h"
#include "Session/Amounts.h"
#include "Session/PairWords.h"

#include <algorithm>
#include <cmath>
#include <iterator>

namespace spillwright::desk {

namespace {

constexpr float headingHeight = 34.0f;
constexpr float footerHeight = 62.0f;
constexpr float nameHeight = 12.5f, nameGap = 6.0f;
constexpr float smallestStep = 4.0f, largestStep = 44.0f;
/// Squares at which a sign can be read; below it the shape alone carries the sign: a bar for what cancels.
constexpr float smallestWithSign = 8.0f;
constexpr float smallestWithName = 11.0f;
constexpr int buttonStep = 28;       ///< From one button at the right to the one below it.
constexpr float zoomFactor = 1.25f;  ///< A step.
constexpr float columnNames = 84.0f; ///< Height of the names at the top of a grid that is scrolled down.
constexpr float legendWidth = 150.0f, legendHeight = 90.0f;
constexpr float wheelPixels = 260.0f;

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
    orderedButton.onClick = [this] { nextOrder(); };
    someButton.onClick = [this] { controller.leaveTogether(); };
    for (auto* button : {&momentsButton, &mapButton, &orderedButton, &someButton})
        addAndMakeVisible(*button);
    changed(~0u);
}

const TrackInfo& GridView::track(int place) const {
    return controller.tracks()[at(shown[at(place)])];
}

std::string GridView::nameAt(int place) const {
    const int track = shown[at(place)];
    return controller.shownName(track) + (notedTracks.contains(track) ? " *" : "");
}

void GridView::note(std::set<int> tracks) {
    if (tracks == notedTracks) return;
    notedTracks = std::move(tracks);
    layOut(); // names are longer
    squares.repaint();
    repaint();
}

void GridView::orderTracks() {
    ordered = tracksIn(shownOrder, controller);
    ordersOf = controller.trackList();
    pickShown();
}

void GridView::pickShown() {
    const auto& some = controller.together();
    shown.clear();
    std::copy_if(ordered.begin(), ordered.end(), std::back_inserter(shown),
                 [&](int each) { return some.empty() || std::binary_search(some.begin(), some.end(), each); });
    hovered.reset();
    layOut();
    squares.repaint();
    repaint();
}

void GridView::nextOrder() {
    shownOrder = after(shownOrder);
    orderTracks();
    refreshChoice();
    if (const auto cell = cellOf(controller.selectedTrack(), controller.partnerTrack())) keepInView(*cell);
}

void GridView::standBeside(const std::string& ownHeading) {
    heading = ownHeading;
    setTitle(ui::text("Grid of pairs: " + ownHeading));
    beside = true;
    for (auto* button : {&momentsButton, &mapButton, &orderedButton, &someButton})
        button->setVisible(false);
    repaint();
}

void GridView::refreshChoice() {
    if (beside) return;
    const bool alone = controller.focused().has_value();
    const bool read = controller.measurement() != nullptr;
    momentsButton.show(words::reads(controller), alone ? CommandId::nextFocus : CommandId::readLoop,
                       alone || controller.readsLoop());
    mapButton.show(read ? "sources" : "", CommandId::sourceMap, false);
    orderedButton.show(read ? nameOf(shownOrder, controller) : "", CommandId::gridOrder,
                       shownOrder != GridOrder::listed);
    const auto some = controller.together().size();
    someButton.show(some == 0 ? ""
                              : std::to_string(some) + " of " + std::to_string(controller.trackCount()) + " tracks",
                    CommandId::leave, true);
    placeButtons();
}

void GridView::placeButtons() {
    momentsButton.setTopLeftPosition(juce::roundToInt(left) + 46, 6);
    int y = 6;
    for (auto* button : {&mapButton, &orderedButton, &someButton}) {
        button->setTopRightPosition(getWidth() - 10, y);
        if (button == &mapButton && button->getX() < momentsButton.getRight() + 8) // a narrow grid
            button->setTopRightPosition(getWidth() - 10, y += buttonStep);
        y += buttonStep;
    }
}

juce::Rectangle<float> GridView::view() const {
    return getLocalBounds().toFloat().withTrimmedTop(headingHeight).withTrimmedBottom(footerHeight);
}

void GridView::layOut() {
    const int count = std::max(2, static_cast<int>(shown.size()));
    const float high = view().getHeight(), wide = static_cast<float>(getWidth()) - left - nameGap - 10.0f;
    const float bare = std::min({largestStep, high / static_cast<float>(count), wide / static_cast<float>(count)});
    // Each name stands at the end of its row, and all of them are to fit; where they would be too small there are none.
    fit = std::min(largestStep, high / static_cast<float>(count));
    for (int row = 1; row < static_cast<int>(shown.size()); ++row)
        fit = std::min(fit, (wide - ui::width(nameAt(row), nameHeight, true)) / static_cast<float>(row));
    if (fit < smallestWithName) fit = std::max(smallestStep, std::min(bare, smallestWithName - 0.5f));
    if (zoomed <= fit) zoomed = 0.0f;
    step = std::max(fit, zoomed);
    top = headingHeight + std::max(0.0f, (high - step * static_cast<float>(count)) * 0.35f);
    scrollTo(scroll);
}

/// As far as there is something to see.
void GridView::scrollTo(juce::Point<float> place) {
    juce::Point<float> farthest;
    if (!fits()) {
        float right = 0.0f;
        for (int row = 0; row < static_cast<int>(shown.size()); ++row)
            right = std::max(right, left + static_cast<float>(row) * step + nameGap +
                                        ui::width(nameAt(row), nameHeight, true) + 10.0f);
        farthest = {std::max(0.0f, right - static_cast<float>(getWidth())),
                    std::max(0.0f, step * static_cast<float>(shown.size()) + columnNames - view().getHeight())};
    }
    scroll = {std::clamp(place.x, 0.0f, farthest.x), std::clamp(place.y, 0.0f, farthest.y)};
}

void GridView::zoom(int steps, std::optional<juce::Point<float>> around) {
    if (shown.empty()) return;
    const auto cell = cellOf(controller.selectedTrack(), controller.partnerTrack());
    const auto still = around ? *around : cell ? cellArea(*cell).getCentre() : view().getCentre();
    const juce::Point<float> squaresTo((still.x - left + scroll.x) / step, (still.y - top + scroll.y) / step);
    const float wanted = step * std::pow(zoomFactor, static_cast<float>(steps));
    zoomed = steps > 0 ? std::min(largestStep, std::max(smallestZoomed, wanted)) : wanted;
    if (zoomed < smallestZoomed) zoomed = 0.0f;
    hovered.reset();
    layOut();
    scrollTo({left + squaresTo.x * step - still.x, top + squaresTo.y * step - still.y});
    if (!around && cell) keepInView(*cell);
    squares.repaint();
    repaint();
}

void GridView::keepInView(Cell cell) {
    if (fits()) return;
    const auto area = cellArea(cell), seen = view().reduced(step).withTrimmedTop(scroll.y > 0.0f ? columnNames : 0.0f);
    scrollTo(
        {scroll.x + std::max(0.0f, area.getRight() - seen.getRight()) - std::max(0.0f, seen.getX() - area.getX()),
         scroll.y + std::max(0.0f, area.getBottom() - seen.getBottom()) - std::max(0.0f, seen.getY() - area.getY())});
}

void GridView::resized() {
    layOut();
    squares.setBounds(getLocalBounds());
    placeButtons();
}

juce::Rectangle<float> GridView::cellArea(Cell cell) const {
    return {left + static_cast<float>(cell.column) * step - scroll.x,
            top + static_cast<float>(cell.row) * step - scroll.y, step, step};
}

std::optional<GridView::Cell> GridView::cellAt(juce::Point<float> place) const {
    if (!fits() && !view().contains(place)) return std::nullopt;
    const int column = static_cast<int>(std::floor((place.x - left + scroll.x) / step));
    const int row = static_cast<int>(std::floor((place.y - top + scroll.y) / step));
    if (column < 0 || row >= static_cast<int>(shown.size()) || column >= row) return std::nullopt;
    return Cell{row, column};
}

std::optional<GridView::Cell> GridView::cellOf(int one, int other) const {
    const auto a = std::find(shown.begin(), shown.end(), one) - shown.begin();
    const auto b = std::find(shown.begin(), shown.end(), other) - shown.begin();
    if (a == b || std::max(a, b) >= std::ssize(shown)) return std::nullopt;
    return Cell{static_cast<int>(std::max(a, b)), static_cast<int>(std::min(a, b))};
}

void GridView::changed(unsigned what) {
    if (what & (Controller::recordingChanged | Controller::measurementChanged)) zoomed = 0.0f;
    const bool listedAnew = what & Controller::settingChanged && ordersOf != controller.trackList();
    const bool orders = listedAnew || what & (Controller::recordingChanged | Controller::measurementChanged) ||
                        (shownOrder == GridOrder::likeness && what & Controller::readingsChanged) ||
                        (shownOrder == GridOrder::spill && what & Controller::sourcesChanged);
    if (orders)
        orderTracks();
    else if (what & Controller::selectionChanged)
        pickShown();
    if (listedAnew ||
        what & (Controller::recordingChanged | Controller::readingsChanged | Controller::selectionChanged))
        refreshChoice();
    if (what & (Controller::recordingChanged | Controller::readingsChanged | Controller::settingChanged)) {
        squares.repaint();
        repaint();
    }
    if (what & Controller::selectionChanged)
        if (const auto cell = cellOf(controller.selectedTrack(), controller.partnerTrack())) keepInView(*cell);
}

void GridView::paint(juce::Graphics& g) {
    const auto& p = ui::palette();
    g.fillAll(p.paper);
    auto area = getLocalBounds().toFloat();
    ui::heading(g, heading, area.removeFromTop(headingHeight).withTrimmedLeft(left));
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
    if (!isSure(reading)) hatch(g, square, p.paper.withAlpha(0.75f));
    if (hasSign) {
        g.setColour(contrastRatio(fill, p.onSign) >= 4.5 ? p.onSign : p.ink);
        plus(g, square, adds);
    }
}

void GridView::paintSquares(juce::Graphics& g) {
    const auto& p = ui::palette();
    const int count = static_cast<int>(shown.size());
    if (count == 0) return;
    const auto chosen = cellOf(controller.selectedTrack(), controller.partnerTrack());
    {
        juce::Graphics::ScopedSaveState saved(g);
        if (!fits()) g.reduceClipRegion(view().toNearestInt());

        // The row and the column that lead to the chosen square.
        if (chosen) {
            const auto area = cellArea(*chosen);
            g.setColour(p.selected);
            g.fillRect(area.withRight(cellArea({chosen->row, chosen->row}).getX()));
            g.fillRect(
                area.withTop(cellArea({chosen->column + 1, chosen->column}).getY()).withBottom(area.getBottom()));
        }
        const auto seen = g.getClipBounds().toFloat();
        for (int row = 0; row < count; ++row) {
            const auto end = cellArea({row, row});
            if (end.getBottom() < seen.getY() || end.getY() > seen.getBottom()) continue;
            for (int column = 0; column < row; ++column) {
                const auto area = cellArea({row, column});
                if (area.getRight() < seen.getX() || area.getX() > seen.getRight()) continue;
                const int a = shown[at(row)], b = shown[at(column)];
                const auto* reading = controller.reading(a, b);
                const auto now = controller.pairNow(a, b);
                if (reading && now) {
                    paintSquare(g, area, *reading, *now);
                } else {
                    g.setColour(p.rules);
                    g.fillEllipse(area.withSizeKeepingCentre(2.5f, 2.5f));
                }
            }
        }
        paintNames(g);
    }
    if (controller.measurement()) {
        const auto legend = corner().removeFromBottom(legendHeight);
        if (!fits()) {
            g.setColour(p.paper);
            g.fillRect(legend.expanded(4.0f).withRight(static_cast<float>(getWidth())).withTop(headingHeight));
        }
        if (legendFits()) paintLegend(g, legend);
    }
}

/// What stands at the upper right: buttons, and the legend below them.
juce::Rectangle<float> GridView::corner() const {
    int bottom = beside ? juce::roundToInt(headingHeight) : 0;
    for (const auto* button : {&mapButton, &orderedButton, &someButton})
        if (button->isVisible()) bottom = std::max(bottom, button->getBottom());
    const float right = static_cast<float>(getWidth()) - 10.0f;
    return {right - legendWidth, headingHeight, legendWidth,
            static_cast<float>(bottom) + 4.0f + legendHeight - headingHeight};
}

/// No square and no name stands where it would.
bool GridView::legendFits() const {
    if (!fits()) return true; // it has a ground of its own
    const auto legend = corner().removeFromBottom(legendHeight);
    const bool names = step >= smallestWithName;
    for (int row = 0; row < static_cast<int>(shown.size()); ++row) {
        const auto end = cellArea({row, row});
        if (end.getBottom() < legend.getY() || end.getY() > legend.getBottom()) continue;
        if (end.getX() + (names ? nameGap + ui::width(nameAt(row), nameHeight, true) : 0.0f) > legend.getX())
            return false;
    }
    return true;
}

/// Each at the end of its row. What lies beyond the view is written at its edge: rows at the right, columns at the top.
void GridView::paintNames(juce::Graphics& g) {
    const auto& p = ui::palette();
    const auto seen = view();
    const bool names = step >= smallestWithName;
    const float height = std::clamp(step * 0.7f, 10.0f, nameHeight);
    const auto marked = [&](int place) {
        return shown[at(place)] == controller.selectedTrack() || shown[at(place)] == controller.partnerTrack();
    };
    const auto noted = [&](int place) { return notedTracks.contains(shown[at(place)]); };
    const auto colourOf = [&](int place) { return noted(place) ? p.accent : marked(place) ? p.ink : p.muted; };
    for (int row = 0; row < static_cast<int>(shown.size()); ++row) {
        if (!names && !marked(row) && !noted(row)) continue;
        const auto end = cellArea({row, row});
        if (!fits() && !seen.expanded(0.0f, step).contains(seen.getX(), end.getCentreY())) continue;
        if (scroll.y > 0.0f && end.getY() < seen.getY() + columnNames - 0.2f * step) continue; // it stands at the top
        const auto line = end.withX(0.0f)
                              .withRight(static_cast<float>(getWidth()) - 2.0f)
                              .withSizeKeepingCentre(static_cast<float>(getWidth()) - 4.0f, 18.0f);
        auto label = end.withX(end.getX() + nameGap).withRight(line.getRight());
        if (const float edge = corner().getX() - 4.0f; corner().intersects(line) && label.getX() < edge)
            label.setRight(std::min(label.getRight(), edge));
        if (const float width = ui::width(nameAt(row), height, marked(row) || noted(row)) + 8.0f;
            label.getWidth() < width) {
            label = label.withLeft(std::max(left, label.getRight() - width));
            g.setColour(p.paper.withAlpha(0.88f));
            g.fillRect(label);
            label.removeFromLeft(4.0f);
        }
        auto written = label.withSizeKeepingCentre(label.getWidth(), 18.0f);
        if (written.getBottom() > seen.getBottom())
            written.setY(seen.getBottom() - written.getHeight()); // clear of the footer
        ui::draw(g, nameAt(row), written, juce::Justification::centredLeft, height, colourOf(row),
                 marked(row) || noted(row));
    }
    if (scroll.y <= 0.0f) return;
    const auto strip = seen.withHeight(columnNames);
    for (int column = 0; column < static_cast<int>(shown.size()); ++column) {
        const auto head = cellArea({column, column});
        if (head.getY() >= strip.getBottom()) break;
        if (head.getRight() < 0.0f) continue;
        const auto place = strip.withX(head.getX()).withWidth(step);
        juce::Graphics::ScopedSaveState saved(g);
        g.setColour(p.paper);
        g.fillRect(place.expanded(0.5f, 0.0f));
        g.addTransform(juce::AffineTransform::rotation(-juce::MathConstants<float>::halfPi, place.getCentreX(),
                                                       place.getCentreY()));
        ui::draw(g, nameAt(column), place.withSizeKeepingCentre(place.getHeight() - 6.0f, place.getWidth()),
                 juce::Justification::centredLeft, height, colourOf(column), marked(column) || noted(column));
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
    line("larger: more in common", [&](auto box) {
        g.setColour(p.muted);
        g.drawRect(box.withSizeKeepingCentre(12.0f, 12.0f), 1.0f);
        g.drawRect(box.withSizeKeepingCentre(5.0f, 5.0f), 1.0f);
    });
}

std::string GridView::hint() const {
    if (!hovered) return {};
    const auto told = words::pair(controller, shown[at(hovered->column)], shown[at(hovered->row)]);
    return told.names + "\n" + told.sentence + (told.sureness.empty() ? "" : " (" + told.sureness + ")") + "\n" +
           told.now;
}

void GridView::paintOverChildren(juce::Graphics& g) {
    const auto& p = ui::palette();
    {
        juce::Graphics::ScopedSaveState saved(g);
        if (!fits()) g.reduceClipRegion(view().toNearestInt());
        if (const auto chosen = cellOf(controller.selectedTrack(), controller.partnerTrack())) {
            g.setColour(p.ink);
            g.drawRect(cellArea(*chosen).expanded(1.0f), 1.6f);
        }
        if (hovered) {
            g.setColour(p.muted);
            g.drawRect(cellArea(*hovered), 1.0f);
        }
    }
    auto footer = getLocalBounds().toFloat().removeFromBottom(footerHeight).reduced(left, 6.0f);
    if (const auto words = hint(); !words.empty()) {
        g.setColour(p.ink);
        g.setFont(ui::font(12.5f));
        g.drawFittedText(ui::text(words), footer.toNearestInt(), juce::Justification::topLeft, 3, 1.0f);
    } else if (controller.measurement()) {
        ui::drawWhole(g, "Point at a square to read it, click to see the pair.", footer.removeFromTop(18.0f),
                      juce::Justification::centredLeft, 12.5f, p.muted);
    }
}

void GridView::mouseMove(const juce::MouseEvent& event) {
    point(cellAt(event.position));
}

void GridView::mouseExit(const juce::MouseEvent&) {
    point(std::nullopt);
}

void GridView::point(std::optional<Cell> cell) {
    if (cell == hovered) return;
    hovered = cell;
    repaint();
    if (onPoint) onPoint(cell ? std::optional(std::pair(shown[at(cell->row)], shown[at(cell->column)])) : std::nullopt);
}

void GridView::pointAt(std::optional<std::pair<int, int>> tracks) {
    hovered = tracks ? cellOf(tracks->first, tracks->second) : std::nullopt;
    repaint();
}

void GridView::choose(juce::Point<float> place) {
    if (const auto cell = cellAt(place)) controller.selectPair(shown[at(cell->row)], shown[at(cell->column)]);
}

void GridView::mouseDown(const juce::MouseEvent& event) {
    scrollBefore = scroll;
    if (fits()) choose(event.position); // else it may be the start of a drag
    // The keyboard stays with the window; the button of the header is no more meant than any other.
    if (auto* window = getParentComponent(); window && window->isShowing()) window->grabKeyboardFocus();
}

void GridView::mouseDrag(const juce::MouseEvent& event) {
    if (fits()) return;
    scrollTo(scrollBefore - event.getOffsetFromDragStart().toFloat());
    squares.repaint();
    repaint();
}

void GridView::mouseUp(const juce::MouseEvent& event) {
    if (!fits() && event.getDistanceFromDragStart() < 4) choose(event.position);
}

void GridView::mouseWheelMove(const juce::MouseEvent& event, const juce::MouseWheelDetails& wheel) {
    if (event.mods.isCommandDown()) {
        if (wheel.deltaY != 0.0f) zoom(wheel.deltaY > 0.0f ? 1 : -1, event.position);
        return;
    }
    if (fits()) return;
    hovered.reset();
    scrollTo(scroll - juce::Point<float>(wheel.deltaX, wheel.deltaY) * wheelPixels);
    squares.repaint();
    repaint();
}

} // namespace spillwright::desk
