#include "Core/Measure/ArrivalEstimator.h"
#include "Core/Measure/PairReading.h"
#include "Core/Measure/SmoothedCurve.h"
#include "Core/Measure/WindowOverlap.h"
#include "Core/Signal/HighPass.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace spillwright {

namespace {

/// s g H(f) e^{-j 2 pi f nudge}: what an adjustment multiplies a spectrum by.
class Weight {
public:
    Weight(const TrackAdjustment& of, double sampleRate) : adjustment(of) {
        if (adjustment.highPass) filter.emplace(*adjustment.highPass, sampleRate, adjustment.highPassSlope);
        gain = adjustment.muted ? 0.0 : amplitudeOfDecibels(adjustment.gain.value) * (adjustment.flip ? -1.0 : 1.0);
    }
    std::complex<double> at(double hertz) const {
        const auto turned = std::polar(gain, -2.0 * std::numbers::pi * hertz * adjustment.nudge.value);
        return filter ? turned * filter->responseAt(Hertz(hertz)) : turned;
    }

private:
    TrackAdjustment adjustment;
    double gain = 1.0;
    std::optional<HighPass> filter;
};

std::vector<std::complex<float>> copied(const CrossSpectra& spectra, int first, int second) {
    std::vector<std::complex<float>> values(static_cast<std::size_t>(spectra.binCount()));
    spectra.copyPair(first, second, 0, values);
    return values;
}

} // namespace

CorrelationCurve correlationCurve(const CrossSpectra& spectra, int first, int second, Seconds largest) {
    ReadingOptions options;
    options.largestArrival = largest;
    const ArrivalEstimator estimator(
        {spectra.binWidth(), spectra.binCount(), spectra.windowLength() / spectra.sampleRate()}, options);
    ArrivalEstimator::Scratch scratch;
    CorrelationCurve curve;
    curve.values = estimator.curve(copied(spectra, first, second), scratch);
    curve.step = Seconds(estimator.lagStep());
    curve.firstLag = Seconds(-estimator.lagStep() * static_cast<double>((curve.values.size() - 1) / 2));
    return curve;
}

FrequencyCurve combResponse(const CrossSpectra& spectra, int first, int second, const TrackAdjustment& adjustFirst,
                            const TrackAdjustment& adjustSecond, int points) {
    const Weight weightFirst(adjustFirst, spectra.sampleRate()), weightSecond(adjustSecond, spectra.sampleRate());
    const auto cross = copied(spectra, first, second);
    const auto powerFirst = copied(spectra, first, first), powerSecond = copied(spectra, second, second);
    std::vector<double> sum(cross.size()), apart(cross.size());
    for (std::size_t k = 0; k < cross.size(); ++k) {
        const double hertz = static_cast<double>(k) * spectra.binWidth();
        const auto a = weightFirst.at(hertz), b = weightSecond.at(hertz);
        apart[k] = std::norm(a) * static_cast<double>(powerFirst[k].real()) +
                   std::norm(b) * static_cast<double>(powerSecond[k].real());
        sum[k] = apart[k] + 2.0 * (a * std::conj(b) * std::complex<double>(cross[k])).real();
    }
    return smoothedRatio(sum, apart, spectra.binWidth(), points, [](double together, double each) {
        return each > 0.0 ? decibelsOfPower(std::max(together / each, deepestRatio * deepestRatio)) : 0.0;
    });
}

CoherenceCurve coherenceCurve(const CrossSpectra& spectra, int first, int second, Seconds arrival, int points) {
    const auto cross = copied(spectra, first, second);
    const auto powerFirst = copied(spectra, first, first), powerSecond = copied(spectra, second, second);
    const double kept = coherenceKept(arrival, spectra), averages = spectra.sharedAverages(first, second);
    std::vector<float> estimates(cross.size());
    for (std::size_t k = 0; k < cross.size(); ++k) {
        const double own = static_cast<double>(powerFirst[k].real()) * static_cast<double>(powerSecond[k].real());
        estimates[k] =
            own > 0.0 ? static_cast<float>(std::min(1.0, std::norm(std::complex<double>(cross[k])) / own)) : -1.0f;
    }
    CoherenceCurve curve;
    const double high = std::min(highestHertz, (spectra.binCount() - 1) * spectra.binWidth());
    for (int point = 0; point < points; ++point) {
        const double hertz = lowestHertz * std::pow(high / lowestHertz, point / std::max(1.0, points - 1.0));
        const double width = std::max(1.0, hertz * smoothedWidth / spectra.binWidth());
        const double centre = hertz / spectra.binWidth();
        const int last =
            std::min(static_cast<int>(cross.size()) - 1, static_cast<int>(std::lround(centre + width / 2)));
        // A bin's share is what it covers of the smoothed range; the last one in a thousandth of a bin would weigh 0.
        int bin = std::min(last, std::max(1, static_cast<int>(std::lround(centre - width / 2))));
        const int from = bin;
        std::vector<double> weights;
        for (; bin <= last; ++bin)
            weights.push_back(
                std::max(1e-3, std::min(bin + 0.5, centre + width / 2) - std::max(bin - 0.5, centre - width / 2)));
        const auto estimate = CoherenceMean(from, std::move(weights)).of(estimates, averages, kept);
        curve.frequencies.push_back(hertz);
        curve.values.push_back(estimate.value);
        curve.low.push_back(estimate.low);
        curve.high.push_back(estimate.high);
    }
    return curve;
}

double combResponseOfCopy(Hertz frequency, Seconds delay, Polarity polarity, Decibels level) {
    const auto copy = std::polar(sign(polarity) * amplitudeOfDecibels(level.value),
                                 -2.0 * std::numbers::pi * frequency.value * delay.value);
    return decibelsOfAmplitude(std::max(std::abs(1.0 + copy), deepestRatio));
}

} // namespace spillwright
