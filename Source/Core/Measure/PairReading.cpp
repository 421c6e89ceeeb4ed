#include "Core/Measure/PairReading.h"

#include "Core/Measure/ArrivalEstimator.h"
#include "Core/Measure/ArrivalKernels.h"
#include "Core/Measure/MainsHum.h"
#include "Core/Measure/WindowOverlap.h"
#include "Core/ThirdOctaves.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <numbers>

namespace spillwright {

namespace {

constexpr double relatedAbove = 3.0; // standard deviations: one unrelated pair in 740
constexpr double acrossAbove = 2.33; // the same by the blocks' own scatter: one in 100
constexpr double blocksPerOctave = 12.0;
constexpr int fewestStretches = 3; // for the test of repeating phases

// Hum of the mains.
constexpr int linesBesideSound = 4;      // a tune's own notes stand on two or three multiples now and then
constexpr int linesAlone = 2;            // where nothing else relates the pair
constexpr double weakRelation = 20.0;    // standard deviations: above, lines that do not stand out cannot be its cause
constexpr double patternShare = 0.9;     // of the relation, to be found on the lines alone
constexpr double lineHalfWidth = 3.0;    // bins
constexpr double hummingCoherence = 0.9; // of lines below the bins whose phases are kept

// Of a sum over bins, against that of independent ones: the square root of 1 + 2 (4/9 + 1/36), see hannNeighbours.
constexpr double sharedWithNeighbours = 1.4;

// What is printed on two tracks.
constexpr double filledFrom = 0.95;         // coherence of the bins that a printed signal fills
constexpr double misalignedRipple = 0.1;    // radians squared: what windows a whole coherence apart do to tunes' phases
constexpr int printedBins = 24;             // at least: eight neighbours' worth of a room's ripple
constexpr double deviationsBelow = 2.0;     // of the flatness, for "no room between" to be shown and not only possible
constexpr double faintLag = 0.05 / 48000.0; // s; what is by wire arrives at once
constexpr double faintSignificance = 5.0;   // standard deviations

Band thirdOctave(int k) {
    return {Hertz(std::pow(10.0, (k - 0.5) / 10.0)), Hertz(std::pow(10.0, (k + 0.5) / 10.0))};
}

/// Reads pairs of one CrossSpectra under one set of options. Immutable; a Scratch a thread.
class PairReader {
public:
    struct Scratch {
        std::vector<std::complex<float>> cross;
        std::vector<std::complex<float>> phases;
        std::vector<float> coherence;  // the estimate; below 0 where nothing sounds
        std::vector<float> magnitudes; // of the cross-spectrum
        std::vector<double> repeats;   // a phase pool: 0 on average if unrelated ...
        std::vector<double> scatter;   // ... with this standard deviation
        MainsHum hum;
        ArrivalEstimator::Scratch arrival;
    };

    PairReader(const CrossSpectra& of, std::span<const int> tracks, const ReadingOptions& options);
    PairReading read(int first, int second, Scratch& scratch) const;

private:
    const CrossSpectra& spectra;
    ArrivalEstimator estimator;
    MainsHumFinder humFinder;
    CoherenceMean bandMean;
    std::vector<ThirdOctaveBins> bandThirds;
    std::vector<std::pair<NominalThirdOctave, CoherenceMean>> thirds;
    std::size_t bins = 0;                   // copied of each pair, from 0 Hz on
    std::vector<std::vector<float>> powers; // [track of the spectra][bin]

    struct PhasePool {
        int first = 0, last = 0;   // bins
        double weight = 0.0;       // sum of 1/bin
        int block = 0;             // twelfths of an octave
        double averages = 1.0;     // independent ones for one of a bin
        double alikeBefore = 0.0;  // with the pool before ...
        double alikeEarlier = 0.0; // ... and the one before that
        double middle() const { return 0.5 * (first + last); }
    };
    std::vector<PhasePool> phasePools;

