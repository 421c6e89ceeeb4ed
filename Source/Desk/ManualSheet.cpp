#include "Desk/ManualSheet.h"

#include "Desk/Look.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <numeric>
#include <utility>

namespace spillwright::desk {

namespace {

using Kind = ManualBlock::Kind;
using Style = ManualWords::Style;

constexpr float bodySize = 14.0f, codeSize = 12.5f, tableSize = 13.0f, captionSize = 12.5f;
constexpr float blockGap = 11.0f, itemGap = 5.0f, itemIndent = 24.0f, codeBorder = 9.0f, cellGap = 18.0f,
                cellBorder = 4.0f;

float headingSize(int level) {
    return level == 1 ? 21.0f : level == 2 ? 16.0f : 14.0f;
}

/// Words as they are set, and which of their characters lead to another chapter.
struct SetWords {
    juce::AttributedString content;
    std::vector<std::pair<juce::Range<int>, std::string>> links;
};

SetWords setWords(const ManualLine& line, float size, juce::Colour ink, bool bold = false) {
    const auto& p = ui::palette();
    SetWords set;
    set.content.setLineSpacing(size * 0.25f);
    for (const auto& words : line) {
        const int begin = set.content.getText().length();
        const bool strong = bold || words.style == Style::strong || words.style == Style::key;
        set.content.append(ui::text(words.text), ui::font(words.style == Style::code ? size - 0.5f : size, strong),
                           !words.chapter.empty() || words.style == Style::key ? p.accent : ink);
        if (!words.chapter.empty())
            set.links.emplace_back(juce::Range<int>(begin, set.content.getText().length()), words.chapter);
    }
    return set;
}

juce::TextLayout laidOut(const juce::AttributedString& content, float width) {
    juce::TextLayout layout;
    layout.createLayout(content, width);
    return layout;
}

/// Where these characters stand, a piece a line.
std::vector<juce::Rectangle<float>> placesOf(const juce::TextLayout& layout, juce::Range<int> characters) {
    std::vector<juce::Rectangle<float>> places;
    for (const auto& line : layout) {
        juce::Rectangle<float> piece;
        for (const auto* run : line.runs) {
            if (!run->stringRange.intersects(characters)) continue;
            const auto across = run->getRunBoundsX() + line.lineOrigin.x;
            const juce::Rectangle<float> area(across.getStart(), line.lineOrigin.y - line.ascent, across.getLength(),
                                              line.ascent + line.descent);
            piece = piece.isEmpty() ? area : piece.getUnion(area);
        }
        if (!piece.isEmpty()) places.push_back(piece);
    }
    return places;
}

} // namespace

/// A chapter in the list.
struct ManualSheet::Row : juce::Button {
    explicit Row(const std::string& title) : juce::Button(ui::text(title)), words(title) {
        setTitle(ui::text(title));
        setMouseClickGrabsKeyboardFocus(false);
    }
    void paintButton(juce::Graphics& g, bool highlighted, bool) override {
        const auto& p = ui::palette();
        const auto area = getLocalBounds().toFloat();
        const bool shown = getToggleState();
        if (shown || highlighted) {
            g.setColour(shown ? p.accent : p.selected);
            g.fillRoundedRectangle(area, 3.0f);
        }
        ui::drawWhole(g, words, area.reduced(8.0f, 0.0f), juce::Justification::centredLeft, 13.5f,
                      shown ? p.onAccent : p.ink, shown);
        if (hasKeyboardFocus(true)) ui::drawFocus(g, area, 3.0f, shown);
    }
    const std::string words;
};

/// Lies over words that lead to another chapter.
struct ManualSheet::Link : juce::Component {
    Link(const std::string& words, std::vector<juce::Rectangle<float>> where) : pieces(std::move(where)) {
        setTitle(ui::text(words));
        setWantsKeyboardFocus(true);
        setMouseCursor(juce::MouseCursor::PointingHandCursor);
        juce::Rectangle<float> all;
        for (const auto& piece : pieces)
            all = all.isEmpty() ? piece : all.getUnion(piece);
        setBounds(all.expanded(2.0f).getSmallestIntegerContainer());
        for (auto& piece : pieces)
            piece -= getPosition().toFloat();
    }
    void paint(juce::Graphics& g) override {
        g.setColour(ui::palette().accent);
        for (const auto& piece : pieces) {
            g.fillRect(piece.withTop(piece.getBottom() - 1.0f));
            if (hasKeyboardFocus(true)) ui::drawFocus(g, piece.expanded(2.0f, 1.0f), 2.0f);
        }
    }
    bool hitTest(int x, int y) override {
        return std::any_of(pieces.begin(), pieces.end(), [&](const auto& piece) {
            return piece.contains(static_cast<float>(x), static_cast<float>(y));
        });
    }
    void mouseUp(const juce::MouseEvent&) override { onClick(); }
    bool keyPressed(const juce::KeyPress& key) override {
        if (!key.isKeyCode(juce::KeyPress::returnKey) && !key.isKeyCode(juce::KeyPress::spaceKey)) return false;
        onClick();
        return true;
    }
    void focusGained(FocusChangeType) override {
        // What is led to by the keyboard is seen.
        if (auto* view = findParentComponentOfClass<juce::Viewport>())
            if (const int y = getY() - view->getViewPositionY(); y < 0 || y + getHeight() > view->getViewHeight())
                view->setViewPosition(0, getY() - view->getViewHeight() / 3);
        repaint();
    }
    void focusLost(FocusChangeType) override { repaint(); }
    std::unique_ptr<juce::AccessibilityHandler> createAccessibilityHandler() override {
        return std::make_unique<juce::AccessibilityHandler>(
            *this, juce::AccessibilityRole::hyperlink,
            juce::AccessibilityActions().addAction(juce::AccessibilityActionType::press, [this] { onClick(); }));
    }
    std::function<void()> onClick;
    std::vector<juce::Rectangle<float>> pieces;
};

/// The chapter that is read.
struct ManualSheet::Page : juce::Component {
    explicit Page(ManualSheet& of) : sheet(of) { setWantsKeyboardFocus(false); }

