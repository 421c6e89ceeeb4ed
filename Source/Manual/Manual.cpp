#include "Manual/Manual.h"

#include "SpillwrightManual.h"

#include <md4c.h>

#include <map>
#include <utility>

namespace spillwright {

namespace {

using Kind = ManualBlock::Kind;
using Style = ManualWords::Style;

constexpr std::string_view chapterEnding = ".md", pictureEnding = ".png";

std::string textOf(const MD_ATTRIBUTE& attribute) {
    return {attribute.text, attribute.size};
}

/// Takes what the parser tells, piece by piece.
class Reader {
public:
    explicit Reader(ManualChapter& c) : chapter(c) {}

    std::string wrong; ///< The first thing that has no form here.

    int enter(MD_BLOCKTYPE type, void* detail) {
        switch (type) {
        case MD_BLOCK_DOC:
        case MD_BLOCK_THEAD:
        case MD_BLOCK_TBODY:
            return 0;
        case MD_BLOCK_UL:
        case MD_BLOCK_OL:
            if (inList) return refuse("a list in a list");
            inList = true;
            number = type == MD_BLOCK_OL ? static_cast<int>(static_cast<MD_BLOCK_OL_DETAIL*>(detail)->start) : 0;
            return 0;
        case MD_BLOCK_LI:
            inItem = true;
            return begin(Kind::item);
        case MD_BLOCK_P:
            if (inItem) return refuse("paragraphs in a list");
            return begin(Kind::paragraph);
        case MD_BLOCK_H:
            begin(Kind::heading);
            block().level = static_cast<int>(static_cast<MD_BLOCK_H_DETAIL*>(detail)->level);
            return 0;
        case MD_BLOCK_CODE:
            if (inItem) return refuse("code in a list");
            begin(Kind::code);
            block().words.push_back({Style::code, "", ""});
            return 0;
        case MD_BLOCK_TABLE:
            return begin(Kind::table);
        case MD_BLOCK_TR:
            block().rows.emplace_back();
            return 0;
        case MD_BLOCK_TH:
        case MD_BLOCK_TD:
            block().rows.back().emplace_back();
            return 0;
        case MD_BLOCK_QUOTE:
            return refuse("a quotation");
        case MD_BLOCK_HR:
            return refuse("a rule");
        case MD_BLOCK_HTML:
            inComment = true; // nothing else is let pass
            return 0;
        }
        return refuse("an unknown block");
    }

    int leave(MD_BLOCKTYPE type) {
        if (type == MD_BLOCK_UL || type == MD_BLOCK_OL) inList = false;
        if (type == MD_BLOCK_HTML) inComment = false;
        if (type == MD_BLOCK_LI) {
            inItem = false;
            if (number > 0) ++number;
        }
        return 0;
    }

    int enter(MD_SPANTYPE type, void* detail) {
        switch (type) {
        case MD_SPAN_EM:
            style = Style::emphasis;
            return 0;
        case MD_SPAN_STRONG:
            style = Style::strong;
            return 0;
        case MD_SPAN_CODE:
            style = Style::code;
            return 0;
        case MD_SPAN_A: {
            const auto to = textOf(static_cast<MD_SPAN_A_DETAIL*>(detail)->href);
            if (!to.ends_with(chapterEnding) || to.find('/') != std::string::npos)
                return refuse("a link to something other than a chapter, " + to);
            link = to.substr(0, to.size() - chapterEnding.size());
            return 0;
        }
        case MD_SPAN_IMG:
            if (block().kind != Kind::paragraph || !block().words.empty()) return refuse("a picture among words");
            block().kind = Kind::picture;
            block().picture = textOf(static_cast<MD_SPAN_IMG_DETAIL*>(detail)->src);
            return 0;
        default:
            return refuse("an unknown kind of words");
        }
    }

    int leave(MD_SPANTYPE type) {
        if (type == MD_SPAN_A)
            link.clear();
        else if (type != MD_SPAN_IMG)
            style = Style::plain;
        return 0;
    }

