#pragma once

#include "Desk/Controller.h"
#include "Desk/KeyButton.h"

#include <juce_gui_basics/juce_gui_basics.h>

namespace spillwright::desk {

/// What the user is told, laid over the window so that nothing moves below the hand: beside the recording's name where
/// two lines are enough, else below the title over its whole width.
class NoticeBar : public juce::Component {
public:
    explicit NoticeBar(Controller& controller);
    void refresh(); ///< After the notice changed; place() follows.
    /// `beside` the name, the height of the title; or from the left edge of `below`, as high as it needs.
    void place(juce::Rectangle<int> beside, juce::Rectangle<int> below);
    std::function<void()> onRemarks; ///< The list of all remarks is asked for.
    void paint(juce::Graphics& g) override;
    void resized() override;
    void mouseUp(const juce::MouseEvent& event) override;

private:
    juce::Rectangle<int> wordsArea() const;
    int linesIn(int width) const; ///< Of the words in a bar so wide.

    Controller& controller;
    Explained<juce::TextButton> remarks{"All remarks"};
    Explained<juce::TextButton> dismiss{"\u00d7"};
};

} // namespace spillwright::desk
