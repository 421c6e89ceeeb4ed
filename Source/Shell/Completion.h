#pragma once

#include "Shell/Program.h"

#include <string>

namespace spillwright::shell {

/// Scripts that complete a program's commands, options and values in a shell. Where a word told by its place is called
/// NAME, the names are those that the command alone lists: lines that begin with no space, as far as two spaces.
std::string bashCompletion(const Program& program); ///< bash 4.
std::string zshCompletion(const Program& program);
std::string fishCompletion(const Program& program);

} // namespace spillwright::shell
