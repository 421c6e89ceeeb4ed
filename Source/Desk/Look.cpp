#include "Desk/Look.h"

#include "SpillwrightResources.h"

#include <algorithm>
#include <cmath>

namespace spillwright::desk {

namespace {

bool darkNow = false, projectedNow = false;

juce::TextLayout layoutOfTooltip(const juce::String& words) {
    juce::AttributedString content;
    content.setJustification(juce::Justification::topLeft);
    content.append(words, ui::font(13.0f), ui::palette().ink);
    juce::TextLayout layout;
    layout.createLayout(content, 420.0f);
    return layout;
}

} // namespace

namespace ui {

juce::Font font(float height, bool bold) {
    constexpr float linePerEm = 1.21f; // JUCE counts ascent and descent, designers the em; of Inter
    height *= linePerEm;
#if JUCE_MAJOR_VERSION >= 8
    return juce::Font(juce::FontOptions(height, bold ? juce::Font::bold : juce::Font::plain));
#else
    return juce::Font(height, bold ? juce::Font::bold : juce::Font::plain);
#endif
}

const Palette& palette() {
    if (projectedNow) return Palette::projected();
    return darkNow ? Palette::dark() : Palette::light();
}

juce::String text(const std::string& utf8) {
    return juce::String::fromUTF8(utf8.data(), static_cast<int>(utf8.size()));
}

void draw(juce::Graphics& g, const std::string& utf8, juce::Rectangle<float> area, juce::Justification justification,
          float height, juce::Colour colour, bool bold) {
    g.setColour(colour);
    g.setFont(font(height, bold));
    g.drawText(text(utf8), area, justification, true);
}

void drawWhole(juce::Graphics& g, const std::string& utf8, juce::Rectangle<float> area,
               juce::Justification justification, float height, juce::Colour colour, bool bold, float smallest) {
    auto words = utf8;
    const auto fits = [&] { return width(words, height, bold) + 1.0f <= area.getWidth(); };
    while (height > smallest && !fits())
        height -= 0.5f;
    while (!fits()) {
        std::size_t end = 0;
        for (const char* between : {" \u00b7 ", ". ", "; ", ", ", ": "})
            if (const auto place = words.rfind(between); place != std::string::npos) end = std::max(end, place);
        if (end == 0) break;
        words.resize(end);
    }
    draw(g, words, area, justification, height, colour, bold);
}

float width(const std::string& utf8, float height, bool bold) {
    juce::GlyphArrangement glyphs;
    glyphs.addLineOfText(font(height, bold), text(utf8), 0.0f, 0.0f);
    return glyphs.getBoundingBox(0, -1, true).getWidth();
}

void drawFigures(juce::Graphics& g, const std::string& utf8, juce::Rectangle<float> area,
                 juce::Justification justification, float height, juce::Colour colour, bool bold) {
    const auto face = font(height, bold);
    const auto words = text(utf8);
    float digit = 0.0f;
    for (char d = '0'; d <= '9'; ++d)
        digit = std::max(digit, face.getStringWidthFloat(juce::String::charToString(static_cast<juce::juce_wchar>(d))));
    const auto advance = [&](juce::juce_wchar c) {
        return juce::CharacterFunctions::isDigit(c) ? digit : face.getStringWidthFloat(juce::String::charToString(c));
    };
    float total = 0.0f;
    for (auto c : words)
        total += advance(c);
    float x = area.getX();
    if (justification.testFlags(juce::Justification::right)) x = area.getRight() - total;
    if (justification.testFlags(juce::Justification::horizontallyCentred)) x = area.getCentreX() - total / 2.0f;
    const float baseline = area.getCentreY() - face.getHeight() / 2.0f + face.getAscent();
    juce::GlyphArrangement glyphs;
    for (auto c : words) {
        const auto one = juce::String::charToString(c);
        const float own = face.getStringWidthFloat(one);
        glyphs.addLineOfText(face, one, x + (advance(c) - own) / 2.0f, baseline);
        x += advance(c);
    }
    g.setColour(colour);
    glyphs.draw(g);
}

void heading(juce::Graphics& g, const std::string& utf8, juce::Rectangle<float> area) {
    draw(g, utf8, area, juce::Justification::centredLeft, 11.5f, palette().ink, true);
}

void drawFocus(juce::Graphics& g, juce::Rectangle<float> area, float corner, bool onAccent) {
    g.setColour(onAccent ? palette().ink : palette().accent);
    g.drawRoundedRectangle(area.reduced(1.0f), corner, 2.0f);
    if (!onAccent) return;
    g.setColour(palette().paper);
    g.drawRoundedRectangle(area.reduced(2.5f), corner - 1.0f, 1.0f);
}

bool tabInto(juce::Component& container, const juce::KeyPress& key) {
    if (!key.isKeyCode(juce::KeyPress::tabKey) || !container.hasKeyboardFocus(false)) return false;
    const auto parts = juce::KeyboardFocusTraverser().getAllComponents(&container);
    if (parts.empty()) return false;
    (key.getModifiers().isShiftDown() ? parts.back() : parts.front())->grabKeyboardFocus();
    return true;
}

} // namespace ui

Look::Look()
    : regular(juce::Typeface::createSystemTypefaceFor(resources::InterRegular_otf, resources::InterRegular_otfSize)),
      semiBold(
          juce::Typeface::createSystemTypefaceFor(resources::InterSemiBold_otf, resources::InterSemiBold_otfSize)) {
    setDark(darkNow);
    juce::LookAndFeel::setDefaultLookAndFeel(this);
    juce::Typeface::clearTypefaceCache();
}

Look::~Look() {
    juce::LookAndFeel::setDefaultLookAndFeel(nullptr);
    juce::Typeface::clearTypefaceCache();
}

void Look::setDark(bool dark) {
    darkNow = dark;
    takeColours();
}

void Look::setProjected(bool projected) {
    projectedNow = projected;
    takeColours();
}

void Look::takeColours() {
    const auto& p = ui::palette();
    setColour(juce::ResizableWindow::backgroundColourId, p.paper);
    setColour(juce::TextEditor::backgroundColourId, p.raised);
    setColour(juce::TextEditor::textColourId, p.ink);
    setColour(juce::TextEditor::highlightColourId, p.selected);
    setColour(juce::TextEditor::highlightedTextColourId, p.ink);
    setColour(juce::TextEditor::outlineColourId, p.rules);
    setColour(juce::TextEditor::focusedOutlineColourId, p.accent);
    setColour(juce::CaretComponent::caretColourId, p.accent);
    setColour(juce::Label::textColourId, p.ink);
    setColour(juce::ListBox::backgroundColourId, p.raised);
    setColour(juce::ListBox::textColourId, p.ink);
    setColour(juce::DirectoryContentsDisplayComponent::textColourId, p.ink);
    setColour(juce::DirectoryContentsDisplayComponent::highlightColourId, p.selected);
    setColour(juce::DirectoryContentsDisplayComponent::highlightedTextColourId, p.ink);
    setColour(juce::FileBrowserComponent::currentPathBoxBackgroundColourId, p.raised);
    setColour(juce::FileBrowserComponent::currentPathBoxTextColourId, p.ink);
    setColour(juce::FileBrowserComponent::filenameBoxBackgroundColourId, p.raised);
    setColour(juce::FileBrowserComponent::filenameBoxTextColourId, p.ink);
    setColour(juce::FileChooserDialogBox::titleTextColourId, p.ink);
    setColour(juce::FileBrowserComponent::currentPathBoxArrowColourId, p.ink);
    setColour(juce::AlertWindow::backgroundColourId, p.paper); // and of dialogues for files
    setColour(juce::AlertWindow::textColourId, p.ink);
    setColour(juce::AlertWindow::outlineColourId, p.muted);
    setColour(juce::ComboBox::backgroundColourId, p.raised);
    setColour(juce::ComboBox::textColourId, p.ink);
    setColour(juce::ComboBox::outlineColourId, p.rules);
    setColour(juce::ComboBox::arrowColourId, p.muted);
    setColour(juce::PopupMenu::backgroundColourId, p.raised);
    setColour(juce::PopupMenu::textColourId, p.ink);
    setColour(juce::PopupMenu::highlightedBackgroundColourId, p.selected);
    setColour(juce::PopupMenu::highlightedTextColourId, p.ink);
    setColour(juce::TextButton::buttonColourId, p.raised);
    setColour(juce::TextButton::textColourOffId, p.ink);
    setColour(juce::TextButton::textColourOnId, p.onAccent);
}

bool Look::isDark() {
    return darkNow;
}

juce::Typeface::Ptr Look::getTypefaceForFont(const juce::Font& font) {
    return font.isBold() ? semiBold : regular;
}

void Look::drawButtonBackground(juce::Graphics& g, juce::Button& button, const juce::Colour&, bool highlighted,
                                bool down) {
    const auto& p = ui::palette();
    const auto area = button.getLocalBounds().toFloat().reduced(0.5f);
    const bool primary = button.getToggleState() && button.isEnabled();
    auto ground = primary ? p.accent : p.raised;
    if (highlighted && button.isEnabled()) ground = ground.interpolatedWith(primary ? p.ink : p.selected, 0.35f);
    if (down) ground = ground.interpolatedWith(p.ink, 0.12f);
    g.setColour(ground);
    g.fillRoundedRectangle(area, 5.0f);
    g.setColour(primary ? ground : p.rules);
    g.drawRoundedRectangle(area, 5.0f, 1.0f);
    if (button.hasKeyboardFocus(true)) ui::drawFocus(g, button.getLocalBounds().toFloat(), 5.0f, primary);
}

void Look::drawButtonText(juce::Graphics& g, juce::TextButton& button, bool, bool) {
    const auto& p = ui::palette();
    g.setFont(getTextButtonFont(button, button.getHeight()));
    g.setColour(button.isEnabled() ? (button.getToggleState() ? p.onAccent : p.ink) : p.muted.withAlpha(0.6f));
    g.drawFittedText(button.getButtonText(), button.getLocalBounds().reduced(4, 2), juce::Justification::centred, 1);
}

void Look::drawToggleButton(juce::Graphics& g, juce::ToggleButton& button, bool, bool) {
    const auto& p = ui::palette();
    auto area = button.getLocalBounds().toFloat();
    auto box = area.removeFromLeft(22.0f).withSizeKeepingCentre(16.0f, 16.0f);
    const bool oneOfSome = button.getRadioGroupId() != 0;
    const float corner = oneOfSome ? box.getWidth() / 2.0f : 3.0f;
    g.setColour(button.getToggleState() ? p.accent : p.raised);
    g.fillRoundedRectangle(box, corner);
    g.setColour(button.getToggleState() ? p.accent : p.muted);
    g.drawRoundedRectangle(box, corner, 1.2f);
    if (button.getToggleState() && oneOfSome) {
        g.setColour(p.onAccent);
        g.fillEllipse(box.reduced(5.0f));
    } else if (button.getToggleState()) {
        juce::Path tick;
        tick.startNewSubPath(box.getX() + 4.0f, box.getCentreY());
        tick.lineTo(box.getX() + 7.0f, box.getBottom() - 4.5f);
        tick.lineTo(box.getRight() - 3.5f, box.getY() + 4.5f);
        g.setColour(p.onAccent);
        g.strokePath(tick, juce::PathStrokeType(1.8f));
    }
    g.setColour(p.ink);
    g.setFont(ui::font(14.0f));
    g.drawText(button.getButtonText(), area.withTrimmedLeft(4.0f), juce::Justification::centredLeft, true);
    if (button.hasKeyboardFocus(true)) ui::drawFocus(g, button.getLocalBounds().toFloat(), 4.0f);
}

void Look::drawLinearSlider(juce::Graphics& g, int x, int y, int width, int height, float position, float, float,
                            juce::Slider::SliderStyle, juce::Slider& slider) {
    const auto& p = ui::palette();
    const juce::Rectangle<float> area(static_cast<float>(x), static_cast<float>(y), static_cast<float>(width),
                                      static_cast<float>(height));
    const auto track = area.withSizeKeepingCentre(area.getWidth(), 4.0f);
    g.setColour(p.rules);
    g.fillRoundedRectangle(track, 2.0f);
    g.setColour(p.accent);
    g.fillRoundedRectangle(track.withRight(position), 2.0f);
    const float radius = 7.0f;
    g.fillEllipse(position - radius, area.getCentreY() - radius, 2.0f * radius, 2.0f * radius);
    if (slider.hasKeyboardFocus(true)) ui::drawFocus(g, slider.getLocalBounds().toFloat(), 4.0f);
}

void Look::drawComboBox(juce::Graphics& g, int width, int height, bool down, int x, int y, int w, int h,
                        juce::ComboBox& box) {
    juce::LookAndFeel_V4::drawComboBox(g, width, height, down, x, y, w, h, box);
    if (box.hasKeyboardFocus(true)) ui::drawFocus(g, box.getLocalBounds().toFloat(), 3.0f);
}

void Look::positionComboBoxText(juce::ComboBox& box, juce::Label& label) {
    juce::LookAndFeel_V4::positionComboBoxText(box, label);
    label.setMinimumHorizontalScale(1.0f); // letters stay as they were made
}

void Look::drawTextEditorOutline(juce::Graphics& g, int width, int height, juce::TextEditor& editor) {
    const auto area = juce::Rectangle<int>(width, height).toFloat();
    const bool focused = editor.hasKeyboardFocus(true);
    g.setColour(
        editor.findColour(focused ? juce::TextEditor::focusedOutlineColourId : juce::TextEditor::outlineColourId));
    g.drawRect(area, focused ? 2.0f : 1.0f);
}

void Look::drawScrollbar(juce::Graphics& g, juce::ScrollBar&, int x, int y, int width, int height, bool vertical,
                         int start, int size, bool over, bool down) {
    const auto& p = ui::palette();
    const auto thumb =
        vertical ? juce::Rectangle<int>(x, start, width, size) : juce::Rectangle<int>(start, y, size, height);
    g.setColour(over || down ? p.muted : p.rules);
    g.fillRoundedRectangle(thumb.toFloat().reduced(2.0f), 3.0f);
}

juce::Rectangle<int> Look::getTooltipBounds(const juce::String& words, juce::Point<int> place,
                                            juce::Rectangle<int> within) {
    const auto layout = layoutOfTooltip(words);
    const int w = static_cast<int>(std::ceil(layout.getWidth())) + 20;
    const int h = static_cast<int>(std::ceil(layout.getHeight())) + 14;
    return juce::Rectangle<int>(place.x > within.getCentreX() ? place.x - (w + 12) : place.x + 18,
                                place.y > within.getCentreY() ? place.y - (h + 8) : place.y + 8, w, h)
        .constrainedWithin(within);
}

void Look::drawTooltip(juce::Graphics& g, const juce::String& words, int width, int height) {
    const auto& p = ui::palette();
    const auto area = juce::Rectangle<int>(width, height).toFloat();
    g.fillAll(p.raised);
    g.setColour(p.muted);
    g.drawRect(area, 1.0f);
    layoutOfTooltip(words).draw(g, area.reduced(10.0f, 7.0f));
}

} // namespace spillwright::desk
