#pragma once

#include "Core/Result.h"
#include "Core/Workers.h"

#include <filesystem>
#include <string>

namespace spillwright {

/// SHA-256 (FIPS 180-4) of a file's bytes as 64 hexadecimal digits. Faults: it cannot be read, it was cut short
/// meanwhile, a stop.
Result<std::string> sha256Of(const std::filesystem::path& file, const Watch& watch);

/// A line as sha256sum writes and reads it: the sum, two spaces, the name, a line feed; a name with a line feed, a
/// carriage return or a backslash has these as \n, \r and \\ and a backslash before the sum.
std::string checksumLine(const std::string& sum, const std::filesystem::path& name);

} // namespace spillwright
