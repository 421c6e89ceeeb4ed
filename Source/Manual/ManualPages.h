#pragma once

#include "Manual/Manual.h"

#include <filesystem>

namespace spillwright {

/// One chapter as a page of HTML5 that needs nothing but the pictures beside it; the other chapters are its links.
std::string manualPage(const std::vector<ManualChapter>& chapters, std::size_t chapter);

/// Every chapter as a page, the pictures, and index.html, which is the list of chapters.
/// Faults: as of `NewFolder`; a chapter or picture that is led to is not there.
Outcome writeManual(const std::vector<ManualChapter>& chapters, const std::filesystem::path& to);

} // namespace spillwright
