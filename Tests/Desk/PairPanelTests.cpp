#include "DeskFixture.h"

using namespace spillwright;
using namespace spillwright::desk;
using namespace spillwright::test;

namespace {

const Plot::Line* lineNamed(const Plot& plot, const std::string& beginning) {
    for (const auto& line : plot.lines)
        if (line.name.rfind(beginning, 0) == 0) return &line;
    return nullptr;
}

} // namespace

TEST_CASE("the notches that are heard now are marked with frequency and depth, and move with the nudge") {
    BandWindow window;
    auto& controller = window.controller();
    auto& comb = window.main.pairPanel().combPlot();
    // The third track hears the sound 0.25 ms later: notches at odd multiples of 2 kHz.
    controller.selectPair(2, 0);
    const auto labelsNear = [&](double hertz) {
        for (const auto& label : comb.labels())
            if (std::abs(comb.plot().marks[label.mark].x / hertz - 1.0) < 0.02) return label.words;
        return std::string();
    };
    CHECK_THAT(labelsNear(2000.0), Catch::Contains("Hz \u2212") && Catch::Contains(" dB"));
    CHECK(labelsNear(500.0).empty());
    controller.setNudge(2, milliseconds(0.75)); // 1 ms together
    CHECK_THAT(labelsNear(500.0), Catch::Contains("Hz \u2212"));
    CHECK(comb.plot().marks.front().x == Approx(500.0).epsilon(0.02)); // that of the band first
    CHECK(std::ssize(comb.plot().marks) <= mostNotches);
}

TEST_CASE("what the best proposal does with the pair is drawn where it is another curve than what is heard") {
    BandWindow window;
    auto& controller = window.controller();
    controller.selectPair(1, 0);
    const auto& plot = window.main.pairPanel().combPlot().plot();
    CHECK_FALSE(lineNamed(plot, "best proposal"));
    REQUIRE(lineNamed(plot, "now"));
    controller.propose();
    REQUIRE(waitUntilIdle(controller));
    const auto* best = lineNamed(plot, "best proposal");
    REQUIRE(best);
    CHECK(best->stroke == Plot::Stroke::dotted);
    const auto ghost = best->y;
    // Heard, it is no ghost any more: the same curve is what is heard now.
    VersionKind kind = VersionKind::flips;
    for (auto each : {VersionKind::nudgesTo1ms, VersionKind::nudgesTo10ms})
        if (controller.version(each)->gainDb > controller.version(kind)->gainDb) kind = each;
    controller.hear(kind);
    CHECK_FALSE(lineNamed(plot, "best proposal"));
    CHECK(lineNamed(plot, "now")->y == ghost);
    CHECK(lineNamed(plot, "as recorded")->y != ghost);
}

TEST_CASE("the pair is copied as plain lines: times, samples, lengths, polarity, by key and by button") {
    BandWindow window;
    auto& panel = window.main.pairPanel();
    juce::String copied;
    panel.toClipboard = [&](const juce::String& text) { copied = text; };
    window.controller().selectPair(1, 0);
    CHECK(window.key('c', 0, juce::ModifierKeys::ctrlModifier));
    const auto lines = juce::StringArray::fromLines(copied.trimEnd());
    INFO(copied);
    CHECK(lines[0] == ui::text("close \u00b7 under"));
    const auto value = [&](const char* name) {
        for (const auto& line : lines)
            if (line.startsWith(juce::String(name) + ": ")) return line.fromFirstOccurrenceOf(": ", false, false);
        return juce::String();
    };
    CHECK(value("arrival").startsWith("0.500 ")); // 24 samples of 48 kHz
    CHECK(value("arrival").contains("ms later"));
    CHECK(value("samples").getDoubleValue() == Approx(24.0).margin(0.05));
    CHECK(value("samples").contains(ui::text("\u00b1")));
    CHECK(value("distance").getDoubleValue() == Approx(17.16).margin(0.05)); // cm of 0.5 ms at 343.2 m/s
    CHECK(value("distance").fromFirstOccurrenceOf(ui::text("\u00b7 "), false, false).getDoubleValue() ==
          Approx(17.16 / 2.54).margin(0.02));
    CHECK(value("polarity").startsWith("upside down"));
    CHECK(value("polarity").endsWith("%"));
    CHECK(value("summation gain").isNotEmpty());
    copied.clear();
    panel.copyButton().onClick();
    CHECK(copied.isNotEmpty());
}

TEST_CASE("all three plots are saved at once, and never over a file that is there") {
    BandWindow window;
    TemporaryFolder folder;
    auto& panel = window.main.pairPanel();
    window.controller().selectPair(1, 0);
    const auto count = [&] { return std::distance(std::filesystem::directory_iterator(folder.path()), {}); };
    panel.saveAll(folder.path());
    CHECK(count() == 6);
    CHECK(std::filesystem::exists(folder.path() / "close - under - comb response.svg"));
    CHECK(std::filesystem::exists(folder.path() / "close - under - correlation over lag.png"));
    panel.saveAll(folder.path());
    CHECK(count() == 12);
    REQUIRE(window.controller().notice());
    CHECK_FALSE(window.controller().notice()->fault);
    // The polyline has as many points as the curve.
    juce::XmlDocument document(
        juce::File(juce::String((folder.path() / "close - under - correlation over lag.svg").string())));
    const auto root = document.getDocumentElement();
    REQUIRE(root);
    const auto* line = root->getChildByAttribute("id", "curves")->getChildByName("polyline");
    REQUIRE(line);
    CHECK(juce::StringArray::fromTokens(line->getStringAttribute("points"), " ", "").size() ==
          static_cast<int>(panel.lagPlot().plot().lines.front().x.size()));

    panel.saveAll(folder.path() / "absent");
    CHECK(window.controller().notice()->fault);
    CHECK(count() == 12);
}

TEST_CASE("a plot without a pair cannot be saved") {
    EmptyWindow empty;
    auto& main = empty.main;
    auto& controller = empty.controller;
    CHECK_FALSE(main.pairPanel().combPlot().saveButton().isVisible());
    CHECK_FALSE(main.pairPanel().copyButton().isVisible());
    CHECK(main.pairPanel().inWords().empty());
    main.perform(CommandId::copyPair);
    main.perform(CommandId::savePlots);
    CHECK_FALSE(controller.notice());
}
