#pragma once

#include <initializer_list>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace spillwright {

/// The text as XML and HTML may hold it: & < > " ' as references, what is no UTF-8 and control characters (but line
/// feed and tab) as U+FFFD.
std::string escaped(std::string_view text);

/// Writes a tree of elements, as XML 1.0 and HTML5 both read it. Whatever is text or an attribute's value is escaped,
/// so that no name of a track can become an element.
class Markup {
public:
    /// Those without a value are left out.
    using Attributes = std::initializer_list<std::pair<const char*, std::string>>;

    /// Until the result goes, what is written stands inside the element.
    class [[nodiscard]] Inside {
    public:
        Inside(Inside&& other) noexcept : markup(std::exchange(other.markup, nullptr)) {}
        Inside& operator=(Inside&&) = delete;
        ~Inside() {
            if (markup) markup->close();
        }

    private:
        friend class Markup;
        explicit Inside(Markup* of) : markup(of) {}
        Markup* markup;
    };
    Inside in(const char* element, Attributes attributes = {});

    void empty(const char* element, Attributes attributes = {}); ///< Without content and end: <meta/>, <rect/>.
    void element(const char* element, std::string_view text, Attributes attributes = {});
    void text(std::string_view text);
    /// As it is: a style sheet, a doctype, markup that was written by another Markup.
    void raw(std::string_view markup) { out += markup; }

    std::string take() { return std::move(out); } ///< Once every element is closed.

private:
    void begin(const char* element, Attributes attributes);
    void close();

    std::string out;
    std::vector<const char*> open;
};

} // namespace spillwright
