#include "Manual/ManualPages.h"

#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

#include <fstream>
#include <iterator>
#include <set>

using namespace spillwright;
using namespace spillwright::test;
using Kind = ManualBlock::Kind;
using Style = ManualWords::Style;

namespace {

ManualChapter chapterOf(const std::string& markdown) {
    auto chapter = readManualChapter("one", markdown);
    INFO((chapter ? std::string() : chapter.fault().line()));
    REQUIRE(chapter);
    return std::move(chapter).value();
}

std::string faultOf(const std::string& markdown) {
    const auto chapter = readManualChapter("one", "# Title\n\n" + markdown);
    return chapter ? "" : chapter.fault().line();
}

std::string contentOf(const std::filesystem::path& path) {
    std::ifstream file(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(file), {}};
}

/// Every run of words of a chapter.
std::vector<ManualWords> wordsOf(const ManualChapter& chapter) {
    std::vector<ManualWords> all;
    for (const auto& block : chapter.blocks) {
        all.insert(all.end(), block.words.begin(), block.words.end());
        for (const auto& row : block.rows)
            for (const auto& cell : row)
                all.insert(all.end(), cell.begin(), cell.end());
    }
    return all;
}

} // namespace

TEST_CASE("a chapter is read into its blocks") {
    const auto chapter =
        chapterOf("# The title\n\nSome *words*, **strong**,\n`code` and <kbd>Ctrl R</kbd>: [there](two.md).\n\n"
                  "- one\n- two\n\n3. third\n4. fourth\n\n```\na  b\n c\n```\n\n![What is seen](seen.png)\n\n"
                  "| a | b |\n|---|---|\n| 1 | **2** |\n\n<!-- a note -->\n\n## Next\n");
    CHECK(chapter.title == "The title");
    REQUIRE(chapter.blocks.size() == 10);
    const auto& b = chapter.blocks;
    CHECK(b[0].level == 1);
    REQUIRE(b[1].words.size() == 11);
    CHECK(plainText(b[1].words) == "Some words, strong, code and Ctrl R: there.");
    CHECK(b[1].words[1].style == Style::emphasis);
    CHECK(b[1].words[3].style == Style::strong);
    CHECK(b[1].words[5].style == Style::code);
    CHECK(b[1].words[7].style == Style::key);
    CHECK(b[1].words[7].text == "Ctrl R");
    CHECK(b[1].words[9].chapter == "two");
    CHECK(b[2].kind == Kind::item);
    CHECK(b[2].number == 0);
    CHECK(b[4].number == 3);
    CHECK(b[5].number == 4);
    CHECK(b[6].kind == Kind::code);
    CHECK(b[6].words[0].text == "a  b\n c\n");
    CHECK(b[7].kind == Kind::picture);
    CHECK(b[7].picture == "seen.png");
    CHECK(plainText(b[7].words) == "What is seen");
    REQUIRE(b[8].rows.size() == 2);
    REQUIRE(b[8].rows[1].size() == 2);
    CHECK(plainText(b[8].rows[1][1]) == "2");
    CHECK(b[9].level == 2);
}

TEST_CASE("a link keeps where it leads to") {
    const auto chapter = chapterOf("# Title\n\nSee [the **other** one](two.md) there.\n");
    const auto& words = chapter.blocks[1].words;
    REQUIRE(words.size() == 5);
    for (int k = 0; k < 5; ++k)
        CHECK(words[static_cast<std::size_t>(k)].chapter == (k > 0 && k < 4 ? "two" : ""));
}

TEST_CASE("what the manual has no form for is refused with its chapter") {
    CHECK_THAT(faultOf("- a\n  - b\n"), Catch::StartsWith("one: holds a list in a list"));
    CHECK_THAT(faultOf("> said\n"), Catch::Contains("a quotation"));
    CHECK_THAT(faultOf("a <b>b</b>\n"), Catch::Contains("markup, <b>"));
    CHECK_THAT(faultOf("<div>\nb\n</div>\n"), Catch::Contains("markup"));
    CHECK_THAT(faultOf("[away](https://example.org)\n"), Catch::Contains("other than a chapter"));
    CHECK_THAT(faultOf("[up](../x.md)\n"), Catch::Contains("other than a chapter"));
    CHECK_THAT(faultOf("words ![picture](a.png)\n"), Catch::Contains("a picture among words"));
    CHECK_THAT(faultOf("---\n"), Catch::Contains("a rule"));
    CHECK_THAT(faultOf("- a\n\n- b\n"), Catch::Contains("paragraphs in a list"));
    CHECK_THAT(faultOf("a &mdash; b\n"), Catch::Contains("named character"));
    const auto untitled = readManualChapter("one", "Words.\n");
    REQUIRE_FALSE(untitled);
    CHECK_THAT(untitled.fault().line(), Catch::Contains("does not begin with its title"));
    CHECK(faultOf("Words.\n").empty());
}

