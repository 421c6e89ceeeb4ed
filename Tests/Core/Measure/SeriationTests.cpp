#include "Core/Measure/Seriation.h"

#include "Core/RandomStream.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <limits>
#include <memory>
#include <numeric>
#include <vector>

using namespace spillwright;

namespace {

using Distances = std::vector<double>;

double at(const Distances& d, int count, int a, int b) {
    return d[static_cast<std::size_t>(a * count + b)];
}

double lengthOf(const std::vector<int>& order, const Distances& d) {
    const int count = static_cast<int>(order.size());
    double length = 0.0;
    for (std::size_t i = 1; i < order.size(); ++i)
        length += at(d, count, order[i - 1], order[i]);
    return length;
}

Distances between(const std::vector<double>& places) {
    Distances d;
    for (double a : places)
        for (double b : places)
            d.push_back(std::abs(a - b));
    return d;
}

Distances randomDistances(int count, std::uint64_t seed) {
    RandomStream random(seed);
    Distances d(static_cast<std::size_t>(count * count), 0.0);
    for (int a = 0; a < count; ++a)
        for (int b = 0; b < a; ++b)
            d[static_cast<std::size_t>(a * count + b)] = d[static_cast<std::size_t>(b * count + a)] =
                random.between(0.0, 1.0);
    return d;
}

/// The slow way: average linkage by the mean over all pairs of leaves, then every turn of every branch.
struct Branch {
    std::vector<int> leaves;
    std::shared_ptr<Branch> left, right;
};

std::shared_ptr<Branch> treeOf(const Distances& d, int count) {
    std::vector<std::shared_ptr<Branch>> roots;
    for (int i = 0; i < count; ++i)
        roots.push_back(std::make_shared<Branch>(Branch{{i}, nullptr, nullptr}));
    while (roots.size() > 1) {
        std::size_t first = 0, second = 1;
        double least = std::numeric_limits<double>::infinity();
        for (std::size_t a = 0; a < roots.size(); ++a)
            for (std::size_t b = a + 1; b < roots.size(); ++b) {
                double mean = 0.0;
                for (int i : roots[a]->leaves)
                    for (int j : roots[b]->leaves)
                        mean += at(d, count, i, j);
                mean /= static_cast<double>(roots[a]->leaves.size() * roots[b]->leaves.size());
                if (mean < least) {
                    least = mean;
                    first = a;
                    second = b;
                }
            }
        auto joined = std::make_shared<Branch>(Branch{roots[first]->leaves, roots[first], roots[second]});
        joined->leaves.insert(joined->leaves.end(), roots[second]->leaves.begin(), roots[second]->leaves.end());
        roots.erase(roots.begin() + static_cast<std::ptrdiff_t>(second));
        roots[first] = joined;
    }
    return roots.front();
}

std::vector<std::vector<int>> turnsOf(const Branch& branch) {
    if (!branch.left) return {branch.leaves};
    std::vector<std::vector<int>> turns;
    for (const auto& a : turnsOf(*branch.left))
        for (const auto& b : turnsOf(*branch.right))
            for (bool swapped : {false, true}) {
                auto order = swapped ? b : a;
                order.insert(order.end(), (swapped ? a : b).begin(), (swapped ? a : b).end());
                turns.push_back(std::move(order));
            }
    return turns;
}

} // namespace

TEST_CASE("items on a line are laid in a row") {
    // The places are those of 0, 1, 2 ... shuffled by hand; uneven, so that the tree has several levels.
    const std::vector<double> places{7.0, 1.0, 20.0, 2.5, 11.0, 0.0, 23.0, 12.0};
    const auto order = seriate(8, between(places));
    std::vector<int> expected(8);
    std::iota(expected.begin(), expected.end(), 0);
    std::sort(expected.begin(), expected.end(),
              [&](int a, int b) { return places[static_cast<std::size_t>(a)] < places[static_cast<std::size_t>(b)]; });
    CHECK(order == expected); // begins with 5, the lower of 5 and 6
}

TEST_CASE("no other turn of the tree has a shorter way") {
    for (std::uint64_t seed = 1; seed <= 12; ++seed) {
        const int count = 3 + static_cast<int>(seed % 6);
        const auto d = randomDistances(count, seed);
        const auto order = seriate(count, d);
        double least = std::numeric_limits<double>::infinity();
        bool isTurn = false;
        for (const auto& turn : turnsOf(*treeOf(d, count))) {
            least = std::min(least, lengthOf(turn, d));
            isTurn = isTurn || turn == order;
        }
        INFO("seed " << seed << ", " << count << " items");
        CHECK(isTurn);
        CHECK(lengthOf(order, d) == Approx(least).margin(1e-12)); // sums of the same few numbers in another order
    }
}

TEST_CASE("few items, and items that are all alike, keep their order") {
    CHECK(seriate(0, {}).empty());
    CHECK(seriate(1, Distances{0.0}) == std::vector<int>{0});
    CHECK(seriate(2, Distances{0.0, 1.0, 1.0, 0.0}) == std::vector<int>{0, 1});
    CHECK(seriate(5, Distances(25, 0.0)).size() == 5);
    CHECK(seriate(5, Distances(25, 0.0)) == seriate(5, Distances(25, 0.0)));
}

TEST_CASE("64 items of 8 kinds stand kind beside kind") {
    Distances d(64 * 64);
    for (int a = 0; a < 64; ++a)
        for (int b = 0; b < 64; ++b)
            d[static_cast<std::size_t>(a * 64 + b)] = a == b ? 0.0 : a % 8 == b % 8 ? 0.3 : 0.9;
    const auto order = seriate(64, d);
    int changes = 0;
    for (std::size_t i = 1; i < order.size(); ++i)
        changes += order[i] % 8 != order[i - 1] % 8;
    CHECK(changes == 7);
    auto sorted = order;
    std::sort(sorted.begin(), sorted.end());
    for (int i = 0; i < 64; ++i)
        CHECK(sorted[static_cast<std::size_t>(i)] == i);
}
