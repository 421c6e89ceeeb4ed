#pragma once

#include <optional>
#include <string>
#include <vector>

namespace CLI {
class App;
}

namespace spillwright::desk {

/// The words of a call of the window, as far as they were given. Paths are as typed.
struct Call {
    std::string opened; ///< A folder or a session.
    bool demo = false, dark = false;
    std::string settings;
    std::optional<int> scale; ///< Percent.
    std::vector<std::string> screenshots;
    std::string trace;
};

/// Every option of the window; the one place from which calls are understood and its man page and completions are made.
void addOptions(CLI::App& app, Call& call);

} // namespace spillwright::desk
