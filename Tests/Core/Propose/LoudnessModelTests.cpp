#include "Core/Propose/LoudnessModel.h"

#include "Support/MemorySource.h"
#include "Support/RenderedLoudness.h"
#include "Support/TestSignals.h"
#include "Support/TestWav.h"

#include <catch2/catch.hpp>

#include <numbers>

using namespace spillwright;
using namespace spillwright::test;

namespace {

constexpr double promised = 0.1; // LU

enum class Playing { phrases, hits };

/// Players in one room, a microphone each, all of which hear all of them. Phrases: each swells and pauses in its own
/// time, and all fade out over the last two seconds. Hits: bursts that die away within a fraction of a second, of
/// levels 20 dB apart, with silence between them.
MemorySource room(int players, int seconds, Playing playing) {
    constexpr double rate = 48000.0;
    const auto length = static_cast<std::size_t>(seconds) * 48000;
    Noise random(7);
    std::vector<std::vector<float>> tracks;
    for (int k = 0; k < players; ++k)
        tracks.push_back(whiteNoise(length, static_cast<std::uint64_t>(100 + k), 1e-4));
    for (int k = 0; k < players; ++k) {
        auto sound = pinkNoise(length, static_cast<std::uint64_t>(k));
        double level = 0.0;
        std::size_t nextHit = 0;
        for (std::size_t n = 0; n < length; ++n) {
            if (playing == Playing::phrases) {
                const double t = static_cast<double>(n) / rate;
                const double swell = std::sin(0.7 * t * (1.0 + 0.13 * k) + k);
                const double fade = std::min(1.0, static_cast<double>(length - n) / (2.0 * rate));
                level = fade * (swell > -0.3 ? std::pow(10.0, swell - 1.0) : 0.001);
            } else if (n == nextHit) {
                level = std::pow(10.0, -random.uniform());
                nextHit += static_cast<std::size_t>(rate * (0.4 + 1.6 * random.uniform()));
            } else {
                level *= 0.9998; // -20 dB in 0.24 s
            }
            sound[n] *= static_cast<float>(level);
        }
        for (int t = 0; t < players; ++t) {
            const int apart = std::abs(t - k);
            const float gain = ((t + k) % 4 == 3 ? -1.0f : 1.0f) / static_cast<float>(1 + apart);
            tracks[static_cast<std::size_t>(t)] =
                mixed(std::move(tracks[static_cast<std::size_t>(t)]), test::delayed(sound, 70 * apart, gain));
        }
    }
    return MemorySource(std::move(tracks));
}

LoudnessOptions within(double fromSeconds, double toSeconds, double rate = 48000.0) {
    LoudnessOptions options;
    options.from = std::llround(fromSeconds * rate);
    options.to = std::llround(toSeconds * rate);
    return options;
}

/// Samples of a chord that lasts; `late` seconds.
std::vector<float> chord(std::size_t length, double late) {
    std::vector<float> samples(length);
    for (std::size_t n = 0; n < length; ++n)
        for (const double hertz : {110.0, 164.8, 277.2, 554.4})
            samples[n] += static_cast<float>(
                0.05 * std::sin(2.0 * std::numbers::pi * hertz * (static_cast<double>(n) / 48000.0 - late)));
    return samples;
}

} // namespace

TEST_CASE("the loudness of a setting is that of its rendered sum, phrases with pauses and a fade") {
    const auto source = room(4, 7, Playing::phrases);
    const auto cases = loudnessCases(4);
    CHECK(loudnessErrors("phrases", source, within(2.0, 4.0), cases).worst < promised);
    CHECK(loudnessErrors("phrases, to the end", source, within(3.1234, 7.0), cases).worst < promised);
}

TEST_CASE("the loudness of a setting is that of its rendered sum, where the gate counts") {
    const auto source = room(4, 7, Playing::hits);
    CHECK(loudnessErrors("hits", source, within(1.0, 7.0), loudnessCases(4)).worst < promised);
}

