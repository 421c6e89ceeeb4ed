#include "Desk/Plot.h"

#include "Desk/Look.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace spillwright::desk {

namespace {

constexpr float captionHeight = 18.0f, axisHeight = 16.0f, insteadHeight = 15.0f;
/// What follows the curves' key: the button that saves.
constexpr float buttonWidth = 40.0f;

juce::Point<float> pointIn(const Plot& plot, juce::Rectangle<float> frame, double x, double y) {
    const auto at = placeIn(plot, boxOf(frame), x, y);
    return {at.x, at.y};
}

juce::Path dashed(const juce::Path& path, Plot::Stroke stroke, float thick) {
    const float dashes[] = {4.0f, 3.0f}, dots[] = {1.5f, 2.5f};
    juce::Path result;
    juce::PathStrokeType(thick).createDashedStroke(result, path, stroke == Plot::Stroke::dashed ? dashes : dots, 2);
    return result;
}

void strokeLine(juce::Graphics& g, const juce::Path& path, Plot::Stroke stroke, float thick) {
    if (stroke == Plot::Stroke::solid)
        g.strokePath(path,
                     juce::PathStrokeType(thick, juce::PathStrokeType::beveled)); // no spikes where teeth are dense
    else
        g.fillPath(dashed(path, stroke, thick));
}

template <class Point>
juce::Path pathThrough(std::size_t count, Point&& point) {
    juce::Path path;
    path.preallocateSpace(static_cast<int>(3 * count + 8));
    for (std::size_t i = 0; i < count; ++i) {
        if (i == 0)
            path.startNewSubPath(point(i));
        else
            path.lineTo(point(i));
    }
    return path;
}

/// In the window a number on the left gives way to the labels, to the caption and to the number above it.
void paintTicks(juce::Graphics& g, const Plot& plot, const PlotLayout& layout, const Palette& p,
                const std::vector<PlotLabel>& labels) {
    const auto frame = rectangleOf(layout.frame);
    for (const auto& tick : plot.x.ticks) {
        const float x = pointIn(plot, frame, tick.at, plot.y.low).x;
        g.setColour(p.rules);
        g.drawVerticalLine(juce::roundToInt(x), frame.getBottom(), frame.getBottom() + 3.0f);
        auto area = juce::Rectangle<float>(x - 20.0f, frame.getBottom() + 2.0f, 40.0f, axisHeight);
        auto side = juce::Justification::centred;
        if (x < frame.getX() + 10.0f) area = area.withX(frame.getX()), side = juce::Justification::centredLeft;
        if (x > frame.getRight() - 10.0f)
            area = area.withRightX(frame.getRight()), side = juce::Justification::centredRight;
        ui::draw(g, tick.words, area, side, layout.tickHeight, p.muted);
    }
    if (layout.brief && plot.y.bareInWindow) return;
    float above = frame.getY();
    for (auto it = plot.y.ticks.rbegin(); it != plot.y.ticks.rend(); ++it) {
        const auto& tick = *it;
        const float y = pointIn(plot, frame, plot.x.low, tick.at).y;
        if (layout.brief) {
            const juce::Rectangle<float> area(frame.getX() + 3.0f, y - 13.0f, 30.0f, 13.0f);
            if (area.getY() < above - 2.0f || std::any_of(labels.begin(), labels.end(), [&](const PlotLabel& label) {
                    return rectangleOf(label.area).intersects(area.withWidth(ui::width(tick.words, 10.0f)));
                }))
                continue;
            g.setColour(p.raised.withAlpha(0.85f)); // curves go below it
            g.fillRect(area.withWidth(ui::width(tick.words, 10.0f)).reduced(0.0f, 1.0f));
            ui::draw(g, tick.words, area, juce::Justification::centredLeft, 10.0f, p.muted);
            above = area.getBottom();
        } else
            ui::draw(g, tick.words, {frame.getX() - 46.0f, y - 8.0f, 40.0f, 16.0f}, juce::Justification::centredRight,
                     layout.tickHeight, p.muted);
    }
}

/// What the lines are.
void paintKey(juce::Graphics& g, const Plot& plot, const PlotLayout& layout, const Palette& p) {
    auto row = rectangleOf(layout.key);
    const float height = layout.brief ? 11.0f : 12.0f;
    const float caption = layout.brief ? ui::width(plot.caption, 11.5f) + 6.0f : 0.0f;
    const auto words = [&](const auto& entry, juce::Colour colour) {
        const auto& shown = layout.brief && !entry.brief.empty() ? entry.brief : entry.name;
        if (row.getWidth() - ui::width(shown, height) - 22.0f < caption) return juce::Rectangle<float>();
        ui::draw(g, shown, row.removeFromRight(ui::width(shown, height) + 3.0f), juce::Justification::centredRight,
                 height, colour);
        const auto sample = row.removeFromRight(19.0f).withSizeKeepingCentre(14.0f, 1.6f);
        row.removeFromRight(layout.brief ? 6.0f : 16.0f);
        return sample;
    };
    for (auto area = plot.areas.rbegin(); area != plot.areas.rend(); ++area) {
        if (area->name.empty()) continue;
        const auto sample = words(*area, p.muted);
        if (sample.isEmpty()) continue;
        g.setColour(colourOf(area->ink, p).withAlpha(area->opacity));
        g.fillRect(sample.withSizeKeepingCentre(sample.getWidth(), 9.0f));
    }
    for (auto line = plot.lines.rbegin(); line != plot.lines.rend(); ++line) {
        if (line->name.empty()) continue;
        const auto colour = colourOf(line->ink, p);
        const auto sample = words(*line, colour);
        if (sample.isEmpty()) continue;
        juce::Path path;
        path.startNewSubPath(sample.getX(), sample.getCentreY());
        path.lineTo(sample.getRight(), sample.getCentreY());
        g.setColour(colour);
        strokeLine(g, path, line->stroke, line->thick);
    }
}

} // namespace

