#include "Session/TakeDifferences.h"

#include "Core/Statistics.h"
#include "Session/TakeWays.h"

#include <algorithm>
#include <cmath>
#include <set>

namespace spillwright {

namespace {

constexpr double chanceOfAny = 0.004; // that some figure of a comparison stands by chance, normal errors given
constexpr double humStandsDb = 6.0;
// Measured on bands in rooms: of takes of one set-up all ways are alike, with three of ten microphones moved half of
// them, in another room one in ten at most.
constexpr double leastAlike = 0.25;
constexpr int fewestWays = 6; // below, one microphone that moved takes most of them along

std::size_t place(int index) {
    return static_cast<std::size_t>(index);
}

class Judge {
public:
    Judge(const Comparison& comparison, const ReadTakes& read, std::size_t secondTake)
        : c(comparison), common(read.common), figures(read.figures), second(secondTake) {}

    TakeDifference run(Workers& workers) const {
        TakeDifference d;
        d.second = static_cast<int>(second);
        const auto ways = waysBetween(c, second, workers);
        auto found = trackChanges(static_cast<int>(c.tracks.size()), ways.links);
        d.tracks = std::move(found.tracks);
        d.waysUnexplained = static_cast<int>(found.unexplained.size());
        d.ambiguous = found.ambiguous;
        d.ways = static_cast<int>(ways.links.size()) + ways.inOneAlone;
        d.waysAlike = alike(ways.links, d.tracks);
        if (!c.microphones && (ways.links.empty() || (d.ways >= fewestWays && d.waysAlike < leastAlike * d.ways))) {
            d.canBeTold = false;
            d.tracks.assign(c.tracks.size(), {});
            d.waysUnexplained = 0;
        }
        comparePairs(d);
        if (common.size() >= 2) {
            d.sum = figureDifference(sumFigure(c));
            d.best = figureDifference(bestFigure(c));
            std::vector<Difference*> sums;
            for (auto* sum : {&d.sum, &d.best})
                if (*sum) sums.push_back(&**sum);
            judge(sums, 0.2, chanceOfAny / 4.0);
        }
        d.spill.resize(c.tracks.size());
        if (d.canBeTold) d.spill = spillAtSamePlaying(c, second, ways.links, d.tracks);
        if (!c.microphones) {
            tellChanges(d);
            if (d.changes.empty() || !d.canBeTold) // other notes in another balance sum otherwise, and take other flips
                for (auto* sum : {&d.sum, &d.best})
                    if (*sum) (*sum)->stands = false;
        }
        attribute(d);
        return d;
    }

private:
    const Comparison& c;
    const std::vector<int>& common;
    const std::vector<FiguresOfTake>& figures;
    const std::size_t second;

    /// Not shifted, or later with all else that the track holds.
    static int alike(std::span<const PathLink> links, std::span<const TrackChange> tracks) {
        const auto late = [&](int track) { return tracks[place(track)].place == TrackChange::Place::late; };
        return static_cast<int>(std::count_if(links.begin(), links.end(), [&](const PathLink& link) {
            return !isShift(link.change.later, link.change.uncertainty) || late(link.from) || late(link.to);
        }));
    }

    void comparePairs(TakeDifference& d) const {
        for (std::size_t p = 0; p < c.pairCount(); ++p) {
            const auto &before = c.takes.front().pairs[p], &after = c.takes[second].pairs[p];
            if (!before || !after) continue;
            PairDifference pair;
            pair.pair = static_cast<int>(p);
            pair.coherence = figureDifference(pairFigures * p + coherenceFigure);
            pair.summationGain = figureDifference(pairFigures * p + gainFigure);
            pair.notch = figureDifference(pairFigures * p + notchFigure);
            const auto &was = before->reading, &is = after->reading;
            if (was.arrival && is.arrival)
                pair.arrival =
                    Difference{is.arrival->delay.value - was.arrival->delay.value,
                               std::hypot(is.arrival->uncertainty.value, was.arrival->uncertainty.value), false};
            constexpr double sure = 0.8;
            if (was.polarity && is.polarity && was.polarity->confidence >= sure && is.polarity->confidence >= sure)
                pair.polarityDiffers = was.polarity->polarity != is.polarity->polarity;
            d.pairs.push_back(std::move(pair));
        }
        for (const auto& [member, smallest] :
             {std::pair(&PairDifference::coherence, 0.05), std::pair(&PairDifference::summationGain, 0.3),
              std::pair(&PairDifference::notch, 2.0)}) {
            std::vector<Difference*> together;
            for (auto& pair : d.pairs)
                if (pair.*member) together.push_back(&*(pair.*member));
            judge(together, smallest, chanceOfAny / 4.0);
        }
    }

    std::optional<Difference> figureDifference(std::size_t figure) const {
        const auto &a = figures.front(), &b = figures[second];
        Difference difference{b.values[figure] - a.values[figure], std::nullopt, false};
        if (std::isnan(difference.value)) return std::nullopt;
        if (a.parts < FiguresOfTake::fewestParts || b.parts < FiguresOfTake::fewestParts) return difference;
        double variance = 0.0;
        if (c.microphones) { // the same moments: what differs from part to part is the difference alone
            std::vector<double> without;
            for (std::size_t part = 0; part < a.without[figure].size(); ++part)
                without.push_back(b.without[figure][part] - a.without[figure][part]);
            variance = jackknifeVariance(without);
        } else {
            variance = jackknifeVariance(a.without[figure]) + jackknifeVariance(b.without[figure]);
        }
        difference.uncertainty = std::sqrt(variance);
        return difference;
    }

