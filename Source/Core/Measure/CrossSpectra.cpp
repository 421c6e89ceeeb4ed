#include "Core/Measure/CrossSpectra.h"

#include "Core/Measure/Kernels.h"
#include "Core/Measure/LargeArray.h"
#include "Core/Measure/WindowSpectra.h"
#include "Core/Signal/AlignedVector.h"
#include "Core/Signal/Fourier.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <new>
#include <numbers>
#include <optional>
#include <string>
#include <utility>

namespace spillwright {

namespace {

using kernels::binsPerBlock;
using kernels::floatsPerBlock;

constexpr double windowSeconds = 0.25;      // at least; the next power of two
constexpr int shortestWindow = 1024;        // samples
constexpr int windowsPerStretch = 29;       // at most: 5.1 s at 48 kHz
constexpr int stretchesWanted = 4;          // for the test of repeating phases ...
constexpr int windowsNeeded = 4;            // ... of so many windows each
constexpr double highestHertz = 24000.0;    // kept
constexpr double averagesPerWindow = 0.947; // Hann, 50 % overlap (Welch 1967)
constexpr std::size_t pairsAhead = 6;       // fetched while one is copied
constexpr float clipLevel = 0.9999f;
constexpr float silentPeak = 3.16227766e-5f; // -90 dBFS
constexpr float largestSample = 1e6f;        // a damaged float file may hold anything; squares must stay finite
constexpr int widestLane = 2;                // tracks; wider files are cut in time ...
constexpr std::size_t blocksInARow = 8;      // of bins, accumulated by one worker, each fetching the next
constexpr int mostLanes = 8;                 // ... into at most so many pieces a stretch
constexpr int stretchesAtOnce = 2; // transformed, then accumulated: sums are fetched from memory once for both

/// How the recording is cut into windows and the windows into stretches.
struct Plan {
    std::int64_t from = 0, to = 0;
    int window = shortestWindow;
    bool shortened = false;
    std::int64_t windows = 0;
    int stretches = 0;
    int windowsAtMost = 0; // of a stretch

    int hop() const { return window / 2; }
    std::int64_t windowsBefore(int stretch) const { return windows * stretch / std::max(1, stretches); }
    int windowsOf(int stretch) const { return static_cast<int>(windowsBefore(stretch + 1) - windowsBefore(stretch)); }
};

std::int64_t windowsThatFit(std::int64_t length, int window) {
    return length < window ? 0 : (length - window) / (window / 2) + 1;
}

Plan planFor(std::int64_t from, std::int64_t to, double rate) {
    Plan plan{.from = from, .to = to};
    plan.window = usualWindow(rate);
    while (plan.window > shortestWindow && windowsThatFit(to - from, plan.window) < windowsNeeded)
        plan.window /= 2;
    plan.shortened = plan.window < usualWindow(rate);
    plan.windows = windowsThatFit(to - from, plan.window);
    const auto full = (plan.windows + windowsPerStretch - 1) / windowsPerStretch;
    const auto small = std::min<std::int64_t>(stretchesWanted, plan.windows / windowsNeeded);
    plan.stretches = static_cast<int>(std::max({full, small, std::int64_t(plan.windows > 0)}));
    for (int stretch = 0; stretch < plan.stretches; ++stretch)
        plan.windowsAtMost = std::max(plan.windowsAtMost, plan.windowsOf(stretch));
    return plan;
}

std::size_t pairsOf(int tracks) {
    const auto all = static_cast<std::size_t>(tracks);
    return all * (all + 1) / 2;
}

/// Complex sums of all pairs (i <= j), block of bins by block of bins.
struct PairSums {
    struct Block {
        std::size_t start;     // of the first pair's real parts
        std::size_t pair;      // from a pair to the next
        std::size_t imaginary; // from real to imaginary parts
        int poolBins;          // bins a value
    };
    int firstBin = 0; // of the first block
    std::vector<Block> blocks;
    LargeArray<float> values;

    /// [block][pair][16 real, 16 imaginary]: as the kernels accumulate windows.
    static PairSums ofBins(int firstBlock, int count, std::size_t pairs) {
        PairSums sums;
        sums.firstBin = firstBlock * binsPerBlock;
        for (std::size_t block = 0; block < static_cast<std::size_t>(count); ++block)
            sums.blocks.push_back({block * pairs * floatsPerBlock, floatsPerBlock, binsPerBlock, 1});
        sums.values = LargeArray<float>(static_cast<std::size_t>(count) * pairs * floatsPerBlock);
        return sums;
    }

