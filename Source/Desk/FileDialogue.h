#pragma once

#include <juce_gui_basics/juce_gui_basics.h>

namespace spillwright::desk {

/// Of the dialogue for files that lies within the component, if there is one (the system may have its own): one Return
/// confirms a whole path that was typed, as it does a name. A folder is gone to first. Once for each dialogue.
void confirmTypedPaths(juce::Component& within);

} // namespace spillwright::desk
