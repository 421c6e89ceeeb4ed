#include "Session/TrackList.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <random>

using namespace spillwright;

namespace {

using Order = std::vector<int>;

/// What always holds.
bool sound(const TrackList& list) {
    auto sorted = list.order;
    std::sort(sorted.begin(), sorted.end());
    for (std::size_t k = 0; k < sorted.size(); ++k)
        if (sorted[k] != static_cast<int>(k)) return false;
    std::vector<int> seen;
    for (const auto& group : list.groups) {
        if (group.tracks.size() < 2) return false;
        const auto first = std::find(list.order.begin(), list.order.end(), group.tracks.front());
        if (list.order.end() - first < std::ssize(group.tracks)) return false;
        if (!std::equal(group.tracks.begin(), group.tracks.end(), first)) return false; // in one piece, in order
        seen.insert(seen.end(), group.tracks.begin(), group.tracks.end());
    }
    std::sort(seen.begin(), seen.end());
    return std::adjacent_find(seen.begin(), seen.end()) == seen.end();
}

} // namespace

TEST_CASE("a track moves to its place, and the rest keep theirs") {
    TrackList list(5);
    CHECK(list.order == Order{0, 1, 2, 3, 4});
    list.move(4, 1);
    CHECK(list.order == Order{0, 4, 1, 2, 3});
    list.move(0, 4);
    CHECK(list.order == Order{4, 1, 2, 3, 0});
    list.move(2, -7);
    CHECK(list.order == Order{2, 4, 1, 3, 0});
    list.move(2, 99);
    CHECK(list.order == Order{4, 1, 3, 0, 2});
    list.move(17, 0); // no such track
    CHECK(list.order == Order{4, 1, 3, 0, 2});
}

TEST_CASE(
    "tracks are grouped where the first of them stands; who is moved among them joins, who is moved away leaves") {
    TrackList list(6);
    list.group({4, 1}, "drums");
    CHECK(list.order == Order{0, 1, 4, 2, 3, 5});
    REQUIRE(list.groups.size() == 1);
    CHECK(list.groups[0].tracks == Order{1, 4});
    CHECK(list.groupOf(4) == 0);
    CHECK(list.groupOf(2) == -1);
    list.groups[0].folded = true;
    CHECK(list.hidden(1));
    CHECK_FALSE(list.hidden(0));

    list.move(5, 2); // between the two
    CHECK(list.groups[0].tracks == Order{1, 5, 4});
    list.move(1, 0); // above track 0: away
    CHECK(list.groups[0].tracks == Order{5, 4});
    CHECK(list.order == Order{1, 0, 5, 4, 2, 3});
    list.move(5, 3); // within
    CHECK(list.groups[0].tracks == Order{4, 5});
    list.group({5, 3}, "others"); // of one that is left there is no group
    REQUIRE(list.groups.size() == 1);
    CHECK(list.groups[0].name == "others");
    CHECK(list.groupOf(4) == -1);
    list.group({2}, "alone");
    CHECK(list.groups.size() == 1);
    list.ungroup(0);
    CHECK(list.groups.empty());
    list.ungroup(3);
}

TEST_CASE("whatever is moved and grouped, all tracks are listed once and groups stand in one piece") {
    std::mt19937 random(1);
    TrackList list(12);
    for (int step = 0; step < 2000; ++step) {
        switch (random() % 4) {
        case 0: {
            std::vector<int> some;
            for (int track = 0; track < 12; ++track)
                if (random() % 4 == 0) some.push_back(track);
            std::shuffle(some.begin(), some.end(), random);
            list.group(some, "some");
            break;
        }
        case 1:
            list.ungroup(static_cast<int>(random() % 4));
            break;
        default:
            list.move(static_cast<int>(random() % 12), static_cast<int>(random() % 12));
        }
        REQUIRE(sound(list));
    }
}
