#include "Desk/Palette.h"

#include "Report/Colours.h"
#include "Session/TrackList.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace spillwright::desk {

namespace {

juce::Colour opaque(std::uint32_t rgb) {
    return juce::Colour(0xff000000u | rgb);
}

} // namespace

const Palette& Palette::light() {
    static const Palette palette{
        .paper = opaque(colours::paper),
        .raised = opaque(colours::raised),
        .selected = opaque(colours::selected),
        .ink = opaque(colours::ink),
        .muted = opaque(colours::muted),
        .rules = opaque(colours::rules),
        .accent = opaque(colours::accent),
        .onAccent = juce::Colour(0xfffffdf8),
        .adds = opaque(colours::adds),
        .cancels = opaque(colours::cancels),
        .onSign = juce::Colour(0xffffffff),
        .wave = juce::Colour(0xffbdb7a7),
    };
    return palette;
}

const Palette& Palette::dark() {
    static const Palette palette{
        .paper = juce::Colour(0xff1c1f24),
        .raised = juce::Colour(0xff23272d),
        .selected = juce::Colour(0xff2f343b),
        .ink = juce::Colour(0xfff3eee2),
        .muted = juce::Colour(0xffb3ad9f),
        .rules = juce::Colour(0xff41464e),
        .accent = juce::Colour(0xff5cc4bb),
        .onAccent = juce::Colour(0xff12211f),
        .adds = juce::Colour(0xff86b8f2),
        .cancels = juce::Colour(0xfff29a5c),
        .onSign = juce::Colour(0xff15181c),
        .wave = juce::Colour(0xff5f646b),
    };
    return palette;
}

const Palette& Palette::projected() {
    static const Palette palette{
        .paper = juce::Colour(0xffffffff),
        .raised = juce::Colour(0xffffffff),
        .selected = juce::Colour(0xffe4e4e4),
        .ink = juce::Colour(0xff000000),
        .muted = juce::Colour(0xff333333),
        .rules = juce::Colour(0xff8c8c8c),
        .accent = juce::Colour(0xff00514b),
        .onAccent = juce::Colour(0xffffffff),
        .adds = juce::Colour(0xff0b3d91),
        .cancels = juce::Colour(0xff8a2b00),
        .onSign = juce::Colour(0xffffffff),
        .wave = juce::Colour(0xff8c8c8c),
    };
    return palette;
}

juce::Colour labelColour(const Palette& palette, int label) {
    static const std::array hues{juce::Colour(0xff2f9e8f), juce::Colour(0xff4f83cc), juce::Colour(0xffd98a2b),
                                 juce::Colour(0xff9a6fc0), juce::Colour(0xff8f9a2e), juce::Colour(0xffcf6a82)};
    static_assert(hues.size() == static_cast<std::size_t>(TrackList::labelCount));
    return hues[static_cast<std::size_t>(label - 1)].interpolatedWith(palette.paper, 0.5f);
}

double contrastRatio(juce::Colour a, juce::Colour b) {
    const auto luminance = [](juce::Colour colour) {
        const auto linear = [](juce::uint8 level) {
            const double c = level / 255.0;
            return c <= 0.04045 ? c / 12.92 : std::pow((c + 0.055) / 1.055, 2.4);
        };
        return 0.2126 * linear(colour.getRed()) + 0.7152 * linear(colour.getGreen()) +
               0.0722 * linear(colour.getBlue());
    };
    const double la = luminance(a), lb = luminance(b);
    return (std::max(la, lb) + 0.05) / (std::min(la, lb) + 0.05);
}

std::vector<TextColours> textColours(const Palette& p) {
    std::vector<TextColours> all{
        {"text", p.ink, p.paper},
        {"text on cards", p.ink, p.raised},
        {"text in the chosen row", p.ink, p.selected},
        {"quiet text", p.muted, p.paper},
        {"quiet text on cards", p.muted, p.raised},
        {"quiet text in the chosen row", p.muted, p.selected},
        {"accent text", p.accent, p.paper},
        {"accent text on cards", p.accent, p.raised},
        {"accent text in the chosen row", p.accent, p.selected},
        {"text on the accent", p.onAccent, p.accent},
        {"gain that adds", p.adds, p.raised},
        {"gain that cancels", p.cancels, p.raised},
        {"gain that adds, on paper", p.adds, p.paper},
        {"gain that cancels, on paper", p.cancels, p.paper},
        {"plus sign", p.onSign, p.adds},
        {"minus sign", p.onSign, p.cancels},
        {"text on a pressed toggle", p.paper, p.ink},
    };
    for (int label = 1; label <= TrackList::labelCount; ++label)
        all.push_back({"letter of a label", p.ink, labelColour(p, label)});
    return all;
}

} // namespace spillwright::desk
