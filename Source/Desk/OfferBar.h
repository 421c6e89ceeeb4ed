#pragma once

#include "Desk/Autosave.h"
#include "Desk/KeyButton.h"

#include <juce_gui_basics/juce_gui_basics.h>

namespace spillwright::desk {

/// One line with what is left of an earlier sitting, to go on with or not; seen only while there is an offer.
class OfferBar : public juce::Component {
public:
    static constexpr int height = 40;
    /// `autosave`: null where nothing is kept.
    explicit OfferBar(Autosave* autosave);
    void refresh(); ///< After the offer came or went.
    void paint(juce::Graphics& g) override;
    void resized() override;
    juce::Button& goOnButton() { return goOn; }
    juce::Button& notNowButton() { return notNow; }

private:
    Autosave* autosave;
    Explained<juce::TextButton> goOn{"Go on"};
    juce::TextButton notNow{"Not now"};
};

} // namespace spillwright::desk
