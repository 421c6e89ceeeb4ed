#include "DeskFixture.h"
#include "DrawnText.h"

#include "Desk/ManualSheet.h"

#include <set>

using namespace spillwright;
using namespace spillwright::desk;
using namespace spillwright::test;

namespace {

/// The empty window, with the manual open.
struct ManualWindow : EmptyWindow {
    ManualWindow() {
        main.setSize(1280, 800);
        REQUIRE(main.keyPressed(juce::KeyPress(juce::KeyPress::F1Key, juce::ModifierKeys::shiftModifier, 0)));
    }
    ManualSheet& sheet() {
        auto* open = dynamic_cast<ManualSheet*>(main.sheet());
        REQUIRE(open);
        return *open;
    }
    void press(int code) { sheet().keyPressed(juce::KeyPress(code)); }
};

std::set<std::string> keysOf(const ManualChapter& chapter) {
    std::set<std::string> keys;
    const auto take = [&](const ManualLine& line) {
        for (const auto& words : line)
            if (words.style == ManualWords::Style::key) keys.insert(words.text);
    };
    for (const auto& block : chapter.blocks) {
        take(block.words);
        for (const auto& row : block.rows)
            for (const auto& cell : row)
                take(cell);
    }
    return keys;
}

} // namespace

TEST_CASE("the keys that the manual names are those of the commands, and each command's key is named") {
    const auto book = manual();
    REQUIRE(book);
    std::set<std::string> usual;
    std::vector<std::vector<std::string>> ofCommands;
    for (const auto& entry : commands()) {
        // "N, Enter" are two; a comma by itself is one.
        std::vector<std::string> keys{entry.shown};
        if (const auto between = entry.shown.find(", "); between != std::string::npos)
            keys = {entry.shown.substr(0, between), entry.shown.substr(between + 2)};
        usual.insert(keys.begin(), keys.end());
        ofCommands.push_back(std::move(keys));
    }
    usual.insert("Tab"); // JUCE's own
    std::set<std::string> named;
    for (const auto& chapter : *book)
        for (const auto& key : keysOf(chapter)) {
            INFO(chapter.name << " names " << key);
            CHECK(usual.count(key) == 1);
            named.insert(key);
        }
    for (std::size_t k = 0; k < commands().size(); ++k) {
        INFO("the manual does not name the key of: " << commands()[k].words);
        CHECK(
            std::any_of(ofCommands[k].begin(), ofCommands[k].end(), [&](const auto& key) { return named.count(key); }));
    }
}

TEST_CASE("the manual opens by its key and from what F1 shows, and closes") {
    ManualWindow window;
    CHECK(window.sheet().shownChapter() == 0);
    window.press(juce::KeyPress::escapeKey);
    CHECK_FALSE(window.main.sheet());
    window.main.perform(CommandId::glossary);
    auto* words = dynamic_cast<LinesSheet*>(window.main.sheet());
    REQUIRE(words);
    REQUIRE(words->leadButton().isVisible());
    words->leadButton().onClick();
    CHECK(window.sheet().shownChapter() == 0);
}

TEST_CASE("chapters are turned by keys, by the list and by links, and the place is kept") {
    ManualWindow window;
    const auto last = static_cast<int>(window.sheet().chapters().size()) - 1;
    window.press(juce::KeyPress::leftKey);
    CHECK(window.sheet().shownChapter() == 0);
    window.press(juce::KeyPress::rightKey);
    CHECK(window.sheet().shownChapter() == 1);
    window.sheet().chapterButton(last).onClick();
    CHECK(window.sheet().shownChapter() == last);
    window.press(juce::KeyPress::rightKey);
    CHECK(window.sheet().shownChapter() == last);
    window.sheet().showChapter(0);
    const auto links = window.sheet().links();
    REQUIRE_FALSE(links.empty());
    REQUIRE(links.back()->keyPressed(juce::KeyPress(juce::KeyPress::returnKey)));
    CHECK(window.sheet().shownChapter() == 1);
    window.press(juce::KeyPress::pageDownKey);
    const int y = window.sheet().text().getViewPositionY();
    CHECK(y > 100);
    window.press(juce::KeyPress::escapeKey);
    window.main.perform(CommandId::manual);
    CHECK(window.sheet().shownChapter() == 1);
    CHECK(window.sheet().text().getViewPositionY() == y);
    window.press(juce::KeyPress::endKey);
    CHECK(window.sheet().text().getViewPositionY() > y);
    window.press(juce::KeyPress::homeKey);
    CHECK(window.sheet().text().getViewPositionY() == 0);
}

TEST_CASE("a link lies over its words") {
    ManualWindow window;
    auto& sheet = window.sheet();
    for (int chapter = 0; chapter < static_cast<int>(sheet.chapters().size()); ++chapter) {
        sheet.showChapter(chapter);
        auto& page = *sheet.text().getViewedComponent();
        const auto lines = textOf(page);
        for (auto* link : sheet.links()) {
            const auto words = link->getTitle().removeCharacters(" ");
            INFO("chapter " << chapter << ": " << words);
            CHECK(page.getLocalBounds().contains(link->getBounds()));
            // The drawn line that bears the words, or the beginning of them where they are broken.
            CHECK(std::any_of(lines.begin(), lines.end(), [&](const DrawnLine& line) {
                return line.ink.intersects(link->getBounds().toFloat()) &&
                       (line.text.contains(words) || words.startsWith(line.text) ||
                        line.text.endsWith(words.substring(0, 4)));
            }));
        }
    }
}

TEST_CASE("each chapter is drawn with all of its words") {
    ManualWindow window;
    auto& sheet = window.sheet();
    for (int chapter = 0; chapter < static_cast<int>(sheet.chapters().size()); ++chapter) {
        sheet.showChapter(chapter);
        juce::String drawn, written;
        for (const auto& line : textOf(*sheet.text().getViewedComponent()))
            drawn += line.text;
        const auto bare = [](const std::string& words) {
            return juce::String::fromUTF8(words.c_str()).removeCharacters(" \n");
        };
        for (const auto& block : sheet.chapters()[static_cast<std::size_t>(chapter)].blocks) {
            if (block.kind == ManualBlock::Kind::item)
                written += block.number ? juce::String(block.number) + "." : bare("\u2013");
            written += bare(plainText(block.words));
            for (const auto& row : block.rows)
                for (const auto& cell : row)
                    written += bare(plainText(cell));
        }
        CHECK(drawn.length() == written.length());
    }
}
