#include "Core/Propose/FlipBound.h"
#include "Core/Propose/FlipSearch.h"
#include "Core/RandomStream.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <set>
#include <string>

using namespace spillwright;

namespace {

FlipProblem randomProblem(int n, bool withField, std::uint64_t seed) {
    RandomStream random(seed);
    FlipProblem problem{Eigen::MatrixXd::Zero(n, n), Eigen::VectorXd::Zero(n), random.between(0.0, 2.0)};
    for (int i = 0; i < n; ++i) {
        if (withField) problem.field[i] = random.between(-1.0, 1.0);
        for (int j = 0; j < i; ++j)
            problem.coupling(i, j) = problem.coupling(j, i) = random.between(-1.0, 1.0);
    }
    return problem;
}

/// A strong common direction under noise, as spill of one source makes it.
FlipProblem plantedProblem(int n, double noise, std::vector<int>& planted, std::uint64_t seed) {
    auto problem = randomProblem(n, false, seed);
    RandomStream random(seed + 1000);
    planted.resize(n);
    for (int& sign : planted)
        sign = random.sign();
    if (planted.back() < 0)
        for (int& sign : planted)
            sign = -sign;
    problem.coupling *= noise;
    for (int i = 0; i < n; ++i)
        for (int j = 0; j < n; ++j)
            if (i != j) problem.coupling(i, j) += planted[i] * planted[j];
    return problem;
}

/// All settings, slow and obvious; mirror images once where they are worth the same.
std::vector<RankedSigns> bruteForce(const FlipProblem& problem) {
    std::vector<RankedSigns> all;
    const int n = problem.size();
    for (int mask = 0; mask < 1 << n; ++mask) {
        std::vector<int> signs(n);
        for (int i = 0; i < n; ++i)
            signs[i] = (mask >> i & 1) ? -1 : 1;
        if (problem.mirrorsAreWorthTheSame() && n > 0 && signs.back() < 0) continue;
        Eigen::VectorXd s(n);
        for (int i = 0; i < n; ++i)
            s[i] = signs[i];
        all.push_back({signs, problem.constant + 2.0 * problem.field.dot(s) + s.dot(problem.coupling * s)});
    }
    std::stable_sort(all.begin(), all.end(), [](const auto& a, const auto& b) { return a.value > b.value; });
    return all;
}

/// Sums of some hundred products near 1: rounding of some 1e-14.
constexpr double rounding = 1e-12;

using Edges = std::vector<std::pair<int, int>>;

Edges cycle(int n) {
    Edges edges;
    for (int i = 0; i < n; ++i)
        edges.emplace_back(i, (i + 1) % n);
    return edges;
}

Edges complete(int n) {
    Edges edges;
    for (int i = 0; i < n; ++i)
        for (int j = 0; j < i; ++j)
            edges.emplace_back(i, j);
    return edges;
}

Edges hypercube(int dimensions) {
    Edges edges;
    for (int i = 0; i < 1 << dimensions; ++i)
        for (int d = 0; d < dimensions; ++d)
            if (i < (i ^ 1 << d)) edges.emplace_back(i, i ^ 1 << d);
    return edges;
}

/// Generalised Petersen graph GP(n, k).
Edges petersen(int n, int k) {
    Edges edges = cycle(n);
    for (int i = 0; i < n; ++i) {
        edges.emplace_back(i, n + i);
        edges.emplace_back(n + i, n + (i + k) % n);
    }
    return edges;
}

Edges completeBipartite(int n) {
    Edges edges;
    for (int i = 0; i < n; ++i)
        for (int j = 0; j < n; ++j)
            edges.emplace_back(i, n + j);
    return edges;
}

Edges wheel(int rim) {
    Edges edges = cycle(rim);
    for (int i = 0; i < rim; ++i)
        edges.emplace_back(i, rim);
    return edges;
}

Edges paley(int prime) {
    std::set<int> squares;
    for (int i = 1; i < prime; ++i)
        squares.insert(i * i % prime);
    Edges edges;
    for (int i = 0; i < prime; ++i)
        for (int j = 0; j < i; ++j)
            if (squares.count(i - j)) edges.emplace_back(i, j);
    return edges;
}

/// The folded 5-cube, 5-regular: 4-bit words that differ in one bit or in all.
Edges clebsch() {
    Edges edges = hypercube(4);
    for (int i = 0; i < 8; ++i)
        edges.emplace_back(i, i ^ 15);
    return edges;
}

/// s'(-w/4)s + m/2 is the number of edges that s cuts.
FlipProblem cutProblem(int vertices, const Edges& edges) {
    FlipProblem problem{Eigen::MatrixXd::Zero(vertices, vertices), Eigen::VectorXd::Zero(vertices),
                        static_cast<double>(edges.size()) / 2.0};
    for (const auto& [a, b] : edges)
        problem.coupling(a, b) = problem.coupling(b, a) = -0.25;
    return problem;
}

} // namespace

