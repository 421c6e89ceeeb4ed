#include "Desk/Palette.h"

#include <catch2/catch.hpp>

using namespace spillwright::desk;

TEST_CASE("the contrast ratio is that of WCAG 2.1") {
    // The definition's own ends: black on white is 21 to 1, a colour on itself 1 to 1.
    CHECK(contrastRatio(juce::Colours::black, juce::Colours::white) == Approx(21.0).epsilon(1e-6));
    CHECK(contrastRatio(juce::Colours::red, juce::Colours::red) == Approx(1.0).epsilon(1e-9));
    // #777777 on white is the well-known near miss, 4.48 to 1 (from memory).
    CHECK(contrastRatio(juce::Colour(0xff777777), juce::Colours::white) == Approx(4.48).margin(0.005));
}

TEST_CASE("all text reaches 4.5 to 1 in the light, in the dark and projected") {
    for (const auto* palette : {&Palette::light(), &Palette::dark(), &Palette::projected()})
        for (const auto& [use, text, ground] : textColours(*palette)) {
            INFO((palette == &Palette::light()  ? "light: "
                  : palette == &Palette::dark() ? "dark: "
                                                : "projected: ")
                 << use);
            CHECK(contrastRatio(text, ground) >= 4.5);
        }
}
