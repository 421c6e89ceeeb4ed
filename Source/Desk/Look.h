#pragma once

#include "Desk/Palette.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <string>

namespace spillwright::desk {

namespace ui {

/// The one place where fonts are made: the embedded typeface, the height of its em in pixels at scale 1.
juce::Font font(float height, bool bold = false);
const Palette& palette();

juce::String text(const std::string& utf8);

/// One line; what does not fit ends in an ellipsis.
void draw(juce::Graphics& g, const std::string& utf8, juce::Rectangle<float> area, juce::Justification justification,
          float height, juce::Colour colour, bool bold = false);
/// One line of parts between dots, commas and the like: what does not fit is written smaller, down to `smallest`; then
/// the last parts are left out, which something else tells.
void drawWhole(juce::Graphics& g, const std::string& utf8, juce::Rectangle<float> area,
               juce::Justification justification, float height, juce::Colour colour, bool bold = false,
               float smallest = 10.0f);
/// Numbers with all digits of one width, so that columns stand still while they change.
void drawFigures(juce::Graphics& g, const std::string& utf8, juce::Rectangle<float> area,
                 juce::Justification justification, float height, juce::Colour colour, bool bold = false);
float width(const std::string& utf8, float height, bool bold = false);
/// A small heading in capitals.
void heading(juce::Graphics& g, const std::string& utf8, juce::Rectangle<float> area);
/// The outline of what has the keyboard. On a ground of the accent's colour it is of two others.
void drawFocus(juce::Graphics& g, juce::Rectangle<float> area, float corner, bool onAccent = false);
/// Tab goes from a container that has the keyboard itself to the first of its parts, Shift Tab to the last. True: it
/// did.
bool tabInto(juce::Component& container, const juce::KeyPress& key);

} // namespace ui

/// Ink on paper, and its dark twin.
class Look : public juce::LookAndFeel_V4 {
public:
    Look(); ///< Becomes the default: JUCE asks only the default look for typefaces.
    ~Look() override;

    void setDark(bool dark);
    static bool isDark();
    /// Instead of light or dark.
    void setProjected(bool projected);

    juce::Typeface::Ptr getTypefaceForFont(const juce::Font& font) override;
    void drawButtonBackground(juce::Graphics&, juce::Button&, const juce::Colour&, bool highlighted,
                              bool down) override;
    void drawButtonText(juce::Graphics&, juce::TextButton&, bool highlighted, bool down) override;
    juce::Font getTextButtonFont(juce::TextButton&, int) override { return ui::font(13.5f, true); }
    void drawToggleButton(juce::Graphics&, juce::ToggleButton&, bool highlighted, bool down) override;
    void drawLinearSlider(juce::Graphics&, int x, int y, int width, int height, float position, float, float,
                          juce::Slider::SliderStyle, juce::Slider&) override;
    void drawComboBox(juce::Graphics&, int width, int height, bool down, int, int, int, int, juce::ComboBox&) override;
    juce::Font getComboBoxFont(juce::ComboBox&) override { return ui::font(13.0f); }
    void positionComboBoxText(juce::ComboBox&, juce::Label&) override;
    void drawTextEditorOutline(juce::Graphics&, int width, int height, juce::TextEditor&) override;
    void drawScrollbar(juce::Graphics&, juce::ScrollBar&, int x, int y, int width, int height, bool vertical, int start,
                       int size, bool over, bool down) override;
    juce::Rectangle<int> getTooltipBounds(const juce::String&, juce::Point<int>, juce::Rectangle<int>) override;
    void drawTooltip(juce::Graphics&, const juce::String&, int width, int height) override;

private:
    void takeColours();
    juce::Typeface::Ptr regular, semiBold;
};

} // namespace spillwright::desk
