#include "Media/Naming.h"

#include <algorithm>
#include <map>

namespace spillwright {

namespace {

constexpr std::string_view separators = " ._-";

bool isDigit(char c) {
    return c >= '0' && c <= '9';
}

char lower(char c) {
    return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
}

std::string lower(std::string_view text) {
    std::string result(text);
    std::transform(result.begin(), result.end(), result.begin(), [](char c) { return lower(c); });
    return result;
}

/// Takes the digits that begin the text off it, and returns them without leading zeros.
std::string_view takeNumber(std::string_view& text) {
    const auto length = std::min(text.find_first_not_of("0123456789"), text.size());
    std::string_view number = text.substr(0, length);
    text.remove_prefix(length);
    number.remove_prefix(std::min(number.find_first_not_of('0'), number.size()));
    return number;
}

} // namespace

bool naturallyBefore(std::string_view a, std::string_view b) {
    const std::string_view wholeA = a, wholeB = b;
    while (!a.empty() && !b.empty()) {
        if (isDigit(a[0]) && isDigit(b[0])) {
            const auto numberA = takeNumber(a), numberB = takeNumber(b);
            if (numberA.size() != numberB.size()) return numberA.size() < numberB.size();
            if (numberA != numberB) return numberA < numberB;
        } else {
            const auto characterA = static_cast<unsigned char>(lower(a[0]));
            const auto characterB = static_cast<unsigned char>(lower(b[0]));
            if (characterA != characterB) return characterA < characterB;
            a.remove_prefix(1);
            b.remove_prefix(1);
        }
    }
    if (a.empty() != b.empty()) return a.empty();
    return wholeA < wholeB;
}

std::string withoutTrackNumber(std::string_view name) {
    const auto digits = std::min(name.find_first_not_of("0123456789"), name.size());
    if (digits == 0 || (digits > 2 && name[0] != '0')) return std::string(name);
    std::string_view rest = name.substr(digits);
    const auto gap = std::min(rest.find_first_not_of(separators), rest.size());
    if (gap == 0 || gap == rest.size()) return std::string(name);
    const bool spaced = rest.substr(0, gap).find_first_of(" _") != std::string_view::npos;
    rest.remove_prefix(gap);
    if (!spaced && isDigit(rest[0])) return std::string(name); // 2.5, 12-3: one number
    return std::string(rest);
}

std::optional<SideOfPair> sideOfPair(std::string_view name) {
    const std::string bare = withoutTrackNumber(name);
    const auto gap = bare.find_last_of(separators);
    if (gap == std::string::npos || gap == 0) return std::nullopt;
    const std::string side = lower(std::string_view(bare).substr(gap + 1));
    const std::string front = bare.substr(0, gap + 1);
    if (side == "l" || side == "r") return SideOfPair{front + "L|R", side == "r"};
    if (side == "left" || side == "right") return SideOfPair{front + "Left|Right", side == "right"};
    return std::nullopt;
}

std::vector<std::vector<std::string>> trackNames(const std::vector<NamedFile>& files) {
    enum Form { bare, numbered, whole, counted };
    std::vector<int> forms(files.size(), bare);
    std::vector<std::vector<std::string>> names(files.size());
    for (;;) {
        std::map<std::string, std::vector<std::size_t>> bearers;
        for (std::size_t f = 0; f < files.size(); ++f) {
            const NamedFile& file = files[f];
            std::string base = forms[f] == bare       ? withoutTrackNumber(file.stem)
                               : forms[f] == numbered ? file.stem
                                                      : file.fileName;
            if (forms[f] >= counted) base += " (" + std::to_string(forms[f] - counted + 2) + ")";
            names[f].clear();
            for (const std::string& suffix : file.suffixes) {
                names[f].push_back(base + suffix);
                bearers[names[f].back()].push_back(f);
            }
        }
        bool unique = true;
        std::vector<bool> moveOn(files.size(), false);
        for (const auto& [name, owners] : bearers) {
            if (owners.size() < 2) continue;
            unique = false;
            // File names differ, so only a file whose whole name ends like another's track must be counted: one of
            // them.
            const bool exhausted =
                std::all_of(owners.begin(), owners.end(), [&](std::size_t f) { return forms[f] >= whole; });
            for (std::size_t i = exhausted ? 1 : 0; i < owners.size(); ++i)
                if (exhausted || forms[owners[i]] < whole) moveOn[owners[i]] = true;
        }
        if (unique) return names;
        for (std::size_t f = 0; f < files.size(); ++f)
            if (moveOn[f]) ++forms[f];
    }
}

} // namespace spillwright
