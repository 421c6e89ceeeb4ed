#pragma once

#include "Desk/Controller.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <memory>
#include <optional>
#include <vector>

namespace spillwright::desk {

enum class TrackField { none, name, level, spill, flip, nudge, gain, highPass, pan, mute, solo, hold, link };

/// Where the fields of a row stand, the same for every row and for the headings.
juce::Rectangle<float> fieldArea(TrackField field, juce::Rectangle<float> row);

/// One track: paints itself, and turns clicks and drags into calls of the controller.
class TrackRow : public juce::Component, public juce::SettableTooltipClient {
public:
    TrackRow(Controller& controller, int track, std::function<void(TrackField)> edit);

    void refresh();
    TrackField fieldAt(juce::Point<float> place) const;

    void paint(juce::Graphics& g) override;
    void mouseMove(const juce::MouseEvent& event) override;
    void mouseExit(const juce::MouseEvent&) override;
    void mouseDown(const juce::MouseEvent& event) override;
    void mouseDrag(const juce::MouseEvent& event) override;
    void mouseUp(const juce::MouseEvent& event) override;

private:
    void paintToggle(juce::Graphics& g, TrackField field, const char* letter, bool on, juce::Colour ground);

    Controller& controller;
    int track;
    std::function<void(TrackField)> edit;
    TrackField hovered = TrackField::none, pressed = TrackField::none;
    TrackAdjustment before; ///< At the start of a drag.
    bool dragged = false;
};

/// All tracks under their headings, with one text field that appears where an amount is typed.
class TrackPanel : public juce::Component {
public:
    explicit TrackPanel(Controller& controller);
    ~TrackPanel() override;

    void changed(unsigned what);
    /// Opens the text field on the chosen track.
    void type(TrackField field);
    bool typing() const { return editor != nullptr; }
    void stopTyping();
    TrackRow* row(int track) { return rows[static_cast<std::size_t>(track)].get(); }
    juce::TextEditor* field() { return editor.get(); }

    void paint(juce::Graphics& g) override;
    void resized() override;

private:
    void rebuild();
    void takeText();

    Controller& controller;
    juce::Viewport viewport;
    juce::Component list;
    std::vector<std::unique_ptr<TrackRow>> rows;
    std::unique_ptr<juce::TextEditor> editor;
    TrackField edited = TrackField::none;
    int editedTrack = -1;
};

} // namespace spillwright::desk
