#include "Core/Measure/CrossSpectra.h"

#include "Core/Measure/Kernels.h"
#include "Core/Measure/LargeArray.h"
#include "Core/Signal/AlignedVector.h"
#include "Core/Signal/Fourier.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <new>
#include <numbers>
#include <optional>
#include <string>

namespace spillwright {

namespace {

using kernels::binsPerBlock;
using kernels::floatsPerBlock;

constexpr double windowSeconds = 0.25;                // at least; the next power of two
constexpr int shortestWindow = 1024;                  // samples
constexpr int windowsPerStretch = 29;                 // at most: 5.1 s at 48 kHz
constexpr int stretchesWanted = 4;                    // for the test of repeating phases ...
constexpr int windowsNeeded = 4;                      // ... of so many windows each
constexpr double highestHertz = 24000.0;              // kept
constexpr double phaseLow = 60.0, phaseHigh = 8000.0; // Hz
constexpr double averagesPerWindow = 0.947;           // Hann, 50 % overlap (Welch 1967)
constexpr float clipLevel = 0.9999f;
constexpr float silentPeak = 3.16227766e-5f; // -90 dBFS
constexpr float largestSample = 1e6f;        // a damaged float file may hold anything; squares must stay finite
constexpr int widestLane = 2;                // tracks; wider files are cut in time ...
constexpr int mostLanes = 8;                 // ... into at most so many pieces a stretch

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
    while (plan.window < windowSeconds * rate)
        plan.window *= 2;
    while (plan.window > shortestWindow && windowsThatFit(to - from, plan.window) < windowsNeeded)
        plan.window /= 2;
    plan.shortened = plan.window < windowSeconds * rate;
    plan.windows = windowsThatFit(to - from, plan.window);
    const auto full = (plan.windows + windowsPerStretch - 1) / windowsPerStretch;
    const auto small = std::min<std::int64_t>(stretchesWanted, plan.windows / windowsNeeded);
    plan.stretches = static_cast<int>(std::max({full, small, std::int64_t(plan.windows > 0)}));
    for (int stretch = 0; stretch < plan.stretches; ++stretch)
        plan.windowsAtMost = std::max(plan.windowsAtMost, plan.windowsOf(stretch));
    return plan;
}

/// What a CrossSpectra holds.
struct Store {
    Plan plan;
    int tracks = 0;
    double rate = 0.0;
    int bins = 0;
    int blocks = 0;
    int firstPhaseBin = 0, phaseBins = 0;
    int firstPhaseBlock = 0, phaseBlocks = 0;
    std::vector<TrackStatistics> statistics;
    std::vector<std::uint8_t> sounding; // [track][stretch]
    LargeArray sums;                    // [block][pair][16 real, 16 imaginary]
    LargeArray phases;                  // the same, from firstPhaseBlock on

    Store(const Plan& cut, int trackCount, double sampleRate)
        : plan(cut), tracks(trackCount), rate(sampleRate), statistics(static_cast<std::size_t>(trackCount)),
          sounding(static_cast<std::size_t>(trackCount) * static_cast<std::size_t>(cut.stretches)) {
        const double width = rate / plan.window;
        bins = std::min(plan.window / 2, static_cast<int>(std::floor(highestHertz / width + 1e-9))) + 1;
        blocks = (bins + binsPerBlock - 1) / binsPerBlock;
        firstPhaseBin = std::min(bins, static_cast<int>(std::ceil(phaseLow / width - 1e-9)));
        const int lastPhaseBin = std::min(bins - 1, static_cast<int>(std::floor(phaseHigh / width + 1e-9)));
        phaseBins = std::max(0, lastPhaseBin - firstPhaseBin + 1);
        firstPhaseBlock = firstPhaseBin / binsPerBlock;
        phaseBlocks = phaseBins == 0 ? 0 : lastPhaseBin / binsPerBlock - firstPhaseBlock + 1;
        sums = LargeArray(static_cast<std::size_t>(blocks) * blockFloats());
        phases = LargeArray(static_cast<std::size_t>(phaseBlocks) * blockFloats());
    }

