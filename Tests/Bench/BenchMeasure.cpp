// Time and memory of measuring a recording, as ratios against a floor: what reading, transforming, accumulating and
// curves cost as bare loops, measured in the same run.
//
//     spillwright_bench_measure [--processor-time] [TRACKS ...]   (default 8 24 64; 4 minutes of 48 kHz, 24 bit each)

#include "Core/Measure/CrossSpectra.h"
#include "Core/Measure/Kernels.h"
#include "Core/Measure/PairReading.h"
#include "Core/Signal/AlignedVector.h"
#include "Core/Signal/Fourier.h"
#include "Media/Recording.h"

#include <fcntl.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <ctime>
#include <filesystem>
#include <fstream>
#include <functional>
#include <numeric>
#include <string>
#include <vector>

using namespace spillwright;

namespace {

constexpr int rate = 48000;
constexpr int seconds = 240;
constexpr int window = 16384;
constexpr int hop = window / 2;
constexpr int bins = window / 2 + 1;
constexpr int samplesPerTrack = rate * seconds;
constexpr int windows = (samplesPerTrack - window) / hop + 1;
constexpr int rounds = 3; // the best counts: everything else on the machine only ever adds

struct Figures {
    double read = 0, transform = 0, accumulate = 0, curves = 0; // floor
    double pass = 0, pairs = 0;                                 // measured
    double peakMiB = 0;
    double floor() const { return read + transform + accumulate + curves; }
    double measured() const { return pass + pairs; }
};

/// What is computed must not be dropped as unused.
void keep(float value) {
    static std::atomic<float> kept;
    kept.store(value, std::memory_order_relaxed);
}

bool processorTime = false; // of all threads together, instead of the time that passes: for a busy machine

double now() {
    timespec time{};
    clock_gettime(processorTime ? CLOCK_PROCESS_CPUTIME_ID : CLOCK_MONOTONIC, &time);
    return static_cast<double>(time.tv_sec) + 1e-9 * static_cast<double>(time.tv_nsec);
}

double secondsOf(const std::function<void()>& work) {
    const double begin = now();
    work();
    return now() - begin;
}

double bestOf(const std::function<void()>& work) {
    double best = 1e9;
    for (int round = 0; round < rounds; ++round)
        best = std::min(best, secondsOf(work));
    return best;
}

std::filesystem::path trackFile(const std::filesystem::path& folder, int track) {
    char name[32];
    std::snprintf(name, sizeof name, "%03d track.wav", track + 1);
    return folder / name;
}

/// Noise of its own in each track, and one sound that all hear, each a little later: every pair is related.
void writeRecording(const std::filesystem::path& folder, int tracks) {
    std::uint32_t state = 1;
    const auto noise = [&state] {
        state = state * 1664525u + 1013904223u;
        return static_cast<std::int32_t>(state) >> 11; // 21 bits
    };
    std::vector<std::int32_t> shared(samplesPerTrack);
    for (auto& sample : shared)
        sample = noise();
    std::vector<unsigned char> bytes(44 + 3 * std::size_t(samplesPerTrack));
    const auto put = [&](std::size_t at, std::uint32_t value, int count) {
        for (int b = 0; b < count; ++b)
            bytes[at + static_cast<std::size_t>(b)] = static_cast<unsigned char>(value >> (8 * b));
    };
    std::memcpy(bytes.data(), "RIFF....WAVEfmt ....................data", 40);
    put(4, static_cast<std::uint32_t>(bytes.size() - 8), 4);
    put(16, 16, 4);
    put(20, 1, 2);
    put(22, 1, 2);
    put(24, rate, 4);
    put(28, rate * 3, 4);
    put(32, 3, 2);
    put(34, 24, 2);
    put(40, static_cast<std::uint32_t>(bytes.size() - 44), 4);
    for (int track = 0; track < tracks; ++track) {
        for (int n = 0; n < samplesPerTrack; ++n)
            put(44 + 3 * static_cast<std::size_t>(n),
                static_cast<std::uint32_t>(shared[static_cast<std::size_t>(std::max(0, n - 7 * track))] + noise()), 3);
        std::ofstream(trackFile(folder, track), std::ios::binary)
            .write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
    }
}

/// Runs the work in a child process and brings back its figures.
Figures inChild(const std::function<void(Figures&)>& work) {
    std::array<int, 2> ends{};
    if (pipe(ends.data()) != 0) std::exit(1);
    const pid_t child = fork();
    if (child == 0) {
        Figures figures;
        work(figures);
        rusage usage{};
        getrusage(RUSAGE_SELF, &usage);
        figures.peakMiB = static_cast<double>(usage.ru_maxrss) / 1024.0;
#if defined(__APPLE__)
        figures.peakMiB /= 1024.0; // counted in bytes there
#endif
        const bool written = write(ends[1], &figures, sizeof figures) == sizeof figures;
        _exit(written ? 0 : 1);
    }
    Figures figures;
    close(ends[1]);
    const bool got = child > 0 && ::read(ends[0], &figures, sizeof figures) == sizeof figures;
    close(ends[0]);
    waitpid(child, nullptr, 0);
    if (!got) std::exit(1);
    return figures;
}

void measureFolder(const std::filesystem::path& folder, Figures& figures) {
    Workers workers;
    const auto recording = Recording::open(folder);
    if (!recording) {
        std::fprintf(stderr, "%s\n", recording.fault().line().c_str());
        _exit(1);
    }
    figures.pass = figures.pairs = 1e9;
    double best = 1e9;
    for (int round = 0; round < rounds; ++round) {
        std::optional<CrossSpectra> spectra;
        const double pass = secondsOf([&] {
            auto computed = computeCrossSpectra(**recording, {}, workers, {});
            if (!computed) _exit(1);
            spectra = std::move(computed).value();
        });
        std::vector<int> tracks(static_cast<std::size_t>(spectra->trackCount()));
        std::iota(tracks.begin(), tracks.end(), 0);
        const double pairs = secondsOf([&] {
            const auto readings = readPairs(*spectra, tracks, {}, workers, {});
            if (!readings || !std::all_of(readings->begin(), readings->end(), [](const auto& r) { return r.arrival; }))
                _exit(1);
        });
        if (pass + pairs < best) {
            best = pass + pairs;
            figures.pass = pass;
            figures.pairs = pairs;
        }
    }
}

void floorOf(const std::filesystem::path& folder, int tracks, Figures& figures) {
    Workers workers;
    const auto fourier = Fourier::ofLength(window);
    const auto items = static_cast<std::size_t>(tracks);

    figures.read = bestOf([&] {
        workers.forEach(items, [&](std::size_t track, int) {
            const int file = open(trackFile(folder, static_cast<int>(track)).c_str(), O_RDONLY);
            AlignedVector<unsigned char> bytes(3 * hop + 1); // one before, so that a sample is the top of four bytes
            AlignedVector<float> samples(hop);
            for (int start = 0; start + hop <= samplesPerTrack; start += hop) {
                if (pread(file, bytes.data() + 1, 3 * hop, 44 + 3 * off_t(start)) != 3 * hop) _exit(1);
                const unsigned char* from = bytes.data();
                for (int n = 0; n < hop; ++n, from += 3) {
                    std::int32_t raw;
                    std::memcpy(&raw, from, sizeof raw);
                    samples[static_cast<std::size_t>(n)] = static_cast<float>(raw & ~0xff) * 0x1p-31f;
                }
                keep(samples[0]);
            }
            close(file);
        });
    });

    figures.transform = bestOf([&] {
        workers.forEach(items, [&](std::size_t, int) {
            AlignedVector<float> samples(window, 0.25f), hann(window, 0.5f), windowed(window);
            AlignedVector<std::complex<float>> spectrum(bins);
            for (int k = 0; k < windows; ++k) {
                for (int n = 0; n < window; ++n)
                    windowed[static_cast<std::size_t>(n)] =
                        samples[static_cast<std::size_t>(n)] * hann[static_cast<std::size_t>(n)];
                fourier->forward(windowed.data(), spectrum.data());
            }
        });
    });

    // The accumulation's arithmetic alone, on one block of bins that stays in the cache.
    figures.accumulate = bestOf([&] {
        constexpr int blocks = (bins + kernels::binsPerBlock - 1) / kernels::binsPerBlock;
        constexpr int together = 29;
        workers.forEach(blocks, [&](std::size_t, int) {
            const std::size_t stride = std::size_t(together) * kernels::floatsPerBlock;
            AlignedVector<float> spectra(items * stride, 0.5f);
            AlignedVector<float> sums(items * (items + 1) / 2 * kernels::floatsPerBlock);
            for (int k = 0; k < windows; k += together)
                kernels::accumulateBlock(spectra.data(), tracks, std::min(together, windows - k), stride, sums.data(),
                                         nullptr, {});
        });
    });

    figures.curves = bestOf([&] {
        constexpr int padding = 4;
        const auto padded = Fourier::ofLength(padding * window);
        workers.forEach(items * (items - 1) / 2, [&](std::size_t, int) {
            thread_local AlignedVector<std::complex<float>> cross(bins, {0.5f, 0.25f}), spectrum(padding * bins);
            thread_local AlignedVector<float> power(bins, 2.0f), curve(padding * window);
            float coherence = 0.0f;
            std::fill(spectrum.begin(), spectrum.end(), std::complex<float>());
            for (std::size_t k = 0; k < bins; ++k) {
                const float squared = std::norm(cross[k]);
                coherence += squared / (power[k] * power[k]);
                spectrum[k] = cross[k] * (1.0f / std::sqrt(squared));
            }
            padded->inverse(spectrum.data(), curve.data());
            keep(coherence + *std::max_element(curve.begin(), curve.end()));
        });
    });
}

} // namespace

