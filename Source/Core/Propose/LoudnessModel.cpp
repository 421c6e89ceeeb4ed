#include "Core/Propose/LoudnessModel.h"

#include "Core/Loudness.h"
#include "Core/Measure/CrossSpectra.h"
#include "Core/Measure/Kernels.h"
#include "Core/Measure/LargeArray.h"
#include "Core/Propose/LoudnessKernels.h"
#include "Core/Propose/SummationModel.h"
#include "Core/RandomStream.h"
#include "Core/Signal/AlignedVector.h"
#include "Core/Signal/Fourier.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <complex>
#include <new>
#include <numbers>
#include <string>
#include <utility>
#include <vector>

namespace spillwright {

namespace {

using kernels::loudnessBins;

constexpr double highestHertz = 24000.0; // kept
constexpr std::size_t framesTogether = 8;
constexpr double slotsPerSecond = 100.0;
constexpr auto slotsPerStep = static_cast<std::size_t>(loudnessStep.value * slotsPerSecond + 0.5);
constexpr auto slotsPerBlock = static_cast<std::size_t>(loudnessBlock.value * slotsPerSecond + 0.5);
constexpr double reachSeconds = 1.0;  // a track's energy is known so far before and after, for nudges
constexpr double settleSeconds = 0.1; // the K-weighting's high-pass dies away by 150 dB
constexpr float largestSample = 1e6f; // a damaged float file may hold anything; squares must stay finite
constexpr double evenly = 0.1;        // part of the draws that falls on all bins alike
constexpr double mostCorrected = 4.0; // of a frame's energy, where only some bins are kept

/// Where slots and frames lie, and what is kept.
struct Layout {
    double rate = 0.0;
    std::int64_t from = 0, to = 0;
    std::size_t tracks = 0;
    std::size_t window = 0, bins = 0, kept = 0; // samples; of a frame; of these, a multiple of loudnessBins
    std::size_t frames = 0;                     // frame k begins at from + (k - 1) hop()
    std::size_t slotsBefore = 0, slotsWithin = 0, slots = 0;

    std::size_t hop() const { return window / 2; }
    double binWidth() const { return rate / static_cast<double>(window); }
    std::int64_t frameStart(std::size_t frame) const {
        return from + (static_cast<std::int64_t>(frame) - 1) * static_cast<std::int64_t>(hop());
    }
    std::int64_t slotStart(std::size_t slot) const {
        const double fromSlot = static_cast<double>(slot) - static_cast<double>(slotsBefore);
        return from + std::llround(fromSlot * rate / slotsPerSecond);
    }
    std::size_t rows() const { return (frames + framesTogether - 1) / framesTogether; }
    std::size_t framesIn(std::size_t row) const { return std::min(framesTogether, frames - row * framesTogether); }
    std::size_t blocks() const { return kept / loudnessBins; }
    std::size_t frameStride() const { return tracks * loudnessBins; }
    /// [row][block][frame][track][loudnessBins]
    std::size_t place(std::size_t row, std::size_t block) const {
        return (row * framesTogether * blocks() + block * framesIn(row)) * frameStride();
    }

