#pragma once

#include <string>
#include <vector>

namespace spillwright {

/// How the tracks of a recording are listed for the eye. Nothing of it is heard, measured or rendered.
struct TrackList {
    /// Tracks that stand together under a name, one below the other.
    struct Group {
        std::string name;
        std::vector<int> tracks; ///< At least two, in the order of the list.
        bool folded = false;     ///< Only the name is shown.
        bool operator==(const Group&) const = default;
    };
    static constexpr int labelCount = 6;

    std::vector<int> order;         ///< All tracks from top to bottom.
    std::vector<std::string> names; ///< [track] What it is called here; empty: as its file.
    std::vector<int> labels;        ///< [track] 0: none, 1..labelCount: a coloured letter.
    std::vector<Group> groups;      ///< No track is in two.

    TrackList() = default;
    explicit TrackList(int tracks); ///< In the order of the files, nothing else said.
    bool operator==(const TrackList&) const = default;

    int groupOf(int track) const; ///< Place among the groups; -1: none.
    bool hidden(int track) const; ///< Its group is folded.

    /// The track goes to that place of the order (0 .. number of tracks - 1). Between two of a group it joins it, away
    /// from its own it leaves it; a group of one is none.
    void move(int track, int place);
    /// The tracks come together where the first of them stands; they leave the groups they were in. Fewer than two:
    /// nothing happens.
    void group(std::vector<int> tracks, std::string name);
    void ungroup(int group);

private:
    void tidy();
};

} // namespace spillwright
