#pragma once

#include <string>
#include <vector>

namespace CLI {
class App;
}

namespace spillwright::shell {

/// One option or one word that is told by its place.
struct Word {
    std::vector<std::string> names; ///< `--help`, `-h`; of a word told by its place its one name.
    std::string about;
    /// What the value is: alternatives parted by `|`, of which FILE, FILE.csv and FOLDER are paths. Empty: takes none.
    std::string value;
    std::vector<std::string> choices; ///< The values there are; empty where any may be given.
    bool byPlace = false, required = false, repeated = false;
};

struct Command {
    std::string name, about;
    std::vector<Word> options, places;
};

/// A program as its man page and completions show it.
struct Program {
    Command whole;
    std::vector<Command> commands; ///< Empty where it has none.
};

/// Reads the table by which a program understands its calls.
Program programOf(const CLI::App& table);

/// The alternatives of a value that are files or folders.
struct Paths {
    bool files = false, folders = false;
    std::vector<std::string> endings; ///< Of the files, with their dot; empty: any.
};
Paths pathsOf(const Word& word);

} // namespace spillwright::shell
