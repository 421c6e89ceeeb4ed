#pragma once

#include "Report/Plot.h"

namespace spillwright::test {

inline Plot twoLines() {
    Plot plot;
    plot.title = "Comb response";
    plot.subject = "under & over <1> \u00b7 room";
    plot.remark = "same sound 0.50 ms later";
    plot.caption = "comb, dB";
    plot.x = {"frequency, Hz", 20.0, 20000.0, true, {{200.0, "200"}, {2000.0, "2k"}}};
    plot.y = {"gain, dB", -24.0, 6.0, false, {{-10.0, "\u221210"}, {0.0, "0"}}};
    plot.bands = {{178.0, 562.0}};
    plot.lines = {
        {"as recorded", "", {20.0, 200.0, 20000.0}, {-3.0, -6.0, 0.0}, Plot::Ink::muted, Plot::Stroke::dashed},
        {"now", "", {20.0, 200.0, 2000.0, 20000.0}, {0.0, 3.0, 3.0, 0.0}}};
    plot.areas = {{"95 % sure", "", {100.0, 1000.0}, {-1.0, -2.0}, {1.0, 2.0}}};
    return plot;
}

} // namespace spillwright::test
