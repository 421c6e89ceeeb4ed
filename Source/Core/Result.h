#pragma once

#include <string>
#include <utility>
#include <variant>

namespace spillwright {

/// A text as one line: what would break it (a line feed in a file's name) becomes a space.
inline std::string oneLine(std::string text) {
    for (char& c : text)
        if (static_cast<unsigned char>(c) < 0x20 || c == 0x7f) c = ' ';
    return text;
}

/// What went wrong, for the one line a person reads: "WHERE: WHAT; MEND".
struct Fault {
    enum class Kind {
        input,     ///< The user's files or names are at fault (exit status 1).
        usage,     ///< The words of the call are off (exit status 2).
        cancelled, ///< The user asked to stop; nothing was wrong.
    };

    std::string where; ///< A file, folder, track or option.
    std::string what;  ///< What is wrong with it, one clause, no full stop.
    std::string mend;  ///< What to do about it, one clause.
    Kind kind = Kind::input;

    std::string line() const { return oneLine(where + ": " + what + (mend.empty() ? "" : "; " + mend)); }
};

/// A value, or the fault that stood in its way.
template <class T>
class [[nodiscard]] Result {
public:
    Result(T value) : content(std::in_place_index<0>, std::move(value)) {}
    Result(Fault fault) : content(std::in_place_index<1>, std::move(fault)) {}

    bool ok() const { return content.index() == 0; }
    explicit operator bool() const { return ok(); }

    T& value() & { return std::get<0>(content); }
    const T& value() const& { return std::get<0>(content); }
    T&& value() && { return std::get<0>(std::move(content)); }
    T& operator*() & { return value(); }
    const T& operator*() const& { return value(); }
    T* operator->() { return &value(); }
    const T* operator->() const { return &value(); }

    const Fault& fault() const { return std::get<1>(content); }

private:
    std::variant<T, Fault> content;
};

using Outcome = Result<std::monostate>; ///< Done, or the fault that stood in the way.
inline Outcome done() {
    return std::monostate{};
}

} // namespace spillwright