TEST_CASE("the loudness of a setting is that of its rendered sum, whatever the stretch's length", "[long]") {
    for (const auto playing : {Playing::phrases, Playing::hits}) {
        const auto source = room(8, 60, playing);
        const auto cases = loudnessCases(8);
        const std::string what = playing == Playing::phrases ? "phrases" : "hits";
        CHECK(loudnessErrors(what, source, within(10.0, 12.0), cases).worst < promised);
        CHECK(loudnessErrors(what, source, within(20.0257, 30.0), cases).worst < promised);
        CHECK(loudnessErrors(what, source, within(0.0, 60.0), cases).worst < promised);
    }
}

TEST_CASE("some bins of each frame, drawn by chance, stand for all of them") {
    const auto source = room(4, 7, Playing::phrases);
    auto options = within(0.5, 7.0);
    options.valuesAtMost = 4 * 40 * 800; // 40 frames
    CHECK(loudnessErrors("some bins", source, options, loudnessCases(4)).worst < promised);
    // Of a track alone nothing is left to chance.
    Workers workers(1);
    options.valuesAtMost = 0; // 16 bins
    const auto model = computeLoudnessModel(source, options, workers, {});
    REQUIRE(model);
    CHECK(model->binsKept() == 16);
    std::vector<TrackAdjustment> alone(4);
    alone[0].muted = alone[1].muted = alone[3].muted = true;
    const std::vector<PanGains> pans(4, panGains(0.3));
    const auto measured = measuredLoudness(renderedSum(source, options.from, options.to, alone, pans), 48000.0);
    CHECK(*model->loudness(alone, pans) == Approx(*measured).margin(0.01));
}

TEST_CASE("some bins of each frame, drawn by chance, are enough for a long stretch", "[long]") {
    constexpr std::size_t frames = 353; // of 60 s
    for (const auto playing : {Playing::phrases, Playing::hits}) {
        const auto source = room(8, 60, playing);
        auto options = within(0.0, 60.0);
        options.valuesAtMost = 8 * frames * 544; // as many as are kept of 64 tracks
        CHECK(loudnessErrors("some bins", source, options, loudnessCases(8)).worst < promised);
        // As few as are kept of 64 tracks and ten minutes: there the draws of ten times as many frames average out,
        // and what is left is a third of this.
        options.valuesAtMost = 8 * frames * 48;
        CHECK(loudnessErrors("few bins", source, options, loudnessCases(8)).worst < std::sqrt(10.0) * promised);
    }
}

TEST_CASE("tracks that are all alike pile up as they should, and cancel") {
    const MemorySource source(std::vector(6, pinkNoise(3 * 44100, 3, 44100.0)), 44100.0);
    CHECK(loudnessErrors("alike, at 44.1 kHz", source, within(0.5, 2.5, 44100.0), loudnessCases(6)).worst < promised);
}

TEST_CASE("the cross-spectra of lasting tones are too small by what is said for a nudge") {
    const MemorySource source({chord(4 * 48000, 0.0), chord(4 * 48000, 0.0)});
    Workers workers(1);
    const auto model = computeLoudnessModel(source, within(1.0, 3.0), workers, {});
    REQUIRE(model);
    const std::vector<PanGains> pans(2, panGains(0.0));
    for (const double ms : {0.0, 10.0, 20.0}) {
        // Moved against each other by what brings them into phase again: only the frame's window tells of it.
        const MemorySource moved({chord(4 * 48000, 0.0), chord(4 * 48000, 1e-3 * ms)});
        const auto other = computeLoudnessModel(moved, within(1.0, 3.0), workers, {});
        REQUIRE(other);
        std::vector<TrackAdjustment> back(2);
        back[1].nudge = milliseconds(-ms);
        const double lost = std::pow(
            10.0, (*other->loudness(back, pans) - *model->loudness(std::vector<TrackAdjustment>(2), pans)) / 10.0);
        const double tau = 1e-3 * ms * 48000.0 / 16384.0;
        CHECK(lost == Approx(1.0 - 0.5 * 4.9 * tau * tau).margin(0.001)); // half of the power is what they add
    }
}

TEST_CASE("a loop round and round is as a meter hears it in the long run") {
    const auto source = room(3, 6, Playing::hits);
    auto options = within(1.0, 3.01); // ten rounds bring blocks that begin at every 10 ms
    options.round = true;
    auto cases = loudnessCases(3);
    cases.resize(8);
    CHECK(loudnessErrors("round and round", source, options, cases, 20).worst < promised);
    options = within(2.0, 2.51);
    options.round = true;
    CHECK(loudnessErrors("round and round", source, options, cases, 40).worst < promised);
    // Shorter than a gating block, and than a frame, half of which lies outside the loop.
    options = within(2.0, 2.13);
    options.round = true;
    CHECK(loudnessErrors("round and round", source, options, cases, 100).worst < 0.3);
}

