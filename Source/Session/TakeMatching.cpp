#include "Session/Takes.h"

#include "Session/Words.h"

#include <algorithm>
#include <array>
#include <map>

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

using NameWords = std::vector<std::string>; // letters in small, numbers without leading zeros

bool isDigit(char c) {
    return c >= '0' && c <= '9';
}

bool isNumber(const std::string& word) {
    return !word.empty() && std::all_of(word.begin(), word.end(), isDigit);
}

std::string withoutZeros(const std::string& number) {
    return number.substr(std::min(number.find_first_not_of('0'), number.size() - 1));
}

/// What spaces and punctuation part; of a name of nothing else, the name.
NameWords wordsOf(const std::string& name) {
    NameWords words(1);
    for (const char c : lower(name)) {
        if (isDigit(c) || (c >= 'a' && c <= 'z') || static_cast<unsigned char>(c) >= 0x80)
            words.back() += c;
        else if (!words.back().empty())
            words.emplace_back();
    }
    if (words.back().empty()) words.pop_back();
    for (auto& word : words)
        if (isNumber(word)) word = withoutZeros(word);
    return words.empty() ? NameWords{lower(name)} : words;
}

/// One word; numbers that meet stay apart.
std::string joined(const NameWords& words) {
    std::string key;
    for (const auto& word : words) {
        if (!key.empty() && isDigit(key.back()) && isDigit(word.front())) key += '.';
        key += word;
    }
    return key;
}

enum End { leading, trailing };

struct TakeMarker {
    std::size_t words = 0; // none: 0
    std::string take;      // "take 2", or "2" of a bare number
};

/// "take 2", "tk2", "T2" or a bare number at that end of a name, if it leaves a name.
TakeMarker markerAt(End end, const NameWords& name) {
    const auto isTakeWord = [](const std::string& word) { return word == "take" || word == "tk" || word == "t"; };
    const auto& outer = end == leading ? name.front() : name.back();
    if (name.size() > 2) {
        const auto& word = end == leading ? outer : name[name.size() - 2];
        const auto& number = end == leading ? name[1] : outer;
        if (isTakeWord(word) && isNumber(number)) return {2, "take " + number};
    }
    if (name.size() < 2) return {};
    if (isNumber(outer)) return {1, outer};
    const auto digits = std::min(outer.find_first_of("0123456789"), outer.size());
    const auto number = outer.substr(digits);
    if (isNumber(number) && isTakeWord(outer.substr(0, digits))) return {1, "take " + withoutZeros(number)};
    return {};
}

void cut(End end, std::size_t words, NameWords& name) {
    const auto count = static_cast<std::ptrdiff_t>(words);
    name.erase(end == leading ? name.begin() : name.end() - count, end == leading ? name.begin() + count : name.end());
}

/// Cuts the marker that more than half of a take's names bear.
void cutCommon(End end, std::vector<NameWords>& names) {
    std::map<std::string, std::size_t> bearers;
    for (const auto& name : names)
        if (const auto marker = markerAt(end, name); marker.words > 0) ++bearers[marker.take];
    for (const auto& [take, count] : bearers)
        if (count >= 2 && 2 * count > names.size())
            for (auto& name : names)
                if (const auto marker = markerAt(end, name); marker.words > 0 && marker.take == take)
                    cut(end, marker.words, name);
}

using Keys = std::vector<std::string>; // [track]

enum KeyKind { whole, withoutTake, withoutNumber, bare, keyKinds };

/// What names are compared by: whole, without what most of them bear, then without a leading marker or number of their
/// own, then without a trailing one as well.
std::array<Keys, keyKinds> keysOf(const std::vector<TrackInfo>& tracks) {
    std::array<Keys, keyKinds> keys;
    std::vector<NameWords> names;
    std::vector<std::string> sides; // of a stereo file, behind its marker
    for (const auto& track : tracks) {
        auto& name = names.emplace_back(wordsOf(track.name));
        auto& side = sides.emplace_back();
        if (name.size() < 2 || (name.back() != "l" && name.back() != "r")) continue;
        side = name.back();
        name.pop_back();
    }
    const auto keep = [&](KeyKind kind) {
        for (std::size_t t = 0; t < names.size(); ++t)
            keys[kind].push_back(joined(names[t]) + sides[t]);
    };
    const auto cutOwn = [&](End end) {
        for (auto& name : names)
            cut(end, markerAt(end, name).words, name);
    };
    keep(whole);
    cutCommon(leading, names);
    cutCommon(trailing, names);
    keep(withoutTake);
    cutOwn(leading);
    keep(withoutNumber);
    cutOwn(trailing);
    keep(bare);
    return keys;
}