    /// [block][real, imaginary][pair][pool]: as they add kept stretches, each part rounded up to whole vectors.
    static PairSums ofPools(const Keeping& keeping, std::size_t pairs) {
        PairSums sums;
        std::size_t size = 0;
        for (const int poolBins : keeping.poolBins) {
            const auto values = static_cast<std::size_t>(binsPerBlock / poolBins);
            const std::size_t part = wholeVectors(pairs * values);
            sums.blocks.push_back({size, values, part, poolBins});
            size += 2 * part;
        }
        sums.values = LargeArray<float>(size);
        return sums;
    }
    static std::size_t wholeVectors(std::size_t count) {
        return (count + binsPerBlock - 1) / binsPerBlock * binsPerBlock;
    }

    float* block(std::size_t index) { return values.data() + blocks[index].start; }
};

/// A stretch as far as an average over stretches is concerned.
struct Part {
    double weight = 1.0;
    int windows = 0;
};

struct Chosen {
    int stretch = 0; // kept
    float weight = 1.0f;
};

void add(TrackStatistics& total, const TrackStatistics& part) {
    total.samples += part.samples;
    total.sum += part.sum;
    total.sumOfSquares += part.sumOfSquares;
    total.peak = std::max(total.peak, part.peak);
    total.clippedSamples += part.clippedSamples;
}

/// What a CrossSpectra holds.
struct Store {
    Plan plan;
    int tracks = 0;
    double rate = 0.0;
    int bins = 0;
    float scale = 0.0f; // of sums, to a mean over windows
    std::vector<TrackStatistics> statistics;
    std::vector<Part> parts;            // averaged: stretches of the pass, or kept ones that were chosen
    std::vector<std::uint8_t> sounding; // [part][track]
    std::vector<Pool> phasePools;
    PairSums sums, phases;

    Keeping keeping;
    std::vector<Pool> pools;
    std::vector<TrackStatistics> stretchStatistics; // [kept stretch][track]
    LargeArray<std::uint32_t> kept;                 // [kept stretch][block][pair][value]
    std::optional<WindowSpectra> windows;           // of a pass

    /// For a pass.
    Store(const Plan& cut, int trackCount, double sampleRate, std::size_t keepAtMostBytes)
        : plan(cut), tracks(trackCount), rate(sampleRate), statistics(static_cast<std::size_t>(trackCount)) {
        bins = std::min(plan.window / 2, static_cast<int>(std::floor(highestHertz / binWidth() + 1e-9))) + 1;
        layOutBins();
        for (int stretch = 0; stretch < plan.stretches; ++stretch)
            parts.push_back({1.0, plan.windowsOf(stretch)});
        sounding.resize(parts.size() * statistics.size());
        scale = plan.windows > 0 ? 1.0f / static_cast<float>(plan.windows) : 0.0f;
        keeping = chooseKeeping(bins, binWidth(), tracks, plan.stretches, keepAtMostBytes);
        pools = keeping.pools(bins);
        stretchStatistics.resize(static_cast<std::size_t>(keeping.stretches) * statistics.size());
        kept = LargeArray<std::uint32_t>(static_cast<std::size_t>(keeping.stretches) * valuesPerStretch() +
                                         binsPerBlock); // read in whole vectors
        windows.emplace(tracks, plan.windows, binWidth(), bins);
    }

    /// For an average of some kept stretches of another, in ascending order.
    Store(const Store& whole, std::span<const Chosen> chosen)
        : plan(whole.plan), tracks(whole.tracks), rate(whole.rate),
          bins(whole.pools.back().firstBin + whole.pools.back().bins), statistics(whole.statistics.size()),
          sums(PairSums::ofPools(whole.keeping, pairs())), phases(PairSums::ofPools(whole.keeping, pairs())) {
        for (const Pool& pool : whole.pools)
            if (pool.firstBin * binWidth() >= wideBand.low.value - 1e-9 &&
                (pool.firstBin + pool.bins - 1) * binWidth() <= wideBand.high.value + 1e-9)
                phasePools.push_back(pool);
        plan.from = chosen.empty() ? plan.from : whole.span(chosen.front().stretch).from;
        plan.to = chosen.empty() ? plan.from : whole.span(chosen.back().stretch).to;
        plan.windows = 0;
        double weightedWindows = 0.0;
        for (const auto& [stretch, weight] : chosen) {
            parts.push_back({static_cast<double>(weight), whole.windowsOf(stretch)});
            plan.windows += parts.back().windows;
            weightedWindows += parts.back().weight * parts.back().windows;
            for (int track = 0; track < tracks; ++track) {
                sounding.push_back(whole.stretchSounds(track, stretch));
                add(statistics[static_cast<std::size_t>(track)],
                    whole.stretchStatistics[whole.statisticsPlace(track, stretch)]);
            }
        }
        scale = weightedWindows > 0.0 ? static_cast<float>(1.0 / weightedWindows) : 0.0f;
    }

    /// For other spectra of what another was measured of.
    explicit Store(const Store* measured)
        : plan(measured->plan), tracks(measured->tracks), rate(measured->rate), bins(measured->bins), scale(1.0f),
          statistics(measured->statistics), parts(measured->parts), sounding(measured->sounding) {
        layOutBins();
    }

