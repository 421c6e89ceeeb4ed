#pragma once

#include "Desk/Controller.h"
#include "Desk/LastMove.h"

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
    /// The row is dragged by its name to so many pixels below its own top; `dropped`: and let go there.
    std::function<void(int track, float y, bool dropped)> onMove;

    void refresh();
    TrackField fieldAt(juce::Point<float> place) const;

    void paint(juce::Graphics& g) override;
    void mouseMove(const juce::MouseEvent& event) override;
    void mouseExit(const juce::MouseEvent&) override;
    void mouseDown(const juce::MouseEvent& event) override;
    void mouseDrag(const juce::MouseEvent& event) override;
    void mouseUp(const juce::MouseEvent& event) override;
    void mouseDoubleClick(const juce::MouseEvent& event) override;

private:
    void paintName(juce::Graphics& g, juce::Colour colour, bool chosen);
    void paintToggle(juce::Graphics& g, TrackField field, const char* letter, bool on, juce::Colour ground);

    Controller& controller;
    int track;
    std::function<void(TrackField)> edit;
    TrackField hovered = TrackField::none, pressed = TrackField::none;
    TrackAdjustment before; ///< At the start of a drag.
    bool dragged = false;
    LastMove move;
};

/// The name of a group above its tracks: a click folds it, a double click renames it.
class GroupRow : public juce::Component, public juce::SettableTooltipClient {
public:
    GroupRow(Controller& controller, int group, std::function<void()> rename);
    void paint(juce::Graphics& g) override;
    void mouseUp(const juce::MouseEvent& event) override;
    int group() const { return place; }

private:
    Controller& controller;
    const int place;
    std::function<void()> rename;
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
    GroupRow* groupRow(int group) { return headers[static_cast<std::size_t>(group)].get(); }
    void typeGroup(int group); ///< Its name.
    /// Where in the order a track goes that is let go at this height of the list.
    int placeAt(int track, float y) const;
    TrackRow* row(int track) { return rows[static_cast<std::size_t>(track)].get(); }
    juce::TextEditor* field() { return editor.get(); }

    void paint(juce::Graphics& g) override;
    void resized() override;

private:
    void rebuild();
    void takeText();
    void layOut();
    void openEditor(const juce::String& title, const std::string& text, juce::Rectangle<int> area);

    Controller& controller;
    juce::Viewport viewport;
    juce::Component list;
    std::vector<std::unique_ptr<TrackRow>> rows;
    std::vector<std::unique_ptr<GroupRow>> headers;
    TrackList shownList; ///< As it is laid out.
    struct DropLine : juce::Component {
        void paint(juce::Graphics& g) override;
    };
    DropLine dropLine; ///< Where a row that is dragged would go.
    int editedGroup = -1;
    std::unique_ptr<juce::TextEditor> editor;
    TrackField edited = TrackField::none;
    int editedTrack = -1;
};

} // namespace spillwright::desk
