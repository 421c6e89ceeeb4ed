#pragma once

#include <vector>

namespace spillwright {

/// An instrument as the microphones that stand close to it tell it.
struct Source {
    std::vector<int> closeTracks; ///< At least one; the first is the one that the source is told from.
    bool operator==(const Source&) const = default;
};

/// Which track stands close to what. Tracks in no source are room or overhead tracks; no track is in two.
struct SourcePlan {
    std::vector<Source> sources;
    bool operator==(const SourcePlan&) const = default;
};

} // namespace spillwright
