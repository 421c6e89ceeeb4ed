#pragma once

#include "DeskFixture.h"

#include "Desk/Look.h"
#include "Desk/Plot.h"

#include "Report/TwoLines.h"

namespace spillwright::test {

/// Text can be measured and painted.
struct Fonts {
    JuceWithoutDisplay juce;
    desk::Look look;
};

} // namespace spillwright::test
