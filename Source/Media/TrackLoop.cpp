#include "Media/TrackLoop.h"

#include "Media/Resampler.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace spillwright {

Result<std::vector<float>> trackLoop(const SampleSource& source, int track, std::int64_t from, std::int64_t to,
                                     double sampleRate) {
    const double rate = source.sampleRate();
    from = std::max<std::int64_t>(from, 0);
    to = std::min({to, source.length(), from + static_cast<std::int64_t>(longestTrackLoop.value * rate)});
    if (from >= to) return Fault{"loop", "holds nothing", "choose a stretch of the recording"};
    // The samples before the loop come first.
    const std::int64_t lead = std::llround(0.01 * rate);
    std::vector<float> samples(static_cast<std::size_t>(lead + to - from));
    for (std::size_t group = 0; group < source.groups().size(); ++group) {
        const auto& members = source.groups()[group];
        const auto found = std::find(members.begin(), members.end(), track);
        if (found == members.end()) continue;
        auto reader = source.openGroup(static_cast<int>(group));
        if (!reader) return reader.fault();
        std::vector<std::vector<float>> all(members.size(), std::vector<float>(samples.size()));
        std::vector<float*> into;
        for (auto& one : all)
            into.push_back(one.data());
        if (auto read = (*reader)->read(from - lead, static_cast<int>(samples.size()), into); !read)
            return read.fault();
        samples = std::move(all[static_cast<std::size_t>(found - members.begin())]);
    }
    if (rate != sampleRate) {
        Resampler resampler(
            rate, sampleRate, 1, [&](std::int64_t start, int count, std::span<float* const> channels) -> Outcome {
                for (int n = 0; n < count; ++n) {
                    const std::int64_t at = start + n;
                    channels[0][n] = at >= 0 && at < std::ssize(samples) ? samples[static_cast<std::size_t>(at)] : 0.0f;
                }
                return done();
            });
        std::vector<float> converted(static_cast<std::size_t>(resampledLength(std::ssize(samples), rate, sampleRate)));
        float* const pointer = converted.data();
        if (auto read = resampler.read(0, static_cast<int>(converted.size()), std::span(&pointer, 1)); !read)
            return read.fault();
        samples = std::move(converted);
    }
    const auto fade = static_cast<std::size_t>(std::llround(0.01 * sampleRate));
    if (samples.size() < 3 * fade) return Fault{"loop", "is shorter than 20 ms", "choose a longer stretch"};
    std::vector<float> loop(samples.begin() + static_cast<std::ptrdiff_t>(fade), samples.end());
    for (std::size_t n = 0; n < fade; ++n) {
        const double share =
            0.5 - 0.5 * std::cos(std::numbers::pi * static_cast<double>(n + 1) / static_cast<double>(fade));
        float& last = loop[loop.size() - fade + n];
        last = static_cast<float>((1.0 - share) * static_cast<double>(last) + share * static_cast<double>(samples[n]));
    }
    return loop;
}

} // namespace spillwright
