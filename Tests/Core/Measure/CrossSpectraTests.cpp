#include "Core/Measure/CrossSpectra.h"

#include "Support/MemorySource.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <atomic>
#include <cmath>
#include <cstring>
#include <numbers>
#include <utility>

using namespace spillwright;
using namespace spillwright::test;

namespace {

CrossSpectra spectraOf(const MemorySource& source, int workerCount = 2, CrossSpectraOptions options = {}) {
    Workers workers(workerCount);
    auto spectra = computeCrossSpectra(source, options, workers, {});
    REQUIRE(spectra);
    return std::move(spectra).value();
}

/// The definition by hand, in double: whole windows only, half overlapped.
std::complex<double> oneBinByHand(const std::vector<float>& a, const std::vector<float>& b, int window, int bin) {
    std::complex<double> mean;
    int windows = 0;
    for (std::size_t start = 0; start + static_cast<std::size_t>(window) <= a.size();
         start += static_cast<std::size_t>(window / 2), ++windows) {
        std::complex<double> x, y;
        for (int n = 0; n < window; ++n) {
            const double hann = 0.5 - 0.5 * std::cos(2.0 * std::numbers::pi * n / window);
            const auto turn = std::polar(hann, -2.0 * std::numbers::pi * bin * n / window);
            x += turn * static_cast<double>(a[start + static_cast<std::size_t>(n)]);
            y += turn * static_cast<double>(b[start + static_cast<std::size_t>(n)]);
        }
        mean += x * std::conj(y);
    }
    return mean / static_cast<double>(windows);
}

} // namespace

TEST_CASE("cross-spectra are the mean of X_i conj(X_j) over whole Hann windows, half overlapped") {
    // Odd counts of tracks reach every remainder of the register tiles; groups of several lengths every way of reading.
    const std::size_t length = 16384 * 5 + 777;
    const int tracks = GENERATE(1, 2, 3, 4, 7, 9, 13);
    std::vector<std::vector<float>> samples;
    for (int track = 0; track < tracks; ++track)
        samples.push_back(whiteNoise(length, static_cast<std::uint64_t>(track + 1)));
    for (int track = 1; track < tracks; ++track)
        samples[static_cast<std::size_t>(track)] = sum(samples[static_cast<std::size_t>(track)], samples[0]);
    std::vector<std::vector<int>> groups;
    if (tracks == 9) groups = {{0, 3}, {1, 2, 4, 5, 6, 7, 8}};
    const MemorySource source(samples, 48000.0, groups);
    const auto spectra = spectraOf(source);
    REQUIRE(spectra.windowLength() == 16384);
    REQUIRE(spectra.windows() == 9);
    REQUIRE(spectra.binCount() == 8193);
    for (int i = 0; i < tracks; ++i)
        for (int j = i; j < tracks; ++j) {
            const int bin = 1 + (i * 37 + j * 911) % 8190;
            const auto expected =
                oneBinByHand(samples[static_cast<std::size_t>(i)], samples[static_cast<std::size_t>(j)], 16384, bin);
            // Single-precision transforms: relative error of a spectrum about 2^-24 * log2(16384), of a product twice
            // that, against the powers (a cross-spectrum itself may be small by chance).
            const double power = std::sqrt(spectra.power(bin, i) * spectra.power(bin, j));
            CHECK(std::abs(spectra.at(bin, i, j) - expected) < 1e-5 * power);
            CHECK(spectra.at(bin, j, i) == std::conj(spectra.at(bin, i, j)));
        }
}

