#include "Core/Measure/Movement.h"

#include "Core/Statistics.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace spillwright {

namespace {

constexpr double bisquare = 4.685;    // deviations: 95 % efficient for normal errors (Beaton & Tukey 1974)
constexpr double leastScale = 2e-9;   // s: rounding of the kept spectra
constexpr double leastError = 5e-8;   // s: no clock is compared better than this at either end
constexpr std::size_t besideStep = 3; // arrivals on either side of a step
constexpr std::size_t enoughForMedians = 20;
constexpr double medianWorth = 0.4; // of a residual for the scale: the median of sizes is 37 % efficient
constexpr double mostStrays = 0.2;  // of a line or step; more are no strays
constexpr int iterations = 12;
constexpr double turningSpread = 1e-4; // s, and ...
constexpr double turningFactor = 6.0;  // ... so many uncertainties: more than scatter about one value

double scaleOf(const std::vector<double>& residuals) {
    std::vector<double> sizes(residuals.size());
    std::transform(residuals.begin(), residuals.end(), sizes.begin(), [](double r) { return std::abs(r); });
    return madToDeviation * medianOf(std::move(sizes));
}

double loss(double x) {
    const double left = 1.0 - std::min(1.0, x * x / (bisquare * bisquare));
    return bisquare * bisquare / 3.0 * (1.0 - left * left * left); // x^2 near 0
}

double weightOf(double x) {
    const double left = std::max(0.0, 1.0 - x * x / (bisquare * bisquare));
    return left * left;
}

/// The normal deviate as rare as Student's t of so many degrees of freedom: studentOf the other way round.
double normalOf(double t, double freedom) {
    return std::sqrt(freedom * std::log1p(t * t / freedom)) * (8.0 * freedom + 1.0) / (8.0 * freedom + 3.0);
}

/// y as one of: a constant, a line, two constants. `column` is what the second parameter multiplies.
struct Model {
    std::vector<double> column; ///< Empty: a constant.
    double constant = 0.0, slope = 0.0;
    double slopeError = 0.0; ///< One standard deviation, neighbours being alike included.
    double scale = 0.0;
    std::vector<double> residuals;

    double at(std::size_t k) const { return constant + (column.empty() ? 0.0 : slope * column[k]); }
};

class Fitter {
public:
    explicit Fitter(std::span<const StretchArrival> arrivals) {
        for (const auto& arrival : arrivals) {
            times.push_back(arrival.time.value);
            lags.push_back(arrival.lag.value);
            uncertainties.push_back(arrival.uncertainty.value);
        }
        floor = std::max(leastScale, 0.1 * medianOf(uncertainties));
    }
    std::size_t count() const { return lags.size(); }

    /// Iterated weights from the given start.
    void fit(Model& model) const {
        const std::size_t n = count();
        const double parameters = model.column.empty() ? 1.0 : 2.0;
        model.residuals.resize(n);
        for (int pass = 0;; ++pass) {
            for (std::size_t k = 0; k < n; ++k)
                model.residuals[k] = lags[k] - model.at(k);
            model.scale = std::max(floor, deviationOf(model.residuals, parameters));
            if (pass == iterations) break;
            double s = 0, sx = 0, sxx = 0, sy = 0, sxy = 0;
            for (std::size_t k = 0; k < n; ++k) {
                const double x = model.column.empty() ? 0.0 : model.column[k];
                const double w = weightOf(model.residuals[k] / model.scale) * own(k, model.scale);
                s += w, sx += w * x, sxx += w * x * x, sy += w * lags[k], sxy += w * x * lags[k];
            }
            if (!(s > 0.0)) break;
            const double determinant = s * sxx - sx * sx;
            if (!model.column.empty() && determinant > 1e-12 * s * sxx) model.slope = (s * sxy - sx * sy) / determinant;
            model.constant = (sy - model.slope * sx) / s;
        }
        if (!model.column.empty()) model.slopeError = errorOf(model);
    }

    /// How much worse than normal a model is, its scale being the given one.
    double cost(const Model& model, double scale) const {
        double sum = 0.0;
        for (const double residual : model.residuals)
            sum += loss(residual / scale);
        return sum;
    }

    /// Deviations by which neighbouring residuals are more alike than chance has them (von Neumann 1941).
    double likeness(const Model& model) const {
        const auto held = heldResiduals(model);
        double squares = 0.0, steps = 0.0;
        for (std::size_t k = 0; k < held.size(); ++k) {
            squares += held[k] * held[k];
            if (k > 0) steps += std::pow(held[k] - held[k - 1], 2);
        }
        const auto n = static_cast<double>(held.size());
        return squares > 0.0 ? (1.0 - 0.5 * steps / squares * n / (n - 1.0)) * std::sqrt(n) : 0.0;
    }

    std::vector<double> times, lags, uncertainties;

    /// Of few arrivals: the standard error of their mean as they scatter, strays and all. Two strays of one sign that
    /// stand together are no step.
    double spreadOf(const Model& model, std::size_t from, std::size_t to) const {
        if (to - from >= enoughForMedians) return 0.0;
        double squares = 0.0;
        for (std::size_t k = from; k < to; ++k)
            squares += model.residuals[k] * model.residuals[k];
        const auto some = static_cast<double>(to - from);
        return std::sqrt(squares / (some * (some - 1.0)));
    }

