// Time and memory of measuring a recording, as ratios against a floor: what reading, transforming, accumulating and
// curves cost as bare loops, measured in the same run, on one thread and on two. Then what is asked afterwards: a
// choice of stretches, and a stop; the memory of a long recording; and the same work by scipy and numpy where they are
// there.
//
//     spillwright_bench_measure [--processor-time] [--only-ratios] [TRACKS ...]
//
// 8, 24 and 64 tracks where none are named; 4 minutes of 48 kHz, 24 bit each.

#include "Core/Measure/Consistency.h"
#include "Core/Measure/CrossSpectra.h"
#include "Core/Measure/Kernels.h"
#include "Core/Measure/PairReading.h"
#include "Core/Measure/Stability.h"
#include "Core/Signal/AlignedVector.h"
#include "Media/DecodeKernels.h"
#include "Media/Recording.h"

#include <fcntl.h>
#include <fftw3.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <ctime>
#include <filesystem>
#include <fstream>
#include <functional>
#include <memory>
#include <numeric>
#include <optional>
#include <random>
#include <string>
#include <thread>
#include <utility>
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
constexpr int rounds = 4; // of everything in turn; the best counts: all else on the machine only ever adds

struct Figures {
    double read = 0, transform = 0, accumulate = 0, curves = 0; // floor
    double pass = 0, pairs = 0;                                 // measured
    double peakMiB = 0;
    double floor() const { return read + transform + accumulate + curves; }
    double measured() const { return pass + pairs; }
    /// Each the better of two rounds; of the pass and its pairs, those of the quicker round. Memory: the larger.
    void better(const Figures& other) {
        for (double Figures::*part : {&Figures::read, &Figures::transform, &Figures::accumulate, &Figures::curves})
            this->*part = std::min(this->*part, other.*part);
        if (other.measured() < measured()) {
            pass = other.pass;
            pairs = other.pairs;
        }
        peakMiB = std::max(peakMiB, other.peakMiB);
    }
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

std::vector<int> allTracks(int count) {
    std::vector<int> tracks(static_cast<std::size_t>(count));
    std::iota(tracks.begin(), tracks.end(), 0);
    return tracks;
}

std::shared_ptr<const Recording> opened(const std::filesystem::path& folder) {
    auto recording = Recording::open(folder);
    if (recording) return std::move(recording).value();
    std::fprintf(stderr, "%s\n", recording.fault().line().c_str());
    _exit(1);
}

CrossSpectra computed(const SampleSource& source, Workers& workers) {
    auto spectra = computeCrossSpectra(source, {}, workers, {});
    if (!spectra) _exit(1);
    return std::move(spectra).value();
}

void readAllPairs(const CrossSpectra& spectra, Workers& workers) {
    const auto readings = readPairs(spectra, allTracks(spectra.trackCount()), {}, workers, {});
    if (!readings || !std::all_of(readings->begin(), readings->end(), [](const auto& r) { return r.arrival; }))
        _exit(1);
}

void measureFolder(const std::filesystem::path& folder, int threads, Figures& figures) {
    Workers workers(threads);
    const auto recording = opened(folder);
    std::optional<CrossSpectra> spectra;
    figures.pass = secondsOf([&] { spectra = computed(*recording, workers); });
    figures.pairs = secondsOf([&] { readAllPairs(*spectra, workers); });
}

/// FFTW's own real transform, measured: the floor's.
class RealPlan {
public:
    RealPlan(int length, bool forward) {
        AlignedVector<float> time(static_cast<std::size_t>(length));
        AlignedVector<std::complex<float>> spectrum(static_cast<std::size_t>(length / 2 + 1));
        auto* const points = reinterpret_cast<fftwf_complex*>(spectrum.data());
        plan = forward ? fftwf_plan_dft_r2c_1d(length, time.data(), points, FFTW_MEASURE)
                       : fftwf_plan_dft_c2r_1d(length, points, time.data(), FFTW_MEASURE);
        forwards = forward;
    }
    RealPlan(const RealPlan&) = delete;
    RealPlan& operator=(const RealPlan&) = delete;
    ~RealPlan() { fftwf_destroy_plan(plan); }
    void execute(float* time, std::complex<float>* spectrum) const {
        auto* const points = reinterpret_cast<fftwf_complex*>(spectrum);
        if (forwards)
            fftwf_execute_dft_r2c(plan, time, points);
        else
            fftwf_execute_dft_c2r(plan, points, time);
    }

private:
    fftwf_plan plan = nullptr;
    bool forwards = true;
};

void floorOf(const std::filesystem::path& folder, int tracks, int threads, Figures& figures) {
    Workers workers(threads);
    const auto items = static_cast<std::size_t>(tracks);

    figures.read = secondsOf([&] {
        workers.forEach(items, [&](std::size_t track, int) {
            const int file = open(trackFile(folder, static_cast<int>(track)).c_str(), O_RDONLY);
            AlignedVector<std::byte> bytes(3 * hop);
            AlignedVector<float> samples(hop);
            for (int start = 0; start + hop <= samplesPerTrack; start += hop) {
                if (pread(file, bytes.data(), bytes.size(), 44 + 3 * off_t(start)) != 3 * hop) _exit(1);
                kernels::decodeLittle24(bytes.data(), hop, samples.data());
                keep(samples[0]);
            }
            close(file);
        });
    });

    const RealPlan forward(window, true);
    figures.transform = secondsOf([&] {
        workers.forEach(items, [&](std::size_t, int) {
            AlignedVector<float> samples(window, 0.25f), hann(window, 0.5f), windowed(window);
            AlignedVector<std::complex<float>> spectrum(bins);
            for (int k = 0; k < windows; ++k) {
                for (int n = 0; n < window; ++n)
                    windowed[static_cast<std::size_t>(n)] =
                        samples[static_cast<std::size_t>(n)] * hann[static_cast<std::size_t>(n)];
                forward.execute(windowed.data(), spectrum.data());
            }
        });
    });

    // The accumulation's arithmetic alone, on one block of bins that stays in the cache.
    figures.accumulate = secondsOf([&] {
        constexpr int blocks = (bins + kernels::binsPerBlock - 1) / kernels::binsPerBlock;
        constexpr int together = 29;
        workers.forEach(blocks, [&](std::size_t, int) {
            const std::size_t stride = std::size_t(together) * kernels::floatsPerBlock;
            AlignedVector<float> spectra(items * stride, 0.5f);
            AlignedVector<float> sums(items * (items + 1) / 2 * kernels::floatsPerBlock);
            for (int k = 0; k < windows; k += together)
                kernels::accumulateBlock(spectra.data(), tracks, std::min(together, windows - k), stride, sums.data(),
                                         nullptr, {}, nullptr);
        });
    });

    constexpr int padding = 4;
    const RealPlan padded(padding * window, false);
    figures.curves = secondsOf([&] {
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
            padded.execute(curve.data(), spectrum.data());
            keep(coherence + *std::max_element(curve.begin(), curve.end()));
        });
    });
}

