#pragma once

#include "Core/Pan.h"
#include "Core/Propose/LoudnessModel.h"
#include "Core/SampleSource.h"
#include "Core/Signal/TrackChain.h"

#include <catch2/catch.hpp>
#include <ebur128.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace spillwright::test {

/// The stereo sum of a setting over from..to-1, rendered sample by sample: left and right in turn.
inline std::vector<float> renderedSum(const SampleSource& source, std::int64_t from, std::int64_t to,
                                      std::span<const TrackAdjustment> adjustments, std::span<const PanGains> pans) {
    const auto length = static_cast<std::size_t>(to - from);
    std::vector<float> sum(2 * length);
    for (std::size_t group = 0; group < source.groups().size(); ++group) {
        auto reader = source.openGroup(static_cast<int>(group));
        REQUIRE(reader);
        const auto& members = source.groups()[group];
        const auto around = static_cast<std::int64_t>(2.5 * source.sampleRate()); // nudges and what settles
        std::vector<std::vector<float>> read(members.size(), std::vector<float>(length + 2 * std::size_t(around)));
        std::vector<float*> places;
        for (auto& track : read)
            places.push_back(track.data());
        REQUIRE((*reader)->read(from - around, static_cast<int>(read[0].size()), places));
        std::vector<float> treated(length);
        for (std::size_t k = 0; k < members.size(); ++k) {
            const auto track = static_cast<std::size_t>(members[k]);
            TrackChain chain(adjustments[track], source.sampleRate());
            chain.settle(read[k].data() + around);
            chain.process(read[k].data() + around, treated.data(), static_cast<int>(length));
            for (std::size_t n = 0; n < length; ++n) {
                sum[2 * n] += static_cast<float>(pans[track].left) * treated[n];
                sum[2 * n + 1] += static_cast<float>(pans[track].right) * treated[n];
            }
        }
    }
    return sum;
}

/// Integrated loudness in LUFS as libebur128 reads a stereo sound that is heard `times` times on end; nullopt: silence.
inline std::optional<double> measuredLoudness(const std::vector<float>& sum, double sampleRate, int times = 1) {
    ebur128_state* state = ebur128_init(2, static_cast<unsigned long>(sampleRate), EBUR128_MODE_I);
    REQUIRE(state);
    for (int n = 0; n < times; ++n)
        REQUIRE(ebur128_add_frames_float(state, sum.data(), sum.size() / 2) == EBUR128_SUCCESS);
    double loudness = 0.0;
    REQUIRE(ebur128_loudness_global(state, &loudness) == EBUR128_SUCCESS);
    ebur128_destroy(&state);
    if (!std::isfinite(loudness)) return std::nullopt;
    return loudness;
}

struct LoudnessCase {
    std::string name;
    std::vector<TrackAdjustment> adjustments;
    std::vector<PanGains> pans;
};

/// What a user does to so many tracks, each thing by itself and some together.
inline std::vector<LoudnessCase> loudnessCases(int trackCount) {
    const auto tracks = static_cast<std::size_t>(trackCount);
    const std::vector<PanGains> centre(tracks, panGains(0.0));
    std::vector<PanGains> spread;
    for (std::size_t t = 0; t < tracks; ++t)
        spread.push_back(panGains(-1.0 + 2.0 * static_cast<double>(t) / static_cast<double>(tracks)));
    std::vector<LoudnessCase> cases;
    const auto add = [&](std::string name, const std::vector<PanGains>& pans, const auto& change) {
        cases.push_back({std::move(name), std::vector<TrackAdjustment>(tracks), pans});
        for (std::size_t t = 0; t < tracks; ++t)
            change(cases.back().adjustments[t], t);
    };
    add("as recorded, in the centre", centre, [](auto&, auto) {});
    add("as recorded, panned", spread, [](auto&, auto) {});
    add("every other flipped", centre, [](auto& a, auto t) { a.flip = t % 2 == 1; });
    add("one in three flipped, panned", spread, [](auto& a, auto t) { a.flip = t % 3 == 1; });
    for (const double ms : {0.3, 1.0, 3.0, 10.0}) {
        const std::string by = std::to_string(ms).substr(0, 4) + " ms";
        add("every other nudged by " + by, centre, [&](auto& a, auto t) { a.nudge = milliseconds(t % 2 ? ms : 0.0); });
        add("some flipped, nudged within " + by, spread, [&](auto& a, auto t) {
            a.nudge = milliseconds(ms * std::sin(static_cast<double>(t)) / 2.0);
            a.flip = t % 3 == 0;
        });
    }
    add("high-passed at 80 and 120 Hz", centre, [](auto& a, auto t) { a.highPass = Hertz(t % 2 ? 120.0 : 80.0); });
    add("one high-passed at 400 Hz", spread, [](auto& a, auto t) {
        if (t == 0) a.highPass = Hertz(400.0);
    });
    add("gains from -12 to 12 dB", spread,
        [](auto& a, auto t) { a.gain = Decibels(12.0 * std::sin(2.0 * static_cast<double>(t))); });
    add("the last alone", centre, [&](auto& a, auto t) { a.muted = t + 1 != tracks; });
    add("the first two, one flipped", centre, [](auto& a, auto t) {
        a.muted = t > 1;
        a.flip = t == 1;
    });
    add("all of it together", spread, [](auto& a, auto t) {
        a.flip = t % 3 == 1;
        a.nudge = milliseconds(0.7 * static_cast<double>(t % 5));
        a.gain = Decibels(t % 2 ? -4.0 : 3.0);
        a.muted = t % 7 == 6;
        if (t % 2) a.highPass = Hertz(100.0);
        a.highPassSlope = Slope::dB24;
    });
    return cases;
}

struct LoudnessErrors {
    double worst = 0.0;              ///< LU
    double worstOfDifferences = 0.0; ///< LU: of what two settings differ by.
};

/// Prints the errors of what the model says of the cases, against libebur128 on their rendered sums. A loop taken round
/// and round is heard `rounds` times by libebur128.
inline LoudnessErrors loudnessErrors(const std::string& what, const SampleSource& source,
                                     const LoudnessOptions& options, std::span<const LoudnessCase> cases,
                                     int rounds = 1) {
    Workers workers(2);
    const auto model = computeLoudnessModel(source, options, workers, {});
    REQUIRE(model);
    std::printf("%s, %.1f s, %d tracks, %d of %d bins:\n", what.c_str(),
                static_cast<double>(options.to - options.from) / source.sampleRate(), source.trackCount(),
                model->binsKept(), model->binsOfAll());
    double least = 0.0, most = 0.0, sum = 0.0;
    int heard = 0;
    for (const auto& [name, adjustments, pans] : cases) {
        const auto said = model->loudness(adjustments, pans);
        const auto measured = measuredLoudness(renderedSum(source, options.from, options.to, adjustments, pans),
                                               source.sampleRate(), rounds);
        INFO(what << ": " << name);
        REQUIRE(said.has_value() == measured.has_value());
        if (!said) {
            std::printf("    %-36s silent\n", name.c_str());
            continue;
        }
        const double error = *said - *measured;
        std::printf("    %-36s %7.2f LUFS %+.3f LU\n", name.c_str(), *measured, error);
        least = heard == 0 ? error : std::min(least, error);
        most = heard == 0 ? error : std::max(most, error);
        sum += error;
        ++heard;
    }
    REQUIRE(heard > 0);
    std::printf("    worst %.3f LU, of differences %.3f, mean %+.3f\n", std::max(most, -least), most - least,
                sum / heard);
    return {std::max(most, -least), most - least};
}

} // namespace spillwright::test
