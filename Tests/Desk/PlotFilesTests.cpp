#include "Desk/PlotFiles.h"

#include "Report/PlotSvg.h"

#include "PlotFixture.h"

#include <fstream>

using namespace spillwright;
using namespace spillwright::desk;
using namespace spillwright::test;

namespace {

std::string svgInWindow(const Plot& plot) {
    return svgOf(plot, [](const std::string& words, float height) { return ui::width(words, height); });
}

template <class Visit>
void walk(const juce::XmlElement& element, Visit&& visit) {
    visit(element);
    for (const auto* child : element.getChildIterator())
        walk(*child, visit);
}

} // namespace

TEST_CASE("an SVG is valid XML with every point of every line, the axes with their units, the key and the title") {
    Fonts fonts;
    const auto plot = twoLines();
    juce::XmlDocument document(ui::text(svgInWindow(plot)));
    const auto root = document.getDocumentElement();
    INFO(document.getLastParseError());
    REQUIRE(root);
    CHECK(root->hasTagName("svg"));
    std::vector<juce::StringArray> lines;
    juce::StringArray words;
    walk(*root, [&](const juce::XmlElement& element) {
        if (element.hasTagName("polyline"))
            lines.push_back(juce::StringArray::fromTokens(element.getStringAttribute("points"), " ", ""));
        if (element.hasTagName("text")) words.add(element.getAllSubText());
    });
    REQUIRE(lines.size() == 2);
    CHECK(lines[0].size() == 3);
    CHECK(lines[1].size() == 4);
    for (const char* expected : {"frequency, Hz", "gain, dB", "200", "2k", "as recorded", "now", "95 % sure"})
        CHECK(words.contains(expected));
    CHECK(words.contains(ui::text("Comb response: under & over <1> \u00b7 room")));
    // The points lie where the axes say: 200 Hz a third of the way, -6 dB 18 of the 30 dB up.
    const auto frame = rectangleOf(layoutInPicture().frame);
    const auto point = juce::StringArray::fromTokens(lines[0][1], ",", "");
    CHECK(point[0].getFloatValue() == Approx(frame.getX() + frame.getWidth() / 3.0f).margin(0.01));
    CHECK(point[1].getFloatValue() == Approx(frame.getBottom() - frame.getHeight() * 0.6f).margin(0.01));
}

TEST_CASE("a picture has two pixels a unit and is light, whatever the window is") {
    Fonts fonts;
    fonts.look.setDark(true);
    const auto picture = pictureOf(twoLines());
    fonts.look.setDark(false);
    CHECK(picture.getWidth() == 2 * static_cast<int>(pictureWidth));
    CHECK(picture.getHeight() == 2 * static_cast<int>(pictureHeight));
    CHECK(picture.getPixelAt(5, 5) == Palette::light().paper);
    // The line of the middle, 3 dB, is drawn in ink.
    const auto at = placeIn(twoLines(), layoutInPicture().frame, 600.0, 3.0);
    CHECK(picture.getPixelAt(juce::roundToInt(2.0f * at.x), juce::roundToInt(2.0f * at.y)).getBrightness() < 0.4f);
}

TEST_CASE("plots are saved whole or not at all") {
    Fonts fonts;
    TemporaryFolder folder;
    const auto svg = folder.path() / "plot.svg", png = folder.path() / "plot.png";
    REQUIRE(savePlot(twoLines(), PlotFormat::svg, svg));
    REQUIRE(savePlot(twoLines(), PlotFormat::png, png));
    std::ifstream file(svg, std::ios::binary);
    const std::string text(std::istreambuf_iterator<char>(file), {});
    CHECK(text == svgInWindow(twoLines()));
    const auto image = juce::ImageFileFormat::loadFrom(juce::File(juce::String(png.string())));
    CHECK(image.getWidth() == 2 * static_cast<int>(pictureWidth));
    const auto missing = savePlot(twoLines(), PlotFormat::svg, folder.path() / "absent" / "plot.svg");
    REQUIRE_FALSE(missing);
    CHECK_FALSE(missing.fault().line().empty());
    CHECK(std::distance(std::filesystem::directory_iterator(folder.path()), {}) == 2); // nothing half done is left
}