struct Later {
    double restrictHalf = 1e9, pairsOfHalf = 1e9; // seconds
    double stability = 1e9, triangles = 1e9;
    double worstStop = 0.0, meanStop = 0.0;
    int stops = 0;
};

/// A choice of every other stretch with all pairs read from it, and stops at moments spread over the pass.
Later askLater(const std::filesystem::path& folder) {
    Later later;
    Workers workers;
    const auto recording = opened(folder);
    const double begin = now();
    const CrossSpectra spectra = computed(*recording, workers);
    const double wholeSeconds = now() - begin;
    std::vector<float> half(static_cast<std::size_t>(spectra.stretches()));
    for (std::size_t k = 0; k < half.size(); k += 2)
        half[k] = 1.0f;
    for (int round = 0; round < 3 * rounds; ++round) {
        std::optional<CrossSpectra> chosen;
        const double restrict = secondsOf([&] { chosen = spectra.restrictedTo(half, workers); });
        const double pairs = secondsOf([&] { readAllPairs(*chosen, workers); });
        if (restrict + pairs < later.restrictHalf + later.pairsOfHalf) {
            later.restrictHalf = restrict;
            later.pairsOfHalf = pairs;
        }
    }
    auto readings = readPairs(spectra, allTracks(spectra.trackCount()), {}, workers, {});
    if (!readings) _exit(1);
    for (int round = 0; round < rounds; ++round) {
        later.stability = std::min(later.stability, secondsOf([&] { readStability(spectra, *readings, workers); }));
        later.triangles = std::min(later.triangles, secondsOf([&] { fitTriangles(*readings); }));
    }
    std::mt19937 random(1);
    std::uniform_real_distribution<double> moment(0.0, wholeSeconds);
    for (int attempt = 0; attempt < 60; ++attempt) {
        std::stop_source stop;
        std::atomic<double> asked{0.0};
        std::thread asker([&, wait = moment(random)] {
            std::this_thread::sleep_for(std::chrono::duration<double>(wait));
            asked = now();
            stop.request_stop();
        });
        const auto result = computeCrossSpectra(*recording, {}, workers, {{}, stop.get_token()});
        const double returned = now();
        asker.join();
        if (result) continue; // it was done before
        later.worstStop = std::max(later.worstStop, returned - asked);
        later.meanStop += returned - asked;
        ++later.stops;
    }
    later.meanStop /= std::max(1, later.stops);
    return later;
}