    std::size_t pairs() const { return static_cast<std::size_t>(tracks) * static_cast<std::size_t>(tracks + 1) / 2; }
    std::size_t blockFloats() const { return pairs() * floatsPerBlock; }

    /// Real part of a bin of a pair (i <= j); the imaginary part lies binsPerBlock further.
    std::size_t place(int bin, int i, int j) const {
        const auto row = static_cast<std::size_t>(i);
        const auto all = static_cast<std::size_t>(tracks);
        const std::size_t pair = row * all - row * (row + 1) / 2 + static_cast<std::size_t>(j);
        return static_cast<std::size_t>(bin / binsPerBlock) * blockFloats() + pair * floatsPerBlock +
               static_cast<std::size_t>(bin % binsPerBlock);
    }

    void copy(const float* from, int i, int j, int firstBin, float scale, std::span<std::complex<float>> out) const {
        const float imaginary = i <= j ? scale : -scale;
        for (std::size_t n = 0; n < out.size();) {
            const int bin = firstBin + static_cast<int>(n);
            const float* part = from + place(bin, std::min(i, j), std::max(i, j));
            const std::size_t run =
                std::min(out.size() - n, static_cast<std::size_t>(binsPerBlock - bin % binsPerBlock));
            for (std::size_t k = 0; k < run; ++k, ++n)
                out[n] = {scale * part[k], imaginary * part[binsPerBlock + k]};
        }
    }

    float scale() const { return plan.windows > 0 ? 1.0f / static_cast<float>(plan.windows) : 0.0f; }
    std::size_t soundingPlace(int track, int stretch) const {
        return static_cast<std::size_t>(track) * static_cast<std::size_t>(plan.stretches) +
               static_cast<std::size_t>(stretch);
    }
    bool sounds(int track, int stretch) const { return sounding[soundingPlace(track, stretch)] != 0; }
};

/// The windows of one stretch that one worker reads and transforms in a row: those of a whole group, or of a part of
/// the stretch where a file holds many tracks. How the work is cut does not depend on the number of workers.
struct Lane {
    const std::vector<int>* tracks = nullptr;
    int group = 0;
    int part = 0, parts = 1;
    std::unique_ptr<GroupReader> reader;
    AlignedVector<float> samples;   // [track][half of a window, half of a window]
    int earlier = 0;                // which half is the earlier one
    std::int64_t earlierStart = -1; // the place of its first sample; -1: holds nothing
    std::vector<float> peaks;       // [track][half]
    std::vector<TrackStatistics> statistics;
    std::vector<std::uint8_t> sounding; // [track], in this stretch
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
    std::vector<Scratch> scratch;         // one a worker
    std::size_t trackStride, blockStride; // floats
    LargeArray spectra;                   // [block][track][window of the stretch][16 real, 16 imaginary]

    float* half(Lane& lane, std::size_t track, int which) {
        const auto hop = static_cast<std::size_t>(plan.hop());
        return lane.samples.data() + (2 * track + static_cast<std::size_t>(which)) * hop;
    }
    void transform(Lane& lane, int stretch, Scratch& mine);
    bool read(Lane& lane, std::int64_t start, int samples, int which, bool counted);
    void accumulate(std::size_t block, int stretch);
    std::optional<Fault> finishStretch(int stretch);
};

Pass::Pass(const SampleSource& samplesOf, Store& into, Workers& crew, const Watch& watching)
    : source(samplesOf), store(into), plan(into.plan), workers(crew), watch(watching),
      fourier(Fourier::ofLength(plan.window)), hann(static_cast<std::size_t>(plan.window)),
      scratch(static_cast<std::size_t>(crew.count())),
      trackStride(static_cast<std::size_t>(plan.windowsAtMost) * floatsPerBlock),
      blockStride(trackStride * static_cast<std::size_t>(into.tracks)),
      spectra(blockStride * static_cast<std::size_t>(into.blocks)) {
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
            lane.statistics.resize(width);
            lane.sounding.resize(width);
        }
    }
}

