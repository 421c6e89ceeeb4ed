#include "Desk/PlotFiles.h"

#include "Desk/Look.h"
#include "Media/Files.h"

#include <span>
#include <string_view>

namespace spillwright::desk {

namespace {

constexpr float scale = 2.0f;                          ///< Pixels of a picture a unit.
constexpr float left = 24.0f;                          ///< Of the titles.
constexpr float titleLine = 34.0f, remarkLine = 56.0f; ///< Base lines.
constexpr float titleSize = 17.0f, remarkSize = 12.5f, axisSize = 12.5f;

juce::String number(float value) {
    return juce::String(static_cast<double>(value), 2);
}

juce::String hex(juce::Colour colour) {
    return "#" + colour.toDisplayString(false).toLowerCase();
}

std::string headline(const Plot& plot) {
    return plot.title + ": " + plot.subject;
}

/// The tree of an SVG, a method a kind of mark.
class Writer {
public:
    explicit Writer(const Plot& p) : plot(p), root("svg") {
        root.setAttribute("xmlns", "http://www.w3.org/2000/svg");
        root.setAttribute("version", "1.1");
        root.setAttribute("width", number(pictureWidth));
        root.setAttribute("height", number(pictureHeight));
        root.setAttribute("viewBox", "0 0 " + number(pictureWidth) + " " + number(pictureHeight));
        root.setAttribute("font-family", "Inter, sans-serif");
        root.createNewChildElement("title")->addTextElement(ui::text(headline(plot)));
        root.createNewChildElement("desc")->addTextElement(ui::text(plot.remark));
    }

    juce::XmlElement& rectangle(juce::XmlElement& into, juce::Rectangle<float> area, juce::Colour fill) {
        auto& made = *into.createNewChildElement("rect");
        made.setAttribute("x", number(area.getX()));
        made.setAttribute("y", number(area.getY()));
        made.setAttribute("width", number(area.getWidth()));
        made.setAttribute("height", number(area.getHeight()));
        made.setAttribute("fill", hex(fill));
        return made;
    }

    juce::XmlElement& text(juce::XmlElement& into, const std::string& words, juce::Point<float> base, float size,
                           juce::Colour colour, const char* anchor = "start", bool bold = false) {
        auto& made = *into.createNewChildElement("text");
        made.setAttribute("x", number(base.x));
        made.setAttribute("y", number(base.y));
        made.setAttribute("font-size", number(size));
        made.setAttribute("fill", hex(colour));
        if (juce::String(anchor) != "start") made.setAttribute("text-anchor", anchor);
        if (bold) made.setAttribute("font-weight", "600");
        made.addTextElement(ui::text(words));
        return made;
    }

    juce::XmlElement& line(juce::XmlElement& into, juce::Point<float> from, juce::Point<float> to, juce::Colour colour,
                           float thick) {
        auto& made = *into.createNewChildElement("line");
        made.setAttribute("x1", number(from.x));
        made.setAttribute("y1", number(from.y));
        made.setAttribute("x2", number(to.x));
        made.setAttribute("y2", number(to.y));
        stroke(made, colour, thick, Plot::Stroke::solid);
        return made;
    }

    static void stroke(juce::XmlElement& element, juce::Colour colour, float thick, Plot::Stroke kind) {
        element.setAttribute("stroke", hex(colour));
        element.setAttribute("stroke-width", number(thick));
        if (kind == Plot::Stroke::dashed) element.setAttribute("stroke-dasharray", "4 3");
        if (kind == Plot::Stroke::dotted) element.setAttribute("stroke-dasharray", "1.5 2.5");
    }

    juce::XmlElement& group(const char* name) {
        auto& made = *root.createNewChildElement("g");
        made.setAttribute("id", name);
        return made;
    }

