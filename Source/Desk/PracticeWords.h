#pragma once

#include "Desk/Sheets.h"

namespace spillwright::desk {

/// The keys of the practice room, for reading.
LinesSheet::Words practiceKeys();
/// What its pictures and numbers mean, for who sees them the first time.
LinesSheet::Words practiceGlossary();

} // namespace spillwright::desk