TEST_CASE("the best flips and the runners-up are those of brute force") {
    Workers workers(2);
    for (int n = 0; n <= 14; ++n)
        for (const bool withField : {false, true})
            for (std::uint64_t seed : {1, 2, 3}) {
                const auto problem = randomProblem(n, withField, seed + 10 * n);
                const auto all = bruteForce(problem);
                const int count = seed == 1 ? 1 : 20;
                const auto best = everyFlip(problem, count, {}, workers, {});
                REQUIRE(best);
                INFO(n << " signs, field " << withField << ", seed " << seed);
                REQUIRE(best->size() == std::min<std::size_t>(count, all.size()));
                for (std::size_t k = 0; k < best->size(); ++k) {
                    CHECK((*best)[k].signs == all[k].signs);
                    CHECK((*best)[k].value == Approx(all[k].value).margin(rounding));
                }
            }
}

TEST_CASE("settings closer than the fixed point tells apart are ranked right all the same") {
    // One coupling fills the range; the others are worth less than a unit of the fixed point, or a few.
    Workers workers(2);
    for (const double tiny : {1e-10, 2e-9, 4e-9, 1e-8}) {
        auto problem = randomProblem(14, true, 6);
        problem.coupling *= tiny;
        problem.field *= tiny;
        problem.coupling(2, 11) = problem.coupling(11, 2) = 1.0;
        problem.constant = 0.0;
        const auto all = bruteForce(problem);
        const auto best = everyFlip(problem, 6, {}, workers, {});
        // Equal to 1e-12 counts as equal, so compare values.
        for (std::size_t k = 0; k < best->size(); ++k)
            CHECK((*best)[k].value - 2.0 == Approx(all[k].value - 2.0).margin(2e-12));
    }
}

TEST_CASE("flips that may not be listed are passed over for the next best") {
    Workers workers(1);
    const auto problem = randomProblem(13, true, 5);
    const AcceptSigns accept = [](std::span<const int> signs) {
        return std::count(signs.begin(), signs.end(), -1) <= 3;
    };
    std::vector<RankedSigns> allowed;
    for (const auto& entry : bruteForce(problem))
        if (accept(entry.signs)) allowed.push_back(entry);
    const auto best = everyFlip(problem, 12, accept, workers, {});
    REQUIRE(best->size() == 12);
    for (std::size_t k = 0; k < best->size(); ++k)
        CHECK((*best)[k].signs == allowed[k].signs);
}

TEST_CASE("twenty-four signs: the walk agrees with branch and bound, for any number of workers") {
    for (const bool withField : {false, true}) {
        const auto problem = randomProblem(24, withField, 77);
        Workers one(1);
        const auto best = everyFlip(problem, 5, {}, one, {});
        REQUIRE(best);
        for (int count : {2, 5}) {
            Workers workers(count);
            const auto again = everyFlip(problem, 5, {}, workers, {});
            for (std::size_t k = 0; k < 5; ++k) {
                CHECK((*again)[k].signs == (*best)[k].signs);
                CHECK((*again)[k].value == (*best)[k].value);
            }
        }
        const auto climbed = climbFlips(problem, 5, {}, {}, 200, one, {});
        const auto proof = proveFlips(problem, climbed->front().value, 100000, {}, {});
        REQUIRE(proof->proven);
        CHECK(proof->upperBound == Approx(best->front().value).epsilon(rounding));
    }
}

TEST_CASE("known maximum cuts") {
    struct Known {
        std::string name;
        int vertices;
        Edges edges;
        int cut;
        double bound; // (n/4) largest eigenvalue of the Laplacian; the semidefinite value where vertex-transitive
        bool transitive = true;
    };
    // Cut values by enumeration, bounds by the formula; all can be checked by hand from the graphs' spectra.
    const Known known[] = {{"Petersen", 10, petersen(5, 2), 12, 12.5},
                           {"C5", 5, cycle(5), 4, 4.5225},
                           {"C7", 7, cycle(7), 6, 6.6534},
                           {"C9", 9, cycle(9), 8, 8.7286},
                           {"K5", 5, complete(5), 6, 6.25},
                           {"K6", 6, complete(6), 9, 9.0},
                           {"K7", 7, complete(7), 12, 12.25},
                           {"K10", 10, complete(10), 25, 25.0},
                           {"K3,3", 6, completeBipartite(3), 9, 9.0},
                           {"Q3", 8, hypercube(3), 12, 12.0},
                           {"Q4", 16, hypercube(4), 32, 32.0},
                           {"W5", 6, wheel(5), 7, 9.0, false},
                           {"Moebius-Kantor", 16, petersen(8, 3), 24, 24.0},
                           {"Paley 13", 13, paley(13), 26, 26.984},
                           {"Clebsch", 16, clebsch(), 32, 32.0}};
    Workers workers(1);
    for (const auto& graph : known) {
        INFO(graph.name);
        const auto problem = cutProblem(graph.vertices, graph.edges);
        CHECK(everyFlip(problem, 1, {}, workers, {})->front().value == Approx(graph.cut).margin(rounding));
        const double bound = flipUpperBound(problem);
        CHECK(bound >= graph.cut);
        // The table's bounds have four decimals; the iteration stops at 1e-7 of the value a round.
        if (graph.transitive)
            CHECK(bound == Approx(graph.bound).margin(1e-3));
        else
            CHECK(bound < graph.bound);
        const auto proof =
            proveFlips(problem, climbFlips(problem, 1, {}, {}, 50, workers, {})->front().value, 10000, {}, {});
        CHECK(proof->proven);
        CHECK(proof->upperBound == Approx(graph.cut).margin(1e-6));
    }
}