    Layout() = default;
    Layout(const SampleSource& source, const LoudnessOptions& options, std::int64_t end)
        : rate(source.sampleRate()), from(options.from), to(end),
          tracks(static_cast<std::size_t>(source.trackCount())) {
        window = static_cast<std::size_t>(usualWindow(rate));
        bins = std::min(hop(), static_cast<std::size_t>(highestHertz / binWidth() + 1e-9)) + 1;
        const auto length = static_cast<std::size_t>(to - from);
        frames = (length + hop() - 1) / hop() + 1;
        const double slotSamples = rate / slotsPerSecond;
        slotsWithin = static_cast<std::size_t>(static_cast<double>(length) / slotSamples + 1e-9);
        slotsBefore = static_cast<std::size_t>(
            std::ceil(static_cast<double>(hop()) / slotSamples + reachSeconds * slotsPerSecond));
        const auto after = static_cast<std::size_t>(
            std::ceil(static_cast<double>(frames * hop()) / slotSamples + reachSeconds * slotsPerSecond));
        slots = slotsBefore + after;
        const auto whole = [](std::size_t count) { return (count + loudnessBins - 1) / loudnessBins * loudnessBins; };
        const std::size_t afforded = options.valuesAtMost / std::max<std::size_t>(1, tracks * frames);
        kept = std::clamp(afforded / loudnessBins * loudnessBins, loudnessBins, whole(bins));
    }
};

/// Bins drawn for a row of frames, ascending, and 1/p of each.
struct Draw {
    std::vector<std::uint16_t> bins;
    std::vector<double> weights;
};

/// At most `count` bins, each with the probability min(1, c importance): systematic sampling.
Draw drawBins(const std::vector<double>& importance, std::size_t count, std::uint64_t seed) {
    Draw draw;
    const std::size_t bins = importance.size();
    std::vector<double> chance(bins, 1.0);
    if (count < bins) {
        // Those that would be more than certain are taken, the others share what is left.
        double scale = 0.0;
        for (double certain = 0.0, before = -1.0; certain > before;) {
            before = certain;
            certain = 0.0;
            double rest = 0.0;
            for (const double each : importance)
                if (scale * each >= 1.0)
                    certain += 1.0;
                else
                    rest += each;
            scale = rest > 0.0 ? (static_cast<double>(count) - certain) / rest : 0.0;
        }
        for (std::size_t bin = 0; bin < bins; ++bin)
            chance[bin] = std::min(1.0, scale * importance[bin]);
    }
    double reached = RandomStream(seed).uniform();
    for (std::size_t bin = 0; bin < bins; ++bin) {
        const double before = std::floor(reached);
        reached += chance[bin];
        if (std::floor(reached) <= before || (count < bins && draw.bins.size() == count)) continue;
        draw.bins.push_back(static_cast<std::uint16_t>(bin));
        draw.weights.push_back(1.0 / chance[bin]);
    }
    return draw;
}

} // namespace

struct LoudnessModel::Storage {
    Layout layout;
    bool round = false;
    std::vector<std::vector<std::uint16_t>> drawn; // [row]: at most layout.kept
    LargeArray<std::uint32_t> values;              // see Layout::place
    std::vector<float> energies;                   // [track][slot]
    std::vector<float> later;                      // [slot]: sine window squared, of the later frame that holds it ...
    std::vector<std::uint32_t> laterFrame;         // ... and which that is

    explicit Storage(const Layout& of, bool roundAndRound)
        : layout(of), round(roundAndRound), drawn(of.rows()), values(of.frames * of.kept * of.tracks),
          energies(of.tracks * of.slots) {
        for (std::size_t slot = 0; slot < layout.slots; ++slot) {
            const double middle = 0.5 * static_cast<double>(layout.slotStart(slot) + layout.slotStart(slot + 1));
            const double hops =
                std::clamp((middle - static_cast<double>(layout.from)) / static_cast<double>(layout.hop()) + 1.0, 0.0,
                           static_cast<double>(layout.frames + 1));
            const double whole = std::floor(hops);
            laterFrame.push_back(static_cast<std::uint32_t>(whole));
            later.push_back(static_cast<float>(std::pow(std::sin(0.5 * std::numbers::pi * (hops - whole)), 2)));
        }
    }

