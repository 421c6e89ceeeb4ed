#pragma once

#include "Core/Result.h"

#include <nlohmann/json.hpp>

#include <algorithm>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace spillwright {

/// What a file of ours says of itself in its first lines.
struct DocumentKind {
    const char* format; ///< "spillwright/..."
    int version;
    const char* word; ///< "setting"
    const char* mend; ///< What to do about a file that is none.
};

/// Whether a JSON text has objects and lists more than 64 deep in each other, which no file of ours has: the library's
/// walk through such a document would exhaust the stack.
bool nestsTooDeep(std::string_view text);

/// Faults: not JSON, another format, a newer or an unknown version; `where` names the text in them.
Result<nlohmann::json> parseDocument(std::string_view text, const std::string& where, const DocumentKind& kind);

/// As it is written to a file: indented, closing with a line feed; bytes that are no UTF-8 (a file's name) replaced.
std::string documentText(const nlohmann::ordered_json& document);

/// Reads the members of one JSON object and remembers the first thing that is wrong with them.
class Members {
public:
    Members(const nlohmann::json& members, std::string prefix) : object(members), place(std::move(prefix)) {}

    void number(const char* key, double low, double high, double& into) {
        const auto* member = find(key);
        if (member == nullptr) return;
        if (!member->is_number()) return complain(key, "is not a number");
        const double value = member->get<double>();
        if (!(value >= low && value <= high)) {
            std::ostringstream range;
            range << "is outside " << low << " to " << high;
            return complain(key, range.str());
        }
        into = value;
    }

    void optionalNumber(const char* key, double low, double high, std::optional<double>& into) {
        const auto* member = find(key);
        if (member == nullptr || member->is_null()) return;
        double value = 0.0;
        number(key, low, high, value);
        into = value;
    }

    void oneOf(const char* key, std::span<const int> choices, int& into) {
        const auto* member = find(key);
        if (member == nullptr) return;
        if (!member->is_number()) return complain(key, "is not a number");
        std::string list;
        for (const int choice : choices) {
            if (member->get<double>() == choice) {
                into = choice;
                return;
            }
            list += (list.empty() ? "" : ", ") + std::to_string(choice);
        }
        complain(key, "is none of " + list);
    }

    void flag(const char* key, bool& into) {
        const auto* member = find(key);
        if (member == nullptr) return;
        if (!member->is_boolean()) return complain(key, "is neither true nor false");
        into = member->get<bool>();
    }

    void text(const char* key, std::string& into) {
        const auto* member = find(key);
        if (member == nullptr) return;
        if (!member->is_string()) return complain(key, "is not a text");
        into = member->get<std::string>();
    }

    void optionalText(const char* key, std::optional<std::string>& into) {
        const auto* member = find(key);
        if (member == nullptr || member->is_null()) return;
        std::string value;
        text(key, value);
        into = std::move(value);
    }

    /// One of these words; `into` is its place among them.
    void word(const char* key, std::span<const char* const> choices, int& into) {
        std::string value;
        text(key, value);
        if (find(key) == nullptr || !problem().empty()) return;
        const auto chosen = std::find(choices.begin(), choices.end(), value);
        if (chosen == choices.end()) return complain(key, "has no such word as \"" + value + "\"");
        into = static_cast<int>(chosen - choices.begin());
    }

    void texts(const char* key, std::vector<std::string>& into) {
        const auto* member = find(key);
        if (member == nullptr) return;
        if (!member->is_array()) return complain(key, "is not a list");
        for (const auto& each : *member) {
            if (!each.is_string()) return complain(key, "holds what is no text");
            into.push_back(each.get<std::string>());
        }
    }

    /// From and to; null or absent: none.
    void span(const char* key, std::optional<std::pair<double, double>>& into) {
        const auto* member = find(key);
        if (member == nullptr || member->is_null()) return;
        const bool two =
            member->is_array() && member->size() == 2 && (*member)[0].is_number() && (*member)[1].is_number();
        if (!two) return complain(key, "is not a list of two numbers");
        const auto from = (*member)[0].get<double>(), to = (*member)[1].get<double>();
        if (!(from >= 0.0 && from < to)) return complain(key, "does not end after it begins");
        into.emplace(from, to);
    }

    const std::string& problem() const { return firstProblem; }

private:
    const nlohmann::json& object;
    std::string place;
    std::string firstProblem;

    const nlohmann::json* find(const char* key) const {
        const auto it = object.find(key);
        return it == object.end() ? nullptr : &*it;
    }

    void complain(const char* key, const std::string& what) {
        if (firstProblem.empty()) firstProblem = place + "\"" + key + "\" " + what;
    }
};

} // namespace spillwright
