#include "Core/Measure/Seriation.h"

#include <algorithm>
#include <cassert>
#include <iterator>
#include <limits>
#include <utility>

namespace spillwright {

namespace {

std::size_t at(int index) {
    return static_cast<std::size_t>(index);
}

struct Node {
    int left = -1, right = -1; ///< Of the nodes; -1: a leaf.
    std::vector<int> leaves;   ///< Ascending.
    bool holds(int leaf) const { return std::binary_search(leaves.begin(), leaves.end(), leaf); }
};

/// The tree of average linkage; its root comes last.
std::vector<Node> averageLinkage(int count, std::span<const double> distances) {
    std::vector<Node> nodes(at(count));
    std::vector<int> open; // roots so far, in the order of their lowest leaf
    for (int i = 0; i < count; ++i) {
        nodes[at(i)].leaves = {i};
        open.push_back(i);
    }
    std::vector<double> between(distances.begin(), distances.end()); // by the lowest leaf of each root
    const auto d = [&](int a, int b) -> double& { return between[at(a) * at(count) + at(b)]; };
    while (open.size() > 1) {
        std::size_t first = 0, second = 1;
        double least = std::numeric_limits<double>::infinity();
        for (std::size_t b = 1; b < open.size(); ++b)
            for (std::size_t a = 0; a < b; ++a)
                if (const double here = d(nodes[at(open[a])].leaves.front(), nodes[at(open[b])].leaves.front());
                    here < least) {
                    least = here;
                    first = a;
                    second = b;
                }
        const auto& kept = nodes[at(open[first])];
        const auto& joined = nodes[at(open[second])];
        const int name = kept.leaves.front(), other = joined.leaves.front();
        const double weight = static_cast<double>(kept.leaves.size()),
                     otherWeight = static_cast<double>(joined.leaves.size());
        for (int root : open) {
            const int third = nodes[at(root)].leaves.front();
            d(name, third) = d(third, name) =
                (weight * d(name, third) + otherWeight * d(other, third)) / (weight + otherWeight);
        }
        Node node{open[first], open[second], {}};
        std::merge(kept.leaves.begin(), kept.leaves.end(), joined.leaves.begin(), joined.leaves.end(),
                   std::back_inserter(node.leaves));
        open[first] = static_cast<int>(nodes.size());
        open.erase(open.begin() + static_cast<std::ptrdiff_t>(second));
        nodes.push_back(std::move(node));
    }
    return nodes;
}

/// The best turn of every branch, by the two leaves at a branch's ends: two leaves are the ends of one branch only.
class Turner {
public:
    Turner(int leafCount, std::span<const double> d) : count(leafCount), distances(d), nodes(averageLinkage(count, d)) {
        cost.assign(at(count) * at(count), 0.0);
        for (const auto& node : nodes)
            if (node.left >= 0) weigh(nodes[at(node.left)], nodes[at(node.right)]);
    }

    std::vector<int> order() {
        const auto& root = nodes.back();
        if (root.left < 0) return root.leaves;
        std::pair<int, int> best;
        double least = std::numeric_limits<double>::infinity();
        for (int u : nodes[at(root.left)].leaves)
            for (int w : nodes[at(root.right)].leaves)
                if (costOf(u, w) < least) {
                    least = costOf(u, w);
                    best = {u, w};
                }
        layOut(root, best.first, best.second);
        if (laid.front() > laid.back()) std::reverse(laid.begin(), laid.end());
        return laid;
    }

private:
    double distance(int a, int b) const { return distances[at(a) * at(count) + at(b)]; }
    double& costOf(int a, int b) { return cost[at(a) * at(count) + at(b)]; }

    /// Where a branch may end that begins with that leaf.
    std::span<const int> otherEnds(const Node& node, int leaf) const {
        if (node.left < 0) return node.leaves;
        const auto& left = nodes[at(node.left)];
        return left.holds(leaf) ? nodes[at(node.right)].leaves : left.leaves;
    }

    void weigh(const Node& left, const Node& right) {
        std::vector<double> upTo(at(count));
        for (int u : left.leaves) {
            for (int k : right.leaves) {
                upTo[at(k)] = std::numeric_limits<double>::infinity();
                for (int m : otherEnds(left, u))
                    upTo[at(k)] = std::min(upTo[at(k)], costOf(u, m) + distance(m, k));
            }
            for (int w : right.leaves) {
                double least = std::numeric_limits<double>::infinity();
                for (int k : otherEnds(right, w))
                    least = std::min(least, upTo[at(k)] + costOf(k, w));
                costOf(u, w) = costOf(w, u) = least;
            }
        }
    }

    /// The branch, from u to w.
    void layOut(const Node& node, int u, int w) {
        if (node.left < 0) return laid.push_back(u);
        const bool turned = !nodes[at(node.left)].holds(u);
        const auto& before = nodes[at(turned ? node.right : node.left)];
        const auto& after = nodes[at(turned ? node.left : node.right)];
        std::pair<int, int> best;
        double least = std::numeric_limits<double>::infinity();
        for (int m : otherEnds(before, u))
            for (int k : otherEnds(after, w))
                if (const double here = costOf(u, m) + distance(m, k) + costOf(k, w); here < least) {
                    least = here;
                    best = {m, k};
                }
        layOut(before, u, best.first);
        layOut(after, best.second, w);
    }

    int count;
    std::span<const double> distances;
    std::vector<Node> nodes;
    std::vector<double> cost;
    std::vector<int> laid;
};

} // namespace

std::vector<int> seriate(int count, std::span<const double> distances) {
    assert(distances.size() == at(count) * at(count));
    if (count == 0) return {};
    return Turner(count, distances).order();
}

} // namespace spillwright
