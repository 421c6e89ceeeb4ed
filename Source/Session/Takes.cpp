#include "Session/Takes.h"

#include "Core/Measure/Notches.h"
#include "Core/Statistics.h"
#include "Session/SpillFindings.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <new>
#include <set>

namespace spillwright {

namespace {

constexpr int mostParts = 8, fewestParts = 4; // of a take, each left out in turn
constexpr double chanceOfAny = 0.004;         // that some figure of a comparison stands by chance, normal errors given
constexpr double humStandsDb = 6.0;
constexpr double smallestSpill = 0.06, spillReach = 4.0;
constexpr double levelDoubtDb = 0.5; // of what a source brings to a track, one standard deviation
constexpr std::size_t mostTakes = 26;

std::size_t place(int index) {
    return static_cast<std::size_t>(index);
}

bool sounds(const Measurement& m, int track) {
    return track >= 0 && std::find(m.usable.begin(), m.usable.end(), track) != m.usable.end();
}

Fault stopped() {
    return {"compare", "stopped", "", Fault::Kind::cancelled};
}

/// The same recording as if only these tracks were in the mix.
Measurement withTracks(const Measurement& m, std::vector<int> tracks) {
    Measurement part = m;
    part.usable = std::move(tracks);
    part.sources.reset();
    part.focus.reset();
    std::erase_if(part.pairs, [&](const PairReading& p) { return !sounds(part, p.first) || !sounds(part, p.second); });
    return part;
}

/// Variance of a figure from what it is with one part left out after the other (Quenouille 1956, Tukey 1958; from
/// memory).
double jackknifeVariance(const std::vector<double>& without) {
    const auto n = static_cast<double>(without.size());
    double mean = 0.0, squares = 0.0;
    for (const double value : without)
        mean += value / n;
    for (const double value : without)
        squares += (value - mean) * (value - mean);
    return squares * (n - 1.0) / n;
}

/// What each figure is with a part of the take left out: [figure][part]. Figures: three a pair, then the two sums.
using Replicates = std::vector<std::vector<double>>;
enum PairFigure { coherenceFigure, gainFigure, notchFigure, pairFigures };

struct Figures {
    std::vector<double> values; ///< As measured, NaN where there is none.
    Replicates without;
    int parts = 0;

    Uncertain uncertain(std::size_t figure) const {
        Uncertain result{values[figure], std::nullopt};
        if (parts >= fewestParts) result.uncertainty = std::sqrt(jackknifeVariance(without[figure]));
        return result;
    }
};

class Comparer {
public:
    Comparer(Comparison& made, Workers& handed, const Watch& watched) : c(made), workers(handed), watch(watched) {}

    std::optional<Fault> run(const CompareOptions& options, const std::vector<SourceList>& lists) {
        if (auto fault = hear(options, lists)) return fault;
        if (auto fault = focus(options)) return fault;
        for (std::size_t track = 0; track < c.tracks.size(); ++track)
            if (std::all_of(c.takes.begin(), c.takes.end(), [&](const ComparedTake& take) {
                    return sounds(take.recording, c.tracks[track].tracks[indexOf(take)]);
                }))
                common.push_back(static_cast<int>(track));
        double done = 0.3;
        for (auto& take : c.takes) {
            if (auto fault = readTake(take)) return fault;
            done += 0.6 / static_cast<double>(c.takes.size());
            watch.tell(done);
        }
        for (std::size_t second = 1; second < c.takes.size(); ++second) {
            if (watch.stopped()) return stopped();
            c.differences.push_back(differenceOf(second));
            c.differences.back().verdict = verdictInWords(c, c.differences.back());
        }
        watch.tell(1.0);
        return std::nullopt;
    }

private:
    Comparison& c;
    Workers& workers;
    const Watch& watch;
    std::vector<int> common;      ///< Compared tracks that sound in every take.
    std::vector<Figures> figures; ///< [take]

    std::size_t indexOf(const ComparedTake& take) const { return static_cast<std::size_t>(&take - c.takes.data()); }
    std::size_t sumFigure() const { return pairFigures * c.pairCount(); }
    std::size_t bestFigure() const { return sumFigure() + 1; }

