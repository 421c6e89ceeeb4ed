#include "Desk/KeySheet.h"

#include "Desk/Look.h"

#include <algorithm>

namespace spillwright::desk {

namespace {

constexpr int keyWidth = 92, largestLine = 20, smallestLine = 12, groupGap = 8, columnGap = 26, headHeight = 48,
              footHeight = 42;

} // namespace

/// One command: its key and what it does.
struct KeySheet::Row : juce::Button {
    Row(const Command& c) : juce::Button(ui::text(c.words)), id(c.id), words(c.words) {
        setMouseClickGrabsKeyboardFocus(false);
    }
    void paintButton(juce::Graphics& g, bool highlighted, bool) override {
        const auto& p = ui::palette();
        auto area = getLocalBounds().toFloat();
        if (waits || highlighted) {
            g.setColour(waits ? p.accent : p.selected);
            g.fillRoundedRectangle(area.withTrimmedRight(6.0f), 3.0f);
        }
        const auto ink = waits ? p.onAccent : p.ink;
        ui::draw(g, waits ? "press a key" : keyOf(id),
                 area.removeFromLeft(static_cast<float>(keyWidth)).withTrimmedLeft(4.0f),
                 juce::Justification::centredLeft, 12.5f, ink, true);
        ui::drawWhole(g, words, area, juce::Justification::centredLeft, 12.5f, ink);
        if (hasKeyboardFocus(true)) ui::drawFocus(g, getLocalBounds().toFloat(), 3.0f);
    }
    const CommandId id;
    const std::string words;
    bool waits = false;
};

KeySheet::KeySheet() : Sheet("Keys") {
    for (const auto& entry : commands()) {
        auto made = std::make_unique<Row>(entry);
        made->setTitle(ui::text(entry.words + ": " + keyOf(entry.id)));
        made->onClick = [this, id = entry.id] { wait(id); };
        addAndMakeVisible(*made);
        rows.push_back(std::move(made));
    }
    usual.onClick = [this] {
        clearOwnKeys();
        wait(std::nullopt);
        told("All keys are the usual ones again.");
    };
    leave.setToggleState(true, juce::dontSendNotification);
    leave.onClick = [this] {
        if (onClose) onClose();
    };
    addAndMakeVisible(usual);
    addAndMakeVisible(leave);
    line = "Click a line, then press the key you want for it; Backspace gives back the usual one.";
}

KeySheet::~KeySheet() = default;

juce::Button& KeySheet::row(CommandId id) {
    return **std::find_if(rows.begin(), rows.end(), [id](const auto& one) { return one->id == id; });
}

void KeySheet::wait(std::optional<CommandId> id) {
    waiting = id;
    for (auto& each : rows) {
        each->waits = waiting == each->id;
        each->repaint();
    }
    if (id && isShowing()) grabKeyboardFocus();
}

void KeySheet::told(std::string words) {
    line = std::move(words);
    for (auto& each : rows)
        each->setTitle(ui::text(each->words + ": " + keyOf(each->id)));
    if (onKeysChanged) onKeysChanged();
    repaint();
}

bool KeySheet::keyPressed(const juce::KeyPress& key) {
    if (!waiting) return Sheet::keyPressed(key);
    const auto id = *waiting;
    if (key.isKeyCode(juce::KeyPress::escapeKey)) {
        wait(std::nullopt);
        return true;
    }
    if (key.isKeyCode(juce::KeyPress::backspaceKey)) {
        clearOwnKey(id);
        wait(std::nullopt);
        told("The usual key again: " + command(id).words + ".");
        return true;
    }
    const auto before = commandFor(key);
    if (!setOwnKey(id, key)) return true;
    wait(std::nullopt);
    told(keyInWords(key) + ": " + command(id).words +
         (before && *before != id ? "; no longer: " + command(*before).words : std::string()) + ".");
    return true;
}

juce::Rectangle<int> KeySheet::pageArea() const {
    return page(1180, 700);
}

void KeySheet::paint(juce::Graphics& g) {
    Sheet::paint(g);
    const auto& p = ui::palette();
    auto area = pageArea().toFloat().reduced(28.0f, 18.0f);
    auto head = area.removeFromTop(28.0f);
    ui::draw(g, "Keys", head.removeFromLeft(70.0f), juce::Justification::centredLeft, 18.0f, p.ink, true);
    ui::draw(g, line, head, juce::Justification::centredLeft, 12.5f, p.muted);
    for (const auto& [words, place] : headings)
        ui::draw(g, words, place.toFloat(), juce::Justification::centredLeft, 12.0f, p.accent, true);
}

void KeySheet::resized() {
    auto area = pageArea().reduced(28, 18);
    auto foot = area.removeFromBottom(30);
    leave.setBounds(foot.removeFromRight(110));
    foot.removeFromRight(8);
    usual.setBounds(foot.removeFromRight(170));
    area.removeFromTop(headHeight - 18);
    area.removeFromBottom(footHeight - 30);
    // As wide apart as the page allows, groups in one piece if they fit so.
    for (int height = largestLine; height >= smallestLine; --height)
        for (const bool torn : {false, true})
            if (layOut(area, height, torn)) return;
}

bool KeySheet::layOut(juce::Rectangle<int> area, int lineHeight, bool torn) {
    constexpr int columnCount = 3;
    const int width = (area.getWidth() - columnGap * (columnCount - 1)) / columnCount;
    headings.clear();
    int x = area.getX(), y = area.getY();
    const auto nextColumn = [&] {
        x += width + columnGap;
        y = area.getY();
    };
    std::string group;
    for (std::size_t k = 0; k < rows.size(); ++k) {
        const auto& entry = commands()[k];
        if (entry.group != group) {
            const auto size = std::count_if(commands().begin(), commands().end(),
                                            [&](const Command& one) { return one.group == entry.group; });
            if (y > area.getY()) y += groupGap;
            if (y + (torn ? 2 : static_cast<int>(size) + 1) * lineHeight > area.getBottom()) nextColumn();
            group = entry.group;
            headings.emplace_back(group, juce::Rectangle<int>(x, y, width, lineHeight));
            y += lineHeight;
        }
        if (y + lineHeight > area.getBottom()) nextColumn();
        rows[k]->setBounds(x, y, width, lineHeight);
        y += lineHeight;
    }
    return x < area.getRight();
}

} // namespace spillwright::desk
