#include "Report/Markup.h"

#include "Session/Files.h"

namespace spillwright {

std::string escaped(std::string_view text) {
    std::string out;
    for (const char c : shownText(text, "\n\t")) {
        switch (c) {
        case '&':
            out += "&amp;";
            break;
        case '<':
            out += "&lt;";
            break;
        case '>':
            out += "&gt;";
            break;
        case '"':
            out += "&quot;";
            break;
        case '\'':
            out += "&#39;";
            break;
        default:
            out += c;
        }
    }
    return out;
}

Markup::Inside Markup::in(const char* element, Attributes attributes) {
    begin(element, attributes);
    out += ">";
    open.push_back(element);
    return Inside(this);
}

void Markup::empty(const char* element, Attributes attributes) {
    begin(element, attributes);
    out += "/>";
}

void Markup::element(const char* element, std::string_view words, Attributes attributes) {
    const auto inside = in(element, attributes);
    text(words);
}

void Markup::text(std::string_view words) {
    out += escaped(words);
}

void Markup::begin(const char* element, Attributes attributes) {
    out += std::string("<") + element;
    for (const auto& [name, value] : attributes)
        if (!value.empty()) out += std::string(" ") + name + "=\"" + escaped(value) + "\"";
}

void Markup::close() {
    out += std::string("</") + open.back() + ">";
    open.pop_back();
}

} // namespace spillwright