    /// The same sources in every take, each told from the same track.
    std::optional<Fault> hear(const CompareOptions& options, const std::vector<SourceList>& lists) {
        std::optional<SourceList> ofFirst = options.sources;
        double done = 0.0;
        for (std::size_t k = 0; k < c.takes.size(); ++k) {
            auto& recording = c.takes[k].recording;
            const double share = 0.3 / static_cast<double>(c.takes.size());
            const Watch own{[&](double part) { watch.tell(done + share * part); }, watch.stop};
            std::optional<SourceList> list;
            if (!lists.empty())
                list = lists[k];
            else if (ofFirst)
                list = inTake(*ofFirst, k);
            if (list && list->sources.empty()) continue;
            if (recording.spectra->windowSpectra() == nullptr) continue; // moments alone: pairs tell the ways
            auto heard = hearSources(recording, list, workers, own);
            if (!heard) return heard.fault();
            if (!ofFirst && lists.empty()) {
                ofFirst = listOf(*heard);
                const auto shared = inTake(*ofFirst, 0);
                if (!(shared == *ofFirst) && !shared.sources.empty()) {
                    heard = hearSources(recording, shared, workers, own);
                    if (!heard) return heard.fault();
                }
            }
            for (const auto& line : heard->warnings) // of hearing alone: the take's own were told when it was measured
                if (std::find(recording.warnings.begin(), recording.warnings.end(), line) == recording.warnings.end())
                    c.warnings.push_back(line);
            recording = std::move(heard).value();
            done += share;
        }
        return std::nullopt;
    }

    std::optional<Fault> focus(const CompareOptions& options) {
        if (options.source) {
            const auto source = findSource(*options.source, c.takes.front().recording);
            if (!source) return source.fault();
            c.source = c.takes.front().recording.sources->names[place(*source)];
        }
        for (auto& take : c.takes) {
            take.read = take.recording;
            if (!c.source) continue;
            const auto source = findSource(*c.source, take.recording);
            if (!source) return source.fault();
            auto focused = focusOn(take.recording, *source, workers, {{}, watch.stop});
            if (!focused) return focused.fault();
            take.read = std::move(focused).value();
        }
        return std::nullopt;
    }

    /// The list in the names of a take; close tracks that do not sound in every take are left out.
    SourceList inTake(const SourceList& ofFirst, std::size_t take) const {
        SourceList list;
        const auto& first = c.takes.front().recording;
        for (const auto& source : ofFirst.sources) {
            NamedSource named{source.name, {}};
            for (const auto& close : source.closeTracks) {
                const auto track = findTrack(close, first.tracks);
                if (!track) continue;
                for (const auto& compared : c.tracks) {
                    if (compared.tracks.front() != *track) continue;
                    bool everywhere = true;
                    for (std::size_t k = 0; k < c.takes.size(); ++k)
                        everywhere = everywhere && sounds(c.takes[k].recording, compared.tracks[k]);
                    if (everywhere)
                        named.closeTracks.push_back(c.takes[take].recording.tracks[place(compared.tracks[take])].name);
                }
            }
            if (!named.closeTracks.empty()) list.sources.push_back(std::move(named));
        }
        return list;
    }

    std::vector<int> commonIn(const ComparedTake& take) const {
        std::vector<int> tracks;
        for (const int track : common)
            tracks.push_back(c.tracks[place(track)].tracks[indexOf(take)]);
        return tracks;
    }

    /// [pair] tracks of the take; nullopt where one does not sound.
    std::vector<std::optional<std::pair<int, int>>> pairsIn(const ComparedTake& take) const {
        std::vector<std::optional<std::pair<int, int>>> pairs(c.pairCount());
        for (std::size_t p = 0; p < pairs.size(); ++p) {
            const auto [first, second] = c.pairOf(p);
            const int a = c.tracks[place(first)].tracks[indexOf(take)],
                      b = c.tracks[place(second)].tracks[indexOf(take)];
            if (sounds(take.recording, a) && sounds(take.recording, b)) pairs[p].emplace(a, b);
        }
        return pairs;
    }

