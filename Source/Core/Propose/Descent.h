#pragma once

#include "Core/Signal/AlignedVector.h"

#include <deque>
#include <functional>
#include <utility>
#include <vector>

namespace spillwright {

/// Limited-memory quasi-Newton descent for a smooth convex function that is infinite outside its domain
/// (Nocedal 1980, two-loop recursion; backtracking by a quadratic fit).
class Descent {
public:
    using Vector = AlignedVector<double>;
    /// Value and gradient; infinite outside the domain, the gradient then left as it may be.
    using Function = std::function<double(const Vector& at, Vector& gradient)>;

    explicit Descent(Vector start) : at(std::move(start)), slope(at.size()), trial(at.size()), trialSlope(at.size()) {}

    /// The function is new, or has changed a little: what is known of its bends is kept.
    void begin(const Function& function);
    /// One step, of one or more evaluations. False: no way down was found.
    bool step(const Function& function);

    const Vector& place() const { return at; }
    double value() const { return height; }

private:
    struct Change {
        Vector move, turn;
        double along = 0.0, bend = 0.0; ///< move * turn, turn * turn.
    };
    void choose(); ///< The way to go.
    void learn(double length);

    static constexpr std::size_t memory = 12;
    Vector at, slope, trial, trialSlope, way;
    std::vector<double> shares;
    double height = 0.0;
    std::deque<Change> changes;
};

} // namespace spillwright
