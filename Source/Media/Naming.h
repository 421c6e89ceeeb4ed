#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace spillwright {

/// Order of file names as people count: digits as numbers ("2 b" before "10 a"), ASCII letters whatever their case.
bool naturallyBefore(std::string_view a, std::string_view b);

/// Without a leading track number: up to two digits, or more with a leading zero, set apart by space, `.`, `_` or `-`.
/// "01 kick in" is "kick in"; "808 kick", "1st violin" and "2.5m pair" stay.
std::string withoutTrackNumber(std::string_view name);

/// A name that closes in `L`/`R` or `Left`/`Right` (any case) after space, `.`, `_` or `-`.
struct SideOfPair {
    std::string common; ///< What both names of a pair share; equal for the two sides, and for nothing else.
    bool right = false;
};
std::optional<SideOfPair> sideOfPair(std::string_view name);

/// One file to be named: its name with and without ending, and what is set behind it for each of its tracks.
struct NamedFile {
    std::string fileName;
    std::string stem;
    std::vector<std::string> suffixes; ///< {""}, {" L", " R"} or {" 1", " 2", ...}.
};
/// The names of all tracks, file by file, each unique: without the track number; with it where two would be alike; with
/// the file's ending where they still are.
std::vector<std::vector<std::string>> trackNames(const std::vector<NamedFile>& files);

} // namespace spillwright
