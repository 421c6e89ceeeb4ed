#pragma once

#include "Desk/Sheets.h"

namespace spillwright::desk {

/// What the window's pictures, words and numbers mean, part by part, for who sees them the first time.
LinesSheet::Words glossary();
/// The part of it that two takes side by side need.
LinesSheet::Words takesGlossary();
LinesSheet::Words takesKeys(); ///< The keys there.

} // namespace spillwright::desk