    std::span<const float> energiesOf(std::size_t track) const {
        return {energies.data() + track * layout.slots, layout.slots};
    }
};

namespace {

class Pass {
public:
    Pass(const SampleSource& samplesOf, const Layout& cut, std::vector<std::vector<std::uint16_t>>& draws,
         std::uint32_t* keptValues, float* slotEnergies, Workers& crew, const Watch& watching)
        : source(samplesOf), layout(cut), drawn(draws), values(keptValues), energies(slotEnergies), workers(crew),
          watch(watching), fourier(Fourier::ofLength(static_cast<int>(cut.window))), sine(cut.window),
          readers(source.groups().size()), faults(readers.size()), scratch(static_cast<std::size_t>(crew.count())) {
        for (std::size_t n = 0; n < sine.size(); ++n)
            sine[n] = static_cast<float>(
                std::sin(std::numbers::pi * (static_cast<double>(n) + 0.5) / static_cast<double>(layout.window)));
        for (auto& mine : scratch) {
            mine.windowed.resize(layout.window);
            mine.spectrum.resize(layout.hop() + 1);
        }
        for (const auto& group : source.groups())
            for (const int track : group)
                tracks.push_back(static_cast<std::size_t>(track));
        own.reserve(layout.tracks);
        for (std::size_t track = 0; track < layout.tracks; ++track)
            own.emplace_back(layout.rate);
        for (const std::size_t track : tracks) {
            own[track].samples.resize((framesTogether + 1) * layout.hop());
            own[track].spectra.resize(framesTogether * layout.bins);
            own[track].importance.resize(layout.bins);
        }
    }

    std::optional<Fault> run() {
        // Up to the first frame: what settles, and what nudges can bring in.
        const std::int64_t first = layout.frameStart(0), last = layout.slotStart(layout.slots);
        const auto hop = static_cast<std::int64_t>(layout.hop());
        position = layout.slotStart(0) - std::llround(settleSeconds * layout.rate);
        while (position < first)
            if (auto fault = advance(std::min(hop, first - position), 0)) return fault;
        if (auto fault = advance(hop, 0)) return fault;
        for (std::size_t row = 0; row < layout.rows(); ++row) {
            const std::size_t frames = layout.framesIn(row);
            if (auto fault = advance(static_cast<std::int64_t>(frames) * hop, layout.hop())) return fault;
            workers.forEach(tracks.size(), [&](std::size_t item, int worker) {
                transform(tracks[item], frames, scratch[static_cast<std::size_t>(worker)]);
            });
            if (watch.stopped()) return stopped();
            const Draw draw = drawBins(importance(), layout.kept, row);
            drawn[row] = draw.bins;
            workers.forEach(tracks.size(), [&](std::size_t item, int) { keep(tracks[item], row, draw); });
            watch.tell(static_cast<double>(row + 1) / static_cast<double>(layout.rows()));
        }
        while (position < last)
            if (auto fault = advance(std::min(hop, last - position), 0)) return fault;
        return std::nullopt;
    }

private:
    struct Scratch {
        AlignedVector<float> windowed;
        AlignedVector<std::complex<float>> spectrum;
    };
    struct Track {
        explicit Track(double rate) : filter(rate) {}
        KFilter filter;
        AlignedVector<float> samples;                // K-weighted
        std::vector<std::uint32_t> spectra;          // [frame][bin]
        std::vector<double> importance;              // [bin]: energy in the row
        std::array<double, framesTogether> energy{}; // of the frame
    };

    const SampleSource& source;
    const Layout& layout;
    std::vector<std::vector<std::uint16_t>>& drawn;
    std::uint32_t* values;
    float* energies;
    Workers& workers;
    const Watch& watch;
    std::shared_ptr<const Fourier> fourier;
    AlignedVector<float> sine;
    std::vector<std::unique_ptr<GroupReader>> readers;
    std::vector<std::optional<Fault>> faults;
    std::vector<Scratch> scratch;
    std::vector<std::size_t> tracks; // that can be read
    std::vector<Track> own;          // [track]
    std::int64_t position = 0;

    static Fault stopped() { return {"loudness", "stopped", "", Fault::Kind::cancelled}; }

