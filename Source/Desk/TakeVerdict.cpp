#include "Desk/TakeVerdict.h"

#include "Desk/Look.h"

#include <algorithm>

namespace spillwright::desk {

namespace {

constexpr int gutter = 16, above = 3, between = 2;

bool canBeChosen(const VerdictLine& line) {
    return line.track.has_value();
}

} // namespace

class TakeVerdict::Row : public juce::Button {
public:
    Row(TakeVerdict& o, VerdictLine l) : juce::Button({}), owner(o), line(std::move(l)) {
        setTitle(words());
        setEnabled(canBeChosen(line));
        setWantsKeyboardFocus(canBeChosen(line));
        setMouseCursor(canBeChosen(line) ? juce::MouseCursor::PointingHandCursor : juce::MouseCursor::NormalCursor);
        onClick = [this] {
            if (owner.onChoose) owner.onChoose(line);
        };
    }
    /// As a terminal writes it, but for the sign.
    juce::String words() const { return ui::text(line.text).replace("+-", ui::text("\u00b1")); }

    int heightAt(int width) {
        content.clear();
        content.append(words(), ui::font(13.0f), ui::palette().ink);
        layout.createLayout(content, static_cast<float>(width - gutter - 4));
        return juce::roundToInt(layout.getHeight()) + 2 * above;
    }
    void paintButton(juce::Graphics& g, bool highlighted, bool) override {
        const auto& p = ui::palette();
        if (canBeChosen(line)) {
            if (highlighted) {
                g.setColour(p.accent.withAlpha(0.12f));
                g.fillRoundedRectangle(getLocalBounds().toFloat(), 4.0f);
            }
            juce::Path arrow;
            arrow.addTriangle(4.0f, 8.0f, 4.0f, 16.0f, 10.0f, 12.0f);
            g.setColour(p.accent);
            g.fillPath(arrow);
        } else {
            g.setColour(p.muted);
            g.fillRect(4.0f, 11.0f, 6.0f, 1.5f);
        }
        layout.draw(g, getLocalBounds().toFloat().withTrimmedLeft(gutter).translated(0.0f, above));
        if (hasKeyboardFocus(false)) ui::drawFocus(g, getLocalBounds().toFloat().reduced(1.0f), 4.0f);
    }
    void focusGained(FocusChangeType cause) override {
        juce::Button::focusGained(cause);
        auto& view = owner.viewport;
        if (getY() < view.getViewPositionY()) view.setViewPosition(0, getY());
        if (getBottom() > view.getViewPositionY() + view.getViewHeight())
            view.setViewPosition(0, getBottom() - view.getViewHeight());
    }
    const VerdictLine& about() const { return line; }

private:
    TakeVerdict& owner;
    const VerdictLine line;
    juce::AttributedString content;
    juce::TextLayout layout;
};

TakeVerdict::TakeVerdict() {
    setTitle("What was changed between the takes");
    viewport.setViewedComponent(&list, false);
    viewport.setScrollBarsShown(true, false);
    viewport.setScrollBarThickness(10);
    viewport.setWantsKeyboardFocus(false);
    addAndMakeVisible(viewport);
}

TakeVerdict::~TakeVerdict() = default;

void TakeVerdict::show(std::vector<VerdictLine> lines) {
    rows.clear();
    for (auto& line : lines) {
        rows.push_back(std::make_unique<Row>(*this, std::move(line)));
        list.addAndMakeVisible(*rows.back());
    }
    setDescription(text()); // for those who do not see it
    resized();
}

juce::String TakeVerdict::text() const {
    juce::StringArray all;
    for (const auto& row : rows)
        all.add(row->words());
    return all.joinIntoString("\n");
}

juce::Button& TakeVerdict::line(int place) {
    return *rows[static_cast<std::size_t>(place)];
}

void TakeVerdict::page(int direction) {
    viewport.setViewPosition(0,
                             std::max(0, viewport.getViewPositionY() + direction * viewport.getViewHeight() * 9 / 10));
}

void TakeVerdict::resized() {
    viewport.setBounds(getLocalBounds());
    const int width = getWidth() - viewport.getScrollBarThickness() - 2;
    int y = 0;
    for (auto& row : rows) {
        const int height = row->heightAt(width);
        row->setBounds(0, y, width, height);
        y += height + between;
    }
    list.setSize(width, y);
    list.repaint();
}

} // namespace spillwright::desk
