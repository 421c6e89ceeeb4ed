#pragma once

#include "Core/Result.h"

#include <string>
#include <string_view>
#include <vector>

namespace spillwright {

/// A run of words that are set in one way.
struct ManualWords {
    enum class Style { plain, strong, emphasis, code, key };
    Style style = Style::plain;
    std::string text;    ///< UTF-8, of one line.
    std::string chapter; ///< The name of the chapter it leads to; empty: to none.
};
using ManualLine = std::vector<ManualWords>;

/// A part of a chapter: what both readers of the manual, page and window, can set.
struct ManualBlock {
    enum class Kind { heading, paragraph, item, code, picture, table };
    Kind kind = Kind::paragraph;
    int level = 0;       ///< Of a heading, from 1 on.
    int number = 0;      ///< Of an item in a numbered list, from 1 on; 0: a bullet.
    ManualLine words;    ///< All but tables; of code one run with its line feeds, of a picture what it shows.
    std::string picture; ///< Its file's name.
    std::vector<std::vector<ManualLine>> rows; ///< Of a table; the first is its head, all are of one length.
};

struct ManualChapter {
    std::string name;  ///< Of its file, without ".md".
    std::string title; ///< Its one heading of level 1, which is its first block.
    std::vector<ManualBlock> blocks;
};

/// Reads Markdown (CommonMark with tables; <kbd> marks a key). Faults: no heading of level 1 first, or a form that is
/// not among the above: a list in a list, a quotation, other markup, a link to something other than a chapter.
Result<ManualChapter> readManualChapter(std::string name, std::string_view markdown);

/// What the program bears within itself, in the order of the names of the files: Resources/Manual.
Result<std::vector<ManualChapter>> manual();

/// The bytes of a picture (PNG) that the program bears within itself; empty: there is none of that name.
std::string_view manualPicture(const std::string& file);

/// As plain text, for those to whom it is read out.
std::string plainText(const ManualLine& line);

} // namespace spillwright