    /// Sums and phasors of single bins, all 0.
    void layOutBins() {
        const double width = binWidth();
        sums = PairSums::ofBins(0, blocks(), pairs());
        for (int bin = static_cast<int>(std::ceil(wideBand.low.value / width - 1e-9));
             bin < bins && bin <= static_cast<int>(std::floor(wideBand.high.value / width + 1e-9)); ++bin)
            phasePools.push_back({bin, 1});
        if (phasePools.empty()) return;
        const int first = phasePools.front().firstBin / binsPerBlock;
        phases = PairSums::ofBins(first, phasePools.back().firstBin / binsPerBlock - first + 1, pairs());
    }

    double binWidth() const { return rate / plan.window; }
    int blocks() const { return (bins + binsPerBlock - 1) / binsPerBlock; }
    std::size_t pairs() const { return pairsOf(tracks); }
    std::size_t pair(int i, int j) const { // i <= j
        return pairsOf(tracks) - pairsOf(tracks - i) + static_cast<std::size_t>(j - i);
    }

    void copy(int i, int j, int firstBin, std::span<std::complex<float>> out) const {
        const std::size_t index = pair(std::min(i, j), std::max(i, j));
        const float sign = i <= j ? 1.0f : -1.0f;
        for (std::size_t n = 0; n < out.size();) {
            const int bin = firstBin + static_cast<int>(n);
            const auto& block = sums.blocks[static_cast<std::size_t>(bin / binsPerBlock)];
            const float* re = sums.values.data() + block.start + index * block.pair;
            const float* im = re + block.imaginary;
            std::size_t within = static_cast<std::size_t>(bin % binsPerBlock);
            const std::size_t run = std::min(out.size() - n, binsPerBlock - within);
            if (block.poolBins == 1) {
                kernels::joinParts(re + within, im + within, run, scale, sign * scale, out.data() + n);
                n += run;
                continue;
            }
            const auto poolBins = static_cast<std::size_t>(block.poolBins);
            for (const std::size_t end = n + run; n < end;) {
                const std::size_t pool = within / poolBins;
                const std::size_t inPool = std::min(end - n, (pool + 1) * poolBins - within);
                // The last pool may hold fewer bins.
                const int first = bin / binsPerBlock * binsPerBlock + static_cast<int>(pool * poolBins);
                const float share = scale / static_cast<float>(std::min(block.poolBins, bins - first));
                std::fill_n(out.data() + n, inPool, std::complex(share * re[pool], sign * share * im[pool]));
                n += inPool;
                within += inPool;
            }
        }
    }

    bool partSounds(int track, std::size_t part) const {
        return sounding[part * statistics.size() + static_cast<std::size_t>(track)] != 0;
    }
    /// Effective averages of the parts that `take` accepts: (sum w n)^2 / sum w^2 n windows.
    template <class Take>
    double averages(Take&& take) const {
        double sum = 0.0, squares = 0.0;
        for (std::size_t part = 0; part < parts.size(); ++part)
            if (take(part)) {
                sum += parts[part].weight * parts[part].windows;
                squares += parts[part].weight * parts[part].weight * parts[part].windows;
            }
        return squares > 0.0 ? averagesPerWindow * sum * sum / squares : 0.0;
    }

