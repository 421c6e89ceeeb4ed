#pragma once

#include <filesystem>
#include <string>
#include <string_view>

namespace spillwright::desk {

/// Sixteen hexadecimal digits: FNV-1a of 64 bit. For names of files of ours; not for proof against malice.
std::string fingerprint(std::string_view bytes);

/// What files of ours about a recording are called: its folder's name and a fingerprint of where it lies.
std::string nameForFolder(const std::filesystem::path& folder);

} // namespace spillwright::desk