    /// Reads, K-weights and counts the next `count` samples of all tracks; they are put at `place`.
    std::optional<Fault> advance(std::int64_t count, std::size_t place) {
        if (watch.stopped()) return stopped();
        workers.forEach(readers.size(), [&](std::size_t group, int) {
            if (!readers[group]) {
                auto opened = source.openGroup(static_cast<int>(group));
                if (!opened) {
                    faults[group] = opened.fault();
                    return;
                }
                readers[group] = std::move(opened).value();
            }
            std::vector<float*> into;
            for (const int track : source.groups()[group])
                into.push_back(own[static_cast<std::size_t>(track)].samples.data() + place);
            if (auto outcome = readers[group]->read(position, static_cast<int>(count), into); !outcome)
                faults[group] = outcome.fault();
        });
        for (const auto& fault : faults)
            if (fault) return fault;
        workers.forEach(tracks.size(), [&](std::size_t item, int) {
            Track& track = own[tracks[item]];
            float* const samples = track.samples.data() + place;
            for (std::int64_t n = 0; n < count; ++n)
                samples[n] = std::clamp(samples[n], -largestSample, largestSample);
            track.filter.process(samples, static_cast<int>(count));
            countEnergy(samples, count, energies + tracks[item] * layout.slots);
        });
        position += count;
        return std::nullopt;
    }

    void countEnergy(const float* samples, std::int64_t count, float* slots) const {
        const std::int64_t end = std::min(position + count, layout.slotStart(layout.slots));
        std::int64_t at = std::max(position, layout.slotStart(0));
        if (at >= end) return;
        auto slot =
            static_cast<std::size_t>(static_cast<double>(at - layout.slotStart(0)) * slotsPerSecond / layout.rate);
        while (layout.slotStart(slot) > at)
            --slot;
        for (; at < end; ++slot) {
            const std::int64_t next = std::min(end, layout.slotStart(slot + 1));
            if (next <= at) continue;
            slots[slot] += kernels::sumOfSquares(samples + (at - position), static_cast<std::size_t>(next - at));
            at = next;
        }
    }

    /// Of a bin of one frame, so that a frame's energy is their sum: the other half of the spectrum is its mirror
    /// image.
    double binWeight(std::size_t bin) const {
        return (bin == 0 || bin == layout.hop() ? 1.0 : 2.0) / static_cast<double>(layout.window);
    }

    void transform(std::size_t index, std::size_t frames, Scratch& mine) {
        Track& track = own[index];
        std::fill(track.importance.begin(), track.importance.end(), 0.0);
        for (std::size_t frame = 0; frame < frames && !watch.stopped(); ++frame) {
            kernels::applyWindow(track.samples.data() + frame * layout.hop(), sine.data(), 1e30f, mine.windowed.data(),
                                 static_cast<int>(layout.window));
            fourier->forward(mine.windowed.data(), mine.spectrum.data());
            double energy = 0.0;
            for (std::size_t bin = 0; bin < layout.bins; ++bin) {
                const double power = binWeight(bin) * static_cast<double>(std::norm(mine.spectrum[bin]));
                track.importance[bin] += power;
                energy += power;
            }
            track.energy[frame] = energy;
            kernels::packKept(mine.spectrum.data(), layout.bins, track.spectra.data() + frame * layout.bins);
        }
        std::copy_n(track.samples.data() + frames * layout.hop(), layout.hop(), track.samples.data());
    }

    /// Half of it as the tracks are, half as if all were as loud as each other: any of them may be heard alone.
    std::vector<double> importance() const {
        std::vector<double> all(layout.bins), alike(layout.bins);
        double total = 0.0, sounding = 0.0;
        for (const std::size_t index : tracks) {
            const auto& track = own[index].importance;
            double sum = 0.0;
            for (const double bin : track)
                sum += bin;
            if (!(sum > 0.0)) continue;
            total += sum;
            sounding += 1.0;
            for (std::size_t bin = 0; bin < layout.bins; ++bin) {
                all[bin] += track[bin];
                alike[bin] += track[bin] / sum;
            }
        }
        for (std::size_t bin = 0; bin < layout.bins; ++bin) {
            const double drawnBy = sounding > 0.0 ? 0.5 * (all[bin] / total + alike[bin] / sounding) : 0.0;
            all[bin] = (1.0 - evenly) * drawnBy + evenly / static_cast<double>(layout.bins);
        }
        return all;
    }

