#pragma once

#include <juce_gui_basics/juce_gui_basics.h>

#include <cmath>
#include <functional>
#include <map>
#include <string>
#include <vector>

namespace spillwright::test {

/// One line of text as it was drawn, in pixels of the picture.
struct DrawnLine {
    juce::String text; ///< Without its spaces.
    float height = 0.0f;
    bool squashed = false; ///< Its letters are narrower than they were made.
    bool slanted = false;
    juce::Rectangle<float> ink;  ///< Around all that has colour.
    juce::Rectangle<float> cut;  ///< What of it lies outside of where its component may draw; empty: nothing.
    juce::Rectangle<float> seen; ///< What of it lies inside.
};

/// Keeps every line of text that is drawn into it, and draws no text. On Linux the number of a glyph is its character.
class TextReader : public juce::LowLevelGraphicsSoftwareRenderer {
public:
    explicit TextReader(const juce::Image& image) : juce::LowLevelGraphicsSoftwareRenderer(image) {}
    const std::vector<DrawnLine>& lines() const { return read; }

    void drawGlyph(int glyph, const juce::AffineTransform& place) override {
        auto& font = stack->font;
        const float height = font.getHeight();
        const auto whole = stack->transform.getTransformWith(
            juce::AffineTransform::scale(height * font.getHorizontalScale(), height).followedBy(place));
        const auto ink = inkOf(font, glyph).transformedBy(whole);
        if (ink.isEmpty()) return;
        const auto origin = juce::Point<float>().transformedBy(whole);
        const bool slanted = whole.mat10 != 0.0f;
        const bool beside = !read.empty() && (slanted ? origin.getDistanceFrom(before) < height
                                                      : std::abs(origin.y - before.y) < 0.01f &&
                                                            ink.getX() > read.back().ink.getRight() - 2.0f &&
                                                            ink.getX() < read.back().ink.getRight() + 0.6f * height);
        if (read.empty() || !beside || height != read.back().height || font.isBold() != bold ||
            slanted != read.back().slanted)
            read.push_back({"", height, font.getHorizontalScale() < 0.99f, slanted, ink, {}, {}});
        auto& line = read.back();
        line.text += juce::String::charToString(static_cast<juce::juce_wchar>(glyph));
        const auto inside = stack->clip ? stack->clip->getClipBounds().toFloat() : juce::Rectangle<float>();
        if (const auto seen = ink.getIntersection(inside); !seen.isEmpty())
            line.seen = line.seen.isEmpty() ? seen : line.seen.getUnion(seen);
        line.ink = line.ink.getUnion(ink);
        if (!inside.expanded(1.0f).contains(ink)) line.cut = line.cut.isEmpty() ? ink : line.cut.getUnion(ink);
        before = origin;
        bold = font.isBold();
    }

private:
    static juce::Rectangle<float> inkOf(juce::Font& font, int glyph) {
        static std::map<std::pair<bool, int>, juce::Rectangle<float>> known;
        const auto [found, isNew] = known.try_emplace({font.isBold(), glyph});
        if (isNew) {
            juce::Path outline;
            font.getTypefacePtr()->getOutlineForGlyph(glyph, outline);
            found->second = outline.getBounds();
        }
        return found->second;
    }

    std::vector<DrawnLine> read;
    juce::Point<float> before; ///< Of the glyph before.
    bool bold = false;
};

/// All the text of a component and what is in it, as it is drawn now. What is kept as an image is drawn anew for it.
inline std::vector<DrawnLine> textOf(juce::Component& component) {
    const std::function<void(juce::Component&)> unkept = [&](juce::Component& part) {
        if (part.getCachedComponentImage()) part.setBufferedToImage(false);
        for (auto* child : part.getChildren())
            unkept(*child);
    };
    unkept(component);
    const juce::Image image(juce::Image::RGB, component.getWidth(), component.getHeight(), true,
                            juce::SoftwareImageType());
    TextReader reader(image);
    {
        juce::Graphics g(reader);
        component.paintEntireComponent(g, true);
    }
    return reader.lines();
}

} // namespace spillwright::test