    /// Something set, with its upper left corner.
    struct Piece {
        juce::TextLayout layout;
        juce::Point<float> at;
    };
    void layOut(const ManualChapter& chapter, int width);
    void paint(juce::Graphics& g) override;

    ManualSheet& sheet;
    std::vector<std::unique_ptr<Link>> links;

private:
    /// Returns the height that the words take.
    float add(const ManualLine& line, juce::Point<float> at, float width, float size, juce::Colour ink,
              bool bold = false);
    float addTable(const ManualBlock& block, float y, float width);
    float addPicture(const ManualBlock& block, float y, float width);

    std::vector<std::unique_ptr<Link>> linksBefore; ///< One of them may be the one that called.
    std::vector<Piece> pieces;
    std::vector<std::pair<juce::Image, juce::Rectangle<float>>> pictures;
    std::vector<juce::Rectangle<float>> panels, lines;
};

float ManualSheet::Page::add(const ManualLine& line, juce::Point<float> at, float width, float size, juce::Colour ink,
                             bool bold) {
    const auto set = setWords(line, size, ink, bold);
    pieces.push_back({laidOut(set.content, width), at});
    const auto& layout = pieces.back().layout;
    for (const auto& [characters, chapter] : set.links) {
        auto places = placesOf(layout, characters);
        for (auto& each : places)
            each += at;
        auto link = std::make_unique<Link>(
            set.content.getText().substring(characters.getStart(), characters.getEnd()).toStdString(),
            std::move(places));
        link->onClick = [this, to = chapter] { sheet.showChapter(to); };
        addAndMakeVisible(*link);
        links.push_back(std::move(link));
    }
    return layout.getHeight();
}

float ManualSheet::Page::addTable(const ManualBlock& block, float y, float width) {
    const auto columns = block.rows.front().size();
    const auto& p = ui::palette();
    // As wide as their words where there is room; else those that are wider than their share give way.
    std::vector<float> widths(columns, 0.0f);
    for (const auto& row : block.rows)
        for (std::size_t c = 0; c < columns; ++c)
            widths[c] = std::max(widths[c], ui::width(plainText(row[c]), tableSize, true) + cellGap + 4.0f);
    std::vector<std::size_t> order(columns);
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return widths[a] < widths[b]; });
    float left = width;
    for (std::size_t k = 0; k < columns; ++k) {
        auto& mine = widths[order[k]];
        mine = std::min(mine, left / static_cast<float>(columns - k));
        left -= mine;
    }
    for (std::size_t row = 0; row < block.rows.size(); ++row) {
        float x = 0.0f, height = 0.0f;
        for (std::size_t c = 0; c < columns; ++c) {
            height = std::max(
                height, add(block.rows[row][c], {x, y + cellBorder}, widths[c] - cellGap, tableSize, p.ink, row == 0));
            x += widths[c];
        }
        y += height + 2.0f * cellBorder;
        lines.emplace_back(0.0f, y, x - cellGap, 1.0f);
    }
    return y;
}