TEST_CASE("silence has no loudness, nor has less than a gating block taken once") {
    const MemorySource source({std::vector<float>(96000), whiteNoise(96000, 1, 1e-5), whiteNoise(96000, 2)});
    Workers workers(1);
    const auto model = computeLoudnessModel(source, {}, workers, {});
    REQUIRE(model);
    CHECK(model->trackCount() == 3);
    const std::vector<PanGains> pans(3, panGains(0.0));
    std::vector<TrackAdjustment> adjustments(3);
    CHECK(model->loudness(adjustments, pans).has_value());
    adjustments[2].muted = true; // noise of -100 dBFS is left
    CHECK_FALSE(model->loudness(adjustments, pans).has_value());
    adjustments[1].muted = true;
    CHECK_FALSE(model->loudness(adjustments, pans).has_value());
    const auto brief = computeLoudnessModel(source, within(0.0, 0.39), workers, {});
    REQUIRE(brief);
    CHECK_FALSE(brief->loudness(std::vector<TrackAdjustment>(3), pans).has_value());
    const auto enough = computeLoudnessModel(source, within(0.0, 0.41), workers, {});
    REQUIRE(enough);
    CHECK(enough->loudness(std::vector<TrackAdjustment>(3), pans).has_value());
}

TEST_CASE("loudness does not depend on the number of workers, nor on which tracks share a file") {
    std::vector<std::vector<float>> tracks;
    for (std::uint64_t k = 0; k < 5; ++k)
        tracks.push_back(pinkNoise(96000, k));
    const MemorySource apart(tracks), together(tracks, 48000.0, {{3, 1}, {0, 2, 4}});
    Workers one(1), three(3);
    auto options = within(0.2, 1.9);
    options.valuesAtMost = 5 * 11 * 64;
    const auto first = computeLoudnessModel(apart, options, one, {});
    const auto second = computeLoudnessModel(together, options, three, {});
    REQUIRE(first);
    REQUIRE(second);
    CHECK(first->binsKept() == 64);
    for (const auto& [name, adjustments, pans] : loudnessCases(5))
        CHECK(*first->loudness(adjustments, pans) == *second->loudness(adjustments, pans));
}

TEST_CASE("a track in no group is silent, a damaged sample stays finite") {
    auto tracks = std::vector(3, pinkNoise(96000, 1));
    tracks[1][50000] = 3e38f;
    const MemorySource source(tracks, 48000.0, {{0}, {1}});
    Workers workers(1);
    const auto model = computeLoudnessModel(source, {}, workers, {});
    REQUIRE(model);
    const std::vector<PanGains> pans(3, panGains(0.0));
    std::vector<TrackAdjustment> adjustments(3);
    const auto all = model->loudness(adjustments, pans);
    REQUIRE(all);
    CHECK(std::isfinite(*all));
    adjustments[0].muted = adjustments[1].muted = true;
    CHECK_FALSE(model->loudness(adjustments, pans).has_value());
}

TEST_CASE("the pass for loudness heeds a stop and refuses an empty stretch") {
    const MemorySource source({whiteNoise(48000 * 20, 1)});
    Workers workers(2);
    for (const auto& options : {within(2.0, 2.0), within(-1.0, 2.0), within(1.0, 21.0)}) {
        const auto refused = computeLoudnessModel(source, options, workers, {});
        REQUIRE_FALSE(refused);
        CHECK(refused.fault().line() == "stretch: it is empty or lies outside the recording; choose one within it");
    }
    std::stop_source stop;
    double told = 0.0;
    const Watch watch{[&](double done) {
                          told = done;
                          if (done > 0.3) stop.request_stop();
                      },
                      stop.get_token()};
    const auto stopped = computeLoudnessModel(source, {}, workers, watch);
    REQUIRE_FALSE(stopped);
    CHECK(stopped.fault().kind == Fault::Kind::cancelled);
    CHECK(told < 0.5);
}
