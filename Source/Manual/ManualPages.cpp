#include "Manual/ManualPages.h"

#include "Media/NewFolder.h"
#include "Report/Colours.h"
#include "Report/Markup.h"
#include "Session/TextFile.h"

#include <algorithm>
#include <array>

namespace spillwright {

namespace {

using Kind = ManualBlock::Kind;
using Style = ManualWords::Style;

constexpr const char* bookTitle = "Spillwright: the manual";

std::string styleSheet() {
    using namespace colours;
    return ":root{--paper:" + hex(paper) + ";--raised:" + hex(raised) + ";--ink:" + hex(ink) +
           ";--muted:" + hex(muted) + ";--rules:" + hex(rules) + ";--accent:" + hex(accent) + "}" + R"css(
@media (prefers-color-scheme:dark) and (not print){:root{--paper:#16181c;--raised:#1f2228;--ink:#ece7db;--muted:#a9a497;--rules:#3b3e45;--accent:#5cc2ba}}
html{background:var(--paper);color:var(--ink);font:17px/1.55 Inter,system-ui,-apple-system,"Segoe UI",Roboto,"Helvetica Neue",Arial,sans-serif;-webkit-text-size-adjust:100%}
body{max-width:72rem;margin:0 auto;padding:2rem 1.25rem 4rem;display:grid;grid-template-columns:15rem minmax(0,1fr);gap:0 3rem}
main{max-width:46rem}
nav{font-size:.9rem}
nav ol{padding-left:1.4rem}
nav li{margin:.25rem 0}
h1{font-size:1.8rem;line-height:1.2;font-weight:600;margin:0 0 1rem}
h2{font-size:1.25rem;font-weight:600;color:var(--accent);margin:2.2rem 0 .5rem}
h3{font-size:1rem;font-weight:600;margin:1.5rem 0 .3rem}
p,ul,ol,table,pre,figure{margin:.7rem 0}
li{margin:.3rem 0}
a{color:var(--accent)}
kbd,code{font:.92em ui-monospace,"DejaVu Sans Mono",Menlo,Consolas,monospace}
kbd{border:1px solid var(--muted);border-radius:.25em;padding:0 .35em;background:var(--raised);white-space:nowrap}
pre{background:var(--raised);border:1px solid var(--rules);border-radius:.3rem;padding:.7rem .9rem;overflow-x:auto;font-size:.82rem;line-height:1.45}
.wide{overflow-x:auto}
table{border-collapse:collapse;font-size:.92rem;line-height:1.4}
th{text-align:left;font-weight:600;border-bottom:1.5px solid var(--ink);padding:.25rem 1rem .25rem 0;vertical-align:bottom}
td{border-bottom:1px solid var(--rules);padding:.25rem 1rem .25rem 0;vertical-align:top}
img{display:block;max-width:100%;height:auto;border:1px solid var(--rules)}
figcaption{font-size:.88rem;color:var(--muted);margin-top:.3rem}
.turn{display:flex;justify-content:space-between;gap:1rem;margin-top:2.5rem;border-top:1px solid var(--rules);padding-top:.7rem;font-size:.95rem}
@media (max-width:56rem){body{display:block}nav{margin-bottom:2rem}}
@page{margin:16mm}
@media print{
html{background:#fff;font-size:12px}
body{display:block;padding:0}
main{max-width:none}
nav,.turn{display:none}
h2,h3{break-after:avoid}
figure,tr,li,pre{break-inside:avoid}
pre{white-space:pre-wrap}
a{color:inherit;text-decoration:none}
}
)css";
}

std::string pageOf(const std::string& chapter) {
    return chapter + ".html";
}

void write(Markup& page, const ManualLine& line) {
    for (const auto& words : line) {
        constexpr std::array<const char*, 5> elements{nullptr, "strong", "em", "code", "kbd"};
        const auto* element = elements[static_cast<std::size_t>(words.style)];
        const auto run = [&] { element ? page.element(element, words.text) : page.text(words.text); };
        if (words.chapter.empty()) {
            run();
        } else {
            const auto link = page.in("a", {{"href", pageOf(words.chapter)}});
            run();
        }
    }
}

void writeTable(Markup& page, const std::vector<std::vector<ManualLine>>& rows) {
    const auto wide = page.in("div", {{"class", "wide"}});
    const auto table = page.in("table");
    for (std::size_t row = 0; row < rows.size(); ++row) {
        const auto line = page.in("tr");
        for (const auto& words : rows[row]) {
            const auto cell = page.in(row == 0 ? "th" : "td");
            write(page, words);
        }
    }
}

/// What stands from `first` on and belongs together: one block, or all items of a list. Returns where the next begins.
std::size_t writeBlock(Markup& page, const std::vector<ManualBlock>& blocks, std::size_t first) {
    const auto& block = blocks[first];
    constexpr std::array<const char*, 3> headings{"h1", "h2", "h3"};
    const auto words = [&](const char* element) {
        const auto inside = page.in(element);
        write(page, block.words);
    };
    std::size_t next = first + 1;
    switch (block.kind) {
    case Kind::heading:
        words(headings[std::min<std::size_t>(static_cast<std::size_t>(block.level), headings.size()) - 1]);
        break;
    case Kind::paragraph:
        words("p");
        break;
    case Kind::code:
        words("pre");
        break;
    case Kind::picture: {
        const auto figure = page.in("figure");
        page.empty("img", {{"src", block.picture}, {"alt", plainText(block.words)}});
        words("figcaption");
        break;
    }
    case Kind::table:
        writeTable(page, block.rows);
        break;
    case Kind::item: {
        const bool numbered = block.number > 0;
        const auto list = numbered && block.number > 1 ? page.in("ol", {{"start", std::to_string(block.number)}})
                                                       : page.in(numbered ? "ol" : "ul");
        for (next = first; next < blocks.size() && blocks[next].kind == Kind::item; ++next) {
            // Where the count does not go on another list begins.
            if (next > first && blocks[next].number != (numbered ? blocks[next - 1].number + 1 : 0)) break;
            const auto item = page.in("li");
            write(page, blocks[next].words);
        }
        break;
    }
    }
    page.raw("\n");
    return next;
}

template <class Content>
std::string wholePage(const std::string& title, Content content) {
    Markup page;
    page.raw("<!DOCTYPE html>\n");
    {
        const auto html = page.in("html", {{"lang", "en"}});
        {
            const auto head = page.in("head");
            page.empty("meta", {{"charset", "utf-8"}});
            page.empty("meta", {{"name", "viewport"}, {"content", "width=device-width, initial-scale=1"}});
            page.empty("meta", {{"name", "color-scheme"}, {"content", "light dark"}});
            page.element("title", title);
            const auto style = page.in("style");
            page.raw(styleSheet());
        }
        page.raw("\n");
        const auto body = page.in("body");
        content(page);
    }
    page.raw("\n");
    return page.take();
}

void writeContents(Markup& page, const std::vector<ManualChapter>& chapters, const std::string& here) {
    const auto list = page.in("ol");
    for (const auto& chapter : chapters) {
        const auto item = page.in("li");
        if (chapter.name == here)
            page.element("strong", chapter.title);
        else
            page.element("a", chapter.title, {{"href", pageOf(chapter.name)}});
    }
}

} // namespace

std::string manualPage(const std::vector<ManualChapter>& chapters, std::size_t index) {
    const auto& chapter = chapters[index];
    return wholePage(chapter.title + " \u2013 " + bookTitle, [&](Markup& page) {
        {
            const auto nav = page.in("nav", {{"aria-label", "Chapters"}});
            page.element("a", bookTitle, {{"href", pageOf("index")}});
            writeContents(page, chapters, chapter.name);
        }
        page.raw("\n");
        const auto text = page.in("main");
        for (std::size_t k = 0; k < chapter.blocks.size();)
            k = writeBlock(page, chapter.blocks, k);
        const auto turn = page.in("div", {{"class", "turn"}});
        const auto to = [&](std::size_t other, const std::string& before, const std::string& after) {
            const auto& one = chapters[other];
            page.element("a", before + one.title + after, {{"href", pageOf(one.name)}});
        };
        if (index > 0) to(index - 1, "\u2190 ", "");
        if (index + 1 < chapters.size()) to(index + 1, "", " \u2192");
    });
}

Outcome writeManual(const std::vector<ManualChapter>& chapters, const std::filesystem::path& to) {
    auto folder = NewFolder::beside(to);
    if (!folder) return folder.fault();
    const auto write = [&](const std::string& file, std::string_view content) {
        return writeTextFile(folder->path() / file, content);
    };
    for (std::size_t k = 0; k < chapters.size(); ++k) {
        for (const auto& block : chapters[k].blocks) {
            for (const auto& words : block.words)
                if (!words.chapter.empty() && std::none_of(chapters.begin(), chapters.end(),
                                                           [&](const auto& one) { return one.name == words.chapter; }))
                    return Fault{chapters[k].name, "leads to " + words.chapter + ", which is not there",
                                 "write the name of a chapter's file"};
            if (block.kind != Kind::picture) continue;
            const auto picture = manualPicture(block.picture);
            if (picture.empty())
                return Fault{chapters[k].name, "shows " + block.picture + ", which is not there",
                             "make it: Resources/Manual/pictures.py"};
            if (auto written = write(block.picture, picture); !written) return written;
        }
        if (auto written = write(pageOf(chapters[k].name), manualPage(chapters, k)); !written) return written;
    }
    const auto index = wholePage(bookTitle, [&](Markup& page) {
        const auto text = page.in("main");
        page.element("h1", bookTitle);
        writeContents(page, chapters, "");
    });
    if (auto written = write(pageOf("index"), index); !written) return written;
    return folder->keep();
}

} // namespace spillwright
