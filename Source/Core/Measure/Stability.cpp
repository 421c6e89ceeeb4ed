#include "Core/Measure/Stability.h"

#include "Core/Measure/GraphFit.h"
#include "Core/Measure/StretchFollower.h"
#include "Core/Statistics.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <numeric>

namespace spillwright {

namespace {

constexpr int questions = 3;       // line, step, wandering
constexpr double most = 0.5;       // of a track's pairs have to say the same
constexpr double fewOthers = 0.25; // of the pairs of other tracks may say it too
constexpr double sure = 0.8;
constexpr std::size_t followedAtOnce = 128; // pairs
constexpr double clocksApart = 5.0;         // uncertainties
constexpr double tooFarToFollow = 3e-3;     // s: the overall arrival of such a drift is chance
constexpr double leastRate = 1e-3;          // ppm: no clock is compared better
constexpr double smeared = 2e-5;            // s within a stretch, a sixth of a turn at 8 kHz

/// Readings whose movement is known, seen from their tracks.
class Consensus {
public:
    Consensus(std::span<const PairReading> of, double stretchSeconds) : stretch(stretchSeconds) {
        for (const auto& reading : of)
            if (reading.movement) pairs.push_back(&reading);
        for (const auto* pair : pairs)
            for (const int track : {pair->first, pair->second})
                members[track].push_back(pair);
    }

    Stability all() const {
        Stability stability;
        stability.asked = !pairs.empty();
        clocks(stability);
        moves(stability);
        wanderers(stability);
        return stability;
    }

private:
    double stretch;
    std::vector<const PairReading*> pairs;
    std::map<int, std::vector<const PairReading*>> members;