TEST_CASE("a hundred and thirty tracks are measured like two") {
    std::vector<std::vector<float>> tracks;
    for (std::uint64_t track = 0; track < 130; ++track)
        tracks.push_back(whiteNoise(4800, track));
    tracks[129] = sum(tracks[129], tracks[0]);
    const auto spectra = spectraOf(MemorySource(tracks));
    const int window = spectra.windowLength();
    for (const auto& [i, j] : {std::pair{0, 129}, std::pair{64, 127}, std::pair{129, 129}}) {
        const auto expected =
            oneBinByHand(tracks[static_cast<std::size_t>(i)], tracks[static_cast<std::size_t>(j)], window, 100);
        const double power = std::sqrt(spectra.power(100, i) * spectra.power(100, j));
        CHECK(std::abs(spectra.at(100, i, j) - expected) < 1e-5 * power);
    }
}

TEST_CASE("the same bytes come out for any number of workers") {
    std::vector<std::vector<float>> samples;
    for (std::uint64_t track = 0; track < 9; ++track)
        samples.push_back(whiteNoise(48000 * 7, track + 1));
    const MemorySource source(samples, 48000.0, {{0}, {1, 2}, {3, 4, 5, 6, 7, 8}});
    const auto one = spectraOf(source, 1);
    for (int workers : {2, 5}) {
        const auto other = spectraOf(source, workers);
        std::vector<std::complex<float>> a(static_cast<std::size_t>(one.binCount())), b(a);
        std::vector<std::complex<float>> p(one.phasePools().size()), q(p);
        bool same = true;
        for (int i = 0; i < 9; ++i)
            for (int j = i; j < 9; ++j) {
                one.copyPair(i, j, 0, a);
                other.copyPair(i, j, 0, b);
                one.copyPhaseSums(i, j, p);
                other.copyPhaseSums(i, j, q);
                same = same && std::memcmp(a.data(), b.data(), a.size() * sizeof(a[0])) == 0 &&
                       std::memcmp(p.data(), q.data(), p.size() * sizeof(p[0])) == 0;
            }
        CHECK(same);
        for (int track = 0; track < 9; ++track) {
            CHECK(one.statistics(track).sumOfSquares == other.statistics(track).sumOfSquares);
            CHECK(one.statistics(track).samples == 48000 * 7);
        }
    }
}

TEST_CASE("the window lasts the same at every rate, and bins end at 24 kHz") {
    struct Expected {
        double rate;
        int window;
        int bins;
    };
    for (const auto& expected :
         {Expected{44100, 16384, 8193}, Expected{48000, 16384, 8193}, Expected{88200, 32768, 8917},
          Expected{96000, 32768, 8193}, Expected{176400, 65536, 8917}, Expected{192000, 65536, 8193}}) {
        const MemorySource source({whiteNoise(static_cast<std::size_t>(expected.rate * 1.5), 1)}, expected.rate);
        const auto spectra = spectraOf(source);
        CHECK(spectra.windowLength() == expected.window);
        CHECK(spectra.binCount() == expected.bins);
        CHECK_FALSE(spectra.windowShortened());
        const int first = spectra.phasePools().front().firstBin, last = spectra.phasePools().back().firstBin;
        CHECK(spectra.binWidth() * first >= 60.0);
        CHECK(spectra.binWidth() * (first - 1) < 60.0);
        CHECK(spectra.binWidth() * last <= 8000.0);
        CHECK(spectra.binWidth() * (last + 1) > 8000.0);
        CHECK(std::ssize(spectra.phasePools()) == last - first + 1);
    }
}

TEST_CASE("a short stretch gets the longest window of which four fit, and says so") {
    const MemorySource source({whiteNoise(48000 * 30, 1)});
    const auto ofLength = [&](std::int64_t samples) {
        return spectraOf(source, 2, {.from = 100, .to = 100 + samples});
    };
    // Four half-overlapped windows last two and a half windows.
    CHECK(ofLength(40960).windowLength() == 16384);
    CHECK_FALSE(ofLength(40960).windowShortened());
    CHECK(ofLength(40959).windowLength() == 8192);
    CHECK(ofLength(40959).windowShortened());
    CHECK(ofLength(2560).windowLength() == 1024);
    CHECK(ofLength(2560).windows() == 4);
    CHECK(ofLength(1500).windowLength() == 1024);
    CHECK(ofLength(1500).windows() == 1);
    // 15 windows make three stretches of at least four, 16 make four; 116 are four of 29, 117 five.
    CHECK(ofLength(16384 + 14 * 8192).stretches() == 3);
    CHECK(ofLength(16384 + 15 * 8192).stretches() == 4);
    CHECK(ofLength(16384 + 115 * 8192).stretches() == 4);
    CHECK(ofLength(16384 + 116 * 8192).stretches() == 5);
}

