#include "Core/Sources/TrackChange.h"

#include "Core/Statistics.h"

#include <Eigen/Cholesky>
#include <Eigen/Core>

#include <algorithm>
#include <cmath>

namespace spillwright {

namespace {

constexpr double most = 0.6;          // of a track's ways: three of five
constexpr double alike = 0.03e-3;     // s: shifts of a track that is late lie so close together
constexpr double soundsAlike = 0.75;  // likeness of ways that were shifted and nothing else
constexpr int fewestOthers = 2;       // sources that reach a track besides its own, to ask them
constexpr double levelFloorDb = 0.35; // what the playing leaves in the level of a way, one standard deviation
constexpr double sameGainDb = 0.5;    // tracks whose gains are one cluster
constexpr double huber = 1.5;
constexpr int rounds = 30;

std::size_t place(int index) {
    return static_cast<std::size_t>(index);
}

/// One after the other the track of which the most links are set, at least `most` of them; `take` is told of it and
/// changes the links. Each track once.
template <class IsSet, class Counts, class Take>
void takeUpon(int tracks, std::span<const PathLink> links, const IsSet& isSet, const Counts& counts, const Take& take) {
    std::vector<bool> taken(place(tracks), false);
    for (;;) {
        int best = -1, bestSet = 0, bestAll = 1;
        for (int track = 0; track < tracks; ++track) {
            if (taken[place(track)]) continue;
            int set = 0, all = 0;
            for (std::size_t k = 0; k < links.size(); ++k) {
                if ((links[k].from != track && links[k].to != track) || !counts(k)) continue;
                ++all;
                set += isSet(k);
            }
            if (set == 0 || set < most * all) continue;
            // Of two tracks that share all their ways the one at the receiving end: the last.
            if (best < 0 || set > bestSet || (set == bestSet && set * bestAll >= bestSet * all)) {
                best = track;
                bestSet = set;
                bestAll = all;
            }
        }
        if (best < 0) return;
        taken[place(best)] = true;
        take(best);
    }
}

/// By how much the level of a way may be off since it was not told clean: what does not agree between the takes is of
/// others, part (1 - likeness) of it, and raises the level of each take by that at most; half of it as one deviation.
double impurityDb(const PathChange& change) {
    const double clean = std::max(0.05, change.likeness);
    return 0.5 * decibelsOfPower(1.0 + (1.0 - clean) / clean);
}

/// Gains that explain the levels of the ways best: weighted least squares, large residuals held (Huber), told against
/// the gain that the most tracks share.
void solveGains(std::span<const PathLink> links, std::vector<TrackChange>& changes) {
    const auto n = static_cast<Eigen::Index>(changes.size());
    std::vector<double> weights, scales;
    std::vector<const PathLink*> told;
    for (const auto& link : links)
        if (link.change.louder) {
            told.push_back(&link);
            scales.push_back(std::hypot(link.change.louderUncertainty.value, levelFloorDb, impurityDb(link.change)));
            weights.push_back(1.0);
        }
    if (told.empty()) return;
    Eigen::VectorXd gains = Eigen::VectorXd::Zero(n);
    Eigen::MatrixXd inverse = Eigen::MatrixXd::Identity(n, n);
    constexpr double held = 1e-4; // what no way reaches stays at 0 dB
    std::vector<double> residuals(told.size());
    for (int round = 0; round < rounds; ++round) {
        Eigen::MatrixXd normal = held * Eigen::MatrixXd::Identity(n, n);
        Eigen::VectorXd right = Eigen::VectorXd::Zero(n);
        for (std::size_t k = 0; k < told.size(); ++k) {
            const double weight = weights[k] / (scales[k] * scales[k]);
            const int i = told[k]->from, j = told[k]->to;
            normal(i, i) += weight;
            normal(j, j) += weight;
            normal(i, j) -= weight;
            normal(j, i) -= weight;
            right(j) += weight * told[k]->change.louder->value;
            right(i) -= weight * told[k]->change.louder->value;
        }
        const Eigen::LDLT<Eigen::MatrixXd> factors(normal);
        gains = factors.solve(right);
        if (round + 1 == rounds) inverse = factors.solve(Eigen::MatrixXd::Identity(n, n));
        for (std::size_t k = 0; k < told.size(); ++k) {
            residuals[k] =
                std::abs(told[k]->change.louder->value - gains(told[k]->to) + gains(told[k]->from)) / scales[k];
            weights[k] = residuals[k] > huber ? huber / residuals[k] : 1.0;
        }
    }
    std::vector<bool> reached(changes.size(), false);
    for (const auto* link : told)
        reached[place(link->from)] = reached[place(link->to)] = true;
    // The gain that the most tracks share is none; of two such the one nearer to their middle.
    std::vector<double> all;
    for (std::size_t t = 0; t < changes.size(); ++t)
        if (reached[t]) all.push_back(gains(static_cast<Eigen::Index>(t)));
    const double middle = medianOf(all);
    double none = middle;
    std::size_t crowd = 0;
    for (const double gain : all) {
        std::vector<double> near;
        for (const double other : all)
            if (std::abs(other - gain) <= sameGainDb) near.push_back(other);
        const double centre = medianOf(near);
        if (near.size() > crowd || (near.size() == crowd && std::abs(centre - middle) < std::abs(none - middle))) {
            crowd = near.size();
            none = centre;
        }
    }
    const double spread = std::max(1.0, madToDeviation * medianOf(residuals));
    // Against the usual one: the variance of a difference to the mean of the others, the held sum taken out.
    for (std::size_t t = 0; t < changes.size(); ++t) {
        if (!reached[t]) continue;
        const auto i = static_cast<Eigen::Index>(t);
        double variance = 0.0;
        int others = 0;
        for (Eigen::Index j = 0; j < n; ++j)
            if (j != i && reached[place(static_cast<int>(j))]) {
                variance += std::max(0.0, inverse(i, i) + inverse(j, j) - 2.0 * inverse(i, j));
                ++others;
            }
        changes[t].gain = Decibels(gains(i) - none);
        // A faint source is told too loud in all its ways alike: that is not averaged out.
        std::vector<double> impurities;
        for (const auto* link : told)
            if (place(link->from) == t || place(link->to) == t) impurities.push_back(impurityDb(link->change));
        changes[t].gainUncertainty =
            Decibels(std::hypot(spread * std::sqrt(variance / std::max(1, others)), medianOf(impurities)));
    }
}

} // namespace

bool isShift(Seconds by, Seconds uncertainty) {
    return std::abs(by.value) > std::max(smallestShift.value, shiftReach * uncertainty.value);
}

TrackChanges trackChanges(int tracks, std::span<const PathLink> links) {
    TrackChanges result;
    result.tracks.resize(place(tracks));
    const auto always = [](std::size_t) { return true; };

    std::vector<bool> inverted, shifted;
    for (const auto& link : links) {
        const auto& change = link.change;
        inverted.push_back(change.polarity == Polarity::inverted);
        shifted.push_back(isShift(change.later, change.uncertainty));
        ++result.tracks[place(link.from)].against;
        ++result.tracks[place(link.to)].against;
    }
    takeUpon(
        tracks, links, [&](std::size_t k) { return inverted[k]; }, always,
        [&](int track) {
            result.tracks[place(track)].inverted = true;
            for (std::size_t k = 0; k < links.size(); ++k)
                if (links[k].from == track || links[k].to == track) inverted[k] = !inverted[k];
        });

    std::vector<bool> explained(links.size(), false);
    takeUpon(
        tracks, links, [&](std::size_t k) { return shifted[k]; }, [&](std::size_t k) { return !explained[k]; },
        [&](int track) {
            auto& change = result.tracks[place(track)];
            std::vector<double> shifts, doubts, likeness;
            int fromOwn = 0, others = 0, othersShifted = 0;
            for (std::size_t k = 0; k < links.size(); ++k) {
                if (explained[k] || (links[k].from != track && links[k].to != track)) continue;
                const bool receives = links[k].to == track;
                (receives ? others : fromOwn) += 1;
                othersShifted += receives && shifted[k];
                explained[k] = true;
                likeness.push_back(links[k].change.likeness);
                if (!shifted[k]) continue;
                shifts.push_back((receives ? 1.0 : -1.0) * links[k].change.later.value);
                doubts.push_back(links[k].change.uncertainty.value);
            }
            change.later = Seconds(medianOf(shifts));
            change.laterUncertainty = Seconds(medianOf(doubts));
            const auto [low, high] = std::minmax_element(shifts.begin(), shifts.end());
            const bool together = shifts.size() == likeness.size() && shifts.size() >= 2 && *high - *low < alike;
            if (together && medianOf(likeness) > soundsAlike && (others == 0 || othersShifted > 0) &&
                (fromOwn == 0 || others > 0))
                change.place = TrackChange::Place::late;
            else if (fromOwn > 0 && others >= fewestOthers && othersShifted == 0)
                change.place = TrackChange::Place::sourceMoved;
            else if (fromOwn > 0 && others < fewestOthers && othersShifted == 0)
                change.place = TrackChange::Place::either;
            else
                change.place = TrackChange::Place::moved;
        });
    for (std::size_t k = 0; k < links.size(); ++k)
        if (shifted[k] && !explained[k]) result.unexplained.push_back(links[k]);

    solveGains(links, result.tracks);
    for (auto& change : result.tracks)
        if (change.gain && (change.place == TrackChange::Place::asItWas || change.place == TrackChange::Place::late))
            change.gainChanged =
                std::abs(change.gain->value) > std::max(smallestGain.value, gainReach * change.gainUncertainty.value);
    result.ambiguous = tracks == 2;
    return result;
}

} // namespace spillwright