juce::Colour colourOf(Plot::Ink ink, const Palette& p) {
    switch (ink) {
    case Plot::Ink::ink:
        return p.ink;
    case Plot::Ink::muted:
        return p.muted;
    case Plot::Ink::accent:
        return p.accent;
    case Plot::Ink::adds:
        return p.adds;
    case Plot::Ink::cancels:
        return p.cancels;
    case Plot::Ink::rules:
        return p.rules;
    case Plot::Ink::selected:
        return p.selected;
    }
    return p.ink;
}

std::vector<PlotLabel> labelsOf(const Plot& plot, const PlotLayout& layout) {
    return placeLabels(plot, layout.frame, layout.labelHeight,
                       [](const std::string& words, float height) { return ui::width(words, height); });
}

PlotLayout layoutInWindow(juce::Rectangle<float> bounds) {
    PlotLayout layout;
    auto caption = bounds.removeFromTop(captionHeight);
    layout.key = boxOf(caption.withTrimmedRight(buttonWidth));
    layout.frame = boxOf(bounds.withTrimmedBottom(axisHeight).reduced(0.5f));
    return layout;
}

void paintPlot(juce::Graphics& g, const Plot& plot, const PlotLayout& layout, const Palette& p) {
    const auto frame = rectangleOf(layout.frame);
    const auto place = [&](double x, double y) { return pointIn(plot, frame, x, y); };
    g.setColour(p.raised);
    g.fillRect(frame);
    {
        juce::Graphics::ScopedSaveState saved(g);
        g.reduceClipRegion(frame.toNearestInt());
        g.setColour(p.selected);
        for (const auto& band : plot.bands)
            g.fillRect(frame.withLeft(place(band.from, 0.0).x).withRight(place(band.to, 0.0).x));
        for (const auto& area : plot.areas) {
            // Along the lower edge and back along the upper one.
            const std::size_t count = area.x.size();
            auto path = pathThrough(2 * count, [&](std::size_t i) {
                return i < count ? place(area.x[i], area.low[i])
                                 : place(area.x[2 * count - 1 - i], area.high[2 * count - 1 - i]);
            });
            path.closeSubPath();
            g.setColour(colourOf(area.ink, p).withAlpha(area.opacity));
            g.fillPath(path);
        }
        for (const auto& rule : plot.rules) {
            const auto at = rule.upright ? place(rule.at, plot.y.low) : place(plot.x.low, rule.at);
            g.setColour(colourOf(rule.ink, p));
            if (rule.upright)
                g.fillRect(at.x - rule.thick / 2.0f, frame.getY(), rule.thick, frame.getHeight());
            else
                g.fillRect(frame.getX(), at.y - rule.thick / 2.0f, frame.getWidth(), rule.thick);
        }
        for (const auto& line : plot.lines) {
            g.setColour(colourOf(line.ink, p));
            strokeLine(g, pathThrough(line.x.size(), [&](std::size_t i) { return place(line.x[i], line.y[i]); }),
                       line.stroke, line.thick);
        }
    }
    if (!plot.instead.empty())
        ui::drawWhole(g, plot.instead, frame.reduced(8.0f), juce::Justification::centred, insteadHeight, p.ink);
    const auto labels = labelsOf(plot, layout);
    if (layout.brief) paintTicks(g, plot, layout, p, labels);
    for (const auto& label : labels) {
        const auto& mark = plot.marks[label.mark];
        const auto area = rectangleOf(label.area);
        const auto colour = colourOf(mark.ink, p);
        const auto dot = juce::Rectangle<float>(5.0f, 5.0f).withCentre({label.tip.x, label.tip.y});
        g.setColour(colour);
        if (mark.filled)
            g.fillEllipse(dot);
        else
            g.drawEllipse(dot, 1.3f);
        g.setColour(p.raised.withAlpha(0.85f));
        g.fillRect(area);
        ui::draw(g, label.words, area.withTrimmedLeft(2.0f), juce::Justification::centredLeft, layout.labelHeight,
                 colour);
    }
    g.setColour(p.rules);
    g.drawRect(frame, 1.0f);
    if (!layout.brief) paintTicks(g, plot, layout, p, labels);
    paintKey(g, plot, layout, p);
}

} // namespace spillwright::desk