/// [track] The one track of `other` with the same key, where one alone of either take has it; -1 elsewhere.
std::vector<int> uniquelyAlike(const Keys& keys, const Keys& other) {
    std::vector<int> alike(keys.size(), -1);
    for (std::size_t t = 0; t < keys.size(); ++t) {
        const auto found = std::find(other.begin(), other.end(), keys[t]);
        if (found != other.end() && std::count(other.begin(), other.end(), keys[t]) == 1 &&
            std::count(keys.begin(), keys.end(), keys[t]) == 1)
            alike[t] = static_cast<int>(found - other.begin());
    }
    return alike;
}

/// [track of `take`] That of `other` with the same name; -1: none. Leaves out what is taken, and takes what it finds.
std::vector<int> matchNames(const Measurement& take, std::vector<bool> taken, const Measurement& other,
                            std::vector<bool>& otherTaken) {
    std::vector<int> matched(take.tracks.size(), -1);
    const auto match = [&](const std::vector<int>& alike) {
        for (std::size_t t = 0; t < alike.size(); ++t) {
            if (taken[t] || alike[t] < 0 || otherTaken[place(alike[t])]) continue;
            matched[t] = alike[t];
            taken[t] = true;
            otherTaken[place(alike[t])] = true;
        }
    };
    const auto exactly = [](const Measurement& of) {
        Keys names;
        for (const auto& track : of.tracks)
            names.push_back(track.name);
        return names;
    };
    const auto mine = keysOf(take.tracks), theirs = keysOf(other.tracks);
    const auto alikeBy = [&](KeyKind kind) { return uniquelyAlike(mine[kind], theirs[kind]); };
    const auto found = [](const std::vector<int>& alike) {
        return std::count_if(alike.begin(), alike.end(), [](int track) { return track >= 0; });
    };
    // "kick", "kick 2" against "kick 2", "kick 2 2": the 2 of the second take is the take's.
    if (found(alikeBy(withoutTake)) > found(alikeBy(whole))) match(alikeBy(withoutTake));
    match(uniquelyAlike(exactly(take), exactly(other)));
    for (const auto kind : {whole, withoutTake, withoutNumber, bare})
        match(alikeBy(kind));
    return matched;
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
    for (std::size_t k = 1; k < count; ++k) {
        std::vector<bool> settled;
        for (const auto& track : matched)
            settled.push_back(track.tracks[k] >= 0 || isNone(track));
        const auto named = matchNames(takes.front(), settled, takes[k], taken[k]);
        for (std::size_t t = 0; t < named.size(); ++t)
            if (named[t] >= 0) matched[t].tracks[k] = named[t];
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
    for (std::size_t k = 1; k < count; ++k) {
        const auto first = matched.size();
        std::vector<int> lone; // tracks of this take
        for (std::size_t t = 0; t < takes[k].tracks.size(); ++t) {
            if (taken[k][t]) continue;
            matched.push_back({takes[k].tracks[t].name, std::vector<int>(count, -1), MatchedBy::name});
            matched.back().tracks[k] = static_cast<int>(t);
            lone.push_back(static_cast<int>(t));
        }
        for (std::size_t later = k + 1; later < count; ++later) {
            const auto named = matchNames(takes[k], taken[k], takes[later], taken[later]);
            for (std::size_t n = 0; n < lone.size(); ++n)
                matched[first + n].tracks[later] = named[place(lone[n])];
        }
    }
    return matched;
}

} // namespace spillwright
