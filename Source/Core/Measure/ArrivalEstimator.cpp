#include "Core/Measure/ArrivalEstimator.h"

#include "Core/ThirdOctaves.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <limits>
#include <numbers>

namespace spillwright {

namespace {

// The constants were fitted in samples at 48 kHz; at any other rate a "sample" means the same time.
constexpr double sample = 1.0 / 48000.0; // s
const Band likelyBand{Hertz(60.0), Hertz(12000.0)};
constexpr double leastGridRate = 40000.0; // Hz: five points a period of 8 kHz
constexpr int pointsAPeriod = 20;         // of the band: its peaks' heights are compared to two in a hundred
constexpr double sure = 0.8;
constexpr int newtonSteps = 2;
constexpr double mostCoherent = 0.999; // keeps gamma^2/(1-gamma^2) from leaving all to a few bins
constexpr double least = 1e-6;         // height of a curve that is nothing but rounding
constexpr double caution = 1.1;        // measured: one uncertainty then covers 75 to 89 %, two 93 to 98 %
constexpr double floorSamples = 0.002; // of any uncertainty
constexpr std::size_t mostContenders = 40;
constexpr std::size_t mostCandidates = 6;
constexpr double flatFloor = 0.02; // one and a half standard deviations of the flat curve of nothing but noise
constexpr double oddsExponent = 3.5;
constexpr double narrowBelow = 0.35;     // of the third octaves from 60 to 8000 Hz
constexpr double farthestRefined = 24.0; // samples
constexpr double clearlyLess = 0.9;
constexpr double nearlyLevel = 0.98;

double logistic(double x) {
    return 1.0 / (1.0 + std::exp(-x));
}

} // namespace

ArrivalEstimator::ArrivalEstimator(Geometry of, const ReadingOptions& options) : geometry(of) {
    const auto range = [&](Band b) { return binsWithin(b, geometry.binWidth, geometry.binCount); };
    const auto wideBins = range(wideBand), likelyBins = range(likelyBand), bandBins = range(options.band);
    wide = weighting(wideBins.firstBin, wideBins.lastBin, wideBandExponent);
    likely = weighting(likelyBins.firstBin, likelyBins.lastBin, 0.0);
    band = weighting(bandBins.firstBin, bandBins.lastBin, -1.0);
    needed = std::max({0, wideBins.lastBin, likelyBins.lastBin, bandBins.lastBin}) + 1;

    int length = 16;
    while (length * geometry.binWidth < leastGridRate || length / 2 < needed)
        length *= 2;
    fourier = Fourier::ofLength(length);
    halfRate = Fourier::ofLength(length / 2);
    int bandLength = 16;
    while (bandLength < length && bandLength < pointsAPeriod * (bandBins.lastBin + 1))
        bandLength *= 2;
    ofBand = Fourier::ofLength(bandLength);
    gridSeconds = 1.0 / (length * geometry.binWidth);
    gridSamples = gridSeconds / sample;
    // A curve repeats after one window; beyond half of it nothing is left to compare.
    const double largest = std::min(options.largestArrival.value, geometry.windowSeconds / 2 - 3 * gridSeconds);
    largestLag = std::max(largest, 0.0) / sample;
    reach = static_cast<int>(largestLag / gridSamples) + 1;
    contenderReach = static_cast<int>(std::ceil(1.0 / gridSamples));
    origin = 2 * (reach / 2 + 1);

    assert(likely.count < std::numeric_limits<std::int32_t>::max() / kernels::runningUnit);
    for (int k = 0; k < likely.count; ++k) {
        const double centre = likely.first + k;
        const auto edge = [&](double octaves) {
            return std::int32_t(std::clamp(static_cast<int>(std::lround(centre * std::exp2(octaves))) - likely.first, 0,
                                           likely.count - 1));
        };
        sixthLow.push_back(edge(-1.0 / 12));
        sixthPast.push_back(edge(1.0 / 12) + 1);
    }
}

ArrivalEstimator::Weighting ArrivalEstimator::weighting(int first, int last, double exponent) const {
    Weighting w;
    w.first = first;
    w.count = std::max(0, last - first + 1);
    double total = 0.0;
    for (int k = 0; k < w.count; ++k) {
        const double hertz = (first + k) * geometry.binWidth;
        w.omega.push_back(2.0 * std::numbers::pi * hertz * sample);
        w.weights.push_back(std::pow(hertz, exponent));
        total += w.weights.back();
    }
    for (auto& weight : w.weights)
        weight /= total;
    const auto cut = [&](double perOctave) {
        std::vector<int> edges;
        double block = -1e9;
        for (int k = 0; k < w.count; ++k) {
            const double here = std::floor(perOctave * 10.0 / 3.0 * std::log10((first + k) * geometry.binWidth) + 0.5);
            if (here != block) edges.push_back(k);
            block = here;
        }
        edges.push_back(w.count);
        return edges;
    };
    w.thirds = cut(3.0);
    w.sixths = cut(6.0);
    std::vector<double> running;
    cutTwentieths(w, w.weights, running, w.twentieths);
    return w;
}

/// Twenty blocks of equal sum W omega^2.
void ArrivalEstimator::cutTwentieths(const Weighting& w, std::span<const double> weights, std::vector<double>& running,
                                     std::vector<int>& edges) {
    running.resize(w.omega.size());
    double total = 0.0;
    for (std::size_t k = 0; k < w.omega.size(); ++k)
        running[k] = total += weights[k] * w.omega[k] * w.omega[k];
    edges.assign(1, 0);
    for (auto from = running.begin(); edges.size() < 20; ++from) {
        from = std::lower_bound(from, running.end(), total * static_cast<double>(edges.size()) / 20.0);
        if (from == running.end()) break;
        edges.push_back(static_cast<int>(from - running.begin()) + 1);
    }
    if (edges.back() != w.count) edges.push_back(w.count);
}

void ArrivalEstimator::prepare(std::span<const std::complex<float>> crossSpectrum, Scratch& scratch) const {
    assert(static_cast<int>(crossSpectrum.size()) >= needed);
    const auto bins = static_cast<std::size_t>(needed);
    scratch.phasorRe.resize(bins);
    scratch.phasorIm.resize(bins);
    scratch.magnitudes.resize(bins);
    kernels::conjugatePhasors(crossSpectrum.data(), bins, scratch.phasorRe.data(), scratch.phasorIm.data(),
                              scratch.magnitudes.data());
    scratch.weights.resize(bins);
    scratch.coarse.resize(static_cast<std::size_t>(origin) + 1 + kernels::doublingReach * 2);
    scratch.spectrum.resize(static_cast<std::size_t>(fourier->binCount()));
    scratch.period.resize(static_cast<std::size_t>(fourier->length()));
}

/// Re sum of weight(k) * phasor over `count` bins from `first` on, into scratch.period.
template <class Weight>
void ArrivalEstimator::transform(const Fourier& by, int first, int count, const Weight& weight,
                                 Scratch& scratch) const {
    for (std::size_t k = 0; k < static_cast<std::size_t>(count); ++k)
        scratch.weights[k] = static_cast<float>(0.5 * weight(k)); // half: and its mirror image
    const auto bins = static_cast<std::size_t>(by.binCount());
    std::fill_n(scratch.spectrum.begin(), bins, std::complex<float>());
    kernels::weigh(scratch.phasorRe.data() + first, scratch.phasorIm.data() + first, scratch.weights.data(),
                   static_cast<std::size_t>(count), scratch.spectrum.data() + first);
    by.inverse(scratch.spectrum.data(), scratch.period.data());
}

/// The same at every lag that is looked at.
template <class Weight>
void ArrivalEstimator::computeCurve(int first, int count, const Weight& weight, Scratch& scratch, Curve& curve) const {
    // What ends well below half of the highest frequency is transformed at half the rate, and doubled where it is
    // looked at.
    const bool fine = first + count > kernels::doublingEdge * halfRate->length() / 2 || halfRate->length() / 2 < origin;
    const Fourier& by = fine ? *fourier : *halfRate;
    transform(by, first, count, weight, scratch);
    curve.values.resize(static_cast<std::size_t>(2 * origin + 2));
    curve.origin = origin;
    curve.reach = reach;
    curve.step = gridSamples;
    const auto past = scratch.period.begin() + by.length(); // lags below 0 stand before it
    if (fine) {
        std::copy(past - origin, past, curve.values.begin());
        std::copy_n(scratch.period.begin(), origin + 2, curve.values.begin() + origin);
        return;
    }
    const int beside = origin / 2 + kernels::doublingReach;
    std::copy(past - beside, past, scratch.coarse.begin());
    std::copy_n(scratch.period.begin(), beside + 1, scratch.coarse.begin() + beside);
    kernels::doubleRate(scratch.coarse.data() + kernels::doublingReach, static_cast<std::size_t>(origin) + 1,
                        curve.values.data());
}

/// The curve of the band alone, in as few steps as its highest frequency asks for.
void ArrivalEstimator::computeBandCurve(Scratch& scratch, Curve& curve) const {
    transform(
        *ofBand, band.first, band.count, [&](std::size_t k) { return band.weights[k]; }, scratch);
    curve.step = gridSamples * fourier->length() / ofBand->length();
    curve.reach = static_cast<int>(largestLag / curve.step) + 1;
    curve.origin = curve.reach + 1;
    curve.values.resize(static_cast<std::size_t>(2 * curve.origin + 1));
    const auto past = scratch.period.begin() + ofBand->length();
    std::copy(past - curve.origin, past, curve.values.begin());
    std::copy_n(scratch.period.begin(), curve.origin + 1, curve.values.begin() + curve.origin);
}

/// A local peak of sign * curve at a grid point, if it is one and its place lies within the largest lag, with a
/// parabola through it and its neighbours.
std::optional<ArrivalEstimator::Peak> ArrivalEstimator::peakAt(const Curve& curve, int index, double sign) const {
    const float* const values = curve.centre() + index;
    const double here = sign * static_cast<double>(values[0]);
    const double before = sign * static_cast<double>(values[-1]);
    const double after = sign * static_cast<double>(values[1]);
    if (!(here > before && here >= after) || here <= 0.0) return std::nullopt;
    const double shift = 0.5 * (after - before) / (2.0 * here - before - after);
    const double lag = (index + shift) * curve.step;
    if (std::abs(lag) > largestLag) return std::nullopt;
    return Peak{lag, here + 0.25 * (after - before) * shift, index, 0.0};
}

/// The tallest local peak of sign * curve among grid points from..to.
std::optional<ArrivalEstimator::Peak> ArrivalEstimator::tallest(const Curve& curve, int from, int to,
                                                                double sign) const {
    if (from > to) return std::nullopt;
    const auto side = static_cast<float>(sign);
    const auto placeFrom = [&](int index, auto&& find) {
        return index + static_cast<int>(find(curve.centre() + index, static_cast<std::size_t>(to + 1 - index)));
    };
    // The tallest grid point is mostly the peak, and few others are then worth a parabola.
    auto best =
        peakAt(curve, placeFrom(from, [&](auto... row) { return kernels::placeOfLargest(row..., side); }), sign);
    for (int index = from; index <= to; ++index) {
        // No parabola lifts a point by more than a tenth, five points a period.
        const float leastHeight = best ? std::nextafter(static_cast<float>(0.9 * best->height), 0.0f)
                                       : std::numeric_limits<float>::denorm_min();
        index = placeFrom(index, [&](auto... row) { return kernels::firstReaching(row..., side, leastHeight); });
        if (index > to) break;
        const auto peak = peakAt(curve, index, sign);
        if (peak &&
            (!best || peak->height > best->height || (peak->height == best->height && peak->index < best->index)))
            best = peak;
    }
    return best;
}

/// The tallest peaks of either sign of the wide-band curve, the tallest first.
std::vector<ArrivalEstimator::Contender> ArrivalEstimator::contenders(Scratch& scratch) const {
    const auto all = static_cast<std::size_t>(2 * reach + 1);
    scratch.peaks.resize(all + kernels::localPeaksRoom);
    const std::size_t count = kernels::localPeaks(scratch.curve.centre() - reach, all, scratch.peaks.data());
    std::vector<Contender> found;
    found.reserve(mostContenders + 1);
    for (std::size_t k = 0; k < count; ++k) {
        const int index = static_cast<int>(scratch.peaks[k]) - reach;
        const double value = static_cast<double>(scratch.curve.centre()[index]);
        const double sign = value < 0.0 ? -1.0 : 1.0;
        if (found.size() == mostContenders && sign * value < 0.9 * found.back().peak.height)
            continue; // as in tallest()
        const auto peak = peakAt(scratch.curve, index, sign);
        if (!peak || (found.size() == mostContenders && peak->height <= found.back().peak.height)) continue;
        const auto taller = [](const Contender& a, const Contender& b) { return a.peak.height > b.peak.height; };
        const Contender contender{*peak, sign, 0.0, 0.0};
        found.insert(std::upper_bound(found.begin(), found.end(), contender, taller), contender);
        if (found.size() > mostContenders) found.pop_back();
    }
    for (auto& contender : found) {
        double flat = 0.0;
        const int last = std::min(contender.peak.index + contenderReach, reach);
        for (int index = std::max(contender.peak.index - contenderReach, -reach); index <= last; ++index)
            flat = std::max(flat, contender.sign * static_cast<double>(scratch.flat.centre()[index]));
        contender.worth = contender.peak.height * (flat + flatFloor);
    }
    return found;
}

/// The first one's probability is known; the others share what it leaves by worth^oddsExponent. None is likelier than
/// the first: what would be too much for one goes to the rest, and if need be to the first.
void ArrivalEstimator::share(std::vector<Contender>& answers) {
    double& first = answers.front().probability;
    first = std::max(first, 1.0 / static_cast<double>(answers.size()));
    double left = 1.0 - first, shares = 0.0;
    for (std::size_t k = 1; k < answers.size(); ++k)
        shares += std::pow(answers[k].worth, oddsExponent);
    for (std::size_t k = 1; k < answers.size(); ++k) { // the largest comes first
        const double own = std::pow(answers[k].worth, oddsExponent);
        answers[k].probability = shares > 0.0 ? std::min(first, left * std::min(1.0, own / shares)) : 0.0;
        left -= answers[k].probability;
        shares -= own;
    }
    first += left; // rounding, or all of it where there is no other
}

/// Where the main lobe of a peak ends on one side: before the curve changes sign, or in a valley from which it rises
/// again by half the peak's height. A single arrival's lobe is 2.7 ms wide, so a second source's peak may stand in it.
int ArrivalEstimator::lobeEnd(const Scratch& scratch, const Peak& peak, double sign, int direction) const {
    int index = peak.index, valley = peak.index;
    double lowest = peak.height;
    while (std::abs(index + direction) <= reach) {
        const double here = sign * static_cast<double>(scratch.curve.centre()[index + direction]);
        if (here <= 0.0) return index;
        index += direction;
        if (here < lowest) {
            lowest = here;
            valley = index;
        } else if (here - lowest > 0.5 * peak.height) {
            return valley;
        }
    }
    return index;
}

/// phasor * e^{j omega lag} of each bin of w.
void ArrivalEstimator::align(const Weighting& w, double lag, Scratch& scratch) const {
    const auto count = static_cast<std::size_t>(w.count);
    scratch.aligned[0].resize(count);
    scratch.aligned[1].resize(count);
    kernels::turnPhasors(scratch.phasorRe.data() + w.first, scratch.phasorIm.data() + w.first, count, turnBy(w, lag),
                         scratch.aligned[0].data(), scratch.aligned[1].data());
}

kernels::Turn ArrivalEstimator::turnBy(const Weighting& w, double lag) const {
    const double step = 2.0 * std::numbers::pi * geometry.binWidth * sample * lag;
    return {w.first * step, step};
}

kernels::TurnedSums ArrivalEstimator::sumsAt(const Weighting& w, std::span<const double> weights, double lag,
                                             const Scratch& scratch) const {
    return kernels::turnedSums(scratch.phasorRe.data() + w.first, scratch.phasorIm.data() + w.first, weights.data(),
                               w.omega.data(), w.omega.size(), turnBy(w, lag));
}

/// Newton steps on the exact sum; the scratch is left aligned to the peak's lag.
ArrivalEstimator::Peak ArrivalEstimator::sharpen(const Weighting& w, std::span<const double> weights, Peak peak,
                                                 double sign, Scratch& scratch) const {
    const double coarse = peak.lag;
    for (int step = 0;; ++step) {
        const auto sums = sumsAt(w, weights, peak.lag, scratch);
        peak.height = sign * sums.value;
        peak.sharpness = -sign * sums.bend;
        if (step == newtonSteps || !(peak.sharpness > 0.0)) break;
        const double moved = std::clamp(peak.lag - sums.slope / sums.bend, coarse - gridSamples, coarse + gridSamples);
        peak.lag = std::clamp(moved, -largestLag, largestLag);
    }
    align(w, peak.lag, scratch);
    return peak;
}

/// One standard uncertainty in samples from the scatter of the phase over blocks of frequency: with theta the phase
/// left, sqrt(sum over blocks of (sum W omega sin theta)^2) / sum W omega^2 cos theta, the largest of three ways to cut
/// blocks. The scratch must be aligned to the lag.
double ArrivalEstimator::blockScatter(const Weighting& w, std::span<const double> weights,
                                      const std::vector<int>& twentieths, double sharpness,
                                      const Scratch& scratch) const {
    if (!(sharpness > 0.0)) return largestLag;
    const auto scatter = [&](const std::vector<int>& edges) {
        double squares = 0.0;
        for (std::size_t b = 0; b + 1 < edges.size(); ++b) {
            const int first = edges[b];
            const double block = kernels::sumOfProducts(weights.data() + first, w.omega.data() + first,
                                                        scratch.aligned[1].data() + first,
                                                        static_cast<std::size_t>(edges[b + 1] - first));
            squares += block * block;
        }
        return std::sqrt(squares) / sharpness;
    };
    return std::min(largestLag,
                    std::max({scatter(w.thirds), scatter(w.sixths), scatter(twentieths) * std::sqrt(20.0 / 19.0)}));
}

/// Of the third octaves from 60 to 8000 Hz, those in which over a fifth of the bins is more coherent than chance.
double ArrivalEstimator::shareOfThirds(std::span<const float> coherence, double limit) const {
    int passing = 0;
    const auto first = coherence.begin() + wide.first;
    for (std::size_t b = 0; b + 1 < wide.thirds.size(); ++b) {
        const auto above = std::count_if(first + wide.thirds[b], first + wide.thirds[b + 1],
                                         [limit](float value) { return static_cast<double>(value) > limit; });
        if (5 * above > wide.thirds[b + 1] - wide.thirds[b]) ++passing;
    }
    return static_cast<double>(passing) / static_cast<double>(wide.thirds.size() - 1);
}

/// The tallest peak within `around` samples of `near` of the curve with maximum-likelihood weights
/// gamma^2/(1-gamma^2), and its block scatter.
std::optional<ArrivalEstimator::Peak> ArrivalEstimator::likeliest(std::span<const float> coherence, double averages,
                                                                  const Peak& near, double around, double sign,
                                                                  double& scatter, Scratch& scratch) const {
    const double limit = chanceCoherence(averages);
    auto& running = scratch.running;
    running.resize(likely.omega.size() + 1);
    const float* const raw = coherence.data() + likely.first;
    // The bias of the estimate is taken out (Carter 1987); what chance explains counts as nothing.
    kernels::runningCoherence(raw, likely.omega.size(), limit, 1.0 / averages, running.data());
    auto& weights = scratch.likelihood;
    weights.resize(likely.omega.size());
    // One bin in a hundred passes the limit by chance, and the highest would weigh a thousand times the lowest.
    const double total = kernels::likelihoodWeights(raw, running.data(), sixthLow.data(), sixthPast.data(),
                                                    weights.size(), 0.1 * limit, mostCoherent, weights.data());
    if (!(total > 0.0)) return std::nullopt;
    for (auto& weight : weights)
        weight *= 1.0 / total;
    computeCurve(
        likely.first, likely.count, [&](std::size_t k) { return weights[k]; }, scratch, scratch.curve);
    const int from = std::max(-reach, static_cast<int>(std::ceil((near.lag - around) / gridSamples)));
    const int to = std::min(reach, static_cast<int>(std::floor((near.lag + around) / gridSamples)));
    const auto found = tallest(scratch.curve, from, to, sign);
    if (!found) return std::nullopt;
    const Peak sharp = sharpen(likely, weights, *found, sign, scratch);
    cutTwentieths(likely, weights, scratch.moments, scratch.twentieths);
    scatter = blockScatter(likely, weights, scratch.twentieths, sharp.sharpness, scratch);
    return sharp;
}

/// Least squares through the phase within the band, every octave alike, around a lag and sign that are settled: within
/// the band alone a flip looks almost like half a period.
std::optional<Arrival> ArrivalEstimator::phaseSlope(double lag, double sign, double confidence,
                                                    Scratch& scratch) const {
    constexpr int rounds = 3;             // the phase is unwrapped anew around each answer
    constexpr double cautionInBand = 1.3; // measured: without it 1u covers 62 of 83
    constexpr int fewestBins = 3;
    if (band.count < fewestBins) return std::nullopt;
    double moment = 0.0;
    for (std::size_t k = 0; k < band.omega.size(); ++k)
        moment += band.weights[k] * band.omega[k] * band.omega[k];
    for (int round = 0; round < rounds; ++round) {
        align(band, lag, scratch);
        double slope = 0.0;
        for (std::size_t k = 0; k < band.omega.size(); ++k)
            slope += band.weights[k] * band.omega[k] *
                     std::atan2(sign * scratch.aligned[1][k], sign * scratch.aligned[0][k]);
        lag -= slope / moment;
    }
    if (std::abs(lag) > largestLag) return std::nullopt;
    align(band, lag, scratch);
    const double bend = sumsAt(band, band.weights, lag, scratch).bend;
    const double scatter = blockScatter(band, band.weights, band.twentieths, -sign * bend, scratch);
    return Arrival{Seconds(lag * sample), Seconds(cautionInBand * std::hypot(scatter, floorSamples) * sample),
                   confidence, std::nullopt};
}

std::optional<ArrivalEstimator::Estimate> ArrivalEstimator::estimate(std::span<const std::complex<float>> crossSpectrum,
                                                                     std::span<const float> coherence, double averages,
                                                                     Scratch& scratch) const {
    if (wide.count == 0 || reach < 2) return std::nullopt;
    prepare(crossSpectrum, scratch);

    // Two curves settle the peak together.
    const double alike = 1.0 / wide.count;
    computeCurve(
        wide.first, wide.count, [&](std::size_t) { return alike; }, scratch, scratch.flat);
    computeCurve(
        wide.first, wide.count, [&](std::size_t k) { return wide.weights[k]; }, scratch, scratch.curve);
    auto answers = contenders(scratch);
    const auto worthMore = [](const Contender& a, const Contender& b) { return a.worth > b.worth; };
    const auto chosen = std::min_element(answers.begin(), answers.end(), worthMore);
    if (chosen == answers.end()) return std::nullopt;
    std::rotate(answers.begin(), chosen, chosen + 1);
    const Contender answer = answers.front();
    const double sign = answer.sign;
    const int lobeLow = lobeEnd(scratch, answer.peak, sign, -1), lobeHigh = lobeEnd(scratch, answer.peak, sign, 1);
    // The flat curve chooses between lobes; within one its ripples only mislead.
    const Peak coarse = tallest(scratch.curve, lobeLow, lobeHigh, sign).value_or(answer.peak);
    // Its rivals: outside its main lobe, or of the other sign.
    answers.erase(std::remove_if(answers.begin() + 1, answers.end(),
                                 [&](const Contender& other) {
                                     return other.sign == sign && other.peak.index >= lobeLow &&
                                            other.peak.index <= lobeHigh;
                                 }),
                  answers.end());
    std::sort(answers.begin() + 1, answers.end(), worthMore);
    if (answers.size() > mostCandidates) answers.resize(mostCandidates);

    // How far the best of one sign stands above the best of the other, in both curves.
    const auto flat = tallest(scratch.flat, sign), flatOther = tallest(scratch.flat, -sign);
    const auto best = [&](double side, const std::optional<Peak>& ofFlat) {
        const auto ofWide = tallest(scratch.curve, side);
        return std::max(ofWide ? ofWide->height : 0.0, least) * ((ofFlat ? ofFlat->height : 0.0) + flatFloor);
    };
    const double odds = std::pow(best(sign, flat) / best(-sign, flatOther), oddsExponent);

    const Peak peak = sharpen(wide, wide.weights, coarse, sign, scratch);
    const double wideScatter = blockScatter(wide, wide.weights, wide.twentieths, peak.sharpness, scratch);
    const double wideUncertainty = caution * std::hypot(wideScatter, floorSamples);

    // Maximum-likelihood weights: necessary where noise rules, harmful in rooms. The scatter chooses.
    double lag = peak.lag, uncertainty = wideUncertainty;
    // Of a narrow source, one with hardly a third octave in common beyond chance, the noise in all others moves the
    // peak about its broad lobe and makes it look sharp: there they decide the place whatever the scatter says.
    const bool narrow = shareOfThirds(coherence, chanceCoherence(averages)) < narrowBelow;
    const double around = narrow ? farthestRefined
                          : peak.sharpness > 0.0
                              ? std::clamp(1.5 * std::sqrt(peak.height / peak.sharpness), 1.5, farthestRefined)
                              : 1.5;
    double likelyScatter = 0.0;
    if (const auto refined = likeliest(coherence, averages, peak, around, sign, likelyScatter, scratch)) {
        if (narrow || likelyScatter < clearlyLess * wideScatter) {
            lag = refined->lag;
            uncertainty = caution * std::hypot(likelyScatter, floorSamples);
        }
    }

    // Does the flat curve peak in the same lobe, and what do energy and the band say of the sign?
    const double level = flatOther ? flatOther->height : 0.0;
    const bool agrees = flat && (sign > 0.0 ? flat->height >= level : flat->height > level) && flat->index >= lobeLow &&
                        flat->index <= lobeHigh;
    const auto strongest = *std::max_element(scratch.magnitudes.begin() + wide.first,
                                             scratch.magnitudes.begin() + wide.first + wide.count);
    computeCurve(
        wide.first, wide.count,
        [&](std::size_t k) {
            return static_cast<double>(scratch.magnitudes[static_cast<std::size_t>(wide.first) + k] / strongest);
        },
        scratch, scratch.curve);
    const auto disagrees = [&] { // nearly level counts: of a tom the two signs were seen to change places
        const auto own = tallest(scratch.curve, sign), other = tallest(scratch.curve, -sign);
        return other && (!own || other->height > nearlyLevel * own->height);
    };
    bool disagree = disagrees();
    if (!disagree && band.count > 0) {
        computeBandCurve(scratch, scratch.curve);
        disagree = disagrees();
    }

    // How sure? That the sign is right, and that no rival stands as tall: both fitted to random pairs (Readings.md).
    const double onSomeArrival = logistic(-1.72 + 0.53 * std::log(odds) + 0.86 * ((agrees ? 1.0 : 0.0) - 0.5));
    const double ahead = answers.size() > 1 ? answer.worth / answers[1].worth : 1.0 / least;
    answers.front().probability = onSomeArrival / (1.0 + std::pow(ahead, -6.0));
    share(answers);

    Estimate result;
    result.polarity = {sign > 0.0 ? Polarity::same : Polarity::inverted, std::max(0.5, odds / (1.0 + odds))};
    double away = 0.0;
    for (std::size_t k = 0; k < answers.size(); ++k) {
        const double place = k == 0 ? lag : answers[k].peak.lag;
        away += answers[k].probability * (place - lag) * (place - lag);
        result.candidates.push_back({Seconds(place * sample),
                                     answers[k].sign > 0.0 ? Polarity::same : Polarity::inverted,
                                     answers[k].peak.height, answers[k].probability});
    }
    const double confidence = answers.front().probability;
    result.arrival = {Seconds(lag * sample), Seconds(uncertainty * sample), confidence, std::nullopt};
    if (confidence < sure) {
        result.arrival.runnerUp = result.candidates[1].delay;
        result.arrival.uncertainty = Seconds(std::sqrt(uncertainty * uncertainty + away) * sample);
    }
    result.inBand = phaseSlope(lag, sign, confidence, scratch);
    result.bandsDisagree = disagree;
    return result;
}

bool ArrivalEstimator::oneTone(std::span<const float> magnitudes, std::span<const float> coherence,
                               double averages) const {
    constexpr double faintest = 1e-5; // of the strongest: a Hann window spreads a tone over nine bins down to there
    double sum = 0.0, squares = 0.0, strongest = 0.0;
    for (int k = wide.first; k < wide.first + wide.count; ++k) {
        const auto strength = static_cast<double>(magnitudes[static_cast<std::size_t>(k)]);
        sum += strength;
        squares += strength * strength;
        strongest = std::max(strongest, strength);
    }
    if (sum * sum >= toneParticipation * squares && squares > 0.0) return false;
    const double limit = chanceCoherence(averages);
    int coherent = 0;
    for (auto k = static_cast<std::size_t>(wide.first); k < static_cast<std::size_t>(wide.first + wide.count); ++k)
        if (static_cast<double>(magnitudes[k]) > faintest * strongest && static_cast<double>(coherence[k]) > limit)
            ++coherent;
    return coherent < toneBins;
}

std::vector<float> ArrivalEstimator::curve(std::span<const std::complex<float>> crossSpectrum, Scratch& scratch) const {
    prepare(crossSpectrum, scratch);
    computeCurve(
        wide.first, wide.count, [&](std::size_t k) { return wide.weights[k]; }, scratch, scratch.curve);
    const int steps = std::max(0, reach - 1);
    return {scratch.curve.centre() - steps, scratch.curve.centre() + steps + 1};
}

} // namespace spillwright
