#include "Desk/NoticeBar.h"

#include "Desk/Commands.h"
#include "Desk/Look.h"

#include <algorithm>

namespace spillwright::desk {

namespace {

constexpr float textHeight = 12.5f;
constexpr int lineHeight = 16, mostBeside = 2, mostBelow = 6;
constexpr int dismissWidth = 26, remarksWidth = 104, gap = 8, stripe = 5;

} // namespace

NoticeBar::NoticeBar(Controller& c) : controller(c) {
    setTitle("Notice");
    setOpaque(true);
    remarks.explanation = [] { return "Every remark on the recording (" + keyOf(CommandId::remarks) + ")"; };
    remarks.onClick = [this] {
        if (onRemarks) onRemarks();
    };
    dismiss.setButtonText(ui::text("\u00d7"));
    dismiss.setTitle("Dismiss");
    dismiss.explanation = [] { return "Dismiss (" + keyOf(CommandId::leave) + ")"; };
    dismiss.onClick = [this] { controller.dismissNotice(); };
    for (auto* button : {&remarks, &dismiss}) {
        button->setMouseClickGrabsKeyboardFocus(false);
        addChildComponent(button);
    }
}

void NoticeBar::refresh() {
    const auto& notice = controller.notice();
    setVisible(notice.has_value());
    dismiss.setVisible(notice.has_value());
    remarks.setVisible(notice && notice->remarks);
    setDescription(notice ? ui::text(notice->text) : juce::String());
    repaint();
}

int NoticeBar::linesIn(int width) const {
    const int room = width - stripe - 2 * gap - dismissWidth - gap - (remarks.isVisible() ? remarksWidth + gap : 0);
    if (!controller.notice() || room < 120) return mostBelow;
    juce::AttributedString words(ui::text(controller.notice()->text));
    words.setFont(ui::font(textHeight));
    juce::TextLayout layout;
    layout.createLayout(words, static_cast<float>(room));
    return layout.getNumLines();
}

void NoticeBar::place(juce::Rectangle<int> beside, juce::Rectangle<int> below) {
    if (!isVisible()) return;
    const bool fits = linesIn(beside.getWidth()) <= mostBeside;
    const int lines = std::min(mostBelow, linesIn(below.getWidth()));
    setBounds(fits ? beside : below.withHeight(14 + lineHeight * std::max(1, lines)));
    resized();
}

juce::Rectangle<int> NoticeBar::wordsArea() const {
    const auto& first = remarks.isVisible() ? remarks : dismiss;
    return getLocalBounds().withTrimmedLeft(stripe + gap).withRight(first.getX() - gap);
}

void NoticeBar::resized() {
    auto area = getLocalBounds().withTrimmedRight(gap);
    dismiss.setBounds(area.removeFromRight(dismissWidth).withSizeKeepingCentre(dismissWidth, 26));
    area.removeFromRight(gap);
    remarks.setBounds(area.removeFromRight(remarksWidth).withSizeKeepingCentre(remarksWidth, 26));
}

void NoticeBar::paint(juce::Graphics& g) {
    if (!controller.notice()) return;
    const auto& p = ui::palette();
    g.fillAll(p.selected);
    g.setColour(controller.notice()->fault ? p.cancels : p.accent);
    g.fillRect(getLocalBounds().withWidth(stripe));
    g.setColour(p.ink);
    g.setFont(ui::font(textHeight));
    const auto area = wordsArea();
    g.drawFittedText(ui::text(controller.notice()->text), area, juce::Justification::centredLeft,
                     std::max(1, area.getHeight() / (lineHeight - 1)), 1.0f);
}

void NoticeBar::mouseUp(const juce::MouseEvent&) {
    if (controller.notice() && controller.notice()->remarks && onRemarks) onRemarks();
}

} // namespace spillwright::desk
