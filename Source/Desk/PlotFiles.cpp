#include "Desk/PlotFiles.h"

#include "Desk/Look.h"
#include "Report/PlotSvg.h"
#include "Session/Files.h"

#include <span>
#include <string_view>

namespace spillwright::desk {

namespace {

constexpr float scale = 2.0f;                          ///< Pixels of a picture a unit.
constexpr float left = 24.0f;                          ///< Of the titles.
constexpr float titleLine = 34.0f, remarkLine = 56.0f; ///< Base lines.
constexpr float titleSize = 17.0f, remarkSize = 12.5f, axisSize = 12.5f;

std::string headline(const Plot& plot) {
    return plot.title + ": " + plot.subject;
}

float widthInWindow(const std::string& words, float height) {
    return ui::width(words, height);
}

Outcome writeWhole(const std::filesystem::path& file, std::span<const std::byte> bytes) {
    auto output = OutputFile::create(file);
    if (!output) return output.fault();
    if (auto written = output->write(bytes); !written) return written;
    if (auto finished = output->finish(); !finished) return finished;
    return output->keep();
}

} // namespace

juce::Image pictureOf(const Plot& plot) {
    const auto& p = Palette::light();
    juce::Image image(juce::Image::RGB, juce::roundToInt(scale * pictureWidth), juce::roundToInt(scale * pictureHeight),
                      true);
    juce::Graphics g(image);
    g.addTransform(juce::AffineTransform::scale(scale));
    g.fillAll(p.paper);
    const auto layout = layoutInPicture();
    const auto frame = rectangleOf(layout.frame);
    const auto line = [&](const std::string& words, float base, float size, juce::Colour colour, bool bold) {
        ui::draw(g, words, {left, base - size, pictureWidth - 2.0f * left, size * 1.3f},
                 juce::Justification::centredLeft, size, colour, bold);
    };
    line(headline(plot), titleLine, titleSize, p.ink, true);
    line(plot.remark, remarkLine, remarkSize, p.muted, false);
    paintPlot(g, plot, layout, p);
    ui::draw(g, plot.x.label, frame.withY(pictureHeight - 30.0f).withHeight(20.0f), juce::Justification::centred,
             axisSize, p.ink);
    g.addTransform(juce::AffineTransform::rotation(-juce::MathConstants<float>::halfPi, 22.0f, frame.getCentreY()));
    ui::draw(g, plot.y.label, juce::Rectangle<float>(300.0f, 20.0f).withCentre({22.0f, frame.getCentreY()}),
             juce::Justification::centred, axisSize, p.ink);
    return image;
}

Outcome savePicture(const juce::Image& picture, const std::filesystem::path& file) {
    juce::MemoryOutputStream bytes;
    juce::PNGImageFormat().writeImageToStream(picture, bytes);
    return writeWhole(file, std::span(static_cast<const std::byte*>(bytes.getData()), bytes.getDataSize()));
}

Outcome savePlot(const Plot& plot, PlotFormat format, const std::filesystem::path& file) {
    if (format == PlotFormat::svg) {
        const auto text = svgOf(plot, widthInWindow);
        return writeWhole(file, std::as_bytes(std::span(text)));
    }
    return savePicture(pictureOf(plot), file);
}

const char* endingOf(PlotFormat format) {
    return format == PlotFormat::svg ? ".svg" : ".png";
}

juce::String plotFileName(const Plot& plot) {
    const auto subject = ui::text(plot.subject).replace(ui::text(" \u00b7 "), " - ");
    return juce::File::createLegalFileName(subject + " - " + ui::text(plot.title).toLowerCase());
}

} // namespace spillwright::desk