    double freedom() const {
        return c.microphones ? figures.front().parts - 1.0 : figures.front().parts + figures[second].parts - 2.0;
    }

    /// Judges figures of one kind together: they scatter as most of them do. `smallest`: below it none stands;
    /// `chance`: that any of them stands, where nothing was changed.
    void judge(const std::vector<Difference*>& together, double smallest, double chance) const {
        std::vector<double> sizes, doubts;
        for (const auto* d : together)
            if (d->uncertainty) doubts.push_back(*d->uncertainty);
        const double usual = medianOf(doubts); // few parts give now and then far too small an uncertainty
        for (auto* d : together)
            if (d->uncertainty) {
                *d->uncertainty = std::max(usual, *d->uncertainty);
                if (*d->uncertainty > 0.0) sizes.push_back(std::abs(d->value) / *d->uncertainty);
            }
        if (sizes.empty()) return;
        const double wider = sizes.size() >= 5 ? std::max(1.0, madToDeviation * medianOf(sizes)) : 1.0;
        const double reach = wider * studentOf(rarerThan(chance / static_cast<double>(sizes.size())), freedom());
        for (auto* d : together) {
            if (!d->uncertainty) continue;
            *d->uncertainty *= wider;
            d->standsFrom = std::max(smallest, reach / wider * *d->uncertainty);
            d->stands = std::abs(d->value) > *d->standsFrom;
        }
    }

    void tellChanges(TakeDifference& d) const {
        const auto &first = c.takes.front(), &take = c.takes[second];
        using Kind = TakeChange::Kind;
        for (std::size_t t = 0; t < c.tracks.size(); ++t) {
            const int was = c.tracks[t].tracks.front(), is = c.tracks[t].tracks[second];
            if (was < 0 || is < 0) continue;
            const int track = static_cast<int>(t);
            const bool soundedBefore = soundsIn(first.recording, was), soundsNow = soundsIn(take.recording, is);
            if (soundedBefore && !soundsNow) d.changes.push_back({Kind::silent, track, 0.0, std::nullopt, 0, 0.0});
            if (!soundedBefore && soundsNow) d.changes.push_back({Kind::soundsAgain, track, 0.0, std::nullopt, 0, 0.0});
            if (!soundedBefore || !soundsNow) continue;
            const auto& change = d.tracks[t];
            if (change.inverted) d.changes.push_back({Kind::inverted, track, 0.0, std::nullopt, change.against, 0.0});
            if (change.place != TrackChange::Place::asItWas) {
                const Kind kind = change.place == TrackChange::Place::late          ? Kind::late
                                  : change.place == TrackChange::Place::moved       ? Kind::moved
                                  : change.place == TrackChange::Place::sourceMoved ? Kind::sourceMoved
                                                                                    : Kind::movedEither;
                d.changes.push_back({kind, track, inMilliseconds(change.later), inMilliseconds(change.laterUncertainty),
                                     change.against, 0.0});
            }
            if (change.gainChanged)
                d.changes.push_back(
                    {Kind::gain, track, change.gain->value, change.gainUncertainty.value, change.against, 0.0});
            tellHum(first.recording, was, first.hums[t], take.recording, is, take.hums[t], track, d);
            if (d.spill[t] && d.spill[t]->stands)
                d.changes.push_back(
                    {Kind::spill, track, d.spill[t]->value, d.spill[t]->uncertainty, change.against, 0.0});
        }
    }

    static void tellHum(const Measurement& before, int was, const std::optional<SteadyHum>& hummed,
                        const Measurement& after, int is, const std::optional<SteadyHum>& hums, int track,
                        TakeDifference& d) {
        using Kind = TakeChange::Kind;
        const auto tell = [&](Kind kind, const SteadyHum& hum) {
            d.changes.push_back({kind, track, hum.level.value, std::nullopt, 0, hum.hertz});
        };
        if (const auto added = addedHum(*after.spectra, is, *before.spectra, was)) return tell(Kind::hum, *added);
        if (const auto gone = addedHum(*before.spectra, was, *after.spectra, is)) return tell(Kind::humGone, *gone);
        if (hums.has_value() == hummed.has_value()) return; // many lines together stand out under music as well
        const auto& there = hums ? hums : hummed;
        const auto level =
            hums ? steadyLevelAt(*before.spectra, was, there->hertz) : steadyLevelAt(*after.spectra, is, there->hertz);
        if (level && there->level.value > level->value + humStandsDb) tell(hums ? Kind::hum : Kind::humGone, *there);
    }

    /// What stands in a pair is due to those of its tracks that changed.
    void attribute(TakeDifference& d) const {
        std::set<int> changed;
        for (const auto& change : d.changes)
            changed.insert(change.track);
        for (auto& pair : d.pairs) {
            const auto [one, other] = c.pairOf(place(pair.pair));
            for (const int track : {one, other})
                if (changed.contains(track)) pair.dueTo.push_back(track);
            if (pair.arrival && !pair.dueTo.empty())
                pair.arrival->stands = isShift(Seconds(pair.arrival->value), Seconds(*pair.arrival->uncertainty));
        }
    }
};

} // namespace

TakeDifference differenceOf(const Comparison& comparison, const ReadTakes& read, std::size_t second, Workers& workers) {
    return Judge(comparison, read, second).run(workers);
}

} // namespace spillwright
