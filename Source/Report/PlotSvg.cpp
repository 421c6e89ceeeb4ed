#include "Report/PlotSvg.h"

#include "Report/Colours.h"
#include "Session/Amounts.h"

#include <algorithm>
#include <array>
#include <cstdio>

namespace spillwright {

namespace {

constexpr float left = 24.0f;                          ///< Of the titles.
constexpr float titleLine = 34.0f, remarkLine = 56.0f; ///< Base lines.
constexpr float titleSize = 17.0f, remarkSize = 12.5f, axisSize = 12.5f, keySize = 12.0f, insteadSize = 15.0f;
constexpr const char* noFill = "none";

std::string headline(const Plot& plot) {
    return plot.title + ": " + plot.subject;
}

const char* dashesOf(Plot::Stroke stroke) {
    return stroke == Plot::Stroke::dashed ? "4 3" : stroke == Plot::Stroke::dotted ? "1.5 2.5" : "";
}

/// One SVG, a method a part of the plot.
class Drawing {
public:
    Drawing(Markup& into, const Plot& p, const PlotLayout& l, const TextWidth& w, std::string prefix)
        : markup(into), plot(p), layout(l), width(w), id(std::move(prefix)) {}

    void write(const std::string& said) {
        const auto svg =
            markup.in("svg", {{"xmlns", "http://www.w3.org/2000/svg"},
                              {"version", "1.1"},
                              {"role", "img"},
                              {"aria-labelledby", id + "title " + id + "said"},
                              {"width", svgNumber(layout.width)},
                              {"height", svgNumber(layout.height)},
                              {"viewBox", "0 0 " + svgNumber(layout.width) + " " + svgNumber(layout.height)},
                              {"font-family", "Inter, sans-serif"}});
        markup.element("title", headline(plot), {{"id", id + "title"}});
        markup.element("desc", said, {{"id", id + "said"}});
        if (layout.titled) {
            rectangle({0.0f, 0.0f, layout.width, layout.height}, colours::hex(colours::paper));
            text(headline(plot), {left, titleLine}, titleSize, Plot::Ink::ink, "", true);
            text(plot.remark, {left, remarkLine}, remarkSize, Plot::Ink::muted);
        }
        curves();
        marks();
        axes();
        key();
    }

private:
    void rectangle(const PlotBox& area, const std::string& fill, float opacity = 1.0f) {
        markup.empty("rect", {{"x", svgNumber(area.x)},
                              {"y", svgNumber(area.y)},
                              {"width", svgNumber(area.width)},
                              {"height", svgNumber(area.height)},
                              {"fill", fill},
                              {"fill-opacity", opacity < 1.0f ? svgNumber(opacity) : ""}});
    }

    void text(const std::string& words, PlotPoint base, float size, Plot::Ink ink, const char* anchor = "",
              bool bold = false, const std::string& transform = "") {
        markup.element("text", words,
                       {{"x", svgNumber(base.x)},
                        {"y", svgNumber(base.y)},
                        {"font-size", svgNumber(size)},
                        {"fill", svgColour(ink)},
                        {"text-anchor", anchor},
                        {"font-weight", bold ? "600" : ""},
                        {"transform", transform}});
    }

    void line(PlotPoint from, PlotPoint to, Plot::Ink ink, float thick, Plot::Stroke stroke = Plot::Stroke::solid) {
        markup.empty("line", {{"x1", svgNumber(from.x)},
                              {"y1", svgNumber(from.y)},
                              {"x2", svgNumber(to.x)},
                              {"y2", svgNumber(to.y)},
                              {"stroke", svgColour(ink)},
                              {"stroke-width", svgNumber(thick)},
                              {"stroke-dasharray", dashesOf(stroke)}});
    }

    PlotPoint place(double x, double y) const { return placeIn(plot, layout.frame, x, y); }
    std::string point(double x, double y) const {
        const auto at = place(x, y);
        return svgNumber(at.x) + "," + svgNumber(at.y);
    }

    void curves() {
        const auto& frame = layout.frame;
        {
            const auto definitions = markup.in("defs");
            const auto clip = markup.in("clipPath", {{"id", id + "frame"}});
            rectangle(frame, colours::hex(colours::raised));
        }
        const auto all = markup.in("g", {{"id", id + "curves"}, {"clip-path", "url(#" + id + "frame)"}});
        rectangle(frame, colours::hex(colours::raised));
        for (const auto& band : plot.bands) {
            const float from = place(band.from, plot.y.low).x, to = place(band.to, plot.y.low).x;
            rectangle({from, frame.y, to - from, frame.height}, colours::hex(colours::selected));
        }
        for (const auto& area : plot.areas) {
            std::string points;
            for (std::size_t i = 0; i < area.x.size(); ++i)
                points += point(area.x[i], area.low[i]) + " ";
            for (std::size_t i = area.x.size(); i-- > 0;)
                points += point(area.x[i], area.high[i]) + (i > 0 ? " " : "");
            markup.empty(
                "polygon",
                {{"points", points}, {"fill", svgColour(area.ink)}, {"fill-opacity", svgNumber(area.opacity)}});
        }
        for (const auto& rule : plot.rules) {
            const auto at = rule.upright ? place(rule.at, plot.y.low) : place(plot.x.low, rule.at);
            if (rule.upright)
                line({at.x, frame.y}, {at.x, frame.bottom()}, rule.ink, rule.thick);
            else
                line({frame.x, at.y}, {frame.right(), at.y}, rule.ink, rule.thick);
        }
        for (const auto& curve : plot.lines) {
            std::string points;
            for (std::size_t i = 0; i < curve.x.size(); ++i)
                points += (i > 0 ? " " : "") + point(curve.x[i], curve.y[i]);
            markup.empty("polyline", {{"points", points},
                                      {"fill", noFill},
                                      {"stroke", svgColour(curve.ink)},
                                      {"stroke-width", svgNumber(curve.thick)},
                                      {"stroke-dasharray", dashesOf(curve.stroke)}});
        }
    }

