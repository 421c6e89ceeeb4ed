#pragma once

#include "Desk/Sheets.h"

#include "Manual/Manual.h"

namespace spillwright::desk {

/// Where somebody stopped reading.
struct ManualPlace {
    int chapter = 0;
    int scrolled = 0; ///< Pixels from the chapter's begin.
};

/// The manual: its chapters, and the one that is read. Left, Right: another chapter; Up, Down, Page up, Page down,
/// Space, Home, End: scroll; Tab goes through chapters and links.
class ManualSheet : public Sheet {
public:
    /// Opens at the place, and keeps it.
    ManualSheet(std::vector<ManualChapter> chapters, ManualPlace& place);
    ~ManualSheet() override;
    void paint(juce::Graphics& g) override;
    void resized() override;
    bool keyPressed(const juce::KeyPress& key) override;

    void showChapter(int chapter);
    void showChapter(const std::string& name);
    int shownChapter() const { return place.chapter; }
    const std::vector<ManualChapter>& chapters() const { return book; }
    juce::Button& chapterButton(int chapter);
    juce::Viewport& text() { return viewport; }
    std::vector<juce::Component*> links(); ///< Of the shown chapter, in the order of its words.

private:
    struct Row;
    struct Link;
    struct Page;
    struct Text : juce::Viewport {
        std::function<void(int)> onScrolled;
        void visibleAreaChanged(const juce::Rectangle<int>& area) override {
            if (onScrolled) onScrolled(area.getY());
        }
    };
    juce::Rectangle<int> pageArea() const override;

    static constexpr int border = 22, titleHeight = 34, footHeight = 42, listWidth = 270, rowHeight = 27, gutter = 30,
                         widestText = 780;
    const std::vector<ManualChapter> book;
    ManualPlace& place;
    std::vector<std::unique_ptr<Row>> rows;
    std::unique_ptr<Page> page;
    Text viewport;
    juce::TextButton before{"Chapter before"}, next{"Next chapter"}, leave{"Close"};
};

} // namespace spillwright::desk