    int text(MD_TEXTTYPE type, std::string_view words) {
        switch (type) {
        case MD_TEXT_NORMAL:
        case MD_TEXT_CODE:
            add(words);
            return 0;
        case MD_TEXT_SOFTBR:
            add(" ");
            return 0;
        case MD_TEXT_HTML:
            if (inComment && (words == "\n" || words.starts_with("<!--")))
                return 0;
            else if (words == "<kbd>")
                style = Style::key;
            else if (words == "</kbd>")
                style = Style::plain;
            else
                return refuse("markup, " + std::string(words));
            return 0;
        default:
            return refuse("a line break or a named character");
        }
    }

private:
    ManualBlock& block() { return chapter.blocks.back(); }
    int begin(Kind kind) {
        chapter.blocks.emplace_back();
        block().kind = kind;
        block().number = kind == Kind::item ? number : 0;
        return 0;
    }
    void add(std::string_view words) {
        auto& line = block().kind == Kind::table ? block().rows.back().back() : block().words;
        const bool goesOn = !line.empty() && line.back().style == style && line.back().chapter == link;
        if (goesOn || block().kind == Kind::code)
            line.back().text += words;
        else
            line.push_back({style, std::string(words), link});
    }
    int refuse(std::string what) {
        wrong = std::move(what);
        return -1; // ends the reading
    }

    ManualChapter& chapter;
    bool inList = false, inItem = false, inComment = false;
    int number = 0; ///< Of the next item; 0: bullets.
    Style style = Style::plain;
    std::string link;
};

/// The files that are compiled in, by their names.
const std::map<std::string, std::string_view>& files() {
    static const auto all = [] {
        std::map<std::string, std::string_view> found;
        for (int k = 0; k < manualfiles::namedResourceListSize; ++k) {
            int size = 0;
            const char* bytes = manualfiles::getNamedResource(manualfiles::namedResourceList[k], size);
            found.emplace(manualfiles::originalFilenames[k], std::string_view(bytes, static_cast<std::size_t>(size)));
        }
        return found;
    }();
    return all;
}

} // namespace

std::string plainText(const ManualLine& line) {
    std::string all;
    for (const auto& words : line)
        all += words.text;
    return all;
}

Result<ManualChapter> readManualChapter(std::string name, std::string_view markdown) {
    ManualChapter chapter;
    chapter.name = std::move(name);
    Reader reader(chapter);
    MD_PARSER parser{};
    parser.flags = MD_FLAG_TABLES | MD_FLAG_NOINDENTEDCODEBLOCKS;
    parser.enter_block = [](MD_BLOCKTYPE type, void* detail, void* r) {
        return static_cast<Reader*>(r)->enter(type, detail);
    };
    parser.leave_block = [](MD_BLOCKTYPE type, void*, void* r) { return static_cast<Reader*>(r)->leave(type); };
    parser.enter_span = [](MD_SPANTYPE type, void* detail, void* r) {
        return static_cast<Reader*>(r)->enter(type, detail);
    };
    parser.leave_span = [](MD_SPANTYPE type, void*, void* r) { return static_cast<Reader*>(r)->leave(type); };
    parser.text = [](MD_TEXTTYPE type, const MD_CHAR* words, MD_SIZE size, void* r) {
        return static_cast<Reader*>(r)->text(type, {words, size});
    };
    const int status = md_parse(markdown.data(), static_cast<MD_SIZE>(markdown.size()), &parser, &reader);
    const auto mend = "write it as the other chapters in Resources/Manual are written";
    if (status != 0)
        return Fault{chapter.name, "holds " + (reader.wrong.empty() ? "what cannot be read" : reader.wrong), mend};
    if (chapter.blocks.empty() || chapter.blocks.front().kind != Kind::heading || chapter.blocks.front().level != 1)
        return Fault{chapter.name, "does not begin with its title", mend};
    chapter.title = plainText(chapter.blocks.front().words);
    return chapter;
}

Result<std::vector<ManualChapter>> manual() {
    std::vector<ManualChapter> chapters;
    for (const auto& [file, bytes] : files()) {
        if (!file.ends_with(chapterEnding)) continue;
        auto chapter = readManualChapter(file.substr(0, file.size() - chapterEnding.size()), bytes);
        if (!chapter) return chapter.fault();
        chapters.push_back(std::move(chapter).value());
    }
    return chapters;
}

std::string_view manualPicture(const std::string& file) {
    const auto found = files().find(file);
    return found == files().end() || !file.ends_with(pictureEnding) ? std::string_view() : found->second;
}

} // namespace spillwright
