#include "Core/Sources/TrackChange.h"

#include <catch2/catch.hpp>

#include <cmath>

using namespace spillwright;
using Place = TrackChange::Place;

namespace {

/// Three close tracks (0, 1, 2) and two others (3, 4): each close track's source is heard everywhere.
std::vector<PathLink> unchanged() {
    std::vector<PathLink> links;
    for (int from = 0; from < 3; ++from)
        for (int to = 0; to < 5; ++to) {
            if (from == to) continue;
            PathLink link{from, to, {}};
            link.change.later = milliseconds(0.001);
            link.change.uncertainty = milliseconds(0.002);
            link.change.likeness = 0.95;
            link.change.asItWas = 0.95;
            link.change.louder = Decibels(0.1 * ((from + to) % 3 - 1));
            link.change.louderUncertainty = Decibels(0.15);
            links.push_back(link);
        }
    return links;
}

template <class Change>
std::vector<PathLink> with(std::vector<PathLink> links, const Change& change) {
    for (auto& link : links)
        change(link);
    return links;
}

int changedTracks(const TrackChanges& found) {
    int count = 0;
    for (const auto& track : found.tracks)
        count += track.inverted || track.gainChanged || track.place != Place::asItWas;
    return count;
}

} // namespace

TEST_CASE("ways that did not change are no track's fault") {
    const auto found = trackChanges(5, unchanged());
    CHECK(changedTracks(found) == 0);
    CHECK(found.unexplained.empty());
    CHECK(found.tracks[0].against == 4 + 2); // from it to all others, and two sources to it
    CHECK(found.tracks[4].against == 3);
    CHECK(changedTracks(trackChanges(3, {})) == 0);
}

TEST_CASE("a track whose every way is upside down is the inverted one, close or not") {
    for (const int track : {0, 4}) {
        const auto found = trackChanges(5, with(unchanged(), [&](PathLink& link) {
                                            if (link.from == track || link.to == track)
                                                link.change.polarity = Polarity::inverted;
                                        }));
        CHECK(changedTracks(found) == 1);
        CHECK(found.tracks[static_cast<std::size_t>(track)].inverted);
    }
    // Two at once: the way between them is as it was.
    const auto two = trackChanges(5, with(unchanged(), [](PathLink& link) {
                                      const bool a = link.from == 1 || link.to == 1, b = link.from == 3 || link.to == 3;
                                      if (a != b) link.change.polarity = Polarity::inverted;
                                  }));
    CHECK(two.tracks[1].inverted);
    CHECK(two.tracks[3].inverted);
    CHECK(changedTracks(two) == 2);
}

TEST_CASE("a microphone that moved hears every source at another time; one that is late hears all by the same") {
    const auto moved = trackChanges(5, with(unchanged(), [](PathLink& link) {
                                        if (link.to != 3) return;
                                        link.change.later = milliseconds(0.2 - 0.25 * link.from);
                                        link.change.likeness = 0.6;
                                    }));
    CHECK(changedTracks(moved) == 1);
    CHECK(moved.tracks[3].place == Place::moved);
    CHECK(moved.unexplained.empty());

    const auto late = trackChanges(5, with(unchanged(), [](PathLink& link) {
                                       if (link.to == 3) link.change.later = milliseconds(0.5);
                                   }));
    CHECK(changedTracks(late) == 1);
    CHECK(late.tracks[3].place == Place::late);
    CHECK(inMilliseconds(late.tracks[3].later) == Approx(0.5));
    // A close track that is late hears the others later, and all others hear its source earlier.
    const auto close = trackChanges(5, with(unchanged(), [](PathLink& link) {
                                        if (link.to == 1) link.change.later = milliseconds(0.5);
                                        if (link.from == 1) link.change.later = milliseconds(-0.5);
                                    }));
    CHECK(changedTracks(close) == 1);
    CHECK(close.tracks[1].place == Place::late);
    CHECK(inMilliseconds(close.tracks[1].later) == Approx(0.5));
}

TEST_CASE("where the others reach a close track as before it was its source that moved") {
    const auto found = trackChanges(5, with(unchanged(), [](PathLink& link) {
                                        if (link.from == 1) link.change.later = milliseconds(0.1 + 0.07 * link.to);
                                    }));
    CHECK(found.tracks[1].place == Place::sourceMoved);
    CHECK(changedTracks(found) == 1);
}

TEST_CASE("a gain is told from levels whoever played louder, against the gain that most tracks share") {
    for (const int track : {2, 4}) {
        const auto found = trackChanges(5, with(unchanged(), [&](PathLink& link) {
                                            auto& louder = *link.change.louder;
                                            if (link.to == track) louder = louder - Decibels(3.0);
                                            if (link.from == track) louder = louder + Decibels(3.0);
                                        }));
        const auto& change = found.tracks[static_cast<std::size_t>(track)];
        CHECK(changedTracks(found) == 1);
        CHECK(change.gainChanged);
        CHECK(change.gain->value == Approx(-3.0).margin(3.0 * 0.15)); // three uncertainties of one way
    }
    // A way that is told badly does not count like the others.
    const auto outlier = trackChanges(5, with(unchanged(), [](PathLink& link) {
                                          if (link.from == 0 && link.to == 4) link.change.louder = Decibels(9.0);
                                      }));
    CHECK(changedTracks(outlier) == 0);
}

TEST_CASE("one way that changed alone is left unexplained") {
    const auto found = trackChanges(5, with(unchanged(), [](PathLink& link) {
                                        if (link.from == 0 && link.to == 3) link.change.later = milliseconds(4.0);
                                    }));
    CHECK(changedTracks(found) == 0);
    CHECK(found.unexplained.size() == 1);
    CHECK(trackChanges(2, {}).ambiguous);
}