/// Noise without files, as long as wanted: memory is that of the pass alone.
class NoiseSource : public SampleSource {
public:
    NoiseSource(int trackCount, std::int64_t samples) : tracks(trackCount), longest(samples), table(1 << 16) {
        std::uint32_t state = 1;
        for (float& value : table) {
            state = state * 1664525u + 1013904223u;
            value = static_cast<float>(static_cast<std::int32_t>(state)) * 0x1p-32f;
        }
        for (int track = 0; track < tracks; ++track)
            grouped.push_back({track});
    }
    int trackCount() const override { return tracks; }
    double sampleRate() const override { return rate; }
    std::int64_t length() const override { return longest; }
    const std::vector<std::vector<int>>& groups() const override { return grouped; }
    Result<std::unique_ptr<GroupReader>> openGroup(int group) const override {
        return std::unique_ptr<GroupReader>(new Reader(*this, group));
    }

private:
    struct Reader : GroupReader {
        Reader(const NoiseSource& source, int track) : of(source), offset(977 * track) {}
        Outcome read(std::int64_t start, int count, std::span<float* const> into) override {
            for (int n = 0; n < count; ++n)
                into[0][n] = of.table[static_cast<std::size_t>((start + n) * 3 + offset) % of.table.size()];
            return done();
        }
        const NoiseSource& of;
        std::int64_t offset;
    };
    int tracks;
    std::int64_t longest;
    std::vector<float> table;
    std::vector<std::vector<int>> grouped;
};

/// Seconds of scipy pair by pair and of numpy vectorised; nothing where they are not there.
std::optional<std::pair<double, double>> pythonOn(const std::filesystem::path& folder, int threads) {
    constexpr int pairs = 6;
    const std::string call = std::string(SPILLWRIGHT_PYTHON " " SPILLWRIGHT_CSD_PAIRS " ") + folder.string() + " " +
                             std::to_string(threads) + " " + std::to_string(pairs) + " 2>/dev/null";
    FILE* answer = popen(call.c_str(), "r");
    double byPair = 0.0, vectorised = 0.0;
    const bool got = answer && std::fscanf(answer, "%lf %lf", &byPair, &vectorised) == 2;
    if (answer) pclose(answer);
    if (!got) return std::nullopt;
    return std::pair{byPair, vectorised};
}

void sayLoad() {
    std::array<double, 1> load{};
    if (getloadavg(load.data(), 1) == 1)
        std::printf("load of the machine: %.1f on %u cores\n", load[0], std::thread::hardware_concurrency());
}

/// Removed when done.
struct Folder {
    std::filesystem::path path;
    explicit Folder(int tracks) {
        std::string pattern = (std::filesystem::temp_directory_path() / "spillwright-bench-XXXXXX").string();
        if (!mkdtemp(pattern.data())) std::exit(1);
        path = pattern;
        writeRecording(path, tracks);
    }
    ~Folder() { std::filesystem::remove_all(path); }
};