    void curves(const PlotLayout& layout, const Palette& p) {
        const auto frame = layout.frame;
        auto& clip = *root.createNewChildElement("defs")->createNewChildElement("clipPath");
        clip.setAttribute("id", "frame");
        rectangle(clip, frame, p.raised);
        auto& all = group("curves");
        all.setAttribute("clip-path", "url(#frame)");
        rectangle(all, frame, p.raised);
        const auto place = [&](double x, double y) { return placeIn(plot, frame, x, y); };
        const auto point = [&](double x, double y) {
            const auto at = place(x, y);
            return number(at.x) + "," + number(at.y);
        };
        for (const auto& band : plot.bands)
            rectangle(all, frame.withLeft(place(band.from, 0.0).x).withRight(place(band.to, 0.0).x), p.selected);
        for (const auto& area : plot.areas) {
            auto& made = *all.createNewChildElement("polygon");
            juce::StringArray points;
            for (std::size_t i = 0; i < area.x.size(); ++i)
                points.add(point(area.x[i], area.low[i]));
            for (std::size_t i = area.x.size(); i-- > 0;)
                points.add(point(area.x[i], area.high[i]));
            made.setAttribute("points", points.joinIntoString(" "));
            made.setAttribute("fill", hex(colourOf(area.ink, p)));
            made.setAttribute("fill-opacity", number(area.opacity));
        }
        for (const auto& rule : plot.rules) {
            const auto at = rule.upright ? place(rule.at, plot.y.low) : place(plot.x.low, rule.at);
            if (rule.upright)
                line(all, {at.x, frame.getY()}, {at.x, frame.getBottom()}, colourOf(rule.ink, p), rule.thick);
            else
                line(all, {frame.getX(), at.y}, {frame.getRight(), at.y}, colourOf(rule.ink, p), rule.thick);
        }
        for (const auto& curve : plot.lines) {
            auto& made = *all.createNewChildElement("polyline");
            juce::StringArray points;
            for (std::size_t i = 0; i < curve.x.size(); ++i)
                points.add(point(curve.x[i], curve.y[i]));
            made.setAttribute("points", points.joinIntoString(" "));
            made.setAttribute("fill", "none");
            stroke(made, colourOf(curve.ink, p), curve.thick, curve.stroke);
        }
    }

    void marks(const PlotLayout& layout, const Palette& p) {
        auto& all = group("marks");
        for (const auto& label : placeLabels(plot, layout.frame, layout.labelHeight)) {
            const auto& mark = plot.marks[label.mark];
            auto& dot = *all.createNewChildElement("circle");
            dot.setAttribute("cx", number(label.tip.x));
            dot.setAttribute("cy", number(label.tip.y));
            dot.setAttribute("r", "2.5");
            dot.setAttribute("fill", mark.filled ? hex(colourOf(mark.ink, p)) : juce::String("none"));
            stroke(dot, colourOf(mark.ink, p), 1.3f, Plot::Stroke::solid);
            rectangle(all, label.area, p.raised).setAttribute("fill-opacity", "0.85");
            text(all, label.words, {label.area.getX() + 2.0f, label.area.getBottom() - 3.5f}, layout.labelHeight,
                 colourOf(mark.ink, p));
        }
    }

    void axes(const PlotLayout& layout, const Palette& p) {
        const auto frame = layout.frame;
        auto& all = group("axes");
        auto& outline = rectangle(all, frame, p.raised);
        outline.setAttribute("fill", "none");
        stroke(outline, p.rules, 1.0f, Plot::Stroke::solid);
        for (const auto& tick : plot.x.ticks) {
            const auto at = placeIn(plot, frame, tick.at, plot.y.low).withY(frame.getBottom());
            line(all, at, at.translated(0.0f, 4.0f), p.rules, 1.0f);
            text(all, tick.words, at.translated(0.0f, 17.0f), layout.tickHeight, p.muted, "middle");
        }
        for (const auto& tick : plot.y.ticks)
            text(all, tick.words, placeIn(plot, frame, plot.x.low, tick.at).withX(frame.getX() - 6.0f).translated(0, 4),
                 layout.tickHeight, p.muted, "end");
        text(all, plot.x.label, {frame.getCentreX(), pictureHeight - 16.0f}, axisSize, p.ink, "middle");
        const juce::Point<float> side(26.0f, frame.getCentreY());
        text(all, plot.y.label, side, axisSize, p.ink, "middle")
            .setAttribute("transform", "rotate(-90 " + number(side.x) + " " + number(side.y) + ")");
    }