    /// The deepest place of a pair's sum within the band, and whether it is a notch.
    struct Dip {
        double levelDb = 0.0;
        std::optional<Hertz> notchAt;
    };
    static Dip deepest(const CrossSpectra& spectra, int a, int b, Band band) {
        const auto response = combResponse(spectra, a, b, {}, {});
        Dip dip{std::nan(""), std::nullopt};
        for (std::size_t k = 0; k < response.values.size(); ++k)
            if (response.frequencies[k] >= band.low.value && response.frequencies[k] <= band.high.value)
                dip.levelDb = std::isnan(dip.levelDb) ? response.values[k] : std::min(dip.levelDb, response.values[k]);
        const auto found = notches(response, band, 1);
        if (!found.empty() && found.front().frequency >= band.low && found.front().frequency <= band.high)
            dip.notchAt = found.front().frequency;
        return dip;
    }

    /// The figures of some spectra of a take. `signs`: of the tracks in common, at their best.
    std::vector<double> figuresOf(const CrossSpectra& spectra, const ComparedTake& take,
                                  const std::vector<PairReading>& readings, const std::vector<int>& signs) const {
        const auto& m = take.read;
        std::vector<double> values(bestFigure() + 1, std::nan(""));
        const auto pairs = pairsIn(take);
        workers.forEach(pairs.size(), [&](std::size_t p, int) {
            if (!pairs[p]) return;
            const auto [a, b] = *pairs[p];
            const auto reading = std::find_if(readings.begin(), readings.end(), [a = a, b = b](const PairReading& r) {
                return (r.first == a && r.second == b) || (r.first == b && r.second == a);
            });
            if (reading == readings.end()) return;
            values[pairFigures * p + coherenceFigure] = reading->coherence;
            values[pairFigures * p + gainFigure] = reading->summationGain.value;
            values[pairFigures * p + notchFigure] = deepest(spectra, a, b, m.options.band).levelDb;
        });
        if (common.size() >= 2) {
            const std::vector<TrackAdjustment> none(common.size());
            const auto tracks = commonIn(take);
            const SummationModel model(spectra, tracks, none, m.options.band);
            const std::vector<int> up(common.size(), 1);
            const std::vector<double> still(common.size(), 0.0);
            values[sumFigure()] = decibelsOfPower(model.gain(up, still));
            if (!signs.empty()) values[bestFigure()] = decibelsOfPower(model.gain(signs, still));
        }
        return values;
    }

    std::optional<Fault> readTake(ComparedTake& take) {
        const auto& m = take.read;
        std::vector<int> signs;
        if (common.size() >= 2) {
            ProposeOptions options;
            options.rungs = {Allow::flips};
            const auto proposals = makeProposals(withTracks(m, commonIn(take)), options, workers, {{}, watch.stop});
            if (!proposals) return proposals.fault();
            signs.assign(common.size(), 1);
            const auto& setting = proposals->proposals.front().setting;
            for (std::size_t k = 0; k < common.size(); ++k) {
                const auto& name = m.tracks[place(c.tracks[place(common[k])].tracks[indexOf(take)])].name;
                for (const auto& track : setting.tracks)
                    if (track.track == name && track.adjustment.flip) {
                        signs[k] = -1;
                        take.flips.push_back(common[k]);
                    }
            }
        }
        Figures own;
        own.values = figuresOf(*m.spectra, take, m.pairs, signs);
        if (auto fault = leaveOut(take, signs, own)) return fault;

        const auto pairs = pairsIn(take);
        take.pairs.resize(pairs.size());
        workers.forEach(pairs.size(), [&](std::size_t p, int) {
            if (!pairs[p]) return;
            const auto [a, b] = *pairs[p];
            for (const auto& reading : m.pairs) {
                if (!((reading.first == a && reading.second == b) || (reading.first == b && reading.second == a)))
                    continue;
                ComparedPair pair;
                pair.reading = reading.first == a ? reading : turned(reading);
                pair.coherence = own.uncertain(pairFigures * p + coherenceFigure);
                pair.summationGain = own.uncertain(pairFigures * p + gainFigure);
                pair.best = std::max(reading.summationGain, reading.summationGainFlipped);
                pair.notch = own.uncertain(pairFigures * p + notchFigure);
                pair.notchAt = deepest(*m.spectra, a, b, m.options.band).notchAt;
                take.pairs[p] = std::move(pair);
            }
        });
        for (const auto& track : c.tracks) {
            const int t = track.tracks[indexOf(take)];
            const bool here = sounds(m, t);
            const auto& whole = take.recording;
            take.levels.push_back(here ? std::optional(levelOf(whole, t)) : std::nullopt);
            take.spillShares.push_back(here ? spillShareOf(whole, t) : std::nullopt);
            take.hums.push_back(here ? steadyHum(*whole.spectra, t) : std::nullopt);
        }
        if (common.size() >= 2) {
            take.sum = own.uncertain(sumFigure());
            take.best = own.uncertain(bestFigure());
        }
        figures.push_back(std::move(own));
        return std::nullopt;
    }

