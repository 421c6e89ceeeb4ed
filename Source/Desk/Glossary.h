#pragma once

#include "Desk/Sheets.h"

namespace spillwright::desk {

/// What the window's pictures, words and numbers mean, part by part, for who sees them the first time.
LinesSheet::Words glossary();

} // namespace spillwright::desk
