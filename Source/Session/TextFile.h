#pragma once

#include "Core/Result.h"

#include <filesystem>
#include <string>
#include <string_view>

namespace spillwright {

/// Writes a text file whole or not at all: under a temporary name in the same folder, then renamed into place.
/// What is no regular file (a terminal, a pipe, a device) is written to as it is, a link is followed.
/// Faults: the folder is absent or cannot be written to, the disk is full.
Outcome writeTextFile(const std::filesystem::path& path, std::string_view text);

/// The whole of a text file, or of what a pipe gives. Faults: it cannot be read, or is above 4 MB; `word` says what it
/// was to be ("setting").
Result<std::string> readTextFile(const std::filesystem::path& path, std::string_view word);

} // namespace spillwright