float ManualSheet::Page::addPicture(const ManualBlock& block, float y, float width) {
    const auto bytes = manualPicture(block.picture);
    const auto image = juce::ImageFileFormat::loadFrom(bytes.data(), bytes.size());
    if (image.isValid()) {
        const float scale = std::min(1.0f, width / static_cast<float>(image.getWidth()));
        const juce::Rectangle<float> area(0.0f, y, static_cast<float>(image.getWidth()) * scale,
                                          static_cast<float>(image.getHeight()) * scale);
        pictures.emplace_back(image, area);
        y = area.getBottom() + 5.0f;
    }
    return y + add(block.words, {0.0f, y}, width, captionSize, ui::palette().muted);
}

void ManualSheet::Page::layOut(const ManualChapter& chapter, int wide) {
    for (auto& link : links)
        removeChildComponent(link.get());
    linksBefore = std::exchange(links, {});
    pieces.clear();
    pictures.clear();
    panels.clear();
    lines.clear();
    const auto& p = ui::palette();
    const float width = static_cast<float>(std::min(wide, widestText));
    float y = 2.0f;
    juce::StringArray spoken; // for those who do not see it
    for (std::size_t k = 0; k < chapter.blocks.size(); ++k) {
        const auto& block = chapter.blocks[k];
        const bool listGoesOn =
            block.kind == Kind::item && k + 1 < chapter.blocks.size() && chapter.blocks[k + 1].kind == Kind::item;
        switch (block.kind) {
        case Kind::heading:
            if (block.level > 1) y += 8.0f;
            y +=
                add(block.words, {0.0f, y}, width, headingSize(block.level), block.level == 2 ? p.accent : p.ink, true);
            break;
        case Kind::paragraph:
            y += add(block.words, {0.0f, y}, width, bodySize, p.ink);
            break;
        case Kind::item: {
            const auto mark = block.number > 0 ? std::to_string(block.number) + "." : std::string("\u2013");
            add({{Style::plain, mark, ""}}, {2.0f, y}, itemIndent, bodySize, p.muted);
            y += add(block.words, {itemIndent, y}, width - itemIndent, bodySize, p.ink);
            break;
        }
        case Kind::code: {
            auto words = block.words;
            while (words[0].text.ends_with('\n'))
                words[0].text.pop_back();
            const float height = add(words, {codeBorder, y + codeBorder}, width - 2.0f * codeBorder, codeSize, p.ink);
            panels.emplace_back(0.0f, y, width, height + 2.0f * codeBorder);
            y += height + 2.0f * codeBorder;
            break;
        }
        case Kind::table:
            y = addTable(block, y, width);
            break;
        case Kind::picture:
            y = addPicture(block, y, width);
            break;
        }
        y += listGoesOn ? itemGap : blockGap;
        spoken.add(ui::text(plainText(block.words)));
        for (const auto& row : block.rows)
            for (const auto& cell : row)
                spoken.add(ui::text(plainText(cell)));
    }
    setSize(wide, static_cast<int>(std::ceil(y)) + 10);
    setTitle(ui::text(chapter.title));
    setDescription(spoken.joinIntoString("\n"));
    repaint();
}

void ManualSheet::Page::paint(juce::Graphics& g) {
    const auto& p = ui::palette();
    const auto clip = g.getClipBounds().toFloat();
    for (const auto& panel : panels) {
        g.setColour(p.selected);
        g.fillRoundedRectangle(panel, 4.0f);
    }
    g.setColour(p.rules);
    for (const auto& line : lines)
        g.fillRect(line);
    g.setImageResamplingQuality(juce::Graphics::highResamplingQuality);
    for (const auto& [image, area] : pictures) {
        if (!clip.intersects(area)) continue;
        g.setOpacity(1.0f);
        g.drawImage(image, area);
        g.setColour(p.rules);
        g.drawRect(area, 1.0f);
    }
    for (const auto& piece : pieces) {
        const juce::Rectangle<float> area(piece.at.x, piece.at.y, piece.layout.getWidth() + 1.0f,
                                          piece.layout.getHeight() + 1.0f);
        if (clip.intersects(area)) piece.layout.draw(g, area);
    }
}

