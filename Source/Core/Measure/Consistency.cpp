#include "Core/Measure/Consistency.h"

#include "Core/Measure/GraphFit.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>

namespace spillwright {

namespace {

constexpr double sure = 0.8;
constexpr double roomSpread = 1e-3;     // s: arrivals of different sources differ by this at least
constexpr double largestOddShare = 0.2; // of a set's pairs: more are no odd ones but another source's

/// Sure arrivals as a graph over the tracks that bear any.
class Triangles {
public:
    explicit Triangles(std::span<PairReading> of);
    Consistency solve();

private:
    struct Edge {
        std::size_t reading = 0;
        double delay = 0.0;    // from the lower node to the higher
        double variance = 0.0; // s^2
        bool exists = false;
        bool free = false; // belongs to no set yet
    };
    struct Set {
        std::vector<std::size_t> nodes;                            // ascending
        std::vector<std::pair<std::size_t, std::size_t>> agreeing; // node numbers, lower first
        std::vector<double> times;                                 // of nodes
        GraphFit fitted;                                           // its residual: the share of variance that shows
    };

    std::span<PairReading> readings;
    std::vector<int> tracks; // of nodes
    std::vector<Edge> edges; // [node][node], kept twice
    double spread = roomSpread;
    double chance = 1.0; // that a triangle of unlike arrivals closes

