#include "Session/TakeReading.h"

#include "Core/Measure/Notches.h"
#include "Session/SpillFindings.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <new>

namespace spillwright {

namespace {

constexpr int mostParts = 8; // of a take, each left out in turn

std::size_t place(int index) {
    return static_cast<std::size_t>(index);
}

Fault stopped() {
    return {"compare", "stopped", "", Fault::Kind::cancelled};
}

class TakeReader {
public:
    TakeReader(Comparison& made, Workers& handed, const Watch& watched) : c(made), workers(handed), watch(watched) {}

    Result<ReadTakes> run(const CompareOptions& options, std::span<const SourceList> lists) {
        if (auto fault = hear(options, lists)) return *fault;
        if (auto fault = focus(options)) return *fault;
        for (std::size_t track = 0; track < c.tracks.size(); ++track)
            if (std::all_of(c.takes.begin(), c.takes.end(), [&](const ComparedTake& take) {
                    return soundsIn(take.recording, c.tracks[track].tracks[indexOf(take)]);
                }))
                read.common.push_back(static_cast<int>(track));
        double done = 0.3;
        for (auto& take : c.takes) {
            if (auto fault = readTake(take)) return *fault;
            done += 0.6 / static_cast<double>(c.takes.size());
            watch.tell(done);
        }
        return std::move(read);
    }

private:
    Comparison& c;
    Workers& workers;
    const Watch& watch;
    ReadTakes read;

    std::size_t indexOf(const ComparedTake& take) const { return static_cast<std::size_t>(&take - c.takes.data()); }

