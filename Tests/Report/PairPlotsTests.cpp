#include "Report/PairPlots.h"

#include "Session/Measurement.h"
#include "Support/MemorySource.h"
#include "Support/TestWav.h"

#include <catch2/catch.hpp>

#include <algorithm>

using namespace spillwright;
using namespace spillwright::test;

namespace {

/// The second hears the first's sound 1 ms later.
struct LatePair {
    Workers workers{1};
    Measurement measurement;

    LatePair() {
        constexpr std::size_t length = 6 * 48000;
        std::vector<TrackInfo> tracks(2);
        tracks[0].name = "a";
        tracks[1].name = "b";
        const auto common = noise(length, 1);
        const MemorySource source(
            {mixed(common, noise(length, 2, 0.01f)), mixed(delayed(common, 48), noise(length, 3, 0.01f))});
        auto m = measure("pair", tracks, source, {}, {}, workers, {});
        REQUIRE(m);
        measurement = std::move(m).value();
    }
    const PairReading& reading() const { return measurement.pairs.front(); }
};

} // namespace

TEST_CASE("the comb plot marks the notches of what is heard, and shows what was recorded beside it") {
    LatePair pair;
    const auto curves = readPairCurves(*pair.measurement.spectra, pair.reading());
    const NamedCurve same{curves.comb, "now", ""};
    const auto plot = plotComb(&curves.comb, &same, nullptr, lowMidBand);
    REQUIRE(plot.lines.size() == 2);
    CHECK(plot.lines[0].name == "as recorded");
    CHECK(plot.lines[1].name == "now");
    CHECK(plot.x.label == "frequency, Hz");
    CHECK(plot.y.label.find(", dB") != std::string::npos);
    REQUIRE_FALSE(plot.marks.empty());
    CHECK(plot.marks.front().x == Approx(500.0).epsilon(0.02)); // 1/(2 * 1 ms): the one of the band first
    CHECK(std::ssize(plot.marks) <= mostNotches);

    // Lined up there is no notch left, and the curve is another one.
    TrackAdjustment earlier;
    earlier.nudge = milliseconds(-1.0);
    const NamedCurve lined{combResponse(*pair.measurement.spectra, 0, 1, {}, earlier), "lined up", ""};
    CHECK(toldApart(lined.curve, curves.comb));
    CHECK_FALSE(toldApart(curves.comb, curves.comb));
    CHECK(plotComb(&curves.comb, &lined, nullptr, lowMidBand).marks.empty());
    // The best is drawn where it is another curve than both.
    const auto beside = plotComb(&curves.comb, &same, &lined, lowMidBand);
    CHECK(std::any_of(beside.lines.begin(), beside.lines.end(),
                      [](const auto& line) { return line.name == "lined up" && line.stroke == Plot::Stroke::dotted; }));
    CHECK(plotComb(nullptr, nullptr, nullptr, lowMidBand).lines.empty());
}

TEST_CASE("the lag plot marks the arrival, and moves and turns with the setting") {
    LatePair pair;
    const auto curves = readPairCurves(*pair.measurement.spectra, pair.reading());
    CHECK(curves.span == milliseconds(2.0)); // just wide enough
    const auto plot = plotLag(&pair.reading(), curves, {}, "now");
    REQUIRE(plot.lines.size() == 1);
    REQUIRE_FALSE(plot.marks.empty());
    CHECK(plot.marks.front().x == Approx(1.0).margin(0.005));
    CHECK(plot.marks.front().y > 0.0);
    const auto& line = plot.lines.front();
    const auto top = std::max_element(line.y.begin(), line.y.end()) - line.y.begin();
    CHECK(line.x[static_cast<std::size_t>(top)] == Approx(1.0).margin(0.02));

    TrackAdjustment second;
    second.flip = true;
    second.nudge = milliseconds(-1.0);
    const auto moved = plotLag(&pair.reading(), curves, PairShift({}, second), "now");
    REQUIRE(moved.lines.size() == 2); // what was recorded stays beside it
    CHECK(moved.marks.front().x == Approx(0.0).margin(0.005));
    CHECK(moved.marks.front().y < 0.0);
    CHECK(plotLag(nullptr, {}, {}, "now").lines.empty());
}

TEST_CASE("the coherence plot has its curve within the range that is 95 per cent sure") {
    LatePair pair;
    const auto curves = readPairCurves(*pair.measurement.spectra, pair.reading());
    const auto plot = plotCoherence(&curves.coherence, lowMidBand);
    REQUIRE(plot.lines.size() == 1);
    REQUIRE(plot.areas.size() == 1);
    const auto& line = plot.lines.front();
    const auto& area = plot.areas.front();
    REQUIRE(line.y.size() == area.low.size());
    for (std::size_t i = 0; i < line.y.size(); ++i) {
        CHECK(area.low[i] <= line.y[i] + 1e-12);
        CHECK(area.high[i] >= line.y[i] - 1e-12);
    }
    REQUIRE(plot.bands.size() == 1);
    CHECK(plot.bands.front().from == lowMidBand.low.value);
    CHECK(plotCoherence(nullptr, lowMidBand).lines.empty());
}
