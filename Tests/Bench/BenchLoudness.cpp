// What the loudness of one setting costs, and the pass before it. The floor: reading as many bytes from memory as are
// kept.

#include "Core/Propose/LoudnessModel.h"
#include "Support/TestSignals.h"

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <functional>
#include <numeric>
#include <vector>

using namespace spillwright;

namespace {

double milliseconds(const std::function<void()>& work) {
    const auto start = std::chrono::steady_clock::now();
    work();
    return std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - start).count();
}

double leastMilliseconds(int rounds, const std::function<void()>& work) {
    double least = milliseconds(work);
    for (int round = 1; round < rounds; ++round)
        least = std::min(least, milliseconds(work));
    return least;
}

/// Five seconds of noise over and over, another one for each of eight tracks in turn.
class Repeating : public SampleSource {
public:
    Repeating(int trackCount, double seconds)
        : tracks(trackCount), samples(static_cast<std::int64_t>(seconds * 48000)) {
        for (int track = 0; track < tracks; ++track)
            all.push_back({track});
        for (std::uint64_t seed = 0; seed < 8; ++seed)
            noise.push_back(test::pinkNoise(5 * 48000, seed));
    }
    int trackCount() const override { return tracks; }
    double sampleRate() const override { return 48000.0; }
    std::int64_t length() const override { return samples; }
    const std::vector<std::vector<int>>& groups() const override { return all; }
    Result<std::unique_ptr<GroupReader>> openGroup(int group) const override {
        return std::unique_ptr<GroupReader>(new Reader(noise[static_cast<std::size_t>(group % 8)]));
    }

private:
    struct Reader : GroupReader {
        explicit Reader(const std::vector<float>& noiseOf) : noise(noiseOf) {}
        Outcome read(std::int64_t start, int count, std::span<float* const> into) override {
            const std::int64_t length = std::ssize(noise);
            for (std::int64_t n = 0; n < count;) {
                const std::int64_t at = ((start + n) % length + length) % length,
                                   run = std::min(count - n, length - at);
                std::copy_n(noise.begin() + at, run, into[0] + n);
                n += run;
            }
            return done();
        }
        const std::vector<float>& noise;
    };
    int tracks;
    std::int64_t samples;
    std::vector<std::vector<int>> all;
    std::vector<std::vector<float>> noise;
};

void bench(int tracks, double seconds) {
    const Repeating source(tracks, seconds);
    Workers workers;
    std::optional<LoudnessModel> model;
    const double pass = milliseconds([&] {
        auto made = computeLoudnessModel(source, {}, workers, {});
        if (made) model.emplace(std::move(made).value());
    });
    if (!model) return;
    std::vector<TrackAdjustment> plain(static_cast<std::size_t>(tracks)), changed = plain;
    std::vector<PanGains> pans;
    for (int track = 0; track < tracks; ++track) {
        auto& one = changed[static_cast<std::size_t>(track)];
        one.flip = track % 3 == 0;
        one.nudge = spillwright::milliseconds(0.137 * track - 2.0);
        one.highPass = Hertz(track % 2 ? 80.0 : 120.0);
        pans.push_back(panGains(track % 2 ? 0.5 : -0.5));
    }
    double sink = 0.0;
    const double flips = leastMilliseconds(7, [&] { sink += *model->loudness(plain, pans); });
    const double all = leastMilliseconds(7, [&] { sink += *model->loudness(changed, pans); });
    const std::vector<std::uint32_t> bytes(model->bytes() / sizeof(std::uint32_t), 1);
    std::uint32_t total = 0;
    const double floor = leastMilliseconds(7, [&] { total += std::accumulate(bytes.begin(), bytes.end(), 0u); });
    std::printf(
        "%3d tracks, %5.0f s: %4d bins, %5.1f MiB; %6.2f ms as recorded (%.1f x the floor), %6.2f ms with nudges and "
        "high-passes; the pass %7.0f ms%s\n",
        tracks, seconds, model->binsKept(), static_cast<double>(model->bytes()) / 1048576.0, flips, flips / floor, all,
        pass, sink + total == 0.0 ? "!" : "");
    std::fflush(stdout);
}

} // namespace

int main() {
    std::printf("Loudness of one setting on one thread; the pass on all cores.\n");
    for (const int tracks : {24, 64})
        for (const double seconds : {2.0, 10.0, 60.0, 600.0})
            bench(tracks, seconds);
}
