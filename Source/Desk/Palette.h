#pragma once

#include <juce_graphics/juce_graphics.h>

#include <string>
#include <vector>

namespace spillwright::desk {

/// The colours of one theme. What adds and what cancels is never told by colour alone: a sign stands beside it.
struct Palette {
    juce::Colour paper;    ///< The ground of everything.
    juce::Colour raised;   ///< Cards, plots, fields.
    juce::Colour selected; ///< The chosen row, the band in a plot.
    juce::Colour ink;
    juce::Colour muted; ///< Second-rank text.
    juce::Colour rules; ///< Lines that part things; never text.
    juce::Colour accent;
    juce::Colour onAccent; ///< Text on the accent.
    juce::Colour adds;
    juce::Colour cancels;
    juce::Colour onSign; ///< Signs inside the squares of full hue.
    juce::Colour wave;   ///< Waveform outside the loop.

    static const Palette& light();
    static const Palette& dark();
    static const Palette& projected(); ///< Ink on white, for a projector in a bright room.
};

/// The ground of a label's letter, 1..TrackList::labelCount; ink stands on it.
juce::Colour labelColour(const Palette& palette, int label);

/// Contrast ratio of two opaque colours, 1..21. WCAG 2.1, "contrast ratio" and "relative luminance".
double contrastRatio(juce::Colour a, juce::Colour b);

/// Every pair of colours in which text is set, with a name for messages.
struct TextColours {
    std::string use;
    juce::Colour text;
    juce::Colour ground;
};
std::vector<TextColours> textColours(const Palette& palette);

} // namespace spillwright::desk
