#include "Core/Measure/PairReading.h"

#include "Core/Measure/ArrivalEstimator.h"
#include "Core/Measure/WindowOverlap.h"
#include "Core/ThirdOctaves.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>

namespace spillwright {

namespace {

constexpr double relatedAbove = 3.0; // standard deviations: one unrelated pair in 740
constexpr int fewestStretches = 3;   // for the test of repeating phases

struct NominalBand {
    double hertz;
    int k; ///< Exact centre 10^(k/10) Hz.
};
// IEC 61260-1, the bands reported.
constexpr std::array<NominalBand, 20> reportedThirds{{{100, 20},  {125, 21},  {160, 22},  {200, 23},  {250, 24},
                                                      {315, 25},  {400, 26},  {500, 27},  {630, 28},  {800, 29},
                                                      {1000, 30}, {1250, 31}, {1600, 32}, {2000, 33}, {2500, 34},
                                                      {3150, 35}, {4000, 36}, {5000, 37}, {6300, 38}, {8000, 39}}};

Band thirdOctave(int k) {
    return {Hertz(std::pow(10.0, (k - 0.5) / 10.0)), Hertz(std::pow(10.0, (k + 0.5) / 10.0))};
}

/// Covariance of the sums over two pools, for bins of variance 1: of a Hann spectrum, bins share two thirds of their
/// amplitude with the next and a sixth with the next but one.
double inCommon(const Pool& a, const Pool& b) {
    constexpr std::array<double, 3> shared{1.0, 4.0 / 9.0, 1.0 / 36.0};
    double sum = 0.0;
    for (int i = a.firstBin; i < a.firstBin + a.bins; ++i)
        for (int j = std::max(b.firstBin, i - 2); j <= std::min(b.firstBin + b.bins - 1, i + 2); ++j)
            sum += shared[static_cast<std::size_t>(std::abs(i - j))];
    return sum;
}

/// Reads pairs of one CrossSpectra under one set of options. Immutable; a Scratch a thread.
class PairReader {
public:
    struct Scratch {
        std::vector<std::complex<float>> cross;
        std::vector<std::complex<float>> phases;
        std::vector<float> coherence;
        ArrivalEstimator::Scratch arrival;
    };

    PairReader(const CrossSpectra& of, std::span<const int> tracks, const ReadingOptions& options);
    PairReading read(int first, int second, Scratch& scratch) const;

private:
    const CrossSpectra& spectra;
    ArrivalEstimator estimator;
    ThirdOctaveBins band;
    std::vector<ThirdOctaveBins> bandThirds;
    std::vector<std::pair<NominalBand, ThirdOctaveBins>> thirds;
    std::size_t bins = 0;                   // copied of each pair, from 0 Hz on
    std::vector<std::vector<float>> powers; // [track of the spectra][bin]
    std::vector<double> phaseWeights;       // [phase pool] sum of 1/bin, of all together 1
    std::vector<double> poolGains;          // [phase pool] independent averages of a pool for one of a bin
    double unitVariance = 0.0;              // of the weighted mean of what has variance 1 in each pool

