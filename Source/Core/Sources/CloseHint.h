#pragma once

#include <string_view>

namespace spillwright {

/// What a track's name says of where its microphone stood.
enum class CloseHint { unknown, close, room };

/// By whole English words and the short forms that track sheets bear, any case, digits aside. A word for a place
/// ("room", "overhead", "OH", "hall") counts for more than an instrument ("kick", "vln"): "Piano Room 2" is `room`.
/// Words that are said of both ("main", "stereo", "drums", "choir") tell nothing.
CloseHint closeHintOf(std::string_view trackName);

} // namespace spillwright