    void key(const PlotLayout& layout, const Palette& p) {
        auto& all = group("key");
        float right = layout.key.getRight();
        const float middle = layout.key.getCentreY();
        const auto entry = [&](const std::string& words, juce::Colour colour) {
            const float width = ui::width(words, 12.0f);
            text(all, words, {right, middle + 4.0f}, 12.0f, colour, "end");
            const juce::Rectangle<float> sample(right - width - 21.0f, middle - 4.5f, 14.0f, 9.0f);
            right = sample.getX() - 20.0f;
            return sample;
        };
        for (auto area = plot.areas.rbegin(); area != plot.areas.rend(); ++area)
            if (!area->name.empty())
                rectangle(all, entry(area->name, p.muted), colourOf(area->ink, p))
                    .setAttribute("fill-opacity", number(area->opacity));
        for (auto curve = plot.lines.rbegin(); curve != plot.lines.rend(); ++curve) {
            if (curve->name.empty()) continue;
            const auto colour = colourOf(curve->ink, p);
            const auto sample = entry(curve->name, colour);
            stroke(line(all, {sample.getX(), middle}, {sample.getRight(), middle}, colour, curve->thick), colour,
                   curve->thick, curve->stroke);
        }
    }

    std::string take() {
        const auto& p = Palette::light();
        const auto layout = layoutInPicture();
        rectangle(root, {0.0f, 0.0f, pictureWidth, pictureHeight}, p.paper);
        text(root, headline(plot), {left, titleLine}, titleSize, p.ink, "start", true);
        text(root, plot.remark, {left, remarkLine}, remarkSize, p.muted);
        curves(layout, p);
        marks(layout, p);
        axes(layout, p);
        key(layout, p);
        return root.toString().toStdString();
    }

private:
    const Plot& plot;
    juce::XmlElement root;
};

Outcome writeWhole(const std::filesystem::path& file, std::span<const std::byte> bytes) {
    auto output = OutputFile::create(file);
    if (!output) return output.fault();
    if (auto written = output->write(bytes); !written) return written;
    if (auto finished = output->finish(); !finished) return finished;
    return output->keep();
}

} // namespace

std::string svgOf(const Plot& plot) {
    return Writer(plot).take();
}

juce::Image pictureOf(const Plot& plot) {
    const auto& p = Palette::light();
    juce::Image image(juce::Image::RGB, juce::roundToInt(scale * pictureWidth), juce::roundToInt(scale * pictureHeight),
                      true);
    juce::Graphics g(image);
    g.addTransform(juce::AffineTransform::scale(scale));
    g.fillAll(p.paper);
    const auto layout = layoutInPicture();
    const auto line = [&](const std::string& words, float base, float size, juce::Colour colour, bool bold) {
        ui::draw(g, words, {left, base - size, pictureWidth - 2.0f * left, size * 1.3f},
                 juce::Justification::centredLeft, size, colour, bold);
    };
    line(headline(plot), titleLine, titleSize, p.ink, true);
    line(plot.remark, remarkLine, remarkSize, p.muted, false);
    paintPlot(g, plot, layout, p);
    ui::draw(g, plot.x.label, layout.frame.withY(pictureHeight - 30.0f).withHeight(20.0f), juce::Justification::centred,
             axisSize, p.ink);
    g.addTransform(
        juce::AffineTransform::rotation(-juce::MathConstants<float>::halfPi, 22.0f, layout.frame.getCentreY()));
    ui::draw(g, plot.y.label, juce::Rectangle<float>(300.0f, 20.0f).withCentre({22.0f, layout.frame.getCentreY()}),
             juce::Justification::centred, axisSize, p.ink);
    return image;
}

Outcome savePlot(const Plot& plot, PlotFormat format, const std::filesystem::path& file) {
    if (format == PlotFormat::svg) {
        const auto text = svgOf(plot);
        return writeWhole(file, std::as_bytes(std::span(text)));
    }
    juce::MemoryOutputStream bytes;
    juce::PNGImageFormat().writeImageToStream(pictureOf(plot), bytes);
    return writeWhole(file, std::span(static_cast<const std::byte*>(bytes.getData()), bytes.getDataSize()));
}

const char* endingOf(PlotFormat format) {
    return format == PlotFormat::svg ? ".svg" : ".png";
}

juce::String plotFileName(const Plot& plot) {
    const auto subject = ui::text(plot.subject).replace(ui::text(" \u00b7 "), " - ");
    return juce::File::createLegalFileName(subject + " - " + ui::text(plot.title).toLowerCase());
}

} // namespace spillwright::desk