TEST_CASE("every chapter of the manual leads to chapters and shows pictures that are there") {
    const auto book = manual();
    INFO((book ? std::string() : book.fault().line()));
    REQUIRE(book);
    CHECK(book->size() >= 12);
    std::set<std::string> names, titles;
    for (const auto& chapter : *book) {
        names.insert(chapter.name);
        titles.insert(chapter.title);
    }
    CHECK(titles.size() == book->size());
    std::set<std::string> ledTo{book->front().name}, shown;
    std::size_t bytes = 0;
    for (const auto& chapter : *book) {
        INFO(chapter.name);
        for (const auto& words : wordsOf(chapter)) {
            if (words.chapter.empty()) continue;
            CHECK(names.count(words.chapter) == 1);
            ledTo.insert(words.chapter);
        }
        for (std::size_t k = 0; k < chapter.blocks.size(); ++k) {
            const auto& block = chapter.blocks[k];
            CHECK((block.level == 1) == (k == 0));
            if (block.kind != Kind::picture) continue;
            INFO(block.picture);
            const auto picture = manualPicture(block.picture);
            CHECK(picture.substr(1, 3) == "PNG");
            CHECK(picture.size() < 120'000);
            CHECK_FALSE(block.words.empty());
            if (shown.insert(block.picture).second) bytes += picture.size();
        }
    }
    CHECK(ledTo == names);
    CHECK(shown.size() >= 8);
    CHECK(bytes < 1'500'000);
    CHECK(manualPicture("none.png").empty());
    CHECK(manualPicture(book->front().name + ".md").empty());
}

TEST_CASE("pages hold what chapters hold, and no word becomes markup") {
    const auto chapter =
        chapterOf("# A & B\n\nx < y, `<kbd>` and <kbd>Ctrl R</kbd>: [two](two.md).\n\n- one\n- two\n\n2. b\n3. c\n\n"
                  "| h |\n|---|\n| c |\n\n```\na <b>\n```\n");
    auto other = chapterOf("# Two\n");
    other.name = "two";
    const auto page = manualPage({chapter, other}, 0);
    CHECK_THAT(page, Catch::StartsWith("<!DOCTYPE html>"));
    CHECK_THAT(page, Catch::Contains("<h1>A &amp; B</h1>"));
    CHECK_THAT(page,
               Catch::Contains(
                   "<p>x &lt; y, <code>&lt;kbd&gt;</code> and <kbd>Ctrl R</kbd>: <a href=\"two.html\">two</a>.</p>"));
    CHECK_THAT(page, Catch::Contains("<ul><li>one</li><li>two</li></ul>"));
    CHECK_THAT(page, Catch::Contains("<ol start=\"2\"><li>b</li><li>c</li></ol>"));
    CHECK_THAT(page, Catch::Contains("<th>h</th>"));
    CHECK_THAT(page, Catch::Contains("<td>c</td>"));
    CHECK_THAT(page, Catch::Contains("a &lt;b&gt;"));
    CHECK_THAT(page, Catch::Contains("Two \u2192"));
}

TEST_CASE("the manual is written whole or not at all") {
    TemporaryFolder folder;
    const auto to = folder.path() / "pages";
    REQUIRE(writeManual({chapterOf("# Title\n\n![Grid](grid.png)\n")}, to));
    CHECK(contentOf(to / "grid.png") == manualPicture("grid.png"));
    CHECK_THAT(contentOf(to / "index.html"), Catch::Contains("href=\"one.html\""));
    CHECK_FALSE(writeManual({chapterOf("# Title\n")}, to)); // it is full
    const auto missing = writeManual({chapterOf("# Title\n\n![Nothing](nothing.png)\n")}, folder.path() / "b");
    REQUIRE_FALSE(missing);
    CHECK_THAT(missing.fault().line(), Catch::Contains("nothing.png"));
    const auto away = writeManual({chapterOf("# Title\n\n[x](elsewhere.md)\n")}, folder.path() / "b");
    REQUIRE_FALSE(away);
    CHECK_THAT(away.fault().line(), Catch::Contains("elsewhere"));
    CHECK(std::distance(std::filesystem::directory_iterator(folder.path()), {}) == 1);
}