    /// Share of arrivals that a model takes for strays, and that lie at least so far off.
    double strays(const Model& model, double beyond) const {
        const auto far = std::count_if(model.residuals.begin(), model.residuals.end(), [&](double r) {
            return std::abs(r) > std::max(beyond, bisquare * model.scale);
        });
        return static_cast<double>(far) / static_cast<double>(count());
    }

private:
    double floor;

    /// Of few residuals the median of their sizes says next to nothing: they have to do without its patience.
    static double deviationOf(const std::vector<double>& residuals, double parameters) {
        const double free = static_cast<double>(residuals.size()) - parameters;
        if (residuals.size() >= enoughForMedians)
            return scaleOf(residuals) * static_cast<double>(residuals.size()) / free;
        double squares = 0.0;
        for (const double r : residuals)
            squares += r * r;
        return std::sqrt(squares / free);
    }

    /// Share of an arrival's weight for its own uncertainty.
    double own(std::size_t k, double scale) const {
        const double ratio = uncertainties[k] / scale;
        return 1.0 / (1.0 + ratio * ratio);
    }
    std::vector<double> heldResiduals(const Model& model) const {
        std::vector<double> held = model.residuals;
        double mean = 0.0;
        for (auto& r : held) {
            r = std::clamp(r, -3.0 * model.scale, 3.0 * model.scale);
            mean += r / static_cast<double>(held.size());
        }
        for (auto& r : held)
            r -= mean;
        return held;
    }
    double errorOf(const Model& model) const {
        // Of an M-estimate (Huber 1981), 1/w being the variance of each: sum w psi^2/(n-2) / psi'^2 / sum w (x-mean)^2.
        const std::size_t n = count();
        double weights = 0.0, mean = 0.0;
        for (std::size_t k = 0; k < n; ++k) {
            const double w = own(k, model.scale) * weightOf(model.residuals[k] / model.scale);
            weights += w;
            mean += w * model.column[k];
        }
        mean /= weights;
        double psis = 0.0, bends = 0.0, squares = 0.0, all = 0.0;
        for (std::size_t k = 0; k < n; ++k) {
            const double x = model.residuals[k] / model.scale, part = x * x / (bisquare * bisquare);
            const double w = own(k, model.scale);
            psis += w * std::pow(x * weightOf(x), 2);
            bends += part < 1.0 ? w * (1.0 - part) * (1.0 - 5.0 * part) : 0.0;
            squares += w * std::pow(model.column[k] - mean, 2);
            all += w;
        }
        const double tilt = std::max(bends / all, 0.2), alike = neighbours(model);
        const double deviation = model.scale * std::sqrt(psis / (static_cast<double>(n) - 2.0)) / tilt;
        return deviation * std::sqrt((1.0 + alike) / (1.0 - alike) / squares);
    }
    /// Correlation of neighbouring residuals, 0..0.9; that of a fit's residuals is low by 2/n.
    double neighbours(const Model& model) const {
        const auto held = heldResiduals(model);
        double squares = 0.0, products = 0.0;
        for (std::size_t k = 0; k < held.size(); ++k) {
            squares += held[k] * held[k];
            if (k > 0) products += held[k] * held[k - 1];
        }
        const double n = static_cast<double>(held.size());
        return squares > 0.0 ? std::clamp(products / squares + 2.0 / n, 0.0, 0.9) : 0.0;
    }
};

double robustSlope(const std::vector<double>& x, const std::vector<double>& y) {
    const std::size_t n = x.size(), apart = std::max<std::size_t>(1, n / 3);
    std::vector<double> slopes;
    for (std::size_t i = 0; i + apart < n; ++i)
        for (std::size_t j = i + apart; j < n; ++j)
            slopes.push_back((y[j] - y[i]) / (x[j] - x[i]));
    return medianOf(std::move(slopes)); // Theil 1950, Sen 1968, of pairs far apart
}

/// Before which arrival a step would be: where two means leave least of the lags, lone strays taken out by medians of
/// five neighbours. 0: too few.
std::size_t placeOfStep(const std::vector<double>& lags) {
    const std::size_t n = lags.size();
    if (n < 2 * besideStep) return 0;
    std::vector<double> sums{0.0};
    for (std::size_t k = 0; k < n; ++k) {
        std::array<double, 5> near;
        const std::size_t first = std::clamp<std::size_t>(k, 2, n - 3) - 2;
        std::copy_n(lags.begin() + static_cast<std::ptrdiff_t>(first), near.size(), near.begin());
        std::nth_element(near.begin(), near.begin() + 2, near.end());
        sums.push_back(sums.back() + near[2]);
    }
    std::size_t best = 0;
    double most = -1.0;
    for (std::size_t at = besideStep; at + besideStep <= n; ++at) {
        const auto before = static_cast<double>(at), after = static_cast<double>(n - at);
        const double apart = (sums[n] - sums[at]) / after - sums[at] / before;
        const double explained = apart * apart * before * after;
        if (explained > most) {
            most = explained;
            best = at;
        }
    }
    // The medians smear a step over two places.
    const auto leftAt = [&](std::size_t at) {
        const auto border = lags.begin() + static_cast<std::ptrdiff_t>(at);
        const double before = medianOf({lags.begin(), border}), after = medianOf({border, lags.end()});
        double sum = 0.0;
        for (std::size_t k = 0; k < n; ++k)
            sum += std::abs(lags[k] - (k < at ? before : after));
        return sum;
    };
    std::size_t exact = best;
    double least = leftAt(best);
    for (std::size_t at = std::max(besideStep, best - 2); at <= std::min(n - besideStep, best + 2); ++at)
        if (const double left = leftAt(at); left < least) {
            least = left;
            exact = at;
        }
    return exact;
}

} // namespace