    /// Fills in what the figures are without each part of the take in turn.
    std::optional<Fault> leaveOut(const ComparedTake& take, const std::vector<int>& signs, Figures& own) const {
        const auto& spectra = *take.read.spectra;
        own.without.resize(own.values.size());
        const int parts = std::min(mostParts, spectra.stretches());
        if (parts < fewestParts) return std::nullopt;
        for (int part = 0; part < parts; ++part) {
            if (watch.stopped()) return stopped();
            std::vector<float> weights(place(spectra.stretches()));
            for (int k = 0; k < spectra.stretches(); ++k)
                weights[place(k)] = k * parts / spectra.stretches() == part ? 0.0f : 1.0f;
            try {
                const auto rest = spectra.restrictedTo(weights, workers);
                const auto readings = readPairs(rest, take.recording.usable,
                                                {take.recording.options.band, take.recording.options.largestArrival},
                                                workers, {{}, watch.stop});
                if (!readings) return readings.fault();
                const auto values = figuresOf(rest, take, *readings, signs);
                for (std::size_t f = 0; f < values.size(); ++f)
                    own.without[f].push_back(std::isnan(values[f]) ? own.values[f] : values[f]);
            } catch (const std::bad_alloc&) {
                return Fault{take.recording.folder, "too little memory to compare", "close other programs"};
            }
        }
        own.parts = parts;
        return std::nullopt;
    }

    static PairReading turned(PairReading reading) {
        std::swap(reading.first, reading.second);
        const auto turn = [](auto& arrival) {
            if (arrival) arrival->delay = -arrival->delay;
        };
        turn(reading.arrival);
        turn(reading.arrivalInBand);
        turn(reading.arrivalFitted);
        if (reading.arrival && reading.arrival->runnerUp) reading.arrival->runnerUp = -*reading.arrival->runnerUp;
        for (auto& candidate : reading.arrivalCandidates)
            candidate.delay = -candidate.delay;
        return reading;
    }

    static Uncertain levelOf(const Measurement& m, int track) {
        const auto& spectra = *m.spectra;
        Uncertain level{decibelsOfAmplitude(spectra.statistics(track).rms()), std::nullopt};
        const int stretches = spectra.stretches(), parts = std::min(mostParts, stretches);
        if (parts < fewestParts) return level;
        std::vector<double> without;
        for (int part = 0; part < parts; ++part) {
            double squares = 0.0, samples = 0.0;
            for (int k = 0; k < stretches; ++k) {
                if (k * parts / stretches == part) continue;
                squares += spectra.statisticsOf(track, k).sumOfSquares;
                samples += static_cast<double>(spectra.statisticsOf(track, k).samples);
            }
            without.push_back(decibelsOfPower(std::max(squares, 1e-30) / std::max(1.0, samples)));
        }
        level.uncertainty = std::sqrt(jackknifeVariance(without));
        return level;
    }

