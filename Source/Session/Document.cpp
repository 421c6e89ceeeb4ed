#include "Session/Document.h"

namespace spillwright {

using nlohmann::json;

Result<json> parseDocument(std::string_view text, const std::string& where, const DocumentKind& kind) {
    json root = json::parse(text, nullptr, false);
    const auto fault = [&](std::string what) { return Fault{where, std::move(what), kind.mend}; };
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
