#pragma once

#include <span>
#include <vector>

namespace spillwright {

/// An order of `count` items, 0..count-1, in which alike ones are neighbours: the leaves of the tree of average
/// linkage, turned so that the sum of the distances between neighbours is the least that the tree allows.
/// distances: [a * count + b], symmetric, >= 0. Of equal choices the one with the lower index; the order begins with
/// the lower of its two ends. O(count^3). Bar-Joseph, Gifford & Jaakkola 2001.
std::vector<int> seriate(int count, std::span<const double> distances);

} // namespace spillwright