    // Kept stretches.
    std::size_t valuesPerStretch() const { return keeping.valuesPerPair() * pairs(); }
    std::uint32_t* keptBlock(int stretch, std::size_t block) {
        return kept.data() + static_cast<std::size_t>(stretch) * valuesPerStretch() + keeping.valuesTo[block] * pairs();
    }
    const std::uint32_t* keptBlock(int stretch, std::size_t block) const {
        return const_cast<Store*>(this)->keptBlock(stretch, block);
    }
    int firstPartOf(int stretch) const { return std::min(stretch * keeping.together, plan.stretches); }
    std::int64_t windowsBefore(int stretch) const { return plan.windowsBefore(firstPartOf(stretch)); }
    int windowsOf(int stretch) const { return static_cast<int>(windowsBefore(stretch + 1) - windowsBefore(stretch)); }
    StretchSpan span(int stretch) const {
        return {plan.from + windowsBefore(stretch) * plan.hop(),
                plan.from + (windowsBefore(stretch + 1) - 1) * plan.hop() + plan.window};
    }
    bool stretchSounds(int track, int stretch) const {
        for (int part = firstPartOf(stretch); part < firstPartOf(stretch + 1); ++part)
            if (partSounds(track, static_cast<std::size_t>(part))) return true;
        return false;
    }
    std::size_t statisticsPlace(int track, int stretch) const {
        return static_cast<std::size_t>(stretch) * statistics.size() + static_cast<std::size_t>(track);
    }
};

/// The windows of one stretch that one worker reads and transforms in a row: those of a whole group, or of a part of
/// the stretch where a file holds many tracks. How the work is cut does not depend on the number of workers.
struct Lane {
    const std::vector<int>* tracks = nullptr;
    int group = 0;
    int part = 0, parts = 1;
    std::unique_ptr<GroupReader> reader;
    AlignedVector<float> samples;            // [track][half of a window, half of a window]
    int earlier = 0;                         // which half is the earlier one
    std::int64_t earlierStart = -1;          // the place of its first sample; -1: holds nothing
    std::vector<float> peaks;                // [track][half]
    std::vector<TrackStatistics> statistics; // [stretch of the batch][track]
    std::vector<std::uint8_t> sounding;      // the same
    std::optional<Fault> fault;
};

struct Scratch {
    AlignedVector<float> windowed;
    AlignedVector<std::complex<float>> spectrum; // zero past the last bin
};

class Pass {
public:
    Pass(const SampleSource& samplesOf, Store& into, Workers& crew, const Watch& watching);
    std::optional<Fault> run();

private:
    const SampleSource& source;
    Store& store;
    const Plan& plan;
    Workers& workers;
    const Watch& watch;
    std::shared_ptr<const Fourier> fourier;
    AlignedVector<float> hann;
    std::vector<Lane> lanes;
    std::vector<Scratch> scratch;                        // one a worker
    int atOnce;                                          // stretches
    std::size_t trackStride, stretchStride, blockStride; // floats
    LargeArray<float> spectra; // [block][stretch of the batch][track][window][16 real, 16 imaginary]