    double meanCoherence(const ThirdOctaveBins& range, double kept, const Scratch& scratch) const;
    double relation(int first, int second, Scratch& scratch) const;
    template <class Variance>
    double varianceOfMean(Variance&& variance) const;
    Decibels summationGain(int first, int second, double sign, const Scratch& scratch) const;
};

PairReader::PairReader(const CrossSpectra& of, std::span<const int> tracks, const ReadingOptions& options)
    : spectra(of), estimator({of.binWidth(), of.binCount(), of.windowLength() / of.sampleRate()}, options),
      band(binsWithin(options.band, of.binWidth(), of.binCount())),
      bandThirds(thirdOctaveBins(options.band, of.binWidth(), of.binCount())),
      powers(static_cast<std::size_t>(of.trackCount())) {
    for (const auto& nominal : reportedThirds) {
        const Band edges = thirdOctave(nominal.k);
        const auto range = binsWithin(edges, of.binWidth(), of.binCount());
        if (edges.high.value < std::min(of.sampleRate() / 2, of.binCount() * of.binWidth()) &&
            range.firstBin <= range.lastBin)
            thirds.emplace_back(nominal, range);
    }
    bins = static_cast<std::size_t>(std::max(estimator.binsNeeded(), band.lastBin + 1));
    if (!thirds.empty()) bins = std::max(bins, static_cast<std::size_t>(thirds.back().second.lastBin) + 1);
    const auto phasePools = of.phasePools();
    if (!phasePools.empty())
        bins = std::max(bins, static_cast<std::size_t>(phasePools.back().firstBin + phasePools.back().bins));

    std::vector<std::complex<float>> own(bins);
    for (const int track : tracks) {
        auto& power = powers[static_cast<std::size_t>(track)];
        if (!power.empty()) continue;
        spectra.copyPair(track, track, 0, own);
        power.resize(bins);
        std::transform(own.begin(), own.end(), power.begin(), [](auto value) { return value.real(); });
    }

    double sum = 0.0;
    for (const Pool& pool : phasePools) {
        double weight = 0.0;
        for (int bin = pool.firstBin; bin < pool.firstBin + pool.bins; ++bin)
            weight += 1.0 / bin;
        phaseWeights.push_back(weight);
        poolGains.push_back(pool.bins * pool.bins / inCommon(pool, pool));
        sum += weight;
    }
    for (double& weight : phaseWeights)
        weight /= sum;
    unitVariance = varianceOfMean([](std::size_t) { return 1.0; });
}

/// Variance of the weighted mean over phase pools of what has a variance of its own in each and is as alike in
/// neighbours as their sums are.
template <class Variance>
double PairReader::varianceOfMean(Variance&& variance) const {
    const auto pools = spectra.phasePools();
    double total = 0.0;
    for (std::size_t k = 0; k < pools.size(); ++k) {
        const double own = phaseWeights[k] * std::sqrt(variance(k));
        total += own * own;
        for (std::size_t next = k + 1; next < std::min(k + 3, pools.size()); ++next)
            total += 2.0 * own * phaseWeights[next] * std::sqrt(variance(next)) * inCommon(pools[k], pools[next]) /
                     std::sqrt(inCommon(pools[k], pools[k]) * inCommon(pools[next], pools[next]));
    }
    return total;
}

/// Over a range of bins, every octave alike; `kept` is the part of coherence that the pair's arrival leaves.
double PairReader::meanCoherence(const ThirdOctaveBins& range, double kept, const Scratch& scratch) const {
    double sum = 0.0, weights = 0.0;
    for (int bin = range.firstBin; bin <= range.lastBin; ++bin) {
        const double coherence = static_cast<double>(scratch.coherence[static_cast<std::size_t>(bin)]);
        if (coherence < 0.0) continue; // nothing sounds there
        sum += std::min(1.0, coherence / kept) / bin;
        weights += 1.0 / bin;
    }
    return weights > 0.0 ? sum / weights : 0.0;
}

/// How many standard deviations the pair stands above unrelated tracks. Whether the cross-phase repeats from stretch to
/// stretch: coherence alone takes two players of one tune, recorded apart, for one. Where there are too few stretches
/// to ask, coherence has to do.
double PairReader::relation(int first, int second, Scratch& scratch) const {
    const auto pools = spectra.phasePools();
    double mean = 0.0, variance = 0.0;
    if (spectra.sharedStretches(first, second) >= fewestStretches) {
        scratch.phases.resize(pools.size());
        spectra.copyPhaseSums(first, second, scratch.phases);
        const PhaseWeights weights = spectra.phaseWeights(first, second);
        const double pairs = weights.sum * weights.sum - weights.squares;
        for (std::size_t k = 0; k < pools.size(); ++k) {
            const double re = static_cast<double>(scratch.phases[k].real());
            const double im = static_cast<double>(scratch.phases[k].imag());
            mean += phaseWeights[k] * (re * re + im * im - weights.squares) / pairs;
        }
        variance = unitVariance * (weights.squares * weights.squares - weights.fourths) / (pairs * pairs);
    } else {
        const double averages = spectra.sharedAverages(first, second);
        if (averages < 2.0) return 0.0;
        double sounding = 0.0;
        for (std::size_t k = 0; k < pools.size(); ++k) {
            const double coherence =
                static_cast<double>(scratch.coherence[static_cast<std::size_t>(pools[k].firstBin)]);
            if (coherence < 0.0) continue; // nothing sounds there
            mean += phaseWeights[k] * (coherence - 1.0 / (averages * poolGains[k]));
            sounding += phaseWeights[k];
        }
        if (sounding > 0.0) mean /= sounding;
        // Of unrelated tracks the estimate has mean 1/n and variance (n-1)/(n^2 (n+1)) (Carter et al. 1973).
        variance = varianceOfMean([&](std::size_t k) {
            const double n = averages * poolGains[k];
            return (n - 1.0) / (n * n * (n + 1.0));
        });
    }
    return variance > 0.0 ? mean / std::sqrt(variance) : 0.0;
}

/// Sum over third octaves of their share times P/P0. Those in which neither track sounds drop out.
Decibels PairReader::summationGain(int first, int second, double sign, const Scratch& scratch) const {
    const auto& a = powers[static_cast<std::size_t>(first)];
    const auto& b = powers[static_cast<std::size_t>(second)];
    double gain = 0.0, shares = 0.0;
    for (const auto& third : bandThirds) {
        double own = 0.0, both = 0.0;
        for (int bin = third.firstBin; bin <= third.lastBin; ++bin) {
            const auto k = static_cast<std::size_t>(bin);
            own += static_cast<double>(a[k]) + static_cast<double>(b[k]);
            both += 2.0 * sign * static_cast<double>(scratch.cross[k].real());
        }
        if (!(own > 0.0)) continue;
        gain += third.share * (own + both) / own;
        shares += third.share;
    }
    constexpr double deepest = 1e-12; // a perfect cancellation is shown as -120 dB
    return Decibels(shares > 0.0 ? decibelsOfPower(std::max(gain / shares, deepest)) : 0.0);
}

PairReading PairReader::read(int first, int second, Scratch& scratch) const {
    PairReading reading;
    reading.first = first;
    reading.second = second;
    scratch.cross.resize(bins);
    scratch.coherence.resize(bins);
    spectra.copyPair(first, second, 0, scratch.cross);
    const auto& a = powers[static_cast<std::size_t>(first)];
    const auto& b = powers[static_cast<std::size_t>(second)];
    for (std::size_t k = 0; k < bins; ++k) {
        const double own = static_cast<double>(a[k]) * static_cast<double>(b[k]);
        const double re = static_cast<double>(scratch.cross[k].real());
        const double im = static_cast<double>(scratch.cross[k].imag());
        scratch.coherence[k] = own > 0.0 ? static_cast<float>(std::min(1.0, (re * re + im * im) / own)) : -1.0f;
    }

    reading.related = relation(first, second, scratch) > relatedAbove;
    reading.oneTone = reading.related && estimator.participation(scratch.cross) < ArrivalEstimator::oneToneBelow;
    double kept = 1.0;
    if (reading.related && !reading.oneTone) {
        const double averages = spectra.sharedAverages(first, second);
        if (const auto estimate = estimator.estimate(scratch.cross, scratch.coherence, averages, scratch.arrival)) {
            reading.arrival = estimate->arrival;
            reading.arrivalCandidates = estimate->candidates;
            reading.arrivalInBand = estimate->inBand;
            reading.polarity = estimate->polarity;
            reading.bandsDisagree = estimate->bandsDisagree;
            kept = coherenceKept(estimate->arrival.delay, spectra);
        }
    }
    reading.coherence = meanCoherence(band, kept, scratch);
    reading.coherenceByThirdOctave.reserve(thirds.size());
    for (const auto& [nominal, range] : thirds)
        reading.coherenceByThirdOctave.push_back({Hertz(nominal.hertz), meanCoherence(range, kept, scratch)});
    reading.summationGain = summationGain(first, second, 1.0, scratch);
    reading.summationGainFlipped = summationGain(first, second, -1.0, scratch);
    return reading;
}

} // namespace

PairReading readPair(const CrossSpectra& spectra, int first, int second, const ReadingOptions& options) {
    const std::array<int, 2> tracks{first, second};
    const PairReader reader(spectra, tracks, options);
    PairReader::Scratch scratch;
    return reader.read(first, second, scratch);
}

Result<std::vector<PairReading>> readPairs(const CrossSpectra& spectra, std::span<const int> tracks,
                                           const ReadingOptions& options, Workers& workers, const Watch& watch) {
    const PairReader reader(spectra, tracks, options);
    std::vector<std::pair<int, int>> pairs;
    for (std::size_t i = 0; i < tracks.size(); ++i)
        for (std::size_t j = i + 1; j < tracks.size(); ++j)
            pairs.emplace_back(tracks[i], tracks[j]);
    std::vector<PairReading> readings(pairs.size());
    std::vector<PairReader::Scratch> scratch(static_cast<std::size_t>(workers.count()));
    // In portions, so that progress is told and a stop is heeded within a few hundredths of a second.
    constexpr std::size_t portion = 256;
    for (std::size_t from = 0; from < pairs.size(); from += portion) {
        if (watch.stopped()) return Fault{"measuring", "stopped", "", Fault::Kind::cancelled};
        const std::size_t count = std::min(portion, pairs.size() - from);
        workers.forEach(count, [&](std::size_t item, int worker) {
            const auto& [first, second] = pairs[from + item];
            readings[from + item] = reader.read(first, second, scratch[static_cast<std::size_t>(worker)]);
        });
        watch.tell(static_cast<double>(from + count) / static_cast<double>(pairs.size()));
    }
    return readings;
}

} // namespace spillwright
