#pragma once

#include "Core/Sources/PathChange.h"

#include <optional>
#include <span>
#include <vector>

namespace spillwright {

/// The way from one track to another and what became of it.
struct PathLink {
    int from = 0; ///< The close track of a source.
    int to = 0;
    PathChange change;
};

/// What was done to a track between two takes, as far as the ways to it and from it tell.
struct TrackChange {
    enum class Place {
        asItWas,
        late,        ///< All that it holds comes so much later, and sounds as before: recorded late, not moved.
        moved,       ///< It hears from elsewhere.
        sourceMoved, ///< Its source went elsewhere; the others reach it as before.
        either       ///< It or its source moved: nothing else reaches it that would tell.
    };
    int against = 0; ///< Ways that tell of it.
    bool inverted = false;
    Place place = Place::asItWas;
    Seconds later;            ///< The median over the ways that changed; positive: the track hears later than it did.
    Seconds laterUncertainty; ///< One standard uncertainty of a way, the median.
    /// What the track has more against the usual one, and its standard uncertainty: a louder player is louder in every
    /// track, a gain changes one. Empty where no way tells. Of a track that stands elsewhere, its place is in it.
    std::optional<Decibels> gain;
    Decibels gainUncertainty;
    bool gainChanged = false; ///< Beyond what takes of one set-up differ by; never of a track that moved.
};

/// A way is another one from here on, where its shift is beyond `shiftReach` of its uncertainties too. 0.02 ms is 7 mm.
inline constexpr Seconds smallestShift{0.02e-3};
inline constexpr double shiftReach = 5.0;
bool isShift(Seconds by, Seconds uncertainty);
/// A gain is another one from here on, where it is beyond `gainReach` of its uncertainties too: a player who is louder
/// in one take leaves some tenths of a decibel in what is told of the levels.
inline constexpr Decibels smallestGain{1.2};
inline constexpr double gainReach = 4.0;

/// Which tracks the changes of the ways are due to: as few as there can be. One after the other, the track of which the
/// most ways changed, if at least three of five of them did, takes them upon itself. [track 0..tracks-1]
/// `unexplained`: ways that changed and that no track takes upon itself.
struct TrackChanges {
    std::vector<TrackChange> tracks;
    std::vector<PathLink> unexplained;
    /// With two tracks alone nothing tells which of them changed: the second bears what both may have done.
    bool ambiguous = false;
};
TrackChanges trackChanges(int tracks, std::span<const PathLink> links);

} // namespace spillwright