    float* half(Lane& lane, std::size_t track, int which) {
        const auto hop = static_cast<std::size_t>(plan.hop());
        return lane.samples.data() + (2 * track + static_cast<std::size_t>(which)) * hop;
    }
    void transform(Lane& lane, int stretch, int inBatch, Scratch& mine);
    bool read(Lane& lane, std::int64_t start, int samples, int which, TrackStatistics* counted);
    void accumulate(std::size_t block, int stretch, int inBatch, const float* next);
    float* spectraOf(std::size_t block, int inBatch) {
        return spectra.data() + block * blockStride + static_cast<std::size_t>(inBatch) * stretchStride;
    }
    void finishStretch(int stretch, int inBatch);
    std::optional<Fault> whyToStop() const;
};

Pass::Pass(const SampleSource& samplesOf, Store& into, Workers& crew, const Watch& watching)
    : source(samplesOf), store(into), plan(into.plan), workers(crew), watch(watching),
      fourier(Fourier::ofLength(plan.window)), hann(static_cast<std::size_t>(plan.window)),
      scratch(static_cast<std::size_t>(crew.count())), atOnce(std::clamp(plan.stretches, 1, stretchesAtOnce)),
      trackStride(static_cast<std::size_t>(plan.windowsAtMost) * floatsPerBlock),
      stretchStride(trackStride * static_cast<std::size_t>(into.tracks)),
      blockStride(stretchStride * static_cast<std::size_t>(atOnce)),
      spectra(blockStride * static_cast<std::size_t>(into.blocks())) {
    for (std::size_t n = 0; n < hann.size(); ++n)
        hann[n] =
            static_cast<float>(0.5 - 0.5 * std::cos(2.0 * std::numbers::pi * static_cast<double>(n) / plan.window));
    for (auto& mine : scratch) {
        mine.windowed.resize(hann.size());
        mine.spectrum.resize(hann.size() / 2 + binsPerBlock);
    }
    const auto& groups = source.groups();
    for (std::size_t group = 0; group < groups.size(); ++group) {
        const std::size_t width = groups[group].size();
        const int parts = width <= widestLane ? 1 : static_cast<int>(std::min<std::size_t>(mostLanes, (width + 1) / 2));
        for (int part = 0; part < parts; ++part) {
            Lane& lane = lanes.emplace_back();
            lane.tracks = &groups[group];
            lane.group = static_cast<int>(group);
            lane.part = part;
            lane.parts = parts;
            lane.samples.resize(width * hann.size());
            lane.peaks.resize(2 * width);
            lane.statistics.resize(width * static_cast<std::size_t>(atOnce));
            lane.sounding.resize(width * static_cast<std::size_t>(atOnce));
        }
    }
}

/// Into the given half, counted in the statistics of the lane's tracks unless these are null; false: the lane's fault
/// says why.
bool Pass::read(Lane& lane, std::int64_t start, int samples, int which, TrackStatistics* counted) {
    if (!lane.reader) {
        auto opened = source.openGroup(lane.group);
        if (!opened) {
            lane.fault = opened.fault();
            return false;
        }
        lane.reader = std::move(opened).value();
    }
    std::vector<float*> into(lane.tracks->size());
    for (std::size_t track = 0; track < into.size(); ++track)
        into[track] = half(lane, track, which);
    if (auto outcome = lane.reader->read(start, samples, into); !outcome) {
        lane.fault = outcome.fault();
        return false;
    }
    for (std::size_t track = 0; track < into.size(); ++track) {
        const auto sums = kernels::sumSamples(into[track], samples, clipLevel);
        lane.peaks[2 * track + static_cast<std::size_t>(which)] = sums.peak;
        if (!counted) continue;
        auto& statistics = counted[track];
        statistics.samples += samples;
        statistics.sum += sums.sum;
        statistics.sumOfSquares += sums.sumOfSquares;
        statistics.peak = std::max(statistics.peak, sums.peak);
        statistics.clippedSamples += sums.clipped;
    }
    return true;
}

void Pass::transform(Lane& lane, int stretch, int inBatch, Scratch& mine) {
    const std::size_t ofBatch = static_cast<std::size_t>(inBatch) * lane.tracks->size();
    TrackStatistics* const counted = lane.statistics.data() + ofBatch;
    const int all = plan.windowsOf(stretch);
    const int first = all * lane.part / lane.parts;
    const int last = all * (lane.part + 1) / lane.parts;
    const int hop = plan.hop();
    for (int window = first; window < last; ++window) {
        if (watch.stopped()) return;
        const std::int64_t start = plan.from + (plan.windowsBefore(stretch) + window) * hop;
        const bool opening = start == plan.from; // every sample is counted once: with the later half it lies in
        if (lane.earlierStart != start && !read(lane, start, hop, lane.earlier, opening ? counted : nullptr)) return;
        if (!read(lane, start + hop, hop, 1 - lane.earlier, counted)) return;
        for (std::size_t track = 0; track < lane.tracks->size(); ++track) {
            kernels::applyWindow(half(lane, track, lane.earlier), hann.data(), largestSample, mine.windowed.data(),
                                 hop);
            kernels::applyWindow(half(lane, track, 1 - lane.earlier), hann.data() + hop, largestSample,
                                 mine.windowed.data() + hop, hop);
            fourier->forward(mine.windowed.data(), mine.spectrum.data());
            const auto index = static_cast<std::size_t>((*lane.tracks)[track]);
            kernels::scatterBlocks(mine.spectrum.data(), store.blocks(),
                                   spectra.data() + static_cast<std::size_t>(inBatch) * stretchStride +
                                       index * trackStride + static_cast<std::size_t>(window) * floatsPerBlock,
                                   blockStride);
            store.windows->take((*lane.tracks)[track], plan.windowsBefore(stretch) + window, mine.spectrum.data());
            if (lane.peaks[2 * track] > 0.0f || lane.peaks[2 * track + 1] > 0.0f) lane.sounding[ofBatch + track] = 1;
        }
        lane.earlier = 1 - lane.earlier;
        lane.earlierStart = start + hop;
    }
}

void Pass::accumulate(std::size_t block, int stretch, int inBatch, const float* next) {
    const auto phaseBlock = block - static_cast<std::size_t>(store.phases.firstBin / binsPerBlock);
    const bool phased = phaseBlock < store.phases.blocks.size();
    kernels::KeptBlock kept;
    if (block < static_cast<std::size_t>(store.keeping.blocks()))
        kept = {store.keptBlock(stretch / store.keeping.together, block), store.keeping.poolBins[block],
                stretch % store.keeping.together != 0};
    kernels::accumulateBlock(spectraOf(block, inBatch), store.tracks, plan.windowsOf(stretch), trackStride,
                             store.sums.block(block), phased ? store.phases.block(phaseBlock) : nullptr, kept, next);
}

/// After the workers are done: takes over what they noted of a stretch. Past the last: of what is left at the end.
void Pass::finishStretch(int stretch, int inBatch) {
    for (auto& lane : lanes)
        for (std::size_t member = 0; member < lane.tracks->size(); ++member) {
            const int track = (*lane.tracks)[member];
            const std::size_t place = static_cast<std::size_t>(inBatch) * lane.tracks->size() + member;
            auto& statistics = lane.statistics[place];
            add(store.statistics[static_cast<std::size_t>(track)], statistics);
            if (stretch < plan.stretches) {
                add(store.stretchStatistics[store.statisticsPlace(track, stretch / store.keeping.together)],
                    statistics);
                if (lane.sounding[place])
                    store.sounding[static_cast<std::size_t>(stretch) * store.statistics.size() +
                                   static_cast<std::size_t>(track)] = 1;
            }
            statistics = {};
            lane.sounding[place] = 0;
        }
}

std::optional<Fault> Pass::whyToStop() const {
    for (const auto& lane : lanes)
        if (lane.fault) return lane.fault;
    if (watch.stopped()) return Fault{"measuring", "stopped", "", Fault::Kind::cancelled};
    return std::nullopt;
}

std::optional<Fault> Pass::run() {
    for (int first = 0; first < plan.stretches; first += atOnce) {
        const int count = std::min(atOnce, plan.stretches - first);
        workers.forEach(lanes.size(), [&](std::size_t lane, int worker) {
            for (int k = 0; k < count && !lanes[lane].fault; ++k)
                transform(lanes[lane], first + k, k, scratch[static_cast<std::size_t>(worker)]);
        });
        if (auto fault = whyToStop()) return fault;
        for (int k = 0; k < count; ++k)
            finishStretch(first + k, k);
        const auto blocks = static_cast<std::size_t>(store.blocks());
        workers.forEach((blocks + blocksInARow - 1) / blocksInARow, [&](std::size_t row, int) {
            const std::size_t end = std::min(blocks, (row + 1) * blocksInARow);
            for (std::size_t block = row * blocksInARow; block < end; ++block)
                for (int k = 0; k < count && !watch.stopped(); ++k) {
                    const bool last = k + 1 == count;
                    const float* next = !last             ? spectraOf(block, k + 1)
                                        : block + 1 < end ? spectraOf(block + 1, 0)
                                                          : nullptr;
                    accumulate(block, first + k, k, next);
                }
        });
        if (auto fault = whyToStop()) return fault;
        watch.tell(static_cast<double>(first + count) / plan.stretches);
    }
    // What no whole window reaches is counted still: less than one hop, or all of a recording too short for a window.
    workers.forEach(lanes.size(), [&](std::size_t item, int) {
        Lane& lane = lanes[item];
        if (lane.part != lane.parts - 1) return;
        const std::int64_t reached = plan.windows > 0 ? plan.from + (plan.windows + 1) * plan.hop() : plan.from;
        for (std::int64_t start = reached; start < plan.to; start += plan.hop()) {
            const auto samples = static_cast<int>(std::min<std::int64_t>(plan.hop(), plan.to - start));
            if (!read(lane, start, samples, 0, lane.statistics.data())) return;
        }
    });
    if (auto fault = whyToStop()) return fault;
    finishStretch(plan.stretches, 0);
    return std::nullopt;
}

} // namespace

int usualWindow(double sampleRate) {
    int window = shortestWindow;
    while (window < windowSeconds * sampleRate)
        window *= 2;
    return window;
}

double TrackStatistics::rms() const {
    return samples > 0 ? std::sqrt(sumOfSquares / static_cast<double>(samples)) : 0.0;
}
double TrackStatistics::offset() const {
    return samples > 0 ? sum / static_cast<double>(samples) : 0.0;
}
bool TrackStatistics::silent() const {
    return peak < silentPeak;
}

struct CrossSpectra::Storage : Store {
    using Store::Store;
};

CrossSpectra::CrossSpectra() = default;
CrossSpectra::~CrossSpectra() = default;
CrossSpectra::CrossSpectra(CrossSpectra&&) noexcept = default;
CrossSpectra& CrossSpectra::operator=(CrossSpectra&&) noexcept = default;

int CrossSpectra::trackCount() const {
    return storage->tracks;
}
int CrossSpectra::binCount() const {
    return storage->bins;
}
int CrossSpectra::windowLength() const {
    return storage->plan.window;
}
bool CrossSpectra::windowShortened() const {
    return storage->plan.shortened;
}
double CrossSpectra::sampleRate() const {
    return storage->rate;
}
double CrossSpectra::binWidth() const {
    return storage->binWidth();
}
std::int64_t CrossSpectra::from() const {
    return storage->plan.from;
}
std::int64_t CrossSpectra::to() const {
    return storage->plan.to;
}
std::int64_t CrossSpectra::windows() const {
    return storage->plan.windows;
}
double CrossSpectra::effectiveAverages() const {
    return storage->averages([](std::size_t) { return true; });
}

int CrossSpectra::sharedStretches(int i, int j) const {
    int shared = 0;
    for (std::size_t part = 0; part < storage->parts.size(); ++part)
        shared += storage->partSounds(i, part) && storage->partSounds(j, part);
    return shared;
}

double CrossSpectra::sharedAverages(int i, int j) const {
    return storage->averages(
        [&](std::size_t part) { return storage->partSounds(i, part) && storage->partSounds(j, part); });
}

PhaseWeights CrossSpectra::phaseWeights(int i, int j) const {
    PhaseWeights weights;
    for (std::size_t part = 0; part < storage->parts.size(); ++part) {
        if (!storage->partSounds(i, part) || !storage->partSounds(j, part)) continue;
        const double weight = storage->parts[part].weight, squared = weight * weight;
        weights.sum += weight;
        weights.squares += squared;
        weights.fourths += squared * squared;
    }
    return weights;
}

const TrackStatistics& CrossSpectra::statistics(int track) const {
    return storage->statistics[static_cast<std::size_t>(track)];
}

double CrossSpectra::power(int bin, int track) const {
    return at(bin, track, track).real();
}

std::complex<double> CrossSpectra::at(int bin, int i, int j) const {
    assert(bin >= 0 && bin < binCount());
    std::complex<float> value;
    storage->copy(i, j, bin, {&value, 1});
    return value;
}

void CrossSpectra::copyPair(int i, int j, int firstBin, std::span<std::complex<float>> out) const {
    assert(firstBin >= 0 && firstBin + static_cast<int>(out.size()) <= binCount());
    storage->copy(i, j, firstBin, out);
}

std::span<const Pool> CrossSpectra::phasePools() const {
    return storage->phasePools;
}

void CrossSpectra::copyPhaseSums(int i, int j, std::span<std::complex<float>> out) const {
    assert(out.size() <= phasePools().size());
    const std::size_t pair = storage->pair(std::min(i, j), std::max(i, j));
    const float sign = i <= j ? 1.0f : -1.0f;
    const auto& phases = storage->phases;
    for (std::size_t k = 0; k < out.size();) {
        const int place = storage->phasePools[k].firstBin - phases.firstBin;
        const auto& block = phases.blocks[static_cast<std::size_t>(place / binsPerBlock)];
        const float* re = phases.values.data() + block.start + pair * block.pair;
        const float* im = re + block.imaginary;
        const auto within = static_cast<std::size_t>(place % binsPerBlock / block.poolBins);
        const auto run = std::min(out.size() - k, static_cast<std::size_t>(binsPerBlock / block.poolBins) - within);
        kernels::joinParts(re + within, im + within, run, 1.0f, sign, out.data() + k);
        k += run;
    }
}

int CrossSpectra::stretches() const {
    return storage->keeping.stretches;
}

StretchSpan CrossSpectra::stretchSpan(int stretch) const {
    assert(stretch >= 0 && stretch < stretches());
    return storage->span(stretch);
}

int CrossSpectra::windowsOf(int stretch) const {
    assert(stretch >= 0 && stretch < stretches());
    return storage->windowsOf(stretch);
}

bool CrossSpectra::sounds(int track, int stretch) const {
    assert(stretch >= 0 && stretch < stretches());
    return storage->stretchSounds(track, stretch);
}

const TrackStatistics& CrossSpectra::statisticsOf(int track, int stretch) const {
    assert(stretch >= 0 && stretch < stretches());
    return storage->stretchStatistics[storage->statisticsPlace(track, stretch)];
}

std::span<const Pool> CrossSpectra::pools() const {
    return storage->pools;
}

void CrossSpectra::copyStretch(int stretch, int i, int j, std::span<std::complex<float>> out) const {
    assert(stretch >= 0 && stretch < stretches() && out.size() <= pools().size());
    const std::size_t pair = storage->pair(std::min(i, j), std::max(i, j));
    const float scale = 1.0f / static_cast<float>(windowsOf(stretch));
    const float imaginary = i <= j ? scale : -scale;
    for (std::size_t block = 0, n = 0; n < out.size(); ++block) {
        const std::size_t values = storage->keeping.valuesTo[block + 1] - storage->keeping.valuesTo[block];
        const std::uint32_t* from = storage->keptBlock(stretch, block) + pair * values;
        const std::size_t count = std::min(values, out.size() - n);
        const std::uint32_t* ahead = from + pairsAhead * values; // pairs are mostly asked for in a row
        kernels::unpackKept(from, count, scale, imaginary, ahead, out.data() + n);
        n += count;
    }
}

const WindowSpectra* CrossSpectra::windowSpectra() const {
    return storage->windows ? &*storage->windows : nullptr;
}

CrossSpectra CrossSpectra::restrictedTo(std::span<const float> weights, Workers& workers) const {
    assert(static_cast<int>(weights.size()) == stretches());
    std::vector<Chosen> chosen; // the largest weight is 1
    const float largest = weights.empty() ? 0.0f : *std::max_element(weights.begin(), weights.end());
    for (int stretch = 0; stretch < stretches(); ++stretch)
        if (const float weight = weights[static_cast<std::size_t>(stretch)]; weight > 0.0f)
            chosen.push_back({stretch, weight / largest});
    CrossSpectra average;
    average.storage = std::make_unique<Storage>(*storage, chosen);
    Store& into = *average.storage;
    workers.forEach(into.sums.blocks.size(), [&](std::size_t block, int) {
        const std::size_t count = into.sums.blocks[block].imaginary;
        const kernels::KeptSums sums{into.sums.block(block), into.sums.block(block) + count, into.phases.block(block),
                                     into.phases.block(block) + count};
        for (const auto& [stretch, weight] : chosen)
            kernels::addKept(storage->keptBlock(stretch, block), count, weight, weight, sums);
    });
    return average;
}

CrossSpectra CrossSpectra::withSpectra(int firstBin, int bins, const GiveSpectra& give) const {
    assert(firstBin >= 0 && firstBin + bins <= binCount());
    CrossSpectra other;
    other.storage = std::make_unique<Storage>(static_cast<const Store*>(storage.get()));
    Store& into = *other.storage;
    std::vector<float> shared(into.pairs()); // weights of the stretches in which both sound
    for (int i = 0; i < into.tracks; ++i)
        for (int j = i; j < into.tracks; ++j)
            shared[into.pair(i, j)] = static_cast<float>(phaseWeights(i, j).sum);
    std::vector<std::complex<float>> spectra(into.pairs());
    for (int bin = firstBin; bin < firstBin + bins; ++bin) {
        std::fill(spectra.begin(), spectra.end(), std::complex<float>());
        give(bin, spectra);
        const auto write = [&](PairSums& sums, std::size_t pair, std::complex<float> value) {
            const auto block = static_cast<std::size_t>((bin - sums.firstBin) / binsPerBlock);
            const auto& of = sums.blocks[block];
            float* const re = sums.block(block) + pair * of.pair + static_cast<std::size_t>(bin % binsPerBlock);
            re[0] = value.real();
            re[of.imaginary] = value.imag();
        };
        const bool phased = !into.phasePools.empty() && bin >= into.phasePools.front().firstBin &&
                            bin <= into.phasePools.back().firstBin;
        for (int i = 0; i < into.tracks; ++i)
            for (int j = i; j < into.tracks; ++j) {
                const std::size_t pair = into.pair(i, j);
                write(into.sums, pair, spectra[pair]);
                const float power =
                    std::sqrt(spectra[into.pair(i, i)].real()) * std::sqrt(spectra[into.pair(j, j)].real());
                if (phased && power > 0.0f) write(into.phases, pair, spectra[pair] * (shared[pair] / power));
            }
    }
    return other;
}

namespace {

/// All that a pass fills in of a store, part by part, in one order for giving and taking.
template <class Parts, class Visit>
bool visitParts(Parts& store, Visit&& visit) {
    const auto statistics = [&](auto& some) {
        for (auto& of : some)
            if (!visit(std::span(&of.samples, 1)) || !visit(std::span(&of.sumOfSquares, 1)) ||
                !visit(std::span(&of.sum, 1)) || !visit(std::span(&of.peak, 1)) ||
                !visit(std::span(&of.clippedSamples, 1)))
                return false;
        return true;
    };
    const auto all = [&](auto& array) { return visit(std::span(array.data(), array.size())); };
    return statistics(store.statistics) && statistics(store.stretchStatistics) && all(store.sounding) &&
           all(store.sums.values) && all(store.phases.values) && all(store.kept) &&
           WindowSpectra::visit(*store.windows, visit);
}

} // namespace

std::uint64_t CrossSpectra::storedBytes() const {
    std::uint64_t bytes = 0;
    visitParts(std::as_const(*storage), [&](auto part) {
        bytes += part.size_bytes();
        return true;
    });
    return bytes;
}

bool CrossSpectra::store(const std::function<bool(std::span<const std::byte>)>& take) const {
    return visitParts(std::as_const(*storage), [&](auto part) { return take(std::as_bytes(part)); });
}

std::optional<CrossSpectra> CrossSpectra::load(int tracks, double sampleRate, std::int64_t from, std::int64_t to,
                                               const std::function<bool(std::span<std::byte>)>& give) {
    CrossSpectra spectra;
    try {
        spectra.storage = std::make_unique<Storage>(planFor(from, to, sampleRate), tracks, sampleRate, keptAtMostBytes);
    } catch (const std::bad_alloc&) {
        return std::nullopt;
    }
    if (!visitParts(*spectra.storage, [&](auto part) { return give(std::as_writable_bytes(part)); }))
        return std::nullopt;
    return spectra;
}

Result<CrossSpectra> computeCrossSpectra(const SampleSource& source, const CrossSpectraOptions& options,
                                         Workers& workers, const Watch& watch) {
    const std::int64_t to = options.to < 0 ? source.length() : options.to;
    if (options.from < 0 || options.from >= to || to > source.length())
        return Fault{"stretch", "it is empty or lies outside the recording", "choose one within it"};
    CrossSpectra spectra;
    try {
        spectra.storage =
            std::make_unique<CrossSpectra::Storage>(planFor(options.from, to, source.sampleRate()), source.trackCount(),
                                                    source.sampleRate(), options.keepAtMostBytes);
        Pass pass(source, *spectra.storage, workers, watch);
        if (auto fault = pass.run()) return *fault;
    } catch (const std::bad_alloc&) {
        return Fault{"memory", "too little of it for " + std::to_string(source.trackCount()) + " tracks at once",
                     "close other programs or measure fewer tracks"};
    }
    return spectra;
}

} // namespace spillwright
