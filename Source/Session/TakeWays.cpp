#include "Session/TakeWays.h"

#include "Session/TakeReading.h"

#include <algorithm>
#include <cmath>
#include <functional>

namespace spillwright {

namespace {

constexpr double smallestSpill = 0.06, spillReach = 4.0;
constexpr double levelDoubtDb = 0.5; // of what a source brings to a track, one standard deviation

std::size_t place(int index) {
    return static_cast<std::size_t>(index);
}

bool relatedIn(const Measurement& m, int one, int other) {
    return std::any_of(m.pairs.begin(), m.pairs.end(), [&](const PairReading& pair) {
        return pair.related &&
               ((pair.first == one && pair.second == other) || (pair.first == other && pair.second == one));
    });
}

} // namespace

WaysBetween waysBetween(const Comparison& c, std::size_t second, Workers& workers) {
    const auto &a = c.takes.front().recording, &b = c.takes[second].recording;
    WaysBetween ways;
    const PathComparison compare(*a.spectra, *b.spectra, a.options.largestArrival);
    struct Asked {
        PathLink link;
        std::function<std::pair<std::optional<PathResponse>, std::optional<PathResponse>>()> paths;
    };
    std::vector<Asked> asked;
    /// Of a pair that is related in one take alone the two ways have nothing to do with each other.
    const auto ask = [&](Asked one) {
        const auto asIn = [&](std::size_t take) {
            const auto& m = c.takes[take].recording;
            return relatedIn(m, c.tracks[place(one.link.from)].tracks[take], c.tracks[place(one.link.to)].tracks[take]);
        };
        const int related = asIn(0) + asIn(second);
        ways.inOneAlone += related == 1;
        if (related == 2) asked.push_back(std::move(one));
    };
    const auto comparedOf = [&](std::size_t take, int track) {
        for (std::size_t t = 0; t < c.tracks.size(); ++t)
            if (c.tracks[t].tracks[take] == track) return static_cast<int>(t);
        return -1;
    };
    if (a.sources && b.sources && !a.sources->map.readings.empty() && !b.sources->map.readings.empty()) {
        for (std::size_t s = 0; s < a.sources->names.size(); ++s) {
            const auto other = std::find(b.sources->names.begin(), b.sources->names.end(), a.sources->names[s]);
            if (other == b.sources->names.end()) continue;
            const int sourceA = static_cast<int>(s);
            const int sourceB = static_cast<int>(other - b.sources->names.begin());
            const int from = comparedOf(0, a.sources->map.plan.sources[s].closeTracks.front());
            if (from < 0 || comparedOf(second, b.sources->map.plan.sources[place(sourceB)].closeTracks.front()) != from)
                continue;
            for (std::size_t t = 0; t < c.tracks.size(); ++t) {
                const int trackA = c.tracks[t].tracks.front(), trackB = c.tracks[t].tracks[second];
                if (static_cast<int>(t) == from || !soundsIn(a, trackA) || !soundsIn(b, trackB)) continue;
                ask({{from, static_cast<int>(t), {}}, [&, sourceA, sourceB, trackA, trackB] {
                         return std::pair(pathOfSource(a.sources->map, sourceA, trackA),
                                          pathOfSource(b.sources->map, sourceB, trackB));
                     }});
            }
        }
    }
    if (asked.empty() && ways.inOneAlone == 0)
        for (std::size_t p = 0; p < c.pairCount(); ++p) {
            const auto [first, other] = c.pairOf(p);
            const auto &before = c.takes.front().pairs[p], &after = c.takes[second].pairs[p];
            if (!before || !after) continue;
            ask({{first, other, {}}, [&a, &b, &before, &after] {
                     return std::pair(
                         std::optional(pathOfPair(*a.spectra, before->reading.first, before->reading.second)),
                         std::optional(pathOfPair(*b.spectra, after->reading.first, after->reading.second)));
                 }});
        }
    std::vector<std::optional<PathChange>> changes(asked.size());
    std::vector<PathComparison::Scratch> scratch(place(workers.count()));
    workers.forEach(asked.size(), [&](std::size_t k, int worker) {
        const auto [before, after] = asked[k].paths();
        if (before && after) changes[k] = compare.of(*before, *after, scratch[place(worker)]);
    });
    for (std::size_t k = 0; k < asked.size(); ++k)
        if (changes[k]) {
            ways.links.push_back(asked[k].link);
            ways.links.back().change = *changes[k];
        }
    return ways;
}

std::vector<std::optional<Difference>> spillAtSamePlaying(const Comparison& c, std::size_t second,
                                                          std::span<const PathLink> links,
                                                          std::span<const TrackChange> changes) {
    std::vector<std::optional<Difference>> result(c.tracks.size());
    const auto& m = c.takes.front().recording;
    if (!m.sources || m.sources->map.readings.empty()) return result;
    const auto& map = m.sources->map;
    for (std::size_t t = 0; t < c.tracks.size(); ++t) {
        const int track = c.tracks[t].tracks.front();
        const auto own = track < 0 ? std::nullopt : sourceOf(map.plan, track);
        if (!own || !c.takes.front().spillShares[t] || !c.takes[second].spillShares[t]) continue;
        double ownWas = 0.0, ownIs = 0.0, otherWas = 0.0, otherIs = 0.0, doubt = levelDoubtDb;
        for (std::size_t s = 0; s < map.plan.sources.size(); ++s) {
            const auto* reading = map.reading(static_cast<int>(s), track);
            if (reading == nullptr) continue;
            int from = -1;
            for (std::size_t k = 0; k < c.tracks.size(); ++k)
                if (c.tracks[k].tracks.front() == map.plan.sources[s].closeTracks.front()) from = static_cast<int>(k);
            if (from < 0) continue;
            const auto gainOf = [&](int of) { return changes[place(of)].gain.value_or(Decibels(0.0)).value; };
            double louderDb = gainOf(static_cast<int>(t)); // of a way that does not tell
            for (const auto& link : links)
                if (link.from == from && link.to == static_cast<int>(t) && link.change.louder) {
                    louderDb = link.change.louder->value + gainOf(from);
                    doubt = std::max(doubt, link.change.louderUncertainty.value);
                }
            const bool mine = *own == static_cast<int>(s);
            (mine ? ownWas : otherWas) += reading->shareOfTrack;
            (mine ? ownIs : otherIs) += reading->shareOfTrack * std::pow(10.0, louderDb / 10.0);
        }
        if (!(ownWas > 0.0 && ownIs > 0.0)) continue;
        const double was = otherWas / (otherWas + ownWas), is = otherIs / (otherIs + ownIs);
        const double perDb = std::log(10.0) / 10.0 * std::max(is * (1.0 - is), was * (1.0 - was));
        Difference spill{is - was, perDb * doubt, false, std::max(smallestSpill, spillReach * perDb * doubt)};
        spill.stands = std::abs(spill.value) > *spill.standsFrom;
        result[t] = spill;
    }
    return result;
}

} // namespace spillwright
