#include "Core/Propose/Descent.h"

#include "Core/Propose/DualKernels.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace spillwright {

namespace {

double product(const Descent::Vector& a, const Descent::Vector& b) {
    return kernels::dot(a.data(), b.data(), a.size());
}

void add(double scale, const Descent::Vector& x, Descent::Vector& to) {
    kernels::addScaled(scale, x.data(), x.size(), to.data());
}

/// to = a + scale b.
void combine(const Descent::Vector& a, double scale, const Descent::Vector& b, Descent::Vector& to) {
    to = a;
    add(scale, b, to);
}

} // namespace

void Descent::begin(const Function& function) {
    height = function(at, slope);
}

void Descent::choose() {
    way = slope;
    double scale = -1.0;
    shares.resize(changes.size());
    for (std::size_t i = changes.size(); i-- > 0;) {
        shares[i] = product(changes[i].move, way) / changes[i].along;
        add(-shares[i], changes[i].turn, way);
    }
    if (!changes.empty()) scale *= changes.back().along / changes.back().bend;
    for (double& element : way)
        element *= scale;
    for (std::size_t i = 0; i < changes.size(); ++i) {
        const double back = product(changes[i].turn, way) / changes[i].along;
        add(-shares[i] - back, changes[i].move, way);
    }
}

void Descent::learn(double length) {
    Change change;
    if (changes.size() == memory) {
        change = std::move(changes.front());
        changes.pop_front();
    }
    change.move = way;
    for (double& element : change.move)
        element *= length;
    combine(trialSlope, -1.0, slope, change.turn);
    change.along = product(change.move, change.turn);
    change.bend = product(change.turn, change.turn);
    if (change.along > 1e-14 * change.bend) changes.push_back(std::move(change));
}

bool Descent::step(const Function& function) {
    choose();
    double fall = product(way, slope);
    if (!(fall < 0.0)) {
        if (changes.empty()) return false;
        changes.clear();
        choose();
        fall = product(way, slope);
    }
    // The first step is short against the place itself: nothing is known of the bends yet.
    double length = changes.empty() ? std::min(1.0, 0.1 * std::sqrt(product(at, at) / product(way, way))) : 1.0;
    for (int attempt = 0; attempt < 25; ++attempt) {
        combine(at, length, way, trial);
        const double there = function(trial, trialSlope);
        if (there <= height + 1e-4 * length * fall) {
            learn(length);
            std::swap(at, trial);
            std::swap(slope, trialSlope);
            height = there;
            return true;
        }
        const double fitted = std::isfinite(there) ? -fall * length / (2.0 * (there - height - fall * length)) : 0.3;
        length *= std::clamp(fitted, 0.1, 0.5);
    }
    return false;
}

} // namespace spillwright
