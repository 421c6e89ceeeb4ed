#include "Core/Propose/MomentGain.h"

#include "Core/Measure/CrossSpectra.h"
#include "Core/Propose/SummationModel.h"
#include "Support/MemorySource.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

using namespace spillwright;
using namespace spillwright::test;

TEST_CASE("of one sound in all windows the gain of the moment is that of the model of the whole") {
    // Four windows and what the pass over a recording reads of them.
    const int window = usualWindow(48000.0);
    REQUIRE(window == 16384);
    const std::size_t length = static_cast<std::size_t>(window) * 5 / 2;
    const auto sound = whiteNoise(length + 48, 1);
    std::vector<std::vector<float>> tracks{
        {sound.begin() + 48, sound.end()}, {sound.begin(), sound.end() - 48}, whiteNoise(length, 2)};
    std::vector<TrackAdjustment> adjustments(3);
    adjustments[1].flip = true;
    adjustments[1].nudge = milliseconds(-0.7);
    adjustments[1].gain = Decibels(-3.0);
    adjustments[2].highPass = Hertz(300.0);
    const auto moment = momentGain(tracks, 48000.0, adjustments, lowMidBand);
    REQUIRE(moment);

    Workers workers(1);
    const auto spectra = computeCrossSpectra(MemorySource(tracks), {}, workers, {});
    REQUIRE(spectra);
    const std::vector<int> all{0, 1, 2};
    const SummationModel model(*spectra, all, adjustments, lowMidBand);
    const std::vector<int> signs{1, -1, 1};
    const std::vector<double> nudges{0.0, -0.0007, 0.0};
    CHECK(*moment == Approx(model.gain(signs, nudges)).epsilon(1e-4));
}

TEST_CASE("two tracks alike add 3 dB at every moment, one of them flipped they cancel, and silence has no gain") {
    const auto sound = whiteNoise(40000, 3);
    std::vector<TrackAdjustment> adjustments(2);
    CHECK(*momentGain(std::vector{sound, sound}, 44100.0, adjustments, lowMidBand) == Approx(2.0).epsilon(1e-5));
    adjustments[0].flip = true;
    CHECK(*momentGain(std::vector{sound, sound}, 44100.0, adjustments, lowMidBand) == Approx(0.0).margin(1e-5));
    CHECK_FALSE(momentGain(std::vector(2, std::vector<float>(40000)), 44100.0, adjustments, lowMidBand));
    CHECK_FALSE(momentGain(std::vector(2, std::vector<float>(400)), 44100.0, adjustments, lowMidBand));
    CHECK_FALSE(momentGain({}, 44100.0, {}, lowMidBand));
}