std::optional<Movement> movementOf(std::span<const StretchArrival> arrivals, double chance) {
    if (arrivals.size() < fewestForMovement) return std::nullopt;
    const Fitter fitter(arrivals);
    const std::size_t n = fitter.count();
    const double freedom = (static_cast<double>(n) - 2.0) * (n >= enoughForMedians ? medianWorth : 1.0);
    const double middle = 0.5 * (fitter.times.front() + fitter.times.back());
    const double length = fitter.times.back() - fitter.times.front();
    const double needed = rarerThan(chance);

    Model still;
    still.constant = medianOf(fitter.lags);
    fitter.fit(still);

    Model line;
    for (const double time : fitter.times)
        line.column.push_back(time - middle);
    line.slope = robustSlope(line.column, fitter.lags);
    std::vector<double> left(n);
    for (std::size_t k = 0; k < n; ++k)
        left[k] = fitter.lags[k] - line.slope * line.column[k];
    line.constant = medianOf(left);
    fitter.fit(line);
    line.slopeError = std::hypot(line.slopeError, leastError * 2.0 / length);

    Model step;
    const std::size_t stepAt = placeOfStep(fitter.lags);
    if (stepAt > 0) {
        const auto border = fitter.lags.begin() + static_cast<std::ptrdiff_t>(stepAt);
        step.constant = medianOf({fitter.lags.begin(), border});
        step.slope = medianOf({border, fitter.lags.end()}) - step.constant;
    }
    if (stepAt > 0) {
        for (std::size_t k = 0; k < n; ++k)
            step.column.push_back(k < stepAt ? 0.0 : 1.0);
        fitter.fit(step);
        step.slopeError = std::hypot(step.slopeError, leastError,
                                     std::hypot(fitter.spreadOf(step, 0, stepAt), fitter.spreadOf(step, stepAt, n)));
    }

    Movement movement;
    const double careful = studentOf(ninetyFive, freedom) / ninetyFive;
    movement.driftPpm = line.slope * 1e6;
    movement.driftPpmUncertainty = line.slopeError * careful * 1e6;
    auto sorted = fitter.lags;
    std::sort(sorted.begin(), sorted.end());
    const std::size_t cut = n / 20;
    movement.range = Seconds(sorted[n - 1 - cut] - sorted[cut]);
    double squares = 0.0;
    for (const double lag : fitter.lags)
        squares += std::pow(lag - still.constant, 2);
    movement.spread = Seconds(std::sqrt(squares / static_cast<double>(n)));

    const bool drifts = normalOf(line.slope / line.slopeError, freedom) > needed;
    const bool steps = stepAt > 0 && normalOf(step.slope / step.slopeError, freedom) >
                                         rarerThan(chance / static_cast<double>(n - 2 * besideStep + 1));
    const Model* chosen = &still;
    double effect = 0.0; // root mean square
    if (drifts || steps) {
        const double scale = stepAt > 0 ? std::min(line.scale, step.scale) : line.scale;
        const bool straight =
            !steps ||
            (drifts && fitter.cost(line, scale) <= fitter.cost(step, scale) + 2.0 * std::log(static_cast<double>(n)));
        chosen = straight ? &line : &step;
        movement.kind = straight ? MovementKind::drifts : MovementKind::steps;
        const double share = static_cast<double>(stepAt) / static_cast<double>(n);
        effect = straight ? std::abs(line.slope) * length / std::sqrt(12.0)
                          : std::abs(step.slope) * std::sqrt(share * (1.0 - share));
    }
    const bool alike = fitter.likeness(*chosen) > needed;
    movement.smooth = alike;
    const bool turns = chosen == &still && movement.spread.value > turningSpread &&
                       movement.spread.value > turningFactor * medianOf(fitter.uncertainties);
    const bool astray = chosen != &still && fitter.strays(*chosen, effect) > mostStrays;
    if ((alike && chosen->scale > 0.5 * effect) || turns || astray) movement.kind = MovementKind::wanders;
    if (movement.kind == MovementKind::steps) {
        movement.stepTime = Seconds(0.5 * (fitter.times[stepAt - 1] + fitter.times[stepAt]));
        movement.step = Seconds(step.slope);
        movement.stepUncertainty = Seconds(step.slopeError * careful);
    }
    return movement;
}

} // namespace spillwright
