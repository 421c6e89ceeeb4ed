#pragma once

#include "Shell/Program.h"

#include <string>
#include <vector>

namespace spillwright::shell {

/// What a man page says beyond the table: sections of lines; a line that begins with four spaces stands as it is.
struct Section {
    std::string title;
    std::vector<std::string> lines;
};

/// The page of a program in section 1, in the man(7) language: name, synopsis, commands, options, then `sections`.
/// `date` is YYYY-MM-DD.
std::string manPage(const Program& program, const std::vector<Section>& sections, const std::string& version,
                    const std::string& date);

/// The sections of the two programs' pages.
std::vector<Section> commandLineSections();
std::vector<Section> windowSections();

} // namespace spillwright::shell
