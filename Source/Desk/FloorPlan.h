#pragma once

#include "Core/Scene/PracticeRoom.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <functional>
#include <memory>
#include <optional>
#include <vector>

namespace spillwright::desk {

/// A practice room from above, to scale: its walls, thicker the more they reflect, the source and the microphones, to
/// be dragged or moved by keys: arrows 1 cm, Page up and Page down in height, with Shift 10 cm.
class FloorPlan : public juce::Component {
public:
    static constexpr int theSource = -1;                        ///< Else the place of a microphone.
    static constexpr double keyStep = 0.01, largeKeyStep = 0.1; ///< Metres.

    FloorPlan();
    ~FloorPlan() override;
    void show(const PracticeRoom& room);
    /// Asks for a place; what is shown stays as it is until show().
    std::function<void(int which, Point place)> onMove;
    std::function<void()> onRelease; ///< The hand has let go.
    bool dragging() const { return held.has_value(); }

    /// Of the source, or of a microphone.
    template <class Room>
    static auto& positionIn(Room& in, int which) {
        return which == theSource ? in.source : in.microphones[static_cast<std::size_t>(which)].position;
    }
    juce::Point<float> placeOf(const Point& point) const;
    /// What the keyboard goes to: a badge beside the place.
    juce::Component& badge(int which);

    void paint(juce::Graphics& g) override;
    void resized() override;
    void mouseDown(const juce::MouseEvent& event) override;
    void mouseDrag(const juce::MouseEvent& event) override;
    void mouseUp(const juce::MouseEvent& event) override;

private:
    struct Badge;
    struct Held {
        int which = theSource;
        juce::Point<float> offset; ///< From where it was taken to its place.
    };
    const Point& position(int which) const { return positionIn(room, which); }
    void press(int which, juce::Point<float> at);
    void moveByKey(int which, double x, double y, double z);
    void layOut();
    float perMetre() const; ///< Pixels.

    PracticeRoom room;
    juce::Rectangle<float> floor;               ///< The room's, in pixels.
    std::vector<std::unique_ptr<Badge>> badges; ///< The source's, then one a microphone.
    std::optional<Held> held;
};

} // namespace spillwright::desk