/// Into the given half; false: the lane's fault says why.
bool Pass::read(Lane& lane, std::int64_t start, int samples, int which, bool counted) {
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
        auto& statistics = lane.statistics[track];
        statistics.samples += samples;
        statistics.sum += sums.sum;
        statistics.sumOfSquares += sums.sumOfSquares;
        statistics.peak = std::max(statistics.peak, sums.peak);
        statistics.clippedSamples += sums.clipped;
    }
    return true;
}

void Pass::transform(Lane& lane, int stretch, Scratch& mine) {
    std::fill(lane.sounding.begin(), lane.sounding.end(), std::uint8_t(0));
    const int all = plan.windowsOf(stretch);
    const int first = all * lane.part / lane.parts;
    const int last = all * (lane.part + 1) / lane.parts;
    const int hop = plan.hop();
    for (int window = first; window < last; ++window) {
        if (watch.stopped()) return;
        const std::int64_t start = plan.from + (plan.windowsBefore(stretch) + window) * hop;
        const bool opening = start == plan.from; // every sample is counted once: with the later half it lies in
        if (lane.earlierStart != start && !read(lane, start, hop, lane.earlier, opening)) return;
        if (!read(lane, start + hop, hop, 1 - lane.earlier, true)) return;
        for (std::size_t track = 0; track < lane.tracks->size(); ++track) {
            kernels::applyWindow(half(lane, track, lane.earlier), hann.data(), largestSample, mine.windowed.data(),
                                 hop);
            kernels::applyWindow(half(lane, track, 1 - lane.earlier), hann.data() + hop, largestSample,
                                 mine.windowed.data() + hop, hop);
            fourier->forward(mine.windowed.data(), mine.spectrum.data());
            const auto index = static_cast<std::size_t>((*lane.tracks)[track]);
            kernels::scatterBlocks(
                mine.spectrum.data(), store.blocks,
                spectra.data() + index * trackStride + static_cast<std::size_t>(window) * floatsPerBlock, blockStride);
            if (lane.peaks[2 * track] > 0.0f || lane.peaks[2 * track + 1] > 0.0f) lane.sounding[track] = 1;
        }
        lane.earlier = 1 - lane.earlier;
        lane.earlierStart = start + hop;
    }
}

void Pass::accumulate(std::size_t block, int stretch) {
    if (watch.stopped()) return;
    const auto phaseBlock = block - static_cast<std::size_t>(store.firstPhaseBlock);
    const bool phased = phaseBlock < static_cast<std::size_t>(store.phaseBlocks);
    kernels::accumulateBlock(spectra.data() + block * blockStride, store.tracks, plan.windowsOf(stretch), trackStride,
                             store.sums.data() + block * store.blockFloats(),
                             phased ? store.phases.data() + phaseBlock * store.blockFloats() : nullptr);
}

/// After the workers are done: what they noted of the stretch, and whether to go on.
std::optional<Fault> Pass::finishStretch(int stretch) {
    for (auto& lane : lanes) {
        if (lane.fault) return lane.fault;
        if (stretch >= plan.stretches) continue;
        for (std::size_t track = 0; track < lane.tracks->size(); ++track)
            if (lane.sounding[track]) store.sounding[store.soundingPlace((*lane.tracks)[track], stretch)] = 1;
    }
    if (watch.stopped()) return Fault{"measuring", "stopped", "", Fault::Kind::cancelled};
    return std::nullopt;
}