    /// Of figures in two takes. `tests`: how many such are asked together; `wider`: how much more they scatter than
    /// their uncertainties say.
    std::optional<Difference> figureDifference(std::size_t second, std::size_t figure) const {
        const auto &a = figures.front(), &b = figures[second];
        Difference difference{b.values[figure] - a.values[figure], std::nullopt, false};
        if (std::isnan(difference.value)) return std::nullopt;
        if (a.parts < fewestParts || b.parts < fewestParts) return difference;
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
    double freedom(std::size_t second) const {
        return c.microphones ? figures.front().parts - 1.0 : figures.front().parts + figures[second].parts - 2.0;
    }

    /// Judges figures of one kind together: they scatter as most of them do.
    void judge(std::size_t second, const std::vector<Difference*>& together, double smallest, double chance) const {
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
        const double reach = wider * studentOf(rarerThan(chance / static_cast<double>(sizes.size())), freedom(second));
        for (auto* d : together) {
            if (!d->uncertainty) continue;
            *d->uncertainty *= wider;
            d->stands = std::abs(d->value) > std::max(smallest, reach / wider * *d->uncertainty);
        }
    }

    std::vector<PathLink> linksTo(std::size_t second) const {
        const auto &a = c.takes.front().recording, &b = c.takes[second].recording;
        std::vector<PathLink> links;
        const PathComparison compare(*a.spectra, *b.spectra, a.options.largestArrival);
        struct Asked {
            PathLink link;
            std::function<std::pair<std::optional<PathResponse>, std::optional<PathResponse>>()> paths;
        };
        std::vector<Asked> asked;
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
                if (from < 0 ||
                    comparedOf(second, b.sources->map.plan.sources[place(sourceB)].closeTracks.front()) != from)
                    continue;
                for (std::size_t t = 0; t < c.tracks.size(); ++t) {
                    const int trackA = c.tracks[t].tracks.front(), trackB = c.tracks[t].tracks[second];
                    if (static_cast<int>(t) == from || trackA < 0 || trackB < 0) continue;
                    asked.push_back({{from, static_cast<int>(t), {}}, [&, sourceA, sourceB, trackA, trackB] {
                                         return std::pair(pathOfSource(a.sources->map, sourceA, trackA),
                                                          pathOfSource(b.sources->map, sourceB, trackB));
                                     }});
                }
            }
        }
        if (asked.empty())
            for (std::size_t p = 0; p < c.pairCount(); ++p) {
                const auto [first, other] = c.pairOf(p);
                const auto &before = c.takes.front().pairs[p], &after = c.takes[second].pairs[p];
                if (!before || !after || !before->reading.related || !after->reading.related) continue;
                asked.push_back(
                    {{first, other, {}}, [&a, &b, &before, &after] {
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
                links.push_back(asked[k].link);
                links.back().change = *changes[k];
            }
        return links;
    }

    TakeDifference differenceOf(std::size_t second) const {
        TakeDifference d;
        d.second = static_cast<int>(second);
        const auto links = linksTo(second);
        auto found = trackChanges(static_cast<int>(c.tracks.size()), links);
        d.tracks = std::move(found.tracks);
        d.waysUnexplained = static_cast<int>(found.unexplained.size());
        d.ambiguous = found.ambiguous;

        for (std::size_t p = 0; p < c.pairCount(); ++p) {
            const auto &before = c.takes.front().pairs[p], &after = c.takes[second].pairs[p];
            if (!before || !after) continue;
            PairDifference pair;
            pair.pair = static_cast<int>(p);
            pair.coherence = figureDifference(second, pairFigures * p + coherenceFigure);
            pair.summationGain = figureDifference(second, pairFigures * p + gainFigure);
            pair.notch = figureDifference(second, pairFigures * p + notchFigure);
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
            judge(second, together, smallest, chanceOfAny / 4.0);
        }
        if (common.size() >= 2) {
            d.sum = figureDifference(second, sumFigure());
            d.best = figureDifference(second, bestFigure());
            std::vector<Difference*> sums;
            for (auto* sum : {&d.sum, &d.best})
                if (*sum) sums.push_back(&**sum);
            judge(second, sums, 0.2, chanceOfAny / 4.0);
        }
        d.spill = spillAtSamePlaying(second, links, d.tracks);
        if (!c.microphones) {
            tellChanges(second, d);
            if (d.changes.empty()) // other notes in another balance sum otherwise, and take other flips
                for (auto* sum : {&d.sum, &d.best})
                    if (*sum) (*sum)->stands = false;
        }
        attribute(d);
        return d;
    }

    /// What each track would hold of the others in the second take, had everybody played as in the first.
    std::vector<std::optional<Difference>> spillAtSamePlaying(std::size_t second, std::span<const PathLink> links,
                                                              std::span<const TrackChange> changes) const {
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
                    if (c.tracks[k].tracks.front() == map.plan.sources[s].closeTracks.front())
                        from = static_cast<int>(k);
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
            Difference spill{is - was, perDb * doubt, false};
            spill.stands = std::abs(spill.value) > std::max(smallestSpill, spillReach * *spill.uncertainty);
            result[t] = spill;
        }
        return result;
    }

    void tellChanges(std::size_t second, TakeDifference& d) const {
        const auto &first = c.takes.front(), &take = c.takes[second];
        using Kind = TakeChange::Kind;
        for (std::size_t t = 0; t < c.tracks.size(); ++t) {
            const int was = c.tracks[t].tracks.front(), is = c.tracks[t].tracks[second];
            if (was < 0 || is < 0) continue;
            const int track = static_cast<int>(t);
            const bool soundedBefore = sounds(first.recording, was), soundsNow = sounds(take.recording, is);
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
        const auto& there = hums ? hums : hummed;
        if (hums.has_value() == hummed.has_value()) return;
        const auto level =
            hums ? steadyLevelAt(*before.spectra, was, there->hertz) : steadyLevelAt(*after.spectra, is, there->hertz);
        if (level && there->level.value > level->value + humStandsDb)
            d.changes.push_back(
                {hums ? Kind::hum : Kind::humGone, track, there->level.value, std::nullopt, 0, there->hertz});
    }

    /// What stands in a pair one of whose tracks changed is due to that track.
    void attribute(TakeDifference& d) const {
        std::set<int> changed;
        for (const auto& change : d.changes)
            changed.insert(change.track);
        for (auto& pair : d.pairs) {
            const auto [first, second] = c.pairOf(place(pair.pair));
            for (const int track : {first, second})
                if (changed.contains(track)) pair.dueTo = track;
            if (pair.arrival && pair.dueTo)
                pair.arrival->stands = std::abs(pair.arrival->value) >
                                       std::max(smallestShift.value, shiftReach * *pair.arrival->uncertainty);
        }
    }
};

Result<Comparison> compared(Comparison c, const CompareOptions& options, const std::vector<SourceList>& lists,
                            Workers& workers, const Watch& watch) {
    Comparer comparer(c, workers, watch);
    if (auto fault = comparer.run(options, lists)) return *fault;
    return c;
}

std::optional<Fault> tooShort(const Measurement& m) {
    if (m.spectra->windows() > 0) return std::nullopt;
    return Fault{m.folder, "is too short to compare", "choose a longer take or a longer stretch of it"};
}

} // namespace

std::pair<int, int> Comparison::pairOf(std::size_t pair) const {
    int first = 0;
    auto left = pair;
    for (auto row = tracks.size() - 1; left >= row; --row) {
        left -= row;
        ++first;
    }
    return {first, first + 1 + static_cast<int>(left)};
}

Result<Comparison> compareTakes(std::vector<Measurement> takes, const CompareOptions& options, Workers& workers,
                                const Watch& watch) {
    if (takes.size() < 2 || takes.size() > mostTakes)
        return Fault{"compare", "needs two takes or more, up to " + std::to_string(mostTakes), "name their folders",
                     Fault::Kind::usage};
    for (const auto& take : takes)
        if (auto fault = tooShort(take)) return *fault;
    auto matched = matchTracks(takes, options.match);
    if (!matched) return matched.fault();
    Comparison c;
    c.tracks = std::move(matched).value();

    std::string byOrder, unmatched;
    for (const auto& track : c.tracks) {
        if (track.by == MatchedBy::order)
            for (std::size_t k = 1; k < takes.size(); ++k)
                if (track.tracks[k] >= 0 && takes[k].tracks[place(track.tracks[k])].name != track.name) {
                    byOrder += (byOrder.empty() ? "" : ", ") + track.name + " = " +
                               takes[k].tracks[place(track.tracks[k])].name;
                    break;
                }
        if (std::find(track.tracks.begin(), track.tracks.end(), -1) != track.tracks.end())
            unmatched += (unmatched.empty() ? "" : ", ") + track.name;
    }
    for (std::size_t k = 1; k < takes.size(); ++k)
        if (std::none_of(c.tracks.begin(), c.tracks.end(), [&](const ComparedTrack& track) {
                return sounds(takes.front(), track.tracks.front()) && sounds(takes[k], track.tracks[k]);
            }))
            return Fault{takes[k].folder, "no track sounds both here and in " + takes.front().folder,
                         "choose other takes, or say with --match which track is which"};
    if (!byOrder.empty())
        c.warnings.push_back("matched by their order alone: " + byOrder + "; --match says it otherwise");
    if (!unmatched.empty()) c.warnings.push_back("not in every take: " + unmatched + "; --match says what they are");
    const double usual = takes.front().spectra->sampleRate();
    for (std::size_t k = 0; k < takes.size(); ++k) {
        if (const double rate = takes[k].spectra->sampleRate(); rate != usual)
            c.warnings.push_back(takes[k].folder + ": " + std::to_string(std::lround(rate)) + " Hz against " +
                                 std::to_string(std::lround(usual)) + " Hz; compared in seconds and hertz");
        ComparedTake take;
        take.name = std::string(1, static_cast<char>('A' + k));
        take.recording = std::move(takes[k]);
        c.takes.push_back(std::move(take));
    }
    return compared(std::move(c), options, {}, workers, watch);
}

Result<Comparison> compareMicrophones(const Measurement& recording, std::span<const std::string> microphones,
                                      const CompareOptions& options, Workers& workers, const Watch& watch) {
    if (microphones.size() < 2 || microphones.size() > mostTakes)
        return Fault{"--microphone", "names one track", "name two or more for one job", Fault::Kind::usage};
    if (auto fault = tooShort(recording)) return *fault;
    std::vector<int> job;
    for (const auto& name : microphones) {
        const auto track = findTrack(name, recording.tracks);
        if (!track) return track.fault();
        if (!sounds(recording, *track)) return Fault{name, "is silent or unreadable", "name a track with sound in it"};
        if (std::find(job.begin(), job.end(), *track) != job.end())
            return Fault{name, "is named twice", "name two different tracks", Fault::Kind::usage};
        job.push_back(*track);
    }
    auto heard = hearSources(recording, options.sources, workers, {{}, watch.stop});
    if (!heard) return heard.fault();
    const auto whole = listOf(*heard);

    Comparison c;
    c.microphones = true;
    const auto takesPart = [&](int track, int microphone) {
        return track == microphone || std::find(job.begin(), job.end(), track) == job.end();
    };
    std::vector<SourceList> lists;
    for (std::size_t k = 0; k < job.size(); ++k) {
        ComparedTake take;
        take.name = microphones[k];
        std::vector<int> tracks;
        for (const int track : recording.usable)
            if (takesPart(track, job[k])) tracks.push_back(track);
        take.recording = withTracks(recording, std::move(tracks));
        c.takes.push_back(std::move(take));
        // Whatever of them the source was told from, this one stands in its place.
        SourceList list;
        for (const auto& source : whole.sources) {
            NamedSource named{source.name, {}};
            for (const auto& close : source.closeTracks) {
                const bool ofJob = std::find(microphones.begin(), microphones.end(), close) != microphones.end();
                const auto& here = ofJob ? microphones[k] : close;
                if (std::find(named.closeTracks.begin(), named.closeTracks.end(), here) == named.closeTracks.end())
                    named.closeTracks.push_back(here);
            }
            const bool elsewhere = std::any_of(list.sources.begin(), list.sources.end(), [&](const NamedSource& s) {
                return std::find(s.closeTracks.begin(), s.closeTracks.end(), microphones[k]) != s.closeTracks.end();
            });
            if (elsewhere) std::erase(named.closeTracks, microphones[k]);
            if (!named.closeTracks.empty()) list.sources.push_back(std::move(named));
        }
        lists.push_back(std::move(list));
    }
    for (std::size_t t = 0; t < recording.tracks.size(); ++t) {
        const int track = static_cast<int>(t);
        if (std::find(job.begin() + 1, job.end(), track) != job.end()) continue;
        ComparedTrack compared{recording.tracks[t].name, std::vector<int>(job.size(), track), MatchedBy::name};
        if (track == job.front()) {
            compared.tracks = job;
            compared.by = MatchedBy::hand;
        }
        c.tracks.push_back(std::move(compared));
    }
    return compared(std::move(c), options, lists, workers, watch);
}

} // namespace spillwright
