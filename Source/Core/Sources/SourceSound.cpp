#include "Core/Sources/SourceSound.h"

#include "Core/Measure/WindowSpectra.h"
#include "Core/Signal/AlignedVector.h"
#include "Core/Signal/Fourier.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <complex>
#include <functional>
#include <memory>
#include <new>
#include <numbers>
#include <optional>
#include <utility>

namespace spillwright {

namespace {

/// Rises over the lowest third octave of sourceBand and falls over the highest: an edge within a bin would ring.
float edgeGain(double hertz) {
    constexpr double thirdOctave = 0.1; // of a decade
    const double above = std::log10(hertz / sourceBand.low.value), below = std::log10(sourceBand.high.value / hertz);
    const double part = std::clamp(std::min(above, below) / thirdOctave, 0.0, 1.0);
    return static_cast<float>(0.5 - 0.5 * std::cos(std::numbers::pi * part));
}

class SourceSynthesis {
public:
    SourceSynthesis(const SampleSource& recording, const SpillMap& spillMap, int source, std::span<const int> tracks,
                    StretchSpan wanted, Workers& hands, const Watch& watched)
        : map(spillMap), stretch(wanted), workers(hands), watch(watched), length(map.windowLength), hop(length / 2),
          fourier(Fourier::ofLength(length)), weights(map.unmixing[static_cast<std::size_t>(source)]),
          bins(weights.size() / map.plan.sources.size()), sound(bins),
          scratch(static_cast<std::size_t>(workers.count())) {
        for (int n = 0; n < length; ++n)
            window.push_back(static_cast<float>(0.5 - 0.5 * std::cos(2.0 * std::numbers::pi * n / length)));
        for (std::size_t bin = 0; bin < bins; ++bin)
            gains.push_back(
                edgeGain(static_cast<double>(map.firstBin + static_cast<int>(bin)) * recording.sampleRate() / length) /
                static_cast<float>(length));
        for (auto& of : scratch) {
            of.samples.resize(static_cast<std::size_t>(length));
            of.spectrum.resize(static_cast<std::size_t>(fourier->binCount()));
        }
        for (const int track : tracks) {
            const auto* reading = map.reading(source, track);
            responses.push_back(reading ? &map.responses[static_cast<std::size_t>(reading - map.readings.data())]
                                        : nullptr);
            result.emplace_back(static_cast<std::size_t>(stretch.to - stretch.from));
        }
        for (std::size_t group = 0; group < recording.groups().size(); ++group)
            addLane(recording.groups()[group], static_cast<int>(group));
    }

    Result<std::vector<std::vector<float>>> make(const SampleSource& recording) {
        for (auto& lane : lanes) {
            auto opened = recording.openGroup(lane.group);
            if (!opened) return opened.fault();
            lane.reader = std::move(opened).value();
        }
        const std::int64_t windows = (stretch.to - stretch.from + hop - 1) / hop + 1;
        for (std::int64_t at = -1; at < windows; ++at) { // the first time only half a window comes in
            if (watch.stopped()) return Fault{"sound of a source", "stopped", "", Fault::Kind::cancelled};
            const std::int64_t start = stretch.from + (at - 1) * hop;
            workers.forEach(lanes.size(), [&](std::size_t lane, int worker) { listen(lanes[lane], start, worker); });
            for (const auto& lane : lanes)
                if (lane.fault) return *lane.fault;
            if (at < 0) continue;
            tellApart();
            workers.forEach(result.size(), [&](std::size_t track, int worker) { give(track, start, worker); });
            watch.tell(static_cast<double>(at + 1) / static_cast<double>(windows));
        }
        return std::move(result);
    }

private:
    struct CloseTrack {
        std::size_t source = 0;
        AlignedVector<float> samples; ///< One window.
        AlignedVector<std::complex<float>> spectrum;
    };
    /// A group of tracks that are read together, some of them close ones.
    struct Lane {
        int group = 0;
        std::unique_ptr<GroupReader> reader;
        std::vector<CloseTrack> close;
        std::vector<std::size_t> placeOf; ///< Of each track of the group among the close ones; else their number.
        std::vector<float> others;        ///< Where tracks go that nobody asked for.
        std::vector<float*> destinations;
        std::optional<Fault> fault;
    };
    struct Scratch {
        AlignedVector<float> samples;
        AlignedVector<std::complex<float>> spectrum;
    };