TEST_CASE("one sample has statistics and no spectra") {
    const MemorySource source(std::vector<std::vector<float>>{{0.5f}, {-0.25f}});
    const auto spectra = spectraOf(source);
    CHECK(spectra.windows() == 0);
    CHECK(spectra.stretches() == 0);
    CHECK(spectra.statistics(0).samples == 1);
    CHECK(spectra.statistics(0).rms() == 0.5);
    CHECK(spectra.statistics(1).offset() == -0.25);
    CHECK(spectra.at(10, 0, 1) == std::complex<double>());
}

TEST_CASE("statistics count every sample of the stretch once") {
    std::vector<float> samples(48000 * 3 + 17, 0.25f);
    samples[0] = -1.0f;
    samples.back() = 0.99995f;
    samples[70000] = 0.9998f;
    const std::size_t wide = 7;
    const MemorySource source(std::vector<std::vector<float>>(wide, samples), 48000.0,
                              {{0}, {1, 2}, {3, 4, 5}}); // track 6 is in no group
    const auto spectra = spectraOf(source);
    for (int track = 0; track < 6; ++track) {
        const auto& statistics = spectra.statistics(track);
        CHECK(statistics.samples == std::ssize(samples));
        CHECK(statistics.peak == 1.0f);
        CHECK(statistics.clippedSamples == 2);
        const double sumByHand = 0.25 * static_cast<double>(samples.size() - 3) - 1.0 + 0.99995 + 0.9998;
        // Lanes of single precision within one read, doubles between reads: 1e-5 of the sum.
        CHECK(statistics.sum == Approx(sumByHand).epsilon(1e-5));
        CHECK_FALSE(statistics.silent());
    }
    CHECK(spectra.statistics(6).silent());
    CHECK(spectra.power(100, 6) == 0.0);
    CHECK(spectra.statistics(6).rms() == 0.0);
    TrackStatistics quiet{.samples = 1, .peak = 3.1e-5f};
    CHECK(quiet.silent()); // -90 dBFS is 3.162e-5
    quiet.peak = 3.2e-5f;
    CHECK_FALSE(quiet.silent());
}

TEST_CASE("phase sums are those of the stretches, and a silent stretch adds none") {
    // Four stretches of four windows: the second track sounds in the first half alone.
    const std::size_t length = 16384 + 15 * 8192;
    auto a = whiteNoise(length, 1);
    auto b = a;
    std::fill(b.begin() + 8 * 8192, b.end(), 0.0f);
    const auto spectra = spectraOf(MemorySource({a, b, a}));
    REQUIRE(spectra.stretches() == 4);
    CHECK(spectra.sharedStretches(0, 2) == 4);
    CHECK(spectra.sharedStretches(0, 1) == 2);
    CHECK(spectra.sharedAverages(0, 1) == Approx(0.947 * 8));
    std::vector<std::complex<float>> sums(spectra.phasePools().size());
    spectra.copyPhaseSums(0, 2, sums);
    for (const auto& phase : sums)
        REQUIRE(std::abs(phase - 4.0f) < 1e-5f);
    // The same track twice, so each stretch in which it sounds adds a phasor of 1.
    spectra.copyPhaseSums(1, 1, sums);
    for (const auto& phase : sums)
        REQUIRE(std::abs(phase - 2.0f) < 1e-5f);
}