TEST_CASE("no signs exceed the bound") {
    for (int n = 1; n <= 12; ++n)
        for (const bool withField : {false, true}) {
            const auto problem = randomProblem(n, withField, 300 + n);
            const double best = bruteForce(problem).front().value;
            CHECK(flipUpperBound(problem) >= best - rounding);
            // An iteration cut short still bounds.
            const auto cutShort = proveFlips(problem, -1e3, 0, {}, {});
            CHECK(cutShort->upperBound >= best - rounding);
        }
}

TEST_CASE("branch and bound proves, and finds what the climbs were not told") {
    for (const bool withField : {false, true}) {
        const auto problem = randomProblem(14, withField, 9);
        const auto best = bruteForce(problem).front();
        const auto proof = proveFlips(problem, -1e3, 100000, {}, {});
        REQUIRE(proof->proven);
        REQUIRE(proof->better);
        CHECK(*proof->better == best.signs);
        CHECK(proof->upperBound == Approx(best.value).margin(rounding));
    }
}

TEST_CASE("a planted setting of forty signs is found and proven") {
    std::vector<int> planted;
    const auto problem = plantedProblem(40, 2.0, planted, 4);
    Workers workers(2);
    const auto found = climbFlips(problem, 3, {}, {}, 200, workers, {});
    CHECK(found->front().signs == planted);
    const auto proof = proveFlips(problem, found->front().value, 100000, {}, {});
    CHECK(proof->proven);
    CHECK((*found)[0].value > (*found)[1].value);
}

TEST_CASE(
    "climbs list every neighbour of the best that is worth more than the last listed, for any number of workers") {
    constexpr int n = 26;
    const AcceptSigns any = [](std::span<const int>) { return true; };
    for (const bool withField : {false, true})
        for (const std::uint64_t seed : {1, 2, 3}) {
            const auto problem = randomProblem(n, withField, seed);
            Workers one(1);
            const auto found = climbFlips(problem, 30, any, {}, 100, one, {});
            REQUIRE(found->size() == 30);
            const auto listed = [&](std::vector<int> signs) {
                if (!withField && signs.back() < 0)
                    for (int& sign : signs)
                        sign = -sign;
                return std::any_of(found->begin(), found->end(), [&](const auto& f) { return f.signs == signs; });
            };
            auto signs = found->front().signs;
            int near = 0;
            for (int i = 0; i < n; ++i)
                for (int j = 0; j <= i; ++j) { // i == j: one flip
                    signs[i] = -signs[i];
                    if (j != i) signs[j] = -signs[j];
                    if (problem.value(signs) > found->back().value + rounding) {
                        CHECK(listed(signs));
                        ++near;
                    }
                    signs[i] = -signs[i];
                    if (j != i) signs[j] = -signs[j];
                }
            CHECK(near > 0);
            for (const auto& entry : *found)
                CHECK(entry.value == problem.value(entry.signs));
            for (const int count : {2, 5}) {
                Workers workers(count);
                const auto again = climbFlips(problem, 30, any, {}, 100, workers, {});
                for (std::size_t k = 0; k < found->size(); ++k) {
                    CHECK((*again)[k].signs == (*found)[k].signs);
                    CHECK((*again)[k].value == (*found)[k].value);
                }
            }
        }
}

TEST_CASE("a stop ends the search without an answer") {
    std::stop_source source;
    source.request_stop();
    Watch watch;
    watch.stop = source.get_token();
    Workers workers(2);
    const auto problem = randomProblem(20, false, 1);
    CHECK_FALSE(everyFlip(problem, 1, {}, workers, watch));
    CHECK_FALSE(climbFlips(problem, 1, {}, {}, 10, workers, watch));
    CHECK_FALSE(proveFlips(problem, -1e3, 10, {}, watch));
}
