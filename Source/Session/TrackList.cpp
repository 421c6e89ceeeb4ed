#include "Session/TrackList.h"

#include <algorithm>
#include <numeric>

namespace spillwright {

TrackList::TrackList(int tracks) : order(static_cast<std::size_t>(tracks)), names(order.size()), labels(order.size()) {
    std::iota(order.begin(), order.end(), 0);
}

int TrackList::groupOf(int track) const {
    for (std::size_t k = 0; k < groups.size(); ++k)
        if (std::find(groups[k].tracks.begin(), groups[k].tracks.end(), track) != groups[k].tracks.end())
            return static_cast<int>(k);
    return -1;
}

bool TrackList::hidden(int track) const {
    const int group = groupOf(track);
    return group >= 0 && groups[static_cast<std::size_t>(group)].folded;
}

void TrackList::move(int track, int place) {
    const auto found = std::find(order.begin(), order.end(), track);
    if (found == order.end()) return;
    order.erase(found);
    const auto at = static_cast<std::size_t>(std::clamp(place, 0, static_cast<int>(order.size())));
    order.insert(order.begin() + static_cast<std::ptrdiff_t>(at), track);
    const int above = at > 0 ? groupOf(order[at - 1]) : -1;
    const int below = at + 1 < order.size() ? groupOf(order[at + 1]) : -1;
    const int own = groupOf(track);
    const int joins = above >= 0 && above == below ? above : own >= 0 && (own == above || own == below) ? own : -1;
    if (own >= 0 && own != joins) std::erase(groups[static_cast<std::size_t>(own)].tracks, track);
    if (joins >= 0 && own != joins) groups[static_cast<std::size_t>(joins)].tracks.push_back(track);
    tidy();
}

void TrackList::group(std::vector<int> tracks, std::string name) {
    if (tracks.size() < 2) return;
    const auto among = [&](int track) { return std::find(tracks.begin(), tracks.end(), track) != tracks.end(); };
    for (auto& each : groups)
        std::erase_if(each.tracks, among);
    const auto first = std::find_if(order.begin(), order.end(), among) - order.begin();
    std::vector<int> together, rest;
    for (int track : order)
        (among(track) ? together : rest).push_back(track);
    rest.insert(rest.begin() + first, together.begin(), together.end());
    order = std::move(rest);
    groups.push_back({std::move(name), std::move(together), false});
    tidy();
}

void TrackList::ungroup(int group) {
    if (group >= 0 && group < static_cast<int>(groups.size())) groups.erase(groups.begin() + group);
}

/// Groups stand in one piece, where the first of them stands, and are of two tracks at least.
void TrackList::tidy() {
    std::erase_if(groups, [](const Group& each) { return each.tracks.size() < 2; });
    std::vector<int> tidied;
    std::vector<char> done(groups.size(), 0);
    for (int track : order) {
        const int group = groupOf(track);
        if (group < 0) {
            tidied.push_back(track);
            continue;
        }
        const auto k = static_cast<std::size_t>(group);
        if (done[k]) continue;
        done[k] = 1;
        auto& members = groups[k].tracks;
        std::sort(members.begin(), members.end(), [&](int a, int b) {
            return std::find(order.begin(), order.end(), a) < std::find(order.begin(), order.end(), b);
        });
        tidied.insert(tidied.end(), members.begin(), members.end());
    }
    order = std::move(tidied);
}

} // namespace spillwright
