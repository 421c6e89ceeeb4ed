#include "Session/Takes.h"

#include "Session/Words.h"

#include <algorithm>

namespace spillwright {

namespace {

std::size_t place(int index) {
    return static_cast<std::size_t>(index);
}

std::string lower(std::string text) {
    std::transform(text.begin(), text.end(), text.begin(),
                   [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c; });
    return text;
}

} // namespace

Result<std::vector<ComparedTrack>> matchTracks(std::span<const Measurement> takes,
                                               std::span<const std::pair<std::string, std::string>> match) {
    std::vector<ComparedTrack> matched;
    const auto count = takes.size();
    std::vector<std::vector<bool>> taken;
    for (const auto& take : takes)
        taken.emplace_back(take.tracks.size(), false);
    for (const auto& track : takes.front().tracks)
        matched.push_back({track.name, std::vector<int>(count, -1), MatchedBy::name});
    for (std::size_t t = 0; t < matched.size(); ++t)
        matched[t].tracks.front() = static_cast<int>(t);

    for (const auto& [first, other] : match) {
        const auto track = findTrack(first, takes.front().tracks);
        if (!track) return track.fault();
        bool found = other.empty();
        for (std::size_t k = 1; k < count; ++k)
            for (std::size_t t = 0; t < takes[k].tracks.size(); ++t) {
                if (takes[k].tracks[t].name != other || taken[k][t]) continue;
                if (matched[place(*track)].tracks[k] >= 0)
                    return Fault{first, "is matched by hand twice", "match it with one track of each take"};
                matched[place(*track)].tracks[k] = static_cast<int>(t);
                matched[place(*track)].by = MatchedBy::hand;
                taken[k][t] = true;
                found = true;
            }
        if (!found) {
            std::vector<std::string> names;
            for (std::size_t k = 1; k < count; ++k)
                for (const auto& known : takes[k].tracks)
                    names.push_back(known.name);
            return Fault{other, "no track of another take bears this name, or it is matched already",
                         nearNames(other, names)};
        }
    }
    const auto isNone = [&](const ComparedTrack& track) {
        return std::any_of(match.begin(), match.end(),
                           [&](const auto& pair) { return pair.second.empty() && pair.first == track.name; });
    };
    for (std::size_t k = 1; k < count; ++k)
        for (auto& track : matched) {
            if (track.tracks[k] >= 0 || isNone(track)) continue;
            for (std::size_t t = 0; t < takes[k].tracks.size(); ++t)
                if (!taken[k][t] && lower(takes[k].tracks[t].name) == lower(track.name)) {
                    track.tracks[k] = static_cast<int>(t);
                    taken[k][t] = true;
                    break;
                }
        }
    for (std::size_t k = 1; k < count; ++k) {
        if (takes[k].tracks.size() != takes.front().tracks.size()) continue; // not the same tracks: order says nothing
        std::size_t t = 0;
        for (auto& track : matched) {
            if (track.tracks[k] >= 0 || isNone(track)) continue;
            while (t < taken[k].size() && taken[k][t])
                ++t;
            if (t == taken[k].size()) break;
            track.tracks[k] = static_cast<int>(t);
            track.by = MatchedBy::order;
            taken[k][t] = true;
        }
    }
    for (std::size_t k = 1; k < count; ++k)
        if (std::none_of(matched.begin(), matched.end(), [&](const auto& track) { return track.tracks[k] >= 0; }))
            return Fault{takes[k].folder, "has no track in common with " + takes.front().folder,
                         "choose another take, or say which track is which (--match)"};
    for (std::size_t k = 1; k < count; ++k)
        for (std::size_t t = 0; t < takes[k].tracks.size(); ++t)
            if (!taken[k][t]) {
                ComparedTrack alone{takes[k].tracks[t].name, std::vector<int>(count, -1), MatchedBy::name};
                alone.tracks[k] = static_cast<int>(t);
                for (std::size_t later = k + 1; later < count; ++later)
                    for (std::size_t u = 0; u < takes[later].tracks.size(); ++u)
                        if (!taken[later][u] && lower(takes[later].tracks[u].name) == lower(alone.name)) {
                            alone.tracks[later] = static_cast<int>(u);
                            taken[later][u] = true;
                            break;
                        }
                matched.push_back(std::move(alone));
            }
    return matched;
}

} // namespace spillwright
