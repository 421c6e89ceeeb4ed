#include "Report/Plot.h"

#include "Report/TwoLines.h"

#include <catch2/catch.hpp>

using namespace spillwright;
using namespace spillwright::test;

TEST_CASE("labels stand beside their marks, none over another, the first marks first") {
    auto plot = twoLines();
    for (int i = 0; i < 12; ++i)
        plot.marks.push_back({300.0 + 20.0 * i, -30.0 + 2.0 * i, {"238 Hz \u221214 dB", "238 Hz"}});
    plot.marks.push_back({5.0, 0.0, {"outside"}});
    for (const auto frame : {PlotBox{0.0f, 20.0f, 310.0f, 60.0f}, layoutInPicture().frame}) {
        const auto labels = placeLabels(plot, frame, 11.0f, estimatedWidth);
        REQUIRE(labels.size() >= 2);
        CHECK(labels[0].mark == 0);
        for (std::size_t a = 0; a < labels.size(); ++a) {
            CHECK(frame.contains(labels[a].area));
            CHECK(frame.expanded(0.1f).contains(labels[a].tip));
            CHECK(labels[a].words != "outside");
            for (std::size_t b = 0; b < a; ++b) {
                CHECK_FALSE(labels[a].area.intersects(labels[b].area));
                CHECK_FALSE(labels[a].area.contains(labels[b].tip));
            }
        }
    }
}