int main(int argc, char** argv) {
    std::vector<int> sizes;
    for (int k = 1; k < argc; ++k)
        if (std::string(argv[k]) == "--processor-time")
            processorTime = true;
        else
            sizes.push_back(std::max(2, std::atoi(argv[k])));
    if (sizes.empty()) sizes = {8, 24, 64};

    std::printf("measure: %d s of 48 kHz, 24 bit a track, files in the page cache, best of %d, %s\n", seconds, rounds,
                processorTime ? "processor seconds" : "seconds");
    std::printf("tracks |  read  transf. accum.  curves =  floor |  pass   pairs  = total | ratio | peak MiB\n");
    for (const int tracks : sizes) {
        std::string pattern = (std::filesystem::temp_directory_path() / "spillwright-bench-XXXXXX").string();
        if (!mkdtemp(pattern.data())) return 1;
        const std::filesystem::path folder = pattern;
        writeRecording(folder, tracks);
        const auto measured = inChild([&](Figures& figures) { measureFolder(folder, figures); });
        const auto floor = inChild([&](Figures& figures) { floorOf(folder, tracks, figures); });
        std::filesystem::remove_all(folder);
        std::printf("%6d | %.3f   %.3f   %.3f   %.3f  = %.3f | %.3f   %.3f  = %.3f | %.2f  | %.0f\n", tracks,
                    floor.read, floor.transform, floor.accumulate, floor.curves, floor.floor(), measured.pass,
                    measured.pairs, measured.measured(), measured.measured() / floor.floor(), measured.peakMiB);
        std::fflush(stdout);
    }
    return 0;
}