/// The better figures of each number of threads; prints a line a number of threads.
void printRatios(const std::filesystem::path& folder, int tracks) {
    constexpr std::array<int, 2> threadCounts{1, 2};
    std::array<Figures, 2> best;
    for (int round = 0; round < rounds; ++round)
        for (std::size_t k = 0; k < best.size(); ++k) {
            const int threads = threadCounts[k];
            const auto measured = inChild([&](Figures& figures) { measureFolder(folder, threads, figures); });
            auto both = inChild([&](Figures& figures) { floorOf(folder, tracks, threads, figures); });
            both.pass = measured.pass;
            both.pairs = measured.pairs;
            both.peakMiB = measured.peakMiB;
            if (round == 0)
                best[k] = both;
            else
                best[k].better(both);
        }
    for (std::size_t k = 0; k < best.size(); ++k) {
        const auto& figures = best[k];
        std::printf("%6d %7d | %.3f   %.3f   %.3f   %.3f  = %.3f | %.3f   %.3f  = %.3f | %.2f  | %.2f      | %.0f\n",
                    tracks, threadCounts[k], figures.read, figures.transform, figures.accumulate, figures.curves,
                    figures.floor(), figures.pass, figures.pairs, figures.measured(),
                    figures.measured() / figures.floor(), best[0].measured() / figures.measured(), figures.peakMiB);
    }
    std::fflush(stdout);
}

} // namespace

int main(int argc, char** argv) {
    std::vector<int> sizes;
    bool onlyRatios = false;
    for (int k = 1; k < argc; ++k)
        if (std::string(argv[k]) == "--processor-time")
            processorTime = true;
        else if (std::string(argv[k]) == "--only-ratios")
            onlyRatios = true;
        else
            sizes.push_back(std::max(2, std::atoi(argv[k])));
    if (sizes.empty()) sizes = {8, 24, 64};

    std::printf("measure: %d s of 48 kHz, 24 bit a track, files in the page cache, best of %d, %s\n", seconds, rounds,
                processorTime ? "processor seconds of all threads" : "seconds");
    sayLoad();
    std::printf("tracks threads |  read  transf. accum.  curves =  floor |  pass   pairs  = total | ratio | to 1 "
                "thread | peak MiB\n");
    for (const int tracks : sizes)
        printRatios(Folder(tracks).path, tracks);
    sayLoad();
    if (onlyRatios) return 0;
    processorTime = false;

    constexpr int tracks = 24;
    const Folder folder(tracks);
    const Later later = askLater(folder.path);
    std::printf("\nhalf of the stretches of %d tracks: %.1f ms, all pairs read from them: %.1f ms, together %.1f ms\n",
                tracks, 1e3 * later.restrictHalf, 1e3 * later.pairsOfHalf,
                1e3 * (later.restrictHalf + later.pairsOfHalf));
    std::printf("whether arrivals hold still: %.1f ms, whether their triangles close: %.1f ms\n", 1e3 * later.stability,
                1e3 * later.triangles);
    std::printf("from a stop that is asked for to its being heeded: %.1f ms at worst, %.1f ms on average, of %d\n",
                1e3 * later.worstStop, 1e3 * later.meanStop, later.stops);
    std::fflush(stdout);

    const auto hour = inChild([&](Figures& figures) {
        Workers workers;
        const NoiseSource source(tracks, std::int64_t(3600) * rate);
        figures.pass = secondsOf([&] { keep(static_cast<float>(computed(source, workers).stretches())); });
    });
    std::printf("an hour of %d tracks of noise without files: %.1f s, peak %.0f MiB\n", tracks, hour.pass,
                hour.peakMiB);
    std::fflush(stdout);

    const int threads = static_cast<int>(std::thread::hardware_concurrency());
    const auto python = pythonOn(folder.path, threads);
    if (!python) {
        std::printf("no numpy and scipy for " SPILLWRIGHT_PYTHON ": not compared\n");
        return 0;
    }
    double best = 1e9;
    for (int round = 0; round < rounds; ++round) {
        const auto measured = inChild([&](Figures& figures) { measureFolder(folder.path, threads, figures); });
        best = std::min(best, measured.measured());
    }
    std::printf("%d tracks, %d threads: %.3f s; scipy.signal.csd pair by pair (six pairs, extrapolated) %.1f s, %.0f "
                "times; numpy vectorised %.2f s, %.1f times\n",
                tracks, threads, best, python->first, python->first / best, python->second, python->second / best);
    sayLoad();
    return 0;
}