    void marks() {
        const auto all = markup.in("g", {{"id", id + "marks"}});
        if (!plot.instead.empty())
            text(plot.instead, {layout.frame.centreX(), layout.frame.centreY()}, insteadSize, Plot::Ink::ink, "middle");
        for (const auto& label : placeLabels(plot, layout.frame, layout.labelHeight, width)) {
            const auto& mark = plot.marks[label.mark];
            markup.empty("circle", {{"cx", svgNumber(label.tip.x)},
                                    {"cy", svgNumber(label.tip.y)},
                                    {"r", "2.5"},
                                    {"fill", mark.filled ? svgColour(mark.ink) : noFill},
                                    {"stroke", svgColour(mark.ink)},
                                    {"stroke-width", "1.3"}});
            rectangle(label.area, colours::hex(colours::raised), 0.85f);
            text(label.words, {label.area.x + 2.0f, label.area.bottom() - 3.5f}, layout.labelHeight, mark.ink);
        }
    }

    void axes() {
        const auto all = markup.in("g", {{"id", id + "axes"}});
        const auto& frame = layout.frame;
        markup.empty("rect", {{"x", svgNumber(frame.x)},
                              {"y", svgNumber(frame.y)},
                              {"width", svgNumber(frame.width)},
                              {"height", svgNumber(frame.height)},
                              {"fill", noFill},
                              {"stroke", svgColour(Plot::Ink::rules)}});
        for (const auto& tick : plot.x.ticks) {
            const PlotPoint at{place(tick.at, plot.y.low).x, frame.bottom()};
            line(at, {at.x, at.y + 4.0f}, Plot::Ink::rules, 1.0f);
            text(tick.words, {at.x, at.y + 17.0f}, layout.tickHeight, Plot::Ink::muted, "middle");
        }
        for (const auto& tick : plot.y.ticks)
            text(tick.words, {frame.x - 6.0f, place(plot.x.low, tick.at).y + 4.0f}, layout.tickHeight, Plot::Ink::muted,
                 "end");
        text(plot.x.label, {frame.centreX(), layout.height - (layout.titled ? 16.0f : 7.0f)}, axisSize, Plot::Ink::ink,
             "middle");
        const PlotPoint side{26.0f, frame.centreY()};
        const float wanted = width(plot.y.label, axisSize),
                    room = 2.0f * std::min(side.y, layout.height - side.y) - 6.0f;
        text(plot.y.label, side, axisSize * std::min(1.0f, room / wanted), Plot::Ink::ink, "middle", false,
             "rotate(-90 " + svgNumber(side.x) + " " + svgNumber(side.y) + ")");
    }

    void key() {
        const auto all = markup.in("g", {{"id", id + "key"}});
        float right = layout.key.right();
        const float middle = layout.key.centreY();
        if (layout.headed) text(plot.title, {layout.key.x, middle + 4.0f}, axisSize, Plot::Ink::ink, "", true);
        const auto entry = [&](const std::string& words, Plot::Ink ink) {
            text(words, {right, middle + 4.0f}, keySize, ink, "end");
            const PlotBox sample{right - width(words, keySize) - 21.0f, middle - 4.5f, 14.0f, 9.0f};
            right = sample.x - 20.0f;
            return sample;
        };
        for (auto area = plot.areas.rbegin(); area != plot.areas.rend(); ++area)
            if (!area->name.empty())
                rectangle(entry(area->name, Plot::Ink::muted), svgColour(area->ink), area->opacity);
        for (auto curve = plot.lines.rbegin(); curve != plot.lines.rend(); ++curve) {
            if (curve->name.empty()) continue;
            const auto sample = entry(curve->name, curve->ink);
            line({sample.x, middle}, {sample.right(), middle}, curve->ink, curve->thick, curve->stroke);
        }
    }

    Markup& markup;
    const Plot& plot;
    const PlotLayout& layout;
    const TextWidth& width;
    const std::string id;
};

} // namespace

std::string svgNumber(float value) {
    std::array<char, 48> text{};
    std::snprintf(text.data(), text.size(), "%.2f", static_cast<double>(value));
    return text.data();
}

std::string svgColour(Plot::Ink ink) {
    switch (ink) {
    case Plot::Ink::ink:
        return colours::hex(colours::ink);
    case Plot::Ink::muted:
        return colours::hex(colours::muted);
    case Plot::Ink::accent:
        return colours::hex(colours::accent);
    case Plot::Ink::adds:
        return colours::hex(colours::adds);
    case Plot::Ink::cancels:
        return colours::hex(colours::cancels);
    case Plot::Ink::rules:
        return colours::hex(colours::rules);
    case Plot::Ink::selected:
        return colours::hex(colours::selected);
    }
    return colours::hex(colours::ink);
}

std::string svgOf(const Plot& plot, const TextWidth& width) {
    Markup file;
    file.raw("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    Drawing(file, plot, layoutInPicture(), width, "").write(plot.remark);
    return file.take();
}

void writePlot(Markup& page, const Plot& plot, const PlotLayout& layout, const TextWidth& width, const std::string& id,
               const std::string& said) {
    Drawing(page, plot, layout, width, id).write(said);
}

} // namespace spillwright
