#pragma once

#include <juce_gui_basics/juce_gui_basics.h>

#include <algorithm>
#include <cmath>

namespace spillwright::desk {

/// Gives what it holds the room that it needs at least: where there is less, all of it is drawn smaller, so that
/// nothing is cut off or overlaps. However large the user wants everything, it is as large as the screen allows.
class Fitting : public juce::Component {
public:
    Fitting(juce::Component& content, int leastWidth, int leastHeight)
        : inner(content), least(leastWidth, leastHeight) {
        addAndMakeVisible(inner);
        setSize(inner.getWidth(), inner.getHeight());
    }
    /// At most 1.
    float scale() const {
        return std::min({1.0f, static_cast<float>(getWidth()) / static_cast<float>(least.x),
                         static_cast<float>(getHeight()) / static_cast<float>(least.y)});
    }
    void resized() override {
        const float factor = std::max(scale(), 0.05f);
        inner.setTransform(juce::AffineTransform::scale(factor));
        inner.setBounds(0, 0, static_cast<int>(std::ceil(static_cast<float>(getWidth()) / factor)),
                        static_cast<int>(std::ceil(static_cast<float>(getHeight()) / factor)));
    }

private:
    juce::Component& inner;
    const juce::Point<int> least;
};

} // namespace spillwright::desk