    void clocks(Stability& stability) const;
    void moves(Stability& stability) const;
    void wanderers(Stability& stability) const;
};

/// Rates of the tracks' clocks from the slopes of all pairs; those who part from the largest group are told of.
void Consensus::clocks(Stability& stability) const {
    std::vector<int> tracks;
    std::map<int, std::size_t> node;
    for (const auto& [track, unused] : members) {
        node[track] = tracks.size();
        tracks.push_back(track);
    }
    std::vector<MeasuredDifference> slopes;
    for (const auto* pair : pairs) {
        const double uncertainty = std::hypot(pair->movement->driftPpmUncertainty, leastRate);
        // A pair that steps or wanders has no slope worth the name.
        const bool straight =
            pair->movement->kind == MovementKind::still || pair->movement->kind == MovementKind::drifts;
        if (straight)
            slopes.push_back(
                {node[pair->first], node[pair->second], pair->movement->driftPpm, uncertainty * uncertainty});
    }
    if (slopes.empty()) return;
    const auto fit = fitGraph(slopes, std::vector<double>(tracks.size(), 0.0));

    // Pairs share the errors of their tracks, so a clock is known no better than its pairs are in the middle.
    std::vector<double> uncertainty(tracks.size(), 0.0);
    std::vector<std::vector<double>> of(tracks.size());
    for (const auto& slope : slopes)
        for (const auto end : {slope.first, slope.second})
            of[end].push_back(std::sqrt(slope.variance));
    for (std::size_t k = 0; k < tracks.size(); ++k)
        uncertainty[k] = medianOf(of[k]);

    // Groups: tracks joined by a pair that does not drift, and whose clocks agree.
    std::vector<std::size_t> group(tracks.size());
    std::iota(group.begin(), group.end(), std::size_t(0));
    for (bool joined = true; joined;) {
        joined = false;
        for (const auto* pair : pairs) {
            if (pair->movement->kind == MovementKind::drifts) continue;
            const auto a = node[pair->first], b = node[pair->second];
            const double apart = std::abs(fit.difference(a, b));
            if (apart > clocksApart * std::hypot(uncertainty[a], uncertainty[b])) continue;
            const auto low = std::min(group[a], group[b]);
            joined |= group[a] != low || group[b] != low;
            group[a] = group[b] = low;
        }
    }
    std::map<std::size_t, std::vector<std::size_t>> groups;
    for (std::size_t k = 0; k < tracks.size(); ++k)
        if (!of[k].empty()) groups[group[k]].push_back(k);
    const auto largest = std::max_element(
        groups.begin(), groups.end(), [](const auto& a, const auto& b) { return a.second.size() < b.second.size(); });
    const std::size_t reference = largest->first;
    for (const auto& [number, nodes] : groups) {
        if (number == reference) continue;
        // Slopes of the group's pairs with the largest one, as its rate against it.
        std::vector<double> rates, errors;
        int drifting = 0;
        std::vector<std::size_t> others;
        for (const auto* pair : pairs) {
            const auto a = node[pair->first], b = node[pair->second];
            const bool second = group[b] == number && group[a] == reference;
            if (!second && !(group[a] == number && group[b] == reference)) continue;
            others.push_back(second ? a : b);
            if (pair->movement->kind != MovementKind::drifts) continue;
            ++drifting;
            rates.push_back(second ? pair->movement->driftPpm : -pair->movement->driftPpm);
            errors.push_back(pair->movement->driftPpmUncertainty);
        }
        if (rates.empty() || drifting < most * static_cast<double>(others.size())) continue;
        ClockGroup clock;
        for (const auto k : nodes)
            clock.tracks.push_back(tracks[k]);
        clock.ppm = medianOf(rates);
        clock.ppmUncertainty = medianOf(errors);
        std::sort(others.begin(), others.end());
        clock.against = static_cast<int>(std::unique(others.begin(), others.end()) - others.begin());
        stability.otherClocks.push_back(std::move(clock));
    }
    if (stability.otherClocks.empty()) {
        double within = 0.0;
        for (std::size_t k = 0; k < tracks.size(); ++k)
            if (!of[k].empty()) within = std::max(within, ninetyFive * uncertainty[k]);
        stability.oneClockWithinPpm = within;
    }
}

/// Tracks most of whose pairs step within a stretch of one time, the tracks found before left out.
void Consensus::moves(Stability& stability) const {
    std::vector<const PairReading*> left;
    for (const auto* pair : pairs)
        if (pair->movement->kind == MovementKind::steps) left.push_back(pair);
    const auto timeOf = [](const PairReading* pair) { return pair->movement->stepTime->value; };
    const auto has = [](const PairReading* pair, int track) { return pair->first == track || pair->second == track; };
    const auto together = [&](const PairReading* a, double time) { return std::abs(timeOf(a) - time) < 1.1 * stretch; };
    std::vector<MovedTrack> found;
    while (!left.empty()) {
        int bestTrack = -1;
        double bestTime = 0.0;
        std::size_t bestCount = 0;
        double bestShare = 0.0;
        for (const auto* event : left)
            for (const int track : {event->first, event->second}) {
                const auto count = static_cast<std::size_t>(std::count_if(left.begin(), left.end(), [&](const auto* p) {
                    return has(p, track) && together(p, timeOf(event));
                }));
                const double share = static_cast<double>(count) / static_cast<double>(members.at(track).size());
                if (count > bestCount || (count == bestCount && share > bestShare)) {
                    bestTrack = track;
                    bestTime = timeOf(event);
                    bestCount = count;
                    bestShare = share;
                }
            }
        // Of the pairs with tracks that moved at the same time before, nothing is asked.
        std::size_t asked = 0;
        for (const auto* pair : members.at(bestTrack)) {
            const int other = pair->first == bestTrack ? pair->second : pair->first;
            asked += std::none_of(found.begin(), found.end(), [&](const MovedTrack& m) {
                return m.track == other && std::abs(m.time.value - bestTime) < 1.1 * stretch;
            });
        }
        std::vector<double> steps, errors, times;
        for (const auto* pair : left)
            if (has(pair, bestTrack) && together(pair, bestTime)) {
                steps.push_back(pair->second == bestTrack ? pair->movement->step.value : -pair->movement->step.value);
                errors.push_back(pair->movement->stepUncertainty.value);
                times.push_back(timeOf(pair));
            }
        std::erase_if(left, [&](const auto* pair) { return has(pair, bestTrack) && together(pair, bestTime); });
        if (static_cast<double>(steps.size()) <= most * static_cast<double>(asked)) continue;
        std::vector<double> apart;
        for (const double step : steps)
            apart.push_back(std::abs(step - medianOf(steps)));
        const double uncertainty = std::max(medianOf(errors), madToDeviation * medianOf(apart));
        found.push_back({bestTrack, Seconds(medianOf(times)), Seconds(medianOf(steps)), Seconds(uncertainty),
                         static_cast<int>(steps.size())});
    }
    // Where the pairs of the other tracks step at that time too, it was the music.
    for (const auto& move : found) {
        std::size_t others = 0, stepping = 0;
        for (const auto* pair : pairs) {
            if (std::any_of(found.begin(), found.end(), [&](const MovedTrack& m) {
                    return has(pair, m.track) && std::abs(m.time.value - move.time.value) < 1.1 * stretch;
                }))
                continue;
            ++others;
            stepping += pair->movement->kind == MovementKind::steps && together(pair, move.time.value);
        }
        if (static_cast<double>(stepping) <= fewOthers * static_cast<double>(others)) stability.moved.push_back(move);
    }
    std::sort(stability.moved.begin(), stability.moved.end(), [](const MovedTrack& a, const MovedTrack& b) {
        return std::pair(a.time.value, a.track) < std::pair(b.time.value, b.track);
    });
}

/// Tracks most of whose pairs wander, three at least, while most pairs of the others do not.
void Consensus::wanderers(Stability& stability) const {
    const auto wanders = [](const PairReading* pair) {
        return pair->movement->kind == MovementKind::wanders && pair->movement->smooth;
    };
    std::vector<int> tracks;
    for (const auto& [track, own] : members)
        if (own.size() >= 3 && static_cast<double>(std::count_if(own.begin(), own.end(), wanders)) >
                                   most * static_cast<double>(own.size()))
            tracks.push_back(track);
    std::size_t others = 0, wandering = 0;
    for (const auto* pair : pairs) {
        if (std::any_of(tracks.begin(), tracks.end(), [&](int t) { return pair->first == t || pair->second == t; }))
            continue;
        ++others;
        wandering += wanders(pair);
    }
    if (others == 0 || static_cast<double>(wandering) > fewOthers * static_cast<double>(others)) return;
    for (const int track : tracks) {
        WanderingTrack told;
        told.track = track;
        std::vector<double> ranges;
        for (const auto* pair : members.at(track))
            if (wanders(pair)) ranges.push_back(pair->movement->range.value);
        told.range = Seconds(medianOf(ranges));
        told.against = static_cast<int>(ranges.size());
        stability.wandering.push_back(told);
    }
}

/// An arrival that moves is nowhere more exactly than its stretches are.
void widen(PairReading& reading) {
    auto& uncertainty = reading.arrival->uncertainty;
    uncertainty = Seconds(std::hypot(uncertainty.value, reading.movement->spread.value));
}

/// More than half of the stretches in which both tracks sound have an arrival.
bool traced(const CrossSpectra& spectra, const PairReading& reading, std::span<const StretchArrival> arrivals) {
    std::size_t shared = 0;
    for (int k = 0; k < spectra.stretches(); ++k)
        shared += spectra.sounds(reading.first, k) && spectra.sounds(reading.second, k);
    return 2 * arrivals.size() > shared;
}

/// Followed once more, the drift taken out of every stretch beforehand: what is smeared over a stretch has several
/// peaks. nullopt: no drift after all.
std::optional<Movement> followedAlong(double driftPpm, const CrossSpectra& spectra, const StretchFollower& follower,
                                      const PairReading& reading, double chance, StretchFollower::Scratch& mine) {
    if (!reading.arrival || !reading.polarity) return std::nullopt;
    StretchFollower::Pair pair;
    follower.begin(pair, reading.first, reading.second, reading.arrival->delay, reading.polarity->polarity, driftPpm);
    for (int k = 0; k < spectra.stretches(); ++k)
        follower.readStretch(pair, k, mine);
    const auto arrivals = follower.follow(pair, mine);
    const auto movement = movementOf(arrivals, chance);
    const bool drifts = movement && movement->kind == MovementKind::drifts && traced(spectra, reading, arrivals);
    return drifts ? movement : std::nullopt;
}

Movement evenDrift(const StretchFollower::Turning& turning, double seconds) {
    Movement drift;
    drift.kind = MovementKind::drifts;
    drift.driftPpm = turning.ppm;
    drift.driftPpmUncertainty = turning.uncertainty;
    drift.range = Seconds(std::abs(turning.ppm) * 1e-6 * seconds);
    drift.spread = Seconds(drift.range.value / std::sqrt(12.0));
    return drift;
}

/// Of one pair, from its arrivals by stretch.
void judge(const CrossSpectra& spectra, const StretchFollower& follower, PairReading& reading,
           std::span<const StretchArrival> arrivals, double chance, StretchFollower::Scratch& mine) {
    if (reading.shared == Shared::oneTone || reading.shared == Shared::mainsHum || reading.shared == Shared::noiseFloor)
        return;
    const double length = static_cast<double>(spectra.to() - spectra.from()) / spectra.sampleRate();
    reading.movement = movementOf(arrivals, chance);
    const bool seen = reading.movement && traced(spectra, reading, arrivals);
    const bool smears = seen && std::abs(reading.movement->driftPpm) * 1e-6 * length > smeared * spectra.stretches();
    if (seen && reading.movement->kind != MovementKind::wanders && !smears) {
        if (reading.movement->kind != MovementKind::still) widen(reading);
        return;
    }
    // Hops of a peak that was never sure are no movement of the sound.
    if (seen && reading.movement->kind == MovementKind::wanders && !reading.movement->smooth &&
        reading.arrival->confidence < sure)
        reading.movement.reset();
    // Too fast to be traced from one arrival?
    const auto turning = follower.turning(reading.first, reading.second, mine);
    if (turning && std::abs(turning->ppm) > clocksApart * turning->uncertainty) {
        const auto along = followedAlong(turning->ppm, spectra, follower, reading, chance, mine);
        if (along) reading.movement = along;
        const Movement drift = evenDrift(*turning, length);
        if (!reading.related || drift.range.value > tooFarToFollow) {
            if (!along) reading.movement = drift;
            reading.related = true;
            reading.shared = Shared::sound;
            reading.arrival.reset();
            reading.arrivalInBand.reset();
            reading.polarity.reset();
            return;
        }
    }
    if (reading.movement && reading.movement->kind != MovementKind::still) widen(reading);
}

} // namespace

Stability readStability(const CrossSpectra& spectra, std::span<PairReading> readings, Workers& workers) {
    for (auto& reading : readings)
        reading.movement.reset();
    if (spectra.stretches() < static_cast<int>(fewestForMovement)) return {};
    const StretchFollower follower(spectra);
    const double chance = chanceMoves / (questions * std::max(1.0, static_cast<double>(readings.size())));
    std::vector<StretchFollower::Scratch> scratch(static_cast<std::size_t>(workers.count()));
    const auto followed = [](const PairReading& r) { return r.related && r.arrival && r.polarity; };

    // In portions, so that what is followed at once stays in the caches.
    std::vector<StretchFollower::Pair> portion(std::min(followedAtOnce, readings.size()));
    for (std::size_t from = 0; from < readings.size(); from += portion.size()) {
        const auto some = readings.subspan(from, std::min(portion.size(), readings.size() - from));
        workers.forEach(some.size(), [&](std::size_t item, int) {
            const auto& r = some[item];
            if (followed(r)) follower.begin(portion[item], r.first, r.second, r.arrival->delay, r.polarity->polarity);
        });
        workers.forEach(static_cast<std::size_t>(spectra.stretches()), [&](std::size_t stretch, int worker) {
            for (std::size_t item = 0; item < some.size(); ++item)
                if (followed(some[item]))
                    follower.readStretch(portion[item], static_cast<int>(stretch),
                                         scratch[static_cast<std::size_t>(worker)]);
        });
        workers.forEach(some.size(), [&](std::size_t item, int worker) {
            auto& mine = scratch[static_cast<std::size_t>(worker)];
            std::vector<StretchArrival> arrivals;
            if (followed(some[item])) arrivals = follower.follow(portion[item], mine);
            judge(spectra, follower, some[item], arrivals, chance, mine);
        });
    }
    const double stretchSeconds =
        static_cast<double>(spectra.to() - spectra.from()) / spectra.sampleRate() / spectra.stretches();
    return Consensus(readings, stretchSeconds).all();
}

} // namespace spillwright
