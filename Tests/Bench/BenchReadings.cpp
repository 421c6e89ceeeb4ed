// How accurate the readings of pairs are, and whether they know: a Monte Carlo of random rooms, instruments and
// microphones against the truth by geometry. What it found is kept in Readings.md, with the command lines.
//
// Sets 1 to 99 are for fitting. Sets from 100 on are fresh: nothing is ever chosen by them.

#include "Bench/RandomPairs.h"
#include "Bench/Scoring.h"
#include "Core/Measure/PairReading.h"
#include "Support/MemorySource.h"

#include <CLI/CLI.hpp>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <limits>
#include <string>
#include <vector>

using namespace spillwright;
using namespace spillwright::bench;

namespace {

constexpr double sure = 0.8;
constexpr double samePeakSamples = 3.0; // 62 us, 21 mm: a reading further off stands on another peak

/// A pair after it was read; its samples are gone.
struct Read {
    RandomPair pair;
    PairReading reading;
    bool strangersRelated = false; ///< Its first track and the second of the pair before, from another room.

    bool found() const { return reading.arrival.has_value(); }
    double errorSamples() const {
        return std::abs(reading.arrival->delay.value - pair.arrivalSeconds) * RandomPair::rate;
    }
    double errorInUncertainties() const {
        return errorSamples() / (reading.arrival->uncertainty.value * RandomPair::rate);
    }
    bool polarityRight() const { return reading.polarity->polarity == pair.polarity; }
    bool rightPeak() const { return errorSamples() <= samePeakSamples && polarityRight(); }
};
using Reads = std::vector<const Read*>;

template <class Has>
Reads those(const Reads& all, Has&& has) {
    Reads some;
    std::copy_if(all.begin(), all.end(), std::back_inserter(some), [&](const Read* read) { return has(*read); });
    return some;
}
template <class Has>
double share(const Reads& all, Has&& has) {
    return all.empty() ? std::numeric_limits<double>::quiet_NaN()
                       : 100.0 * static_cast<double>(those(all, has).size()) / static_cast<double>(all.size());
}
template <class Value>
double quantile(const Reads& all, double at, Value&& value) {
    std::vector<double> values;
    for (const Read* read : all)
        values.push_back(value(*read));
    if (values.empty()) return std::numeric_limits<double>::quiet_NaN();
    std::sort(values.begin(), values.end());
    return values[static_cast<std::size_t>(at * static_cast<double>(values.size() - 1) + 0.5)];
}

double polarityStated(const Read& read) {
    return read.reading.polarity->confidence;
}
double arrivalStated(const Read& read) {
    return read.reading.arrival->confidence;
}

/// One class of pairs, one line.
void printLine(const char* name, const Reads& all) {
    const auto found = those(all, [](const Read& r) { return r.found(); });
    const auto polaritySure = those(found, [](const Read& r) { return polarityStated(r) >= sure; });
    const auto arrivalSure = those(found, [](const Read& r) { return arrivalStated(r) >= sure; });
    const auto right = those(found, [](const Read& r) { return r.rightPeak(); });
    const auto within = [&](double samples) {
        return share(found, [&](const Read& r) { return r.errorSamples() <= samples; });
    };
    const auto covered = [](const Reads& of, double times) {
        return share(of, [&](const Read& r) { return r.errorInUncertainties() <= times; });
    };
    std::printf(
        "| %s | %zu | %.1f | %.0f %.0f %.0f %.0f | %.3f | %.1f | %.0f %.0f | %.0f %.0f | %.1f | %.1f, %.1f | %.1f, "
        "%.1f |\n",
        name, all.size(), share(all, [](const Read& r) { return r.found(); }), within(0.1), within(0.5), within(1.0),
        within(1.5), quantile(right, 0.5, [](const Read& r) { return r.errorSamples(); }),
        share(found, [](const Read& r) { return r.rightPeak(); }), covered(found, 1.0), covered(found, 2.0),
        covered(right, 1.0), covered(right, 2.0), share(found, [](const Read& r) { return r.polarityRight(); }),
        100.0 * static_cast<double>(polaritySure.size()) / static_cast<double>(std::max<std::size_t>(1, found.size())),
        share(polaritySure, [](const Read& r) { return r.polarityRight(); }),
        100.0 * static_cast<double>(arrivalSure.size()) / static_cast<double>(std::max<std::size_t>(1, found.size())),
        share(arrivalSure, [](const Read& r) { return r.rightPeak(); }));
}

/// Stated and right, bin by bin.
template <class Stated, class Right>
void printBins(const char* name, const Reads& all, Stated&& stated, Right&& right,
               std::initializer_list<double> edges) {
    std::printf("| %s |", name);
    for (auto edge = edges.begin(); edge + 1 != edges.end(); ++edge) {
        const auto bin = those(all, [&](const Read& r) { return stated(r) >= edge[0] && stated(r) < edge[1]; });
        double sum = 0.0;
        for (const Read* read : bin)
            sum += stated(*read);
        if (bin.empty())
            std::printf(" – |");
        else
            std::printf(" %.2f → %.2f (%zu) |", sum / static_cast<double>(bin.size()), share(bin, right) / 100.0,
                        bin.size());
    }
    std::printf("\n");
}

void printTables(const std::vector<Read>& reads) {
    Reads all;
    for (const auto& read : reads)
        all.push_back(&read);
    const auto isClear = [](const Read& r) { return r.pair.clear(); };
    const auto clear = those(all, isClear);
    const auto led = those(all, [](const Read& r) { return r.pair.led(); });
    const auto hard = those(all, [](const Read& r) { return r.pair.hard(); });

    std::printf(
        "\n- *led*: one source stands 3 dB above all others together, in both tracks.\n"
        "- *clear*: led, no track has more noise than that source, and its direct sound, which the truth is of, is a\n"
        "  tenth of its energy or more (geometric mean of both tracks).\n"
        "- *hard rooms*: RT60 over 0.7 s, 2 to 15 s.\n");
    std::printf(
        "\n| class | pairs | related, %% | within .1 .5 1 1.5 samples, %% | median error on the right peak, samples | "
        "right peak, %% | all: 1u 2u, %% | right peak: 1u 2u, %% | polarity right, %% | polarity sure, right when "
        "sure, %% | "
        "arrival sure, right when sure, %% |\n|---|---|---|---|---|---|---|---|---|---|---|\n");
    printLine("clear", clear);
    printLine("clear, alone", those(clear, [](const Read& r) { return r.pair.rivals.empty(); }));
    printLine("clear, low instruments", those(clear, [](const Read& r) { return r.pair.low; }));
    printLine("clear, 2 to 5 s", those(clear, [](const Read& r) { return r.pair.seconds < 5.0; }));
    printLine("led", led);
    printLine("led, noise above the source", those(led, [](const Read& r) { return r.pair.aboveNoiseDb < 0.0; }));
    printLine("led, direct sound under 10 %", those(led, [](const Read& r) { return r.pair.directShare < 0.1; }));
    printLine("hard rooms, clear", those(hard, isClear));
    printLine("hard rooms", hard);
    printLine("all", all);

    const auto found = those(all, [](const Read& r) { return r.found(); });
    const auto foundClear = those(clear, [](const Read& r) { return r.found(); });
    const auto foundLed = those(led, [](const Read& r) { return r.found(); });
    const auto foundHard = those(hard, [](const Read& r) { return r.found(); });
    std::printf("\n| polarity stated → right (pairs) | .5–.6 | .6–.7 | .7–.8 | .8–.9 | .9–.95 | .95–.99 | ≥ .99 |\n"
                "|---|---|---|---|---|---|---|---|\n");
    const auto polarity = [&](const char* name, const Reads& of) {
        printBins(name, of, polarityStated, [](const Read& r) { return r.polarityRight(); },
                  {0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.99, 1.01});
    };
    polarity("clear", foundClear);
    polarity("led", foundLed);
    polarity("hard rooms", foundHard);
    polarity("all", found);

    std::printf("\n| arrival stated → right peak (pairs) | < .2 | .2–.4 | .4–.6 | .6–.8 | .8–.9 | .9–.95 | ≥ .95 |\n"
                "|---|---|---|---|---|---|---|---|\n");
    const auto arrival = [&](const char* name, const Reads& of) {
        printBins(name, of, arrivalStated, [](const Read& r) { return r.rightPeak(); },
                  {0.0, 0.2, 0.4, 0.6, 0.8, 0.9, 0.95, 1.01});
    };
    arrival("clear", foundClear);
    arrival("led", foundLed);
    arrival("hard rooms", foundHard);
    arrival("all", found);
    std::printf("\nStrangers called related: %zu of %zu.\n",
                those(all, [](const Read& r) { return r.strangersRelated; }).size(), all.size() - 1);
}

PairReading readTracks(const std::vector<float>& first, const std::vector<float>& second) {
    Workers alone(1);
    const auto crossSpectra = computeCrossSpectra(test::MemorySource({first, second}), {}, alone, {});
    return readPair(*crossSpectra, 0, 1, {});
}

} // namespace