    std::size_t count() const { return tracks.size(); }
    Edge& edge(std::size_t a, std::size_t b) { return edges[a * count() + b]; }
    const Edge& edge(std::size_t a, std::size_t b) const { return edges[a * count() + b]; }
    double delay(std::size_t a, std::size_t b) const { return a < b ? edge(a, b).delay : -edge(a, b).delay; }
    bool closes(std::size_t a, std::size_t b, std::size_t c) const {
        const double missed = delay(a, b) + delay(b, c) + delay(c, a);
        const double variance = edge(a, b).variance + edge(b, c).variance + edge(c, a).variance;
        return missed * missed <= closureReach * closureReach * variance;
    }
    void countTriangles(Consistency& result);
    std::optional<std::vector<std::size_t>> tracksAround(std::size_t anchor) const;
    std::optional<Set> largestSet();
    void agree(Set& set) const;
    void settle(Set& set) const;
    void fit(Set& set) const;
    bool beyondChance(const Set& set) const;
    void tellOf(const Set& set, Consistency& result);
};

Triangles::Triangles(std::span<PairReading> of) : readings(of) {
    const auto isSure = [](const PairReading& r) { return r.arrival && r.arrival->confidence >= sure; };
    for (const auto& reading : readings)
        if (isSure(reading)) {
            tracks.push_back(reading.first);
            tracks.push_back(reading.second);
        }
    std::sort(tracks.begin(), tracks.end());
    tracks.erase(std::unique(tracks.begin(), tracks.end()), tracks.end());
    edges.resize(count() * count());
    const auto nodeOf = [&](int track) {
        return static_cast<std::size_t>(std::lower_bound(tracks.begin(), tracks.end(), track) - tracks.begin());
    };
    double squares = 0.0, sureOnes = 0.0;
    for (std::size_t r = 0; r < readings.size(); ++r) {
        const auto& reading = readings[r];
        if (!isSure(reading)) continue;
        const auto a = nodeOf(reading.first), b = nodeOf(reading.second);
        const double delay = reading.arrival->delay.value, uncertainty = reading.arrival->uncertainty.value;
        edge(a, b) = edge(b, a) = {r, a < b ? delay : -delay, uncertainty * uncertainty, true, true};
        squares += delay * delay;
        sureOnes += 1.0;
    }
    if (sureOnes > 0.0) spread = std::hypot(roomSpread, std::sqrt(3.0 * squares / sureOnes));
}

void Triangles::countTriangles(Consistency& result) {
    std::vector<bool> inTriangle(readings.size(), false);
    double chances = 0.0;
    for (std::size_t a = 0; a < count(); ++a)
        for (std::size_t b = a + 1; b < count(); ++b) {
            if (!edge(a, b).exists) continue;
            for (std::size_t c = b + 1; c < count(); ++c) {
                if (!edge(b, c).exists || !edge(a, c).exists) continue;
                ++result.triangles;
                result.closing += closes(a, b, c);
                const double reach =
                    closureReach * std::sqrt(edge(a, b).variance + edge(b, c).variance + edge(a, c).variance);
                chances += std::min(1.0, 2.0 * reach / (std::sqrt(2.0 * std::numbers::pi) * spread));
                for (const auto* side : {&edge(a, b), &edge(b, c), &edge(a, c)})
                    inTriangle[side->reading] = true;
            }
        }
    if (result.triangles > 0) chance = chances / result.triangles;
    for (std::size_t r = 0; r < readings.size(); ++r)
        if (inTriangle[r]) readings[r].closesTriangles = false; // until a set says otherwise
}

/// The tracks with which an anchor's free pairs close: each in half of its triangles or more.
std::optional<std::vector<std::size_t>> Triangles::tracksAround(std::size_t anchor) const {
    std::vector<std::size_t> nodes;
    for (std::size_t k = 0; k < count(); ++k)
        if (k != anchor && edge(anchor, k).free) nodes.push_back(k);
    std::vector<int> asked(nodes.size(), 0), closed(nodes.size(), 0);
    std::vector<std::uint8_t> closing(nodes.size() * nodes.size(), 0); // 1: asked, 2: closes
    for (std::size_t j = 0; j < nodes.size(); ++j)
        for (std::size_t k = j + 1; k < nodes.size(); ++k) {
            if (!edge(nodes[j], nodes[k]).free) continue;
            const bool yes = closes(anchor, nodes[j], nodes[k]);
            closing[j * nodes.size() + k] = closing[k * nodes.size() + j] = yes ? 2 : 1;
            ++asked[j], ++asked[k];
            closed[j] += yes, closed[k] += yes;
        }
    std::vector<bool> in(nodes.size(), true);
    std::size_t left = nodes.size();
    for (;;) {
        std::size_t worst = nodes.size();
        double worstShare = 0.5;
        for (std::size_t j = 0; j < nodes.size(); ++j) {
            if (!in[j]) continue;
            const double share = closed[j] == 0 ? -1.0 : static_cast<double>(closed[j]) / asked[j];
            if (share < worstShare) {
                worstShare = share;
                worst = j;
            }
        }
        if (worst == nodes.size()) break;
        in[worst] = false;
        --left;
        for (std::size_t k = 0; k < nodes.size(); ++k) {
            const auto kind = closing[worst * nodes.size() + k];
            asked[k] -= kind != 0;
            closed[k] -= kind == 2;
        }
    }
    if (left < 2) return std::nullopt;
    std::vector<std::size_t> result{anchor};
    for (std::size_t j = 0; j < nodes.size(); ++j)
        if (in[j]) result.push_back(nodes[j]);
    return result;
}

/// Which free pairs of the set's tracks agree with its times.
void Triangles::agree(Set& set) const {
    set.agreeing.clear();
    for (std::size_t j = 0; j < set.nodes.size(); ++j)
        for (std::size_t k = j + 1; k < set.nodes.size(); ++k) {
            const auto& side = edge(set.nodes[j], set.nodes[k]);
            if (!side.free) continue;
            const double missed = side.delay - (set.times[k] - set.times[j]);
            if (missed * missed <= closureReach * closureReach * 1.5 * side.variance) // the times err too
                set.agreeing.emplace_back(j, k);
        }
}

/// Leaves the tracks of which two agreeing pairs or more hang together with the best held one.
void Triangles::settle(Set& set) const {
    for (;;) {
        agree(set);
        if (set.agreeing.empty()) {
            set.nodes.clear();
            return;
        }
        std::vector<int> held(set.nodes.size(), 0);
        for (const auto& [j, k] : set.agreeing)
            ++held[j], ++held[k];
        std::vector<bool> reached(set.nodes.size(), false);
        reached[static_cast<std::size_t>(std::max_element(held.begin(), held.end()) - held.begin())] = true;
        for (bool further = true; further;) {
            further = false;
            for (const auto& [j, k] : set.agreeing)
                if (reached[j] != reached[k]) reached[j] = reached[k] = further = true;
        }
        std::size_t kept = 0;
        for (std::size_t j = 0; j < set.nodes.size(); ++j) {
            if (!reached[j] || held[j] < 2) continue;
            set.nodes[kept] = set.nodes[j];
            set.times[kept] = set.times[j];
            ++kept;
        }
        if (kept == set.nodes.size()) return;
        set.nodes.resize(kept);
        set.times.resize(kept);
    }
}

/// Times of the set's tracks from its agreeing pairs, the first track's being 0.
void Triangles::fit(Set& set) const {
    std::vector<MeasuredDifference> differences;
    for (const auto& [j, k] : set.agreeing) {
        const auto& side = edge(set.nodes[j], set.nodes[k]);
        differences.push_back({j, k, side.delay, side.variance});
    }
    set.fitted = fitGraph(differences, set.times);
    set.times = set.fitted.values;
}

/// Fewer than chanceSets sets as large are expected among arrivals that have nothing to do with each other.
bool Triangles::beyondChance(const Set& set) const {
    const auto all = static_cast<double>(count()), some = static_cast<double>(set.nodes.size());
    const double cycles = static_cast<double>(set.agreeing.size()) - some + 1.0;
    const double choices = std::lgamma(all + 1.0) - std::lgamma(some + 1.0) - std::lgamma(all - some + 1.0);
    return cycles >= 1.0 && choices + cycles * std::log(std::max(chance, 1e-300)) < std::log(chanceSets);
}

std::optional<Triangles::Set> Triangles::largestSet() {
    std::vector<std::size_t> most;
    for (std::size_t anchor = 0; anchor < count(); ++anchor)
        if (auto nodes = tracksAround(anchor); nodes && nodes->size() > most.size()) most = std::move(*nodes);
    if (most.size() < 3) return std::nullopt;

    // Times as the anchor has them; then tracks join whose pair with the anchor is missing or odd.
    const auto anchor = most.front();
    std::vector<std::optional<double>> times(count());
    for (const auto node : most)
        times[node] = node == anchor ? 0.0 : delay(anchor, node);
    for (std::size_t node = 0; node < count(); ++node) {
        if (times[node]) continue;
        std::vector<double> said;
        std::vector<double> variances;
        for (const auto member : most)
            if (edge(member, node).free) {
                said.push_back(*times[member] + delay(member, node));
                variances.push_back(edge(member, node).variance +
                                    (member == anchor ? 0.0 : edge(anchor, member).variance));
            }
        if (said.size() < 3) continue;
        auto sorted = said;
        std::nth_element(sorted.begin(), sorted.begin() + std::ssize(sorted) / 2, sorted.end());
        const double middle = sorted[sorted.size() / 2];
        std::size_t near = 0;
        for (std::size_t k = 0; k < said.size(); ++k)
            near += std::pow(said[k] - middle, 2) <= closureReach * closureReach * variances[k];
        if (near >= 3 && 2 * near > said.size()) times[node] = middle;
    }
    Set set;
    for (std::size_t node = 0; node < count(); ++node)
        if (times[node]) {
            set.nodes.push_back(node);
            set.times.push_back(*times[node]);
        }
    settle(set);
    if (set.nodes.size() < 3) return std::nullopt;
    return set;
}

void Triangles::tellOf(const Set& set, Consistency& result) {
    ClosingSet told;
    for (const auto node : set.nodes)
        told.tracks.push_back(tracks[node]);
    told.pairs = static_cast<int>(set.agreeing.size());
    double gains = 0.0;
    for (const auto& [j, k] : set.agreeing) {
        auto& side = edge(set.nodes[j], set.nodes[k]);
        auto& reading = readings[side.reading];
        const double shown = set.fitted.residual;
        const double variance = side.variance * std::max(0.0, 1.0 - shown) + shown * set.fitted.variance(j, k);
        const double time = set.times[k] - set.times[j];
        reading.arrivalFitted = {Seconds(reading.first < reading.second ? time : -time), Seconds(std::sqrt(variance))};
        reading.closesTriangles = true;
        gains += std::sqrt(variance / side.variance);
    }
    told.gain = gains / static_cast<double>(set.agreeing.size());

    std::vector<OddPair> odd;
    for (std::size_t j = 0; j < set.nodes.size(); ++j)
        for (std::size_t k = j + 1; k < set.nodes.size(); ++k) {
            const auto& side = edge(set.nodes[j], set.nodes[k]);
            if (!side.free || readings[side.reading].closesTriangles == true) continue;
            odd.push_back({tracks[set.nodes[j]], tracks[set.nodes[k]], Seconds(side.delay),
                           Seconds(set.times[k] - set.times[j])});
        }
    const auto pairs = static_cast<double>(odd.size() + set.agreeing.size());
    if (set.nodes.size() >= 4 && static_cast<double>(odd.size()) <= largestOddShare * pairs)
        result.oddArrivals.insert(result.oddArrivals.end(), odd.begin(), odd.end());

    // Signs of tracks that contradict the fewest pairs: from each track in turn, then one at a time while that helps.
    struct Sign {
        std::size_t j, k;
        int sign;
    };
    std::vector<Sign> signs;
    for (const auto& [j, k] : set.agreeing) {
        const auto& polarity = readings[edge(set.nodes[j], set.nodes[k]).reading].polarity;
        if (polarity && polarity->confidence >= sure) signs.push_back({j, k, sign(polarity->polarity)});
    }
    std::vector<int> best;
    std::size_t fewest = signs.size() + 1;
    for (std::size_t start = 0; start < set.nodes.size(); ++start) {
        std::vector<int> up(set.nodes.size(), 1);
        for (const auto& s : signs) {
            if (s.j == start) up[s.k] = s.sign;
            if (s.k == start) up[s.j] = s.sign;
        }
        for (bool better = true; better;) {
            better = false;
            std::vector<int> pull(set.nodes.size(), 0);
            for (const auto& s : signs) {
                pull[s.j] += s.sign * up[s.j] * up[s.k];
                pull[s.k] += s.sign * up[s.j] * up[s.k];
            }
            const auto worst = std::min_element(pull.begin(), pull.end());
            if (*worst < 0) {
                up[static_cast<std::size_t>(worst - pull.begin())] *= -1;
                better = true;
            }
        }
        const auto against = static_cast<std::size_t>(
            std::count_if(signs.begin(), signs.end(), [&](const Sign& s) { return s.sign * up[s.j] * up[s.k] < 0; }));
        if (against < fewest) {
            fewest = against;
            best = up;
        }
    }
    for (const auto& s : signs)
        if (s.sign * best[s.j] * best[s.k] < 0)
            result.oddPolarities.push_back({tracks[set.nodes[s.j]], tracks[set.nodes[s.k]],
                                            Seconds(edge(set.nodes[s.j], set.nodes[s.k]).delay),
                                            Seconds(set.times[s.k] - set.times[s.j])});

    for (const auto& [j, k] : set.agreeing)
        edge(set.nodes[j], set.nodes[k]).free = edge(set.nodes[k], set.nodes[j]).free = false;
    result.sets.push_back(std::move(told));
}

Consistency Triangles::solve() {
    Consistency result;
    countTriangles(result);
    if (result.closing == 0) return result;
    for (std::size_t round = 0; round < count() / 2 + 1; ++round) {
        auto set = largestSet();
        if (!set) break;
        fit(*set);
        settle(*set);
        if (set->nodes.size() < 3 || !beyondChance(*set)) break;
        fit(*set);
        tellOf(*set, result);
    }
    return result;
}

} // namespace

Consistency fitTriangles(std::span<PairReading> readings) {
    for (auto& reading : readings) {
        reading.arrivalFitted.reset();
        reading.closesTriangles.reset();
    }
    return Triangles(readings).solve();
}

} // namespace spillwright