    /// The same sources in every take, each told from the same track.
    std::optional<Fault> hear(const CompareOptions& options, std::span<const SourceList> lists) {
        std::optional<SourceList> ofFirst = options.sources;
        for (auto& track : c.tracks)
            track.standingUnsure = track.tracks.front() >= 0 && std::find(options.unsure.begin(), options.unsure.end(),
                                                                          track.name) != options.unsure.end();
        std::map<std::string, std::vector<std::size_t>> remarks; // what is said, and of which takes
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
                for (auto& track : c.tracks)
                    track.standingUnsure = std::find(heard->sources->unsure.begin(), heard->sources->unsure.end(),
                                                     track.tracks.front()) != heard->sources->unsure.end();
                const auto shared = inTake(*ofFirst, 0);
                if (!(shared == *ofFirst) && !shared.sources.empty()) {
                    heard = hearSources(recording, shared, workers, own);
                    if (!heard) return heard.fault();
                }
            }
            for (const auto& line : heard->warnings) // of hearing alone: the take's own were told when it was measured
                if (std::find(recording.warnings.begin(), recording.warnings.end(), line) == recording.warnings.end())
                    remarks[line].push_back(k);
            recording = std::move(heard).value();
            done += share;
        }
        for (const auto& [line, takes] : remarks) {
            std::string named;
            for (const auto k : takes)
                named += (named.empty() ? "" : " and ") + c.takes[k].name;
            c.warnings.push_back(named + ": " + line);
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

    /// The list in the names of a take. Close tracks that sound in every take come first, since a source is told from
    /// its first one; what else sounds here stays, so that what it holds is still known to be its own.
    SourceList inTake(const SourceList& ofFirst, std::size_t take) const {
        SourceList list;
        const auto& first = c.takes.front().recording;
        for (const auto& source : ofFirst.sources) {
            NamedSource named{source.name, {}};
            std::vector<std::string> here;
            for (const auto& close : source.closeTracks) {
                const auto track = findTrack(close, first.tracks);
                if (!track) continue;
                for (const auto& compared : c.tracks) {
                    const auto& recording = c.takes[take].recording;
                    if (compared.tracks.front() != *track || !soundsIn(recording, compared.tracks[take])) continue;
                    bool everywhere = true;
                    for (std::size_t k = 0; k < c.takes.size(); ++k)
                        everywhere = everywhere && soundsIn(c.takes[k].recording, compared.tracks[k]);
                    (everywhere ? named.closeTracks : here)
                        .push_back(recording.tracks[place(compared.tracks[take])].name);
                }
            }
            named.closeTracks.insert(named.closeTracks.end(), here.begin(), here.end());
            if (!named.closeTracks.empty()) list.sources.push_back(std::move(named));
        }
        return list;
    }

    std::vector<int> commonIn(const ComparedTake& take) const {
        std::vector<int> tracks;
        for (const int track : read.common)
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
            if (soundsIn(take.recording, a) && soundsIn(take.recording, b)) pairs[p].emplace(a, b);
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

    std::vector<double> figuresOf(const CrossSpectra& spectra, const ComparedTake& take,
                                  const std::vector<PairReading>& readings, const std::vector<int>& signs) const {
        const auto& m = take.read;
        std::vector<double> values(bestFigure(c) + 1, std::nan(""));
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
        if (read.common.size() >= 2) {
            const std::vector<TrackAdjustment> none(read.common.size());
            const auto tracks = commonIn(take);
            const SummationModel model(spectra, tracks, none, m.options.band);
            const std::vector<int> up(read.common.size(), 1);
            const std::vector<double> still(read.common.size(), 0.0);
            values[sumFigure(c)] = decibelsOfPower(model.gain(up, still));
            if (!signs.empty()) values[bestFigure(c)] = decibelsOfPower(model.gain(signs, still));
        }
        return values;
    }

    std::optional<Fault> readTake(ComparedTake& take) {
        const auto& m = take.read;
        std::vector<int> signs;
        if (read.common.size() >= 2) {
            ProposeOptions options;
            options.rungs = {Allow::flips};
            const auto proposals = makeProposals(withTracks(m, commonIn(take)), options, workers, {{}, watch.stop});
            if (!proposals) return proposals.fault();
            signs.assign(read.common.size(), 1);
            const auto& setting = proposals->proposals.front().setting;
            for (std::size_t k = 0; k < read.common.size(); ++k) {
                const auto& name = m.tracks[place(c.tracks[place(read.common[k])].tracks[indexOf(take)])].name;
                for (const auto& track : setting.tracks)
                    if (track.track == name && track.adjustment.flip) {
                        signs[k] = -1;
                        take.flips.push_back(read.common[k]);
                    }
            }
        }
        FiguresOfTake own;
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
            const bool here = soundsIn(m, t);
            const auto& whole = take.recording;
            take.levels.push_back(here ? std::optional(levelOf(whole, t)) : std::nullopt);
            take.spillShares.push_back(here ? spillShareOf(whole, t) : std::nullopt);
            take.hums.push_back(here ? steadyHum(*whole.spectra, t) : std::nullopt);
        }
        if (read.common.size() >= 2) {
            take.sum = own.uncertain(sumFigure(c));
            take.best = own.uncertain(bestFigure(c));
        }
        read.figures.push_back(std::move(own));
        return std::nullopt;
    }

    /// Fills in what the figures are without each part of the take in turn.
    std::optional<Fault> leaveOut(const ComparedTake& take, const std::vector<int>& signs, FiguresOfTake& own) const {
        const auto& spectra = *take.read.spectra;
        own.without.resize(own.values.size());
        const int parts = std::min(mostParts, spectra.stretches());
        if (parts < FiguresOfTake::fewestParts) return std::nullopt;
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
        if (parts < FiguresOfTake::fewestParts) return level;
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
};

} // namespace

bool soundsIn(const Measurement& m, int track) {
    return track >= 0 && std::find(m.usable.begin(), m.usable.end(), track) != m.usable.end();
}

Measurement withTracks(const Measurement& m, std::vector<int> tracks) {
    Measurement part = m;
    part.usable = std::move(tracks);
    part.sources.reset();
    part.focus.reset();
    std::erase_if(part.pairs,
                  [&](const PairReading& p) { return !soundsIn(part, p.first) || !soundsIn(part, p.second); });
    return part;
}

double jackknifeVariance(const std::vector<double>& without) {
    const auto n = static_cast<double>(without.size());
    double mean = 0.0, squares = 0.0;
    for (const double value : without)
        mean += value / n;
    for (const double value : without)
        squares += (value - mean) * (value - mean);
    return squares * (n - 1.0) / n;
}

Uncertain FiguresOfTake::uncertain(std::size_t figure) const {
    Uncertain result{values[figure], std::nullopt};
    if (parts >= fewestParts) result.uncertainty = std::sqrt(jackknifeVariance(without[figure]));
    return result;
}

Result<ReadTakes> readTakes(Comparison& comparison, const CompareOptions& options, std::span<const SourceList> lists,
                            Workers& workers, const Watch& watch) {
    return TakeReader(comparison, workers, watch).run(options, lists);
}

} // namespace spillwright