    void keep(std::size_t index, std::size_t row, const Draw& draw) {
        const Track& track = own[index];
        std::vector<double> weights;
        for (std::size_t k = 0; k < draw.bins.size(); ++k)
            weights.push_back(binWeight(draw.bins[k]) * draw.weights[k]);
        std::vector<std::complex<float>> scaled(loudnessBins);
        for (std::size_t frame = 0; frame < layout.framesIn(row); ++frame) {
            const std::uint32_t* spectrum = track.spectra.data() + frame * layout.bins;
            double energy = 0.0;
            for (std::size_t k = 0; k < draw.bins.size(); ++k)
                energy += weights[k] * static_cast<double>(std::norm(kernels::keptValue(spectrum[draw.bins[k]])));
            // By chance the bins hold more or less of this track's energy than they stand for; how much is known.
            const double correction =
                energy > 0.0 ? std::clamp(track.energy[frame] / energy, 1.0 / mostCorrected, mostCorrected) : 1.0;
            for (std::size_t block = 0; block < layout.blocks(); ++block) {
                std::fill(scaled.begin(), scaled.end(), std::complex<float>());
                for (std::size_t k = block * loudnessBins; k < std::min(draw.bins.size(), (block + 1) * loudnessBins);
                     ++k)
                    scaled[k % loudnessBins] = static_cast<float>(std::sqrt(weights[k] * correction)) *
                                               kernels::keptValue(spectrum[draw.bins[k]]);
                kernels::packKept(scaled.data(), loudnessBins,
                                  values + layout.place(row, block) + frame * layout.frameStride() +
                                      index * loudnessBins);
            }
        }
    }
};

/// A track as a setting has it.
struct Adjusted {
    std::size_t track = 0;
    double gain = 0.0, nudge = 0.0; // amplitude, signed; seconds
    PanGains pan;
    const std::vector<std::complex<float>>* response = nullptr; // null: none
    std::vector<std::complex<float>> turned;                    // of nudge and response, one a bin; empty: 1