ManualSheet::ManualSheet(std::vector<ManualChapter> chapters, ManualPlace& where)
    : Sheet("Manual"), book(std::move(chapters)), place(where), page(std::make_unique<Page>(*this)) {
    for (std::size_t k = 0; k < book.size(); ++k) {
        auto row = std::make_unique<Row>(book[k].title);
        row->onClick = [this, k] { showChapter(static_cast<int>(k)); };
        addAndMakeVisible(*row);
        rows.push_back(std::move(row));
    }
    viewport.setViewedComponent(page.get(), false);
    viewport.setScrollBarsShown(true, false);
    viewport.setScrollBarThickness(12);
    viewport.setWantsKeyboardFocus(false);
    viewport.onScrolled = [this](int y) { place.scrolled = y; };
    addAndMakeVisible(viewport);
    before.onClick = [this] { showChapter(place.chapter - 1); };
    next.onClick = [this] { showChapter(place.chapter + 1); };
    leave.setToggleState(true, juce::dontSendNotification); // the one that is meant
    leave.onClick = [this] {
        if (onClose) onClose();
    };
    viewport.setExplicitFocusOrder(1);
    for (auto& row : rows)
        row->setExplicitFocusOrder(2);
    for (auto* button : {&before, &next, &leave})
        button->setExplicitFocusOrder(3);
    for (auto* button : {&before, &next, &leave})
        addAndMakeVisible(button);
    place.chapter = std::clamp(place.chapter, 0, std::max(0, static_cast<int>(book.size()) - 1));
}

ManualSheet::~ManualSheet() = default;

juce::Button& ManualSheet::chapterButton(int chapter) {
    return *rows[static_cast<std::size_t>(chapter)];
}

std::vector<juce::Component*> ManualSheet::links() {
    std::vector<juce::Component*> all;
    for (auto& each : page->links)
        all.push_back(each.get());
    return all;
}

void ManualSheet::showChapter(const std::string& name) {
    const auto found = std::find_if(book.begin(), book.end(), [&](const auto& one) { return one.name == name; });
    if (found != book.end()) showChapter(static_cast<int>(found - book.begin()));
}

void ManualSheet::showChapter(int chapter) {
    if (chapter < 0 || chapter >= static_cast<int>(book.size())) return;
    place = {chapter, 0};
    if (isShowing()) grabKeyboardFocus(); // not left to a link that goes
    resized();
}

juce::Rectangle<int> ManualSheet::pageArea() const {
    return Sheet::page(2 * border + listWidth + gutter + widestText + 20, getHeight());
}

void ManualSheet::paint(juce::Graphics& g) {
    Sheet::paint(g);
    const auto& p = ui::palette();
    const auto title = pageArea().reduced(border, 14).removeFromTop(titleHeight - 6).toFloat();
    ui::draw(g, "Manual", title, juce::Justification::centredLeft, 18.0f, p.ink, true);
    ui::draw(g, "Left, Right: chapters   Up, Down, Space: scroll   Tab: links   Esc: close", title,
             juce::Justification::centredRight, 12.0f, p.muted);
}

void ManualSheet::resized() {
    auto area = pageArea().reduced(border, 14);
    area.removeFromTop(titleHeight);
    auto foot = area.removeFromBottom(30);
    area.removeFromBottom(footHeight - 30);
    leave.setBounds(foot.removeFromRight(110));
    foot.removeFromLeft(listWidth + gutter);
    before.setBounds(foot.removeFromLeft(140));
    foot.removeFromLeft(8);
    next.setBounds(foot.removeFromLeft(140));
    auto list = area.removeFromLeft(listWidth);
    for (auto& row : rows)
        row->setBounds(list.removeFromTop(rowHeight));
    area.removeFromLeft(gutter);
    viewport.setBounds(area);
    for (std::size_t k = 0; k < rows.size(); ++k)
        rows[k]->setToggleState(static_cast<int>(k) == place.chapter, juce::dontSendNotification);
    before.setEnabled(place.chapter > 0);
    next.setEnabled(place.chapter + 1 < static_cast<int>(book.size()));
    if (book.empty() || area.isEmpty()) return;
    const int scrolled = place.scrolled; // the viewport moves while its page becomes another
    page->layOut(book[static_cast<std::size_t>(place.chapter)], area.getWidth() - viewport.getScrollBarThickness() - 8);
    viewport.setViewPosition(0, scrolled);
}

bool ManualSheet::keyPressed(const juce::KeyPress& key) {
    using K = juce::KeyPress;
    if (key.isKeyCode(K::leftKey))
        showChapter(place.chapter - 1);
    else if (key.isKeyCode(K::rightKey))
        showChapter(place.chapter + 1);
    else
        return scrolledByKey(viewport, key) || Sheet::keyPressed(key);
    return true;
}

} // namespace spillwright::desk
