#include "Session/Document.h"

namespace spillwright {

using nlohmann::json;

bool nestsTooDeep(std::string_view text) {
    constexpr int most = 64;
    int depth = 0;
    bool quoted = false;
    for (std::size_t k = 0; k < text.size(); ++k) {
        if (quoted && text[k] == '\\')
            ++k; // what follows closes nothing
        else if (text[k] == '"')
            quoted = !quoted;
        else if (!quoted && (text[k] == '{' || text[k] == '[') && ++depth > most)
            return true;
        else if (!quoted && (text[k] == '}' || text[k] == ']'))
            --depth;
    }
    return false;
}

Result<json> parseDocument(std::string_view text, const std::string& where, const DocumentKind& kind) {
    const auto fault = [&](std::string what) { return Fault{where, std::move(what), kind.mend}; };
    if (nestsTooDeep(text)) return fault("this JSON is nested too deep");
    json root = json::parse(text, nullptr, false);
    if (root.is_discarded()) return fault("this is not JSON");
    if (!root.is_object() || root.value("format", json()) != json(kind.format))
        return fault(std::string("\"format\" is not \"") + kind.format + "\"");
    const auto version = root.find("version");
    if (version == root.end() || !version->is_number_integer()) return fault("\"version\" is missing");
    if (version->get<double>() > kind.version)
        return Fault{where, std::string("this ") + kind.word + " was written by a newer version",
                     "update this program"};
    if (*version != kind.version) return fault("there is no such \"version\"");
    return root;
}

std::string documentText(const nlohmann::ordered_json& document) {
    return document.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n";
}

} // namespace spillwright
