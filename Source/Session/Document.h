#pragma once

#include "Core/Result.h"

#include <nlohmann/json.hpp>

#include <optional>
#include <span>
#include <string>
#include <string_view>

namespace spillwright {

/// What a file of ours says of itself in its first lines.
struct DocumentKind {
    const char* format; ///< "spillwright/..."
    int version;
    const char* word; ///< "setting"
    const char* mend; ///< What to do about a file that is none.
};

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