std::optional<Fault> Pass::run() {
    for (int stretch = 0; stretch < plan.stretches; ++stretch) {
        workers.forEach(lanes.size(), [&](std::size_t lane, int worker) {
            transform(lanes[lane], stretch, scratch[static_cast<std::size_t>(worker)]);
        });
        if (auto fault = finishStretch(stretch)) return fault;
        workers.forEach(static_cast<std::size_t>(store.blocks),
                        [&](std::size_t block, int) { accumulate(block, stretch); });
        if (watch.stopped()) return Fault{"measuring", "stopped", "", Fault::Kind::cancelled};
        watch.tell(static_cast<double>(stretch + 1) / plan.stretches);
    }
    // What no whole window reaches is counted still: less than one hop, or all of a recording too short for a window.
    workers.forEach(lanes.size(), [&](std::size_t item, int) {
        Lane& lane = lanes[item];
        if (lane.part != lane.parts - 1) return;
        const std::int64_t reached = plan.windows > 0 ? plan.from + (plan.windows + 1) * plan.hop() : plan.from;
        for (std::int64_t start = reached; start < plan.to; start += plan.hop()) {
            const auto samples = static_cast<int>(std::min<std::int64_t>(plan.hop(), plan.to - start));
            if (!read(lane, start, samples, 0, true)) return;
        }
    });
    if (auto fault = finishStretch(plan.stretches)) return fault;
    for (const auto& lane : lanes)
        for (std::size_t track = 0; track < lane.tracks->size(); ++track) {
            auto& total = store.statistics[static_cast<std::size_t>((*lane.tracks)[track])];
            const auto& part = lane.statistics[track];
            total.samples += part.samples;
            total.sum += part.sum;
            total.sumOfSquares += part.sumOfSquares;
            total.peak = std::max(total.peak, part.peak);
            total.clippedSamples += part.clippedSamples;
        }
    return std::nullopt;
}

} // namespace

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
    return storage->rate / storage->plan.window;
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
int CrossSpectra::stretches() const {
    return storage->plan.stretches;
}
double CrossSpectra::effectiveAverages() const {
    return averagesPerWindow * static_cast<double>(storage->plan.windows);
}

int CrossSpectra::sharedStretches(int i, int j) const {
    int shared = 0;
    for (int stretch = 0; stretch < stretches(); ++stretch)
        shared += storage->sounds(i, stretch) && storage->sounds(j, stretch);
    return shared;
}

double CrossSpectra::sharedAverages(int i, int j) const {
    std::int64_t shared = 0;
    for (int stretch = 0; stretch < stretches(); ++stretch)
        if (storage->sounds(i, stretch) && storage->sounds(j, stretch)) shared += storage->plan.windowsOf(stretch);
    return averagesPerWindow * static_cast<double>(shared);
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
    storage->copy(storage->sums.data(), i, j, bin, storage->scale(), {&value, 1});
    return value;
}

void CrossSpectra::copyPair(int i, int j, int firstBin, std::span<std::complex<float>> out) const {
    assert(firstBin >= 0 && firstBin + static_cast<int>(out.size()) <= binCount());
    storage->copy(storage->sums.data(), i, j, firstBin, storage->scale(), out);
}

int CrossSpectra::firstPhaseBin() const {
    return storage->firstPhaseBin;
}
int CrossSpectra::phaseBinCount() const {
    return storage->phaseBins;
}

void CrossSpectra::copyPhaseSums(int i, int j, std::span<std::complex<float>> out) const {
    assert(static_cast<int>(out.size()) <= phaseBinCount());
    storage->copy(storage->phases.data(), i, j, firstPhaseBin() - storage->firstPhaseBlock * binsPerBlock, 1.0f, out);
}

Result<CrossSpectra> computeCrossSpectra(const SampleSource& source, const CrossSpectraOptions& options,
                                         Workers& workers, const Watch& watch) {
    const std::int64_t to = options.to < 0 ? source.length() : options.to;
    if (options.from < 0 || options.from >= to || to > source.length())
        return Fault{"stretch", "it is empty or lies outside the recording", "choose one within it"};
    CrossSpectra spectra;
    try {
        spectra.storage = std::make_unique<CrossSpectra::Storage>(planFor(options.from, to, source.sampleRate()),
                                                                  source.trackCount(), source.sampleRate());
        Pass pass(source, *spectra.storage, workers, watch);
        if (auto fault = pass.run()) return *fault;
    } catch (const std::bad_alloc&) {
        return Fault{"memory", "too little of it for " + std::to_string(source.trackCount()) + " tracks at once",
                     "close other programs or measure fewer tracks"};
    }
    return spectra;
}

} // namespace spillwright