    const SpillMap& map;
    const StretchSpan stretch;
    Workers& workers;
    const Watch& watch;
    const int length, hop;
    std::shared_ptr<const Fourier> fourier;
    const std::vector<std::complex<float>>& weights; ///< [bin][source]
    const std::size_t bins;
    std::vector<float> window, gains;
    std::vector<std::complex<float>> sound; ///< Of the source in its close track, one window.
    std::vector<Scratch> scratch;           ///< One a worker.
    std::vector<Lane> lanes;
    std::vector<const std::vector<std::complex<float>>*> responses;
    std::vector<std::vector<float>> result;

    bool counts(std::size_t source) const {
        for (std::size_t bin = 0; bin < bins; ++bin)
            if (weights[bin * map.plan.sources.size() + source] != std::complex<float>()) return true;
        return false;
    }

    void addLane(const std::vector<int>& group, int index) {
        Lane lane;
        lane.group = index;
        for (const int track : group) {
            lane.placeOf.push_back(lane.close.size());
            for (std::size_t k = 0; k < map.plan.sources.size(); ++k)
                if (map.plan.sources[k].closeTracks.front() == track && counts(k))
                    lane.close.push_back(
                        {k, AlignedVector<float>(static_cast<std::size_t>(length)),
                         AlignedVector<std::complex<float>>(static_cast<std::size_t>(fourier->binCount()))});
            if (lane.placeOf.back() == lane.close.size()) lane.placeOf.back() = nobody;
        }
        if (lane.close.empty()) return;
        lane.others.resize(static_cast<std::size_t>(hop));
        lane.destinations.resize(group.size());
        lanes.push_back(std::move(lane));
    }
    static constexpr std::size_t nobody = static_cast<std::size_t>(-1);

    /// The window that begins at `start`, its first half being the second one of the window before.
    void listen(Lane& lane, std::int64_t start, int worker) {
        for (std::size_t k = 0; k < lane.placeOf.size(); ++k) {
            lane.destinations[k] = lane.others.data();
            if (lane.placeOf[k] == nobody) continue;
            auto& samples = lane.close[lane.placeOf[k]].samples;
            std::copy(samples.begin() + hop, samples.end(), samples.begin());
            lane.destinations[k] = samples.data() + hop;
        }
        if (const auto read = lane.reader->read(start + hop, hop, lane.destinations); !read) {
            lane.fault = read.fault();
            return;
        }
        auto& windowed = scratch[static_cast<std::size_t>(worker)].samples;
        for (auto& track : lane.close) {
            std::transform(track.samples.begin(), track.samples.end(), window.begin(), windowed.begin(),
                           std::multiplies<>());
            fourier->forward(windowed.data(), track.spectrum.data());
        }
    }

    void tellApart() {
        const std::size_t sources = map.plan.sources.size();
        std::fill(sound.begin(), sound.end(), std::complex<float>());
        for (const auto& lane : lanes)
            for (const auto& track : lane.close) {
                const auto* spectrum = track.spectrum.data() + map.firstBin;
                for (std::size_t bin = 0; bin < bins; ++bin)
                    sound[bin] += weights[bin * sources + track.source] * spectrum[bin];
            }
        for (std::size_t bin = 0; bin < bins; ++bin)
            sound[bin] *= gains[bin];
    }

    void give(std::size_t track, std::int64_t start, int worker) {
        if (!responses[track]) return;
        auto& [samples, spectrum] = scratch[static_cast<std::size_t>(worker)];
        std::fill(spectrum.begin(), spectrum.end(), std::complex<float>());
        std::transform(sound.begin(), sound.end(), responses[track]->begin(), spectrum.begin() + map.firstBin,
                       std::multiplies<>());
        fourier->inverse(spectrum.data(), samples.data());
        const std::int64_t from = std::max(start, stretch.from), to = std::min(start + length, stretch.to);
        if (from >= to) return;
        const auto into = result[track].begin() + (from - stretch.from);
        std::transform(samples.begin() + (from - start), samples.begin() + (to - start), into, into, std::plus<>());
    }
};

} // namespace

Result<std::vector<std::vector<float>>> soundOfSource(const SampleSource& recording, const SpillMap& map, int source,
                                                      std::span<const int> tracks, StretchSpan stretch,
                                                      Workers& workers, const Watch& watch) {
    assert(source >= 0 && source < std::ssize(map.unmixing) && stretch.from <= stretch.to);
    try {
        return SourceSynthesis(recording, map, source, tracks, stretch, workers, watch).make(recording);
    } catch (const std::bad_alloc&) {
        return Fault{"memory", "too little of it to hear a source alone", "choose a shorter loop"};
    }
}

} // namespace spillwright