int main(int argc, char** argv) {
    std::uint64_t set = 1;
    int pairs = 600;
    bool list = false;
    CLI::App app("Readings of random pairs against the truth by geometry.");
    app.add_option("--set", set, "1-99: for fitting; 100 and up: fresh")->capture_default_str();
    app.add_option("--pairs", pairs, "how many")->capture_default_str();
    app.add_flag("--list", list, "one line a pair as well");
    CLI11_PARSE(app, argc, argv);

    const auto bank = benchSoundBank();
    if (!bank) return 1;
    std::vector<Read> reads;
    std::vector<float> stranger;
    for (int index = 0; index < pairs; ++index) {
        auto pair = makeRandomPair(set, static_cast<std::uint64_t>(index), *bank);
        if (!pair) {
            std::fprintf(stderr, "%s\n", pair.fault().line().c_str());
            return 1;
        }
        Read read;
        read.reading = readTracks(pair->first, pair->second);
        if (!stranger.empty()) {
            const auto length = std::min(stranger.size(), pair->first.size());
            read.strangersRelated = readTracks({pair->first.begin(), pair->first.begin() + static_cast<long>(length)},
                                               {stranger.begin(), stranger.begin() + static_cast<long>(length)})
                                        .related;
        }
        stranger = std::move(pair->second);
        pair->first = {};
        pair->second = {};
        read.pair = std::move(*pair);
        if (list) {
            std::printf("%d: %s [%s], RT60 %.2f s, %.1f s, noise %.0f dB, ahead %.1f dB, direct %.2f, %s: ", index,
                        read.pair.lead.c_str(), read.pair.rivals.c_str(), read.pair.decaySeconds, read.pair.seconds,
                        read.pair.noiseDb, read.pair.aheadDb, read.pair.directShare,
                        read.pair.clear() ? "clear"
                        : read.pair.led() ? "led"
                                          : "not led");
            if (read.found())
                std::printf("%.3f samples %+d, read %.3f +- %.3f (%.2f) %+d (%.2f)\n",
                            read.pair.arrivalSeconds * RandomPair::rate, sign(read.pair.polarity),
                            read.reading.arrival->delay.value * RandomPair::rate,
                            read.reading.arrival->uncertainty.value * RandomPair::rate, arrivalStated(read),
                            sign(read.reading.polarity->polarity), polarityStated(read));
            else
                std::printf("%s\n", read.reading.shared == Shared::oneTone    ? "one tone"
                                    : read.reading.shared == Shared::mainsHum ? "mains hum"
                                                                              : "unrelated");
        }
        reads.push_back(std::move(read));
    }
    std::printf("build/Tests/Bench/spillwright_bench_readings --set %llu --pairs %d\n",
                static_cast<unsigned long long>(set), pairs);
    printTables(reads);
    return 0;
}