TEST_CASE("progress rises to 1") {
    const MemorySource source(std::vector<std::vector<float>>(4, whiteNoise(48000 * 60, 1)));
    Workers workers(2);
    std::vector<double> told;
    REQUIRE(computeCrossSpectra(source, {}, workers, {[&](double done) { told.push_back(done); }, {}}));
    REQUIRE(told.size() > 5);
    CHECK(std::is_sorted(told.begin(), told.end()));
    CHECK(told.back() == 1.0);
}

TEST_CASE("after a stop no worker reads more than what its window still lacks") {
    // The source asks for the stop itself, in the middle of a stretch, and counts what is read after.
    struct Stopping : MemorySource {
        using MemorySource::MemorySource;
        mutable std::stop_source stop;
        mutable std::atomic<int> reads{0};
        struct Reader : GroupReader {
            explicit Reader(const Stopping& source) : of(source) {}
            Outcome read(std::int64_t, int count, std::span<float* const> tracks) override {
                if (++of.reads == 40) of.stop.request_stop();
                for (float* track : tracks)
                    std::fill_n(track, count, 0.1f);
                return done();
            }
            const Stopping& of;
        };
        Result<std::unique_ptr<GroupReader>> openGroup(int) const override {
            return std::unique_ptr<GroupReader>(new Reader(*this));
        }
    };
    const Stopping source(std::vector<std::vector<float>>(8, std::vector<float>(48000 * 60)));
    Workers workers(2);
    const auto stopped = computeCrossSpectra(source, {}, workers, {{}, source.stop.get_token()});
    REQUIRE_FALSE(stopped);
    CHECK(stopped.fault().kind == Fault::Kind::cancelled);
    CHECK(source.reads <= 40 + 2 * workers.count());
}

TEST_CASE("an empty stretch and one outside the recording are faults") {
    const MemorySource source({whiteNoise(48000, 1)});
    Workers workers(1);
    CHECK_FALSE(computeCrossSpectra(source, {.from = 10, .to = 10}, workers, {}));
    CHECK_FALSE(computeCrossSpectra(source, {.from = -1, .to = 10}, workers, {}));
    CHECK_FALSE(computeCrossSpectra(source, {.from = 0, .to = 48001}, workers, {}));
    CHECK_FALSE(computeCrossSpectra(MemorySource(std::vector<std::vector<float>>(1)), {}, workers, {}));
}

TEST_CASE("a group that cannot be read is a fault that names it") {
    struct Broken : MemorySource {
        using MemorySource::MemorySource;
        struct Reader : GroupReader {
            Outcome read(std::int64_t, int, std::span<float* const>) override {
                return Fault{"02 snare.wav", "it can no longer be read", "put it back"};
            }
        };
        Result<std::unique_ptr<GroupReader>> openGroup(int group) const override {
            if (group == 1) return std::unique_ptr<GroupReader>(new Reader);
            return MemorySource::openGroup(group);
        }
    };
    const Broken source({whiteNoise(48000 * 2, 1), whiteNoise(48000 * 2, 2)});
    Workers workers(2);
    const auto result = computeCrossSpectra(source, {}, workers, {});
    REQUIRE_FALSE(result);
    CHECK(result.fault().where == "02 snare.wav");
}

TEST_CASE("samples beyond all measure leave the spectra finite") {
    auto wild = whiteNoise(48000 * 3, 1);
    wild[60000] = 3e38f;
    const auto spectra = spectraOf(MemorySource({wild, whiteNoise(48000 * 3, 2)}));
    bool finite = true;
    std::vector<std::complex<float>> phases(spectra.phasePools().size());
    spectra.copyPhaseSums(0, 1, phases);
    for (const auto& phase : phases)
        finite = finite && std::isfinite(phase.real()) && std::isfinite(phase.imag());
    for (int bin = 0; bin < spectra.binCount(); ++bin)
        finite = finite && std::isfinite(spectra.power(bin, 0)) && std::isfinite(std::abs(spectra.at(bin, 0, 1)));
    CHECK(finite);
}
