#pragma once

#include "Core/Result.h"

#include <filesystem>
#include <string_view>

namespace spillwright {

/// Writes a text file whole or not at all: under a temporary name in the same folder, then renamed into place.
/// What is no regular file (a terminal, a pipe, a device) is written to as it is, a link is followed.
/// Faults: the folder is absent or cannot be written to, the disk is full.
Outcome writeTextFile(const std::filesystem::path& path, std::string_view text);

} // namespace spillwright