    void prepare(int first, int second, Scratch& scratch) const;
    void findRepeats(const PhaseWeights& stretches, int count, double averages, Scratch& scratch) const;
    template <class Counts>
    double standing(const Scratch& scratch, Counts&& counts) const;
    double across(const Scratch& scratch) const;
    bool humPattern(double nominal, double all, const Scratch& scratch) const;
    bool linesCohere(const Scratch& scratch) const;
    void leaveHumOut(Scratch& scratch) const;
    bool sharesOffset(int first, int second) const;
    bool printed(const Arrival& arrival, Polarity polarity, const PhaseWeights& stretches, double averages,
                 double& level, const Scratch& scratch) const;
    bool faintlyAlike(const PhaseWeights& stretches, const Scratch& scratch) const;
    Decibels summationGain(int first, int second, double sign, const Scratch& scratch) const;
};

PairReader::PairReader(const CrossSpectra& of, std::span<const int> tracks, const ReadingOptions& options)
    : spectra(of), estimator({of.binWidth(), of.binCount(), of.windowLength() / of.sampleRate()}, options),
      humFinder(of.binWidth()),
      bandMean(CoherenceMean::overOctaves(binsWithin(options.band, of.binWidth(), of.binCount()), of.phasePools())),
      bandThirds(thirdOctaveBins(options.band, of.binWidth(), of.binCount())),
      powers(static_cast<std::size_t>(of.trackCount())) {
    int last = binsWithin(options.band, of.binWidth(), of.binCount()).lastBin;
    for (const auto& nominal : nominalThirdOctaves) {
        const Band edges = thirdOctave(nominal.k);
        const auto range = binsWithin(edges, of.binWidth(), of.binCount());
        if (!(edges.high.value < std::min(of.sampleRate() / 2, of.binCount() * of.binWidth())) ||
            range.firstBin > range.lastBin)
            continue;
        thirds.emplace_back(nominal, CoherenceMean::overOctaves(range, of.phasePools()));
        last = std::max(last, range.lastBin);
    }
    const auto pools = of.phasePools();
    for (std::size_t k = 0; k < pools.size(); ++k) {
        PhasePool pool;
        pool.first = pools[k].firstBin;
        pool.last = pools[k].firstBin + pools[k].bins - 1;
        pool.averages = averagesOfPool(pools[k]);
        for (int bin = pool.first; bin <= pool.last; ++bin)
            pool.weight += 1.0 / bin;
        if (k >= 1) pool.alikeBefore = likenessOfPools(pools[k], pools[k - 1]);
        if (k >= 2) pool.alikeEarlier = likenessOfPools(pools[k], pools[k - 2]);
        pool.block = static_cast<int>(std::floor(blocksPerOctave * std::log2(pool.first)));
        phasePools.push_back(pool);
        last = std::max(last, pool.last);
    }
    bins = static_cast<std::size_t>(std::max(estimator.binsNeeded(), last + 1));

    std::vector<std::complex<float>> own(bins);
    for (const int track : tracks) {
        auto& power = powers[static_cast<std::size_t>(track)];
        if (!power.empty()) continue;
        spectra.copyPair(track, track, 0, own);
        power.resize(bins);
        std::transform(own.begin(), own.end(), power.begin(), [](auto value) { return value.real(); });
    }
}

void PairReader::prepare(int first, int second, Scratch& scratch) const {
    scratch.cross.resize(bins);
    scratch.coherence.resize(bins);
    scratch.magnitudes.resize(bins);
    scratch.phases.resize(phasePools.size());
    spectra.copyPair(first, second, 0, scratch.cross);
    spectra.copyPhaseSums(first, second, scratch.phases);
    const auto& a = powers[static_cast<std::size_t>(first)];
    const auto& b = powers[static_cast<std::size_t>(second)];
    kernels::coherences(scratch.cross.data(), a.data(), b.data(), bins, scratch.magnitudes.data(),
                        scratch.coherence.data());
}

/// Whether the cross-phase repeats from stretch to stretch, bin by bin: coherence alone takes two players of one tune,
/// recorded apart, for one. Where there are too few stretches to ask, coherence has to do.
void PairReader::findRepeats(const PhaseWeights& stretches, int count, double averages, Scratch& scratch) const {
    scratch.repeats.assign(phasePools.size(), 0.0);
    scratch.scatter.assign(phasePools.size(), 0.0);
    if (count >= fewestStretches) {
        const double perPair = 1.0 / (stretches.sum * stretches.sum - stretches.squares);
        const double scatter = std::sqrt(stretches.squares * stretches.squares - stretches.fourths) * perPair;
        for (std::size_t k = 0; k < phasePools.size(); ++k) {
            const double re = static_cast<double>(scratch.phases[k].real());
            const double im = static_cast<double>(scratch.phases[k].imag());
            scratch.repeats[k] = (re * re + im * im - stretches.squares) * perPair;
            scratch.scatter[k] = scatter;
        }
    } else if (averages >= 2.0) {
        // Of unrelated tracks the estimate has mean 1/n and variance (n-1)/(n^2 (n+1)) (Carter et al. 1973).
        for (std::size_t k = 0; k < phasePools.size(); ++k) {
            const double n = averages * phasePools[k].averages;
            const double coherence =
                static_cast<double>(scratch.coherence[static_cast<std::size_t>(phasePools[k].first)]);
            if (coherence < 0.0) continue; // nothing sounds there
            scratch.repeats[k] = coherence - 1.0 / n;
            scratch.scatter[k] = std::sqrt((n - 1.0) / (n + 1.0)) / n;
        }
    }
}

/// How many standard deviations the pair stands above unrelated tracks in the bins that count, every octave alike.
template <class Counts>
double PairReader::standing(const Scratch& scratch, Counts&& counts) const {
    double sum = 0.0, variance = 0.0, before = 0.0, earlier = 0.0;
    for (std::size_t k = 0; k < phasePools.size(); ++k) {
        const auto& pool = phasePools[k];
        const bool taken = counts(pool.first) && counts(pool.last);
        const double scatter = taken ? pool.weight * scratch.scatter[k] : 0.0;
        if (taken) sum += pool.weight * scratch.repeats[k];
        variance += scatter * (scatter + 2.0 * pool.alikeBefore * before + 2.0 * pool.alikeEarlier * earlier);
        earlier = before;
        before = scatter;
    }
    return variance > 0.0 ? sum / std::sqrt(variance) : 0.0;
}

/// The same, judged by how the blocks of a twelfth of an octave differ among each other. A note fills many neighbouring
/// bins with one phase, which then repeat or not together; by chance some of a tune's do, all over the band they do
/// not.
double PairReader::across(const Scratch& scratch) const {
    double sum = 0.0, squares = 0.0, block = 0.0;
    for (std::size_t k = 0; k < phasePools.size(); ++k) {
        block += phasePools[k].weight * scratch.repeats[k];
        if (k + 1 < phasePools.size() && phasePools[k + 1].block == phasePools[k].block) continue;
        sum += block;
        squares += block * block;
        block = 0.0;
    }
    return squares > 0.0 ? sum / std::sqrt(squares) : 0.0;
}

/// A weak relation that is found on the multiples of one mains frequency and nowhere else.
bool PairReader::humPattern(double nominal, double all, const Scratch& scratch) const {
    const double width = spectra.binWidth();
    if (all > weakRelation || width * 2.0 * lineHalfWidth > 0.5 * nominal) return false;
    const auto onLine = [&](int bin) {
        const double multiple = bin * width / nominal;
        return std::abs(multiple - std::round(multiple)) * nominal <= lineHalfWidth * width;
    };
    return standing(scratch, [&](int bin) { return !onLine(bin); }) <= relatedAbove &&
           standing(scratch, onLine) > patternShare * all;
}

/// Whether the lowest lines are one steady tone in both: they may lie below the bins whose phases are kept.
bool PairReader::linesCohere(const Scratch& scratch) const {
    for (int multiple = 1; multiple <= 3; ++multiple) {
        const auto bin = static_cast<std::size_t>(std::lround(multiple * scratch.hum.hertz / spectra.binWidth()));
        if (bin < bins && static_cast<double>(scratch.coherence[bin]) >= hummingCoherence) return true;
    }
    return false;
}

/// Takes the bins that the mains rule out of the cross-spectrum and out of the coherence.
void PairReader::leaveHumOut(Scratch& scratch) const {
    for (std::size_t k = 0; k < bins; ++k) {
        if (!scratch.hum.ruled[k]) continue;
        scratch.cross[k] = {};
        scratch.magnitudes[k] = 0.0f;
        scratch.coherence[k] = -1.0f;
    }
}

bool PairReader::sharesOffset(int first, int second) const {
    return std::abs(spectra.statistics(first).offset()) >= notedOffset &&
           std::abs(spectra.statistics(second).offset()) >= notedOffset;
}

/// Whether one lag takes the first track's part in the second over, with nothing of a room between: in the bins that
/// the shared signal fills, the phase left after the lag is flat beyond doubt. The phases are those of the stretches,
/// whose own scatter says what chance does to their mean: late copies of notes that come and go scatter more than
/// coherence tells. `level`: root mean square of what is shared there, full scale = 1.
bool PairReader::printed(const Arrival& arrival, Polarity polarity, const PhaseWeights& stretches, double averages,
                         double& level, const Scratch& scratch) const {
    const double count = stretches.squares > 0.0 ? stretches.sum * stretches.sum / stretches.squares : 0.0;
    if (count < fewestStretches) return false;
    const double kept = coherenceKept(arrival.delay, spectra);
    const double flat = std::pow(printedFlatness * std::numbers::pi / 180.0, 2) + misalignedRipple * (1.0 - kept);
    const double turn = 2.0 * std::numbers::pi * spectra.binWidth();
    struct Bin {
        double omega, angle, variance, weight;
    };
    std::vector<Bin> found;
    double power = 0.0;
    for (std::size_t k = 0; k < scratch.phases.size(); ++k) {
        const auto bin = static_cast<std::size_t>(phasePools[k].first);
        const double coherence = static_cast<double>(scratch.coherence[bin]);
        if (coherence < filledFrom * kept) continue;
        const double omega = turn * phasePools[k].middle();
        const auto left = std::conj(std::complex<double>(scratch.phases[k])) *
                          std::polar(static_cast<double>(sign(polarity)), omega * arrival.delay.value);
        // Of phases that scatter by v, the mean phasor is shorter than 1 by v (n-1)/2n, and their mean scatters by v/n.
        const double variance = 2.0 * std::max(0.0, 1.0 - std::abs(left) / stretches.sum) / (count - 1.0);
        // What coherence says of it (Bendat & Piersol) weighs the bins: the scatter of this one must not.
        const double expected = (1.0 - coherence) / (2.0 * averages * coherence);
        found.push_back({omega, std::arg(left), variance, 1.0 / (expected + flat)});
        power += (phasePools[k].last - phasePools[k].first + 1) * static_cast<double>(scratch.magnitudes[bin]);
    }
    if (found.size() < printedBins) return false;
    // The lag once more, by least squares through these bins alone: what else the tracks hold has no say.
    double moment = 0.0, slope = 0.0;
    for (const auto& bin : found) {
        moment += bin.weight * bin.omega * bin.omega;
        slope += bin.weight * bin.omega * bin.angle;
    }
    double weights = 0.0, excess = 0.0, doubt = 0.0;
    for (const auto& bin : found) {
        const double angle = bin.angle - slope / moment * bin.omega;
        weights += bin.weight;
        excess += bin.weight * (angle * angle - bin.variance);
        doubt += bin.weight * bin.weight * 2.0 * bin.variance * bin.variance * count / (count - 1.0);
    }
    level = std::sqrt(16.0 / 3.0 * power) / spectra.windowLength(); // one-sided; a Hann window's mean square is 3/8
    return excess + deviationsBelow * sharedWithNeighbours * std::sqrt(doubt) < flat * weights;
}

/// Something alike that arrives at once and of which the averaged spectra know nothing: it repeats where the music
/// pauses.
bool PairReader::faintlyAlike(const PhaseWeights& stretches, const Scratch& scratch) const {
    if (stretches.sum * stretches.sum < fewestStretches * stretches.squares) return false;
    const double noise = sharedWithNeighbours * std::sqrt(stretches.squares / 2.0);
    double along = 0.0;
    for (const auto& phase : scratch.phases)
        along += static_cast<double>(phase.real());
    if (!(std::abs(along) > faintSignificance * noise * std::sqrt(static_cast<double>(scratch.phases.size()))))
        return false;
    const double turn = 2.0 * std::numbers::pi * spectra.binWidth();
    double averaged = 0.0, moment = 0.0, slope = 0.0, spread = 0.0;
    for (std::size_t k = 0; k < scratch.phases.size(); ++k) {
        const double omega = turn * phasePools[k].middle();
        const auto bin = static_cast<std::size_t>(phasePools[k].first);
        if (scratch.magnitudes[bin] > 0.0f)
            averaged += static_cast<double>(scratch.cross[bin].real() / scratch.magnitudes[bin]);
        moment += omega * omega * static_cast<double>(scratch.phases[k].real());
        slope -= omega * static_cast<double>(scratch.phases[k].imag());
        spread += omega * omega;
    }
    const double lag = moment != 0.0 ? slope / moment : 0.0, doubt = noise * std::sqrt(spread) / std::abs(moment);
    return std::abs(averaged) < 0.5 * std::abs(along) / stretches.sum && std::abs(lag) < faintLag && doubt < faintLag;
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
    prepare(first, second, scratch);
    reading.summationGain = summationGain(first, second, 1.0, scratch);
    reading.summationGainFlipped = summationGain(first, second, -1.0, scratch);

    // Is anything in common, and does it lie on the lines of the mains alone?
    const double averages = spectra.sharedAverages(first, second);
    const PhaseWeights stretches = spectra.phaseWeights(first, second);
    findRepeats(stretches, spectra.sharedStretches(first, second), averages, scratch);
    const double all = standing(scratch, [](int) { return true; });
    bool tonal = all > relatedAbove && estimator.oneTone(scratch.magnitudes, scratch.coherence, averages);
    reading.related = tonal || (all > relatedAbove && across(scratch) > acrossAbove);
    const bool narrow = !reading.related || tonal;
    if (humFinder.find(scratch.magnitudes, narrow ? 1 : linesAlone, scratch.hum)) {
        const auto& ruled = scratch.hum.ruled;
        const double beside = standing(scratch, [&](int bin) { return ruled[static_cast<std::size_t>(bin)] == 0; });
        const bool hums =
            scratch.hum.low && ((reading.related && scratch.hum.lines >= linesAlone) || linesCohere(scratch));
        if (beside <= relatedAbove && hums) reading.shared = Shared::mainsHum;
        if (beside > relatedAbove && scratch.hum.low && scratch.hum.lines >= linesBesideSound) {
            leaveHumOut(scratch);
            tonal = estimator.oneTone(scratch.magnitudes, scratch.coherence, averages);
        }
    } else if (reading.related && (humPattern(50.0, all, scratch) || humPattern(60.0, all, scratch))) {
        reading.shared = Shared::mainsHum;
    }

    double kept = 1.0;
    if (reading.shared == Shared::mainsHum) {
        reading.related = false;
    } else if (!reading.related) {
        if (sharesOffset(first, second)) reading.shared = Shared::offset;
    } else if (faintlyAlike(stretches, scratch)) {
        reading.shared = Shared::noiseFloor;
        reading.related = false;
    } else if (tonal) {
        reading.shared = Shared::oneTone;
    } else {
        reading.shared = Shared::sound;
        if (const auto estimate = estimator.estimate(scratch.cross, scratch.coherence, averages, scratch.arrival)) {
            double level = 0.0;
            if (printed(estimate->arrival, estimate->polarity.polarity, stretches, averages, level, scratch))
                reading.shared = level < faintNoise ? Shared::noiseFloor : Shared::printed;
            reading.related = reading.shared != Shared::noiseFloor;
            if (reading.related) {
                reading.arrival = estimate->arrival;
                reading.arrivalCandidates = estimate->candidates;
                reading.arrivalInBand = estimate->inBand;
                reading.polarity = estimate->polarity;
                reading.bandsDisagree = estimate->bandsDisagree;
            }
            kept = coherenceKept(estimate->arrival.delay, spectra);
        }
    }

    const auto coherence = bandMean.of(scratch.coherence, averages, kept);
    reading.coherence = coherence.value;
    reading.coherenceLow = coherence.low;
    reading.coherenceHigh = coherence.high;
    reading.coherenceByThirdOctave.reserve(thirds.size());
    for (const auto& [nominal, mean] : thirds) {
        const auto third = mean.of(scratch.coherence, averages, kept);
        reading.coherenceByThirdOctave.push_back({Hertz(nominal.hertz), third.value, third.low, third.high});
    }
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
