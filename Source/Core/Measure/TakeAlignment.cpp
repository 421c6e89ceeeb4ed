#include "Core/Measure/TakeAlignment.h"

#include "Core/Signal/AlignedVector.h"
#include "Core/Signal/Fourier.h"
#include "Core/Statistics.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <limits>
#include <numbers>

namespace spillwright {

namespace {

constexpr double evenOver = 0.75; // s, on either side: two strokes or three
constexpr double windowSeconds = 0.085, hopSeconds = 0.0213;
constexpr std::size_t mostFrames = 6000; // their square in bytes is what the way back takes
constexpr std::size_t notes = 12, bands = 8, features = notes + 2 * bands;
constexpr double lowestNote = 250.0, highestNote = 2500.0; // Hz
constexpr double lowestBand = 40.0, highestBand = 16000.0;
constexpr double quietDb = -50.0;      // below the loudest frame: nothing is played
constexpr float onsetWeight = 1.5f;    // against the loudness of a band, both in their usual deviations
constexpr float noteWeight = 2.0f;     // of the notes together
constexpr double around = 1.5;         // s to either side, over which agreement is told
constexpr double fullAgreement = 0.45; // of the difference that chance leaves: takes by the same players

using Frame = std::array<float, features>;

struct Frames {
    std::vector<Frame> values;
    double hop = hopSeconds; // s
    double first = 0.0;      // s, of the middle of the first frame
};

/// Takes the mean out and the deviation to 1, over time.
void standardise(std::vector<Frame>& frames, std::size_t feature, float weight) {
    double mean = 0.0, squares = 0.0;
    for (const auto& frame : frames)
        mean += static_cast<double>(frame[feature]) / static_cast<double>(frames.size());
    for (const auto& frame : frames)
        squares += std::pow(static_cast<double>(frame[feature]) - mean, 2) / static_cast<double>(frames.size());
    const double scale = squares > 0.0 ? static_cast<double>(weight) / std::sqrt(squares) : 0.0;
    for (auto& frame : frames)
        frame[feature] =
            static_cast<float>(std::clamp((static_cast<double>(frame[feature]) - mean) * scale, -4.0, 4.0));
}

/// The sum of all tracks, chunk by chunk, as frames.
Result<Frames> framesOf(const SampleSource& source, const Watch& watch) {
    const double rate = source.sampleRate();
    int window = 1024;
    while (window < windowSeconds * rate * 0.75)
        window *= 2;
    double hop = hopSeconds;
    while (static_cast<double>(source.length()) / rate / hop > static_cast<double>(mostFrames))
        hop *= 2.0;
    const auto hopSamples = std::max<std::int64_t>(1, std::llround(hop * rate));
    std::vector<std::unique_ptr<GroupReader>> readers;
    std::size_t widest = 1;
    for (std::size_t g = 0; g < source.groups().size(); ++g) {
        auto reader = source.openGroup(static_cast<int>(g));
        if (!reader) return reader.fault();
        readers.push_back(std::move(reader).value());
        widest = std::max(widest, source.groups()[g].size());
    }
    const auto fourier = Fourier::ofLength(window);
    AlignedVector<float> block(static_cast<std::size_t>(window));
    AlignedVector<std::complex<float>> spectrum(static_cast<std::size_t>(fourier->binCount()));
    std::vector<std::vector<float>> channels(widest, std::vector<float>(static_cast<std::size_t>(window)));
    std::vector<float> sum(static_cast<std::size_t>(window)), shape(static_cast<std::size_t>(window));
    for (int n = 0; n < window; ++n)
        shape[static_cast<std::size_t>(n)] =
            static_cast<float>(0.5 - 0.5 * std::cos(2.0 * std::numbers::pi * n / window));
    const double width = rate / window;

    Frames frames;
    frames.hop = static_cast<double>(hopSamples) / rate;
    frames.first = 0.5 * window / rate;
    std::vector<double> loudness;
    std::array<float, bands> before{};
    std::int64_t have = 0; // samples of `sum` that are read, from its beginning
    for (std::int64_t start = 0; start + window <= source.length(); start += hopSamples) {
        if (watch.stopped()) return Fault{"align", "stopped", "", Fault::Kind::cancelled};
        watch.tell(static_cast<double>(start) / static_cast<double>(source.length()));
        const auto missing = static_cast<int>(window - have);
        std::fill(sum.begin() + have, sum.end(), 0.0f);
        for (std::size_t g = 0; g < readers.size(); ++g) {
            std::vector<float*> into;
            for (std::size_t k = 0; k < source.groups()[g].size(); ++k)
                into.push_back(channels[k].data());
            if (auto read = readers[g]->read(start + have, missing, into); !read) return read.fault();
            for (const auto* channel : into)
                for (int n = 0; n < missing; ++n)
                    sum[static_cast<std::size_t>(have + n)] += channel[n];
        }
        for (std::size_t n = 0; n < block.size(); ++n)
            block[n] = sum[n] * shape[n];
        fourier->forward(block.data(), spectrum.data());

        Frame frame{};
        std::array<double, bands> power{};
        std::array<double, notes> note{};
        double all = 0.0;
        for (int bin = 1; bin < fourier->binCount(); ++bin) {
            const double hertz = bin * width,
                         value = static_cast<double>(std::norm(spectrum[static_cast<std::size_t>(bin)]));
            all += value;
            if (hertz >= lowestBand && hertz < highestBand)
                power[static_cast<std::size_t>(bands * std::log(hertz / lowestBand) /
                                               std::log(highestBand / lowestBand))] += value;
            if (hertz >= lowestNote && hertz < highestNote) {
                const auto semitone = static_cast<long>(std::lround(12.0 * std::log2(hertz / 440.0)));
                note[static_cast<std::size_t>(((semitone % 12) + 12) % 12)] += std::sqrt(value);
            }
        }
        loudness.push_back(all);
        double size = 0.0;
        for (const double value : note)
            size += value * value;
        for (std::size_t k = 0; k < notes; ++k)
            frame[k] = static_cast<float>(size > 0.0 ? note[k] / std::sqrt(size) : 0.0);
        for (std::size_t k = 0; k < bands; ++k) {
            const auto level = static_cast<float>(std::log(power[k] + 1e-9));
            frame[notes + k] = level;
            frame[notes + bands + k] = frames.values.empty() ? 0.0f : std::max(0.0f, level - before[k]);
            before[k] = level;
        }
        frames.values.push_back(frame);
        have = std::max<std::int64_t>(0, window - hopSamples);
        std::copy(sum.end() - have, sum.end(), sum.begin());
    }
    // Silence before and after is no music: it would align with anything.
    const double loudest = loudness.empty() ? 0.0 : *std::max_element(loudness.begin(), loudness.end());
    const auto played = [&](double value) { return value > 0.0 && value >= loudest * std::pow(10.0, quietDb / 10.0); };
    const auto from = std::find_if(loudness.begin(), loudness.end(), played) - loudness.begin();
    const auto to = loudness.rend() - std::find_if(loudness.rbegin(), loudness.rend(), played);
    if (from >= to) {
        frames.values.clear();
        return frames;
    }
    frames.values.erase(frames.values.begin() + to, frames.values.end());
    frames.values.erase(frames.values.begin(), frames.values.begin() + from);
    frames.first += frames.hop * static_cast<double>(from);
    for (std::size_t k = 0; k < notes; ++k)
        standardise(frames.values, k, noteWeight * 0.3f);
    for (std::size_t k = 0; k < bands; ++k) {
        standardise(frames.values, notes + k, 1.0f);
        standardise(frames.values, notes + bands + k, onsetWeight);
    }
    return frames;
}

float distance(const Frame& a, const Frame& b) {
    float sum = 0.0f;
    for (std::size_t k = 0; k < features; ++k)
        sum += (a[k] - b[k]) * (a[k] - b[k]);
    return std::sqrt(sum);
}

/// The way of `query` through `song`: each frame of the query has its frame of the song, and what they differ by.
struct Way {
    std::vector<std::pair<std::size_t, std::size_t>> steps; // query, song
    std::vector<float> costs;
    double mean = std::numeric_limits<double>::infinity();
};

Way warp(const std::vector<Frame>& query, const std::vector<Frame>& song) {
    const std::size_t n = query.size(), m = song.size();
    constexpr float never = std::numeric_limits<float>::infinity();
    std::vector<std::uint8_t> back(n * m, 0); // 1: (1,1), 2: (1,2), 3: (2,1)
    std::vector<float> total[3], cost[2];     // rows i, i-1, i-2
    for (auto& row : total)
        row.assign(m, never);
    for (auto& row : cost)
        row.assign(m, 0.0f);
    for (std::size_t i = 0; i < n; ++i) {
        std::swap(total[2], total[1]);
        std::swap(total[1], total[0]);
        std::swap(cost[1], cost[0]);
        for (std::size_t j = 0; j < m; ++j)
            cost[0][j] = distance(query[i], song[j]);
        for (std::size_t j = 0; j < m; ++j) {
            float best = i == 0 ? 0.0f : never;
            std::uint8_t way = 0;
            const auto offer = [&](float value, std::uint8_t by) {
                if (value < best) {
                    best = value;
                    way = by;
                }
            };
            if (i >= 1 && j >= 1) offer(total[1][j - 1], 1);
            if (i >= 1 && j >= 2) offer(total[1][j - 2], 2);
            if (i >= 2 && j >= 1) offer(total[2][j - 1] + cost[1][j], 3);
            total[0][j] = best + cost[0][j];
            back[i * m + j] = way;
        }
    }
    Way result;
    const auto end = std::min_element(total[0].begin(), total[0].end());
    if (end == total[0].end() || !std::isfinite(*end)) return result;
    result.mean = static_cast<double>(*end) / static_cast<double>(n);
    std::size_t i = n - 1, j = static_cast<std::size_t>(end - total[0].begin());
    for (;;) {
        result.steps.emplace_back(i, j);
        result.costs.push_back(distance(query[i], song[j]));
        const auto way = back[i * m + j];
        if (way == 0) break;
        if (way == 3) {
            result.steps.emplace_back(i - 1, j);
            result.costs.push_back(distance(query[i - 1], song[j]));
        }
        i -= way == 3 ? 2 : 1;
        j -= way == 2 ? 2 : 1;
    }
    std::reverse(result.steps.begin(), result.steps.end());
    std::reverse(result.costs.begin(), result.costs.end());
    return result;
}

/// The way goes from frame to frame, and wavers by one around where the music is: at each place the straight line
/// through what lies within evenOver of it (least squares). `ahead`: how much later each of `times` is in the other
/// take.
std::vector<double> evened(const std::vector<double>& times, const std::vector<double>& ahead) {
    std::vector<double> even(ahead.size());
    std::size_t from = 0, to = 0;
    for (std::size_t k = 0; k < times.size(); ++k) {
        while (times[from] < times[k] - evenOver)
            ++from;
        while (to < times.size() && times[to] <= times[k] + evenOver)
            ++to;
        double n = 0.0, x = 0.0, y = 0.0, xx = 0.0, xy = 0.0;
        for (std::size_t m = from; m < to; ++m) {
            const double t = times[m] - times[k];
            n += 1.0;
            x += t;
            y += ahead[m];
            xx += t * t;
            xy += t * ahead[m];
        }
        const double spread = xx - x * x / n;
        const double slope = spread > 0.0 ? (xy - x * y / n) / spread : 0.0;
        even[k] = (y - slope * x) / n;
    }
    return even;
}

} // namespace

Result<TakeAlignment> alignTakes(const SampleSource& first, const SampleSource& second, Workers& workers,
                                 const Watch& watch) {
    std::optional<Fault> faults[2];
    Frames frames[2];
    workers.forEach(2, [&](std::size_t k, int) {
        auto read = framesOf(k == 0 ? first : second, {{}, watch.stop});
        if (!read)
            faults[k] = read.fault();
        else
            frames[k] = std::move(read).value();
    });
    for (const auto& fault : faults)
        if (fault) return *fault;
    watch.tell(0.5);
    TakeAlignment alignment;
    // Frames of one length in both: every other one of the finer take, where one is long and the other short.
    for (const int k : {0, 1})
        while (frames[k].hop < 0.75 * frames[1 - k].hop && frames[k].values.size() > 1) {
            auto& values = frames[k].values;
            for (std::size_t n = 0; 2 * n < values.size(); ++n)
                values[n] = values[2 * n];
            values.resize((values.size() + 1) / 2);
            frames[k].hop *= 2.0;
        }
    alignment.grid = Seconds(std::max(frames[0].hop, frames[1].hop));
    if (frames[0].values.empty() || frames[1].values.empty()) return alignment;

    const bool firstAsks = frames[0].values.size() <= frames[1].values.size();
    const auto &query = frames[firstAsks ? 0 : 1], &song = frames[firstAsks ? 1 : 0];
    const std::vector<Frame> backwards(query.values.rbegin(), query.values.rend());
    Way ways[2];
    workers.forEach(2, [&](std::size_t k, int) { ways[k] = warp(k == 0 ? query.values : backwards, song.values); });
    if (watch.stopped()) return Fault{"align", "stopped", "", Fault::Kind::cancelled};
    const auto& way = ways[0];
    if (way.steps.empty()) return alignment;
    const double chance = std::isfinite(ways[1].mean) ? ways[1].mean : way.mean;

    std::vector<double> running{0.0}, confidences;
    for (const float cost : way.costs)
        running.push_back(running.back() + static_cast<double>(cost));
    const auto reach = static_cast<std::size_t>(around / query.hop);
    for (std::size_t k = 0; k < way.steps.size(); ++k) {
        const std::size_t from = k > reach ? k - reach : 0, to = std::min(way.steps.size(), k + reach + 1);
        const double mean = (running[to] - running[from]) / static_cast<double>(to - from);
        const double confidence = chance > 0.0 ? std::clamp((1.0 - mean / chance) / fullAgreement, 0.0, 1.0) : 0.0;
        const double asked = query.first + query.hop * static_cast<double>(way.steps[k].first);
        const double found = song.first + song.hop * static_cast<double>(way.steps[k].second);
        alignment.points.push_back({firstAsks ? asked : found, firstAsks ? found : asked, confidence});
        confidences.push_back(confidence);
    }
    std::vector<double> times, ahead;
    for (const auto& point : alignment.points) {
        times.push_back(point.first);
        ahead.push_back(point.second - point.first);
    }
    const auto even = evened(times, ahead);
    for (std::size_t k = 0; k < even.size(); ++k) {
        auto& point = alignment.points[k];
        point.second = point.first + even[k];
        if (k > 0) point.second = std::max(point.second, alignment.points[k - 1].second);
    }
    alignment.whole = medianOf(confidences);
    watch.tell(1.0);
    return alignment;
}

template <class From, class To>
std::optional<AlignedPlace> TakeAlignment::at(double time, const From& from, const To& to) const {
    if (points.empty() || time < from(points.front()) - grid.value || time > from(points.back()) + grid.value)
        return std::nullopt;
    const auto after = std::lower_bound(points.begin(), points.end(), time,
                                        [&](const Point& point, double t) { return from(point) < t; });
    if (after == points.begin()) return AlignedPlace{Seconds(to(points.front())), points.front().confidence};
    if (after == points.end()) return AlignedPlace{Seconds(to(points.back())), points.back().confidence};
    const auto& a = *(after - 1);
    const double span = from(*after) - from(a);
    const double part = span > 0.0 ? (time - from(a)) / span : 0.0;
    return AlignedPlace{Seconds(to(a) + part * (to(*after) - to(a))), a.confidence};
}

std::optional<AlignedPlace> TakeAlignment::inSecond(Seconds ofFirst) const {
    return at(
        ofFirst.value, [](const Point& p) { return p.first; }, [](const Point& p) { return p.second; });
}

std::optional<AlignedPlace> TakeAlignment::inFirst(Seconds ofSecond) const {
    return at(
        ofSecond.value, [](const Point& p) { return p.second; }, [](const Point& p) { return p.first; });
}

} // namespace spillwright