    double power() const { return gain * gain * (pan.left * pan.left + pan.right * pan.right); }
};

/// exp(-j 2 pi f nudge), times the response.
std::vector<std::complex<float>> turnsOf(const Adjusted& track, const Layout& layout) {
    constexpr std::size_t fine = 128; // angles add: two short tables make a long one
    std::vector<std::complex<float>> turns(layout.bins);
    const double step = -2.0 * std::numbers::pi * layout.binWidth() * track.nudge;
    std::vector<std::complex<float>> near;
    for (std::size_t k = 0; k < fine; ++k)
        near.emplace_back(std::polar(1.0, step * static_cast<double>(k)));
    const auto times = [](std::complex<float> a, std::complex<float> b) { // none is infinite
        return std::complex<float>(a.real() * b.real() - a.imag() * b.imag(),
                                   a.real() * b.imag() + a.imag() * b.real());
    };
    for (std::size_t first = 0; first < layout.bins; first += fine) {
        const std::complex<float> far(std::polar(1.0, step * static_cast<double>(first)));
        for (std::size_t k = 0; k < std::min(fine, layout.bins - first); ++k)
            turns[first + k] = times(far, near[k]);
    }
    if (track.response)
        for (std::size_t bin = 0; bin < layout.bins; ++bin)
            turns[bin] = times(turns[bin], (*track.response)[bin]);
    return turns;
}

} // namespace

LoudnessModel::LoudnessModel() = default;
LoudnessModel::~LoudnessModel() = default;
LoudnessModel::LoudnessModel(LoudnessModel&&) noexcept = default;
LoudnessModel& LoudnessModel::operator=(LoudnessModel&&) noexcept = default;

int LoudnessModel::trackCount() const {
    return static_cast<int>(storage->layout.tracks);
}
int LoudnessModel::binsKept() const {
    return static_cast<int>(std::min(storage->layout.kept, storage->layout.bins));
}
int LoudnessModel::binsOfAll() const {
    return static_cast<int>(storage->layout.bins);
}
std::size_t LoudnessModel::bytes() const {
    return storage->values.size() * sizeof(std::uint32_t) + storage->energies.size() * sizeof(float);
}

std::optional<double> LoudnessModel::loudness(std::span<const TrackAdjustment> adjustments,
                                              std::span<const PanGains> pans) const {
    const Layout& layout = storage->layout;
    assert(adjustments.size() == layout.tracks && pans.size() == layout.tracks);

    // What is heard. A high-pass that several tracks have is reckoned once.
    std::vector<Adjusted> heard;
    std::vector<std::pair<TrackAdjustment, std::unique_ptr<std::vector<std::complex<float>>>>> responses;
    for (std::size_t track = 0; track < layout.tracks; ++track) {
        TrackAdjustment filter = adjustments[track];
        if (filter.muted) continue;
        Adjusted& one = heard.emplace_back();
        one.track = track;
        one.gain = (filter.flip ? -1.0 : 1.0) * amplitudeOfDecibels(filter.gain.value);
        one.nudge = filter.nudge.value;
        one.pan = pans[track];
        filter.flip = false;
        filter.nudge = {};
        filter.gain = {};
        filter.pan.reset();
        if (filter == TrackAdjustment{}) continue;
        const auto same = std::find_if(responses.begin(), responses.end(),
                                       [&](const auto& response) { return response.first == filter; });
        if (same != responses.end()) {
            one.response = same->second.get();
            continue;
        }
        const auto exact = mixResponse(filter, static_cast<int>(layout.bins), layout.binWidth(), layout.rate);
        responses.emplace_back(filter, std::make_unique<std::vector<std::complex<float>>>(exact.begin(), exact.end()));
        one.response = responses.back().second.get();
    }
    for (Adjusted& one : heard)
        if (one.response || one.nudge != 0.0) one.turned = turnsOf(one, layout);

    // Energies of frames, interference and all.
    std::vector<double> frames(layout.frames);
    {
        std::vector<int> tracks;
        std::vector<float> left, right;
        for (const Adjusted& one : heard) {
            tracks.push_back(static_cast<int>(one.track));
            left.push_back(static_cast<float>(one.gain * one.pan.left));
            right.push_back(static_cast<float>(one.gain * one.pan.right));
        }
        AlignedVector<float> weights(2 * loudnessBins * heard.size());
        for (std::size_t row = 0; row < layout.rows(); ++row) {
            const auto& drawn = storage->drawn[row];
            for (std::size_t block = 0; block < layout.blocks(); ++block) {
                const std::size_t first = block * loudnessBins;
                if (first >= drawn.size()) break;
                const std::size_t count = std::min(loudnessBins, drawn.size() - first);
                for (std::size_t k = 0; k < heard.size(); ++k) {
                    float* const re = weights.data() + 2 * loudnessBins * k;
                    for (std::size_t n = 0; n < count; ++n) {
                        const std::complex<float> w =
                            heard[k].turned.empty() ? 1.0f : heard[k].turned[drawn[first + n]];
                        re[n] = w.real();
                        re[n + loudnessBins] = w.imag();
                    }
                }
                kernels::addAdjustedPowers(storage->values.data() + layout.place(row, block), layout.frameStride(),
                                           layout.framesIn(row),
                                           {tracks.data(), tracks.size(), weights.data(), left.data(), right.data()},
                                           frames.data() + row * framesTogether);
            }
        }
    }

    // Energies of slots if the tracks ignored each other, where they are and where they are nudged to.
    std::vector<double> still(layout.slots), moved(layout.slots);
    const auto lastSlot = static_cast<std::int64_t>(layout.slots) - 1;
    for (const Adjusted& one : heard) {
        const auto energies = storage->energiesOf(one.track);
        const double power = one.power();
        for (std::size_t slot = 0; slot < layout.slots; ++slot)
            still[slot] += power * static_cast<double>(energies[slot]);
        const double slotsLater = one.nudge * slotsPerSecond, whole = std::floor(slotsLater), part = slotsLater - whole;
        for (std::size_t n = 0; n < layout.slotsWithin; ++n) {
            const std::size_t slot = n + layout.slotsBefore;
            const auto at = [&](double shift) {
                const auto from = std::clamp(static_cast<std::int64_t>(slot) - static_cast<std::int64_t>(shift),
                                             std::int64_t(0), lastSlot);
                return static_cast<double>(energies[static_cast<std::size_t>(from)]);
            };
            moved[slot] += power * (part > 0.0 ? (1.0 - part) * at(whole) + part * at(whole + 1.0) : at(whole));
        }
    }

    // What each frame has against tracks that ignore each other: as much have its slots, each between its two frames.
    std::vector<double> ignoring(layout.frames + 2), ratio(layout.frames + 2, 1.0);
    // From layout.frames on: there is no such frame.
    const auto earlierFrame = [&](std::size_t slot) {
        const std::uint32_t frame = storage->laterFrame[slot];
        return frame == 0 ? layout.frames : frame - 1;
    };
    for (std::size_t slot = 0; slot < layout.slots; ++slot) {
        const double rising = static_cast<double>(storage->later[slot]);
        ignoring[storage->laterFrame[slot]] += rising * still[slot];
        ignoring[earlierFrame(slot)] += (1.0 - rising) * still[slot];
    }
    for (std::size_t frame = 0; frame < layout.frames; ++frame)
        if (ignoring[frame] > 0.0) ratio[frame] = frames[frame] / ignoring[frame];
    std::vector<double> sums(layout.slotsWithin + 1);
    for (std::size_t n = 0; n < layout.slotsWithin; ++n) {
        const std::size_t slot = n + layout.slotsBefore;
        const double rising = static_cast<double>(storage->later[slot]);
        sums[n + 1] = sums[n] + moved[slot] * (rising * ratio[storage->laterFrame[slot]] +
                                               (1.0 - rising) * ratio[earlierFrame(slot)]);
    }

    std::vector<double> blocks;
    const std::size_t all = layout.slotsWithin, step = storage->round ? 1 : slotsPerStep;
    for (std::size_t first = 0; storage->round ? first < all : first + slotsPerBlock <= all; first += step) {
        const std::size_t end = first + slotsPerBlock; // all slots before it, round by round
        const double energy = static_cast<double>(end / all) * sums[all] + sums[end % all] - sums[first];
        blocks.push_back(std::max(0.0, energy) / (loudnessBlock.value * layout.rate));
    }
    return gatedLoudness(blocks);
}

Result<LoudnessModel> computeLoudnessModel(const SampleSource& source, const LoudnessOptions& options, Workers& workers,
                                           const Watch& watch) {
    const std::int64_t to = options.to < 0 ? source.length() : options.to;
    if (options.from < 0 || options.from >= to || to > source.length())
        return Fault{"stretch", "it is empty or lies outside the recording", "choose one within it"};
    LoudnessModel model;
    try {
        model.storage = std::make_unique<LoudnessModel::Storage>(Layout(source, options, to), options.round);
        auto& into = *model.storage;
        Pass pass(source, into.layout, into.drawn, into.values.data(), into.energies.data(), workers, watch);
        if (auto fault = pass.run()) return *fault;
    } catch (const std::bad_alloc&) {
        return Fault{"memory", "too little of it for " + std::to_string(source.trackCount()) + " tracks at once",
                     "close other programs or measure fewer tracks"};
    }
    return model;
}

} // namespace spillwright
