#include "Core/Propose/Standing.h"

#include "Support/MemorySource.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <numbers>

using namespace spillwright;
using namespace spillwright::test;

namespace {

constexpr std::size_t second = 48000;

struct Case {
    CrossSpectra spectra;
    std::vector<TrackAdjustment> adjustments;
    SummationModel model;
    Constraints constraints;

    explicit Case(std::vector<std::vector<float>> tracks)
        : spectra([&] {
              Workers workers(2);
              auto computed = computeCrossSpectra(MemorySource(std::move(tracks)), {}, workers, {});
              REQUIRE(computed);
              return std::move(computed).value();
          }()),
          adjustments(static_cast<std::size_t>(spectra.trackCount())), model([&] {
              std::vector<int> all;
              for (int track = 0; track < spectra.trackCount(); ++track)
                  all.push_back(track);
              return SummationModel(spectra, all, adjustments, lowMidBand);
          }()) {}

    Proposal best() const {
        Workers workers(2);
        auto found = propose(model, constraints, Allow::flips, 1, workers, {});
        REQUIRE(found);
        return found->front();
    }
    Standing standing(const Proposal& proposal, int threads = 2) const {
        Workers workers(threads);
        auto found = standingOf(spectra, adjustments, lowMidBand, model, constraints, proposal, workers, {});
        REQUIRE(found);
        return *found;
    }
};

Proposal flipped(std::vector<bool> flips) {
    Proposal proposal;
    proposal.nudges.assign(flips.size(), 0.0);
    proposal.flips = std::move(flips);
    return proposal;
}

} // namespace

TEST_CASE("a flip that helps the end and hurts the rest is seen as such") {
    const auto sound = whiteNoise(40 * second, 1);
    auto other = sum(sound, whiteNoise(40 * second, 2, 0.02));
    for (std::size_t n = 30 * second; n < other.size(); ++n)
        other[n] = -other[n];
    const Case two({sound, other});
    auto proposal = flipped({false, true});
    proposal.gain = two.model.gain(std::vector<int>{1, -1}, proposal.nudges);
    const auto standing = two.standing(proposal);
    REQUIRE(standing.parts.size() >= 6);
    // In phase two tracks that are nearly alike sum to 2 of what they have apart; turned over to 1 - C.
    for (const auto& part : standing.parts) {
        if (part.to.value < 29.0) CHECK(part.winsDb < -10.0);
        if (part.from.value > 31.0) CHECK(part.winsDb > 10.0);
    }
    CHECK(standing.medianDb < -10.0);
    CHECK(standing.parts[standing.worst].to.value < 30.0);
    CHECK(standing.parts.front().from.value == 0.0);
}

TEST_CASE("what stands in every choice of moments, and what is a throw of a coin") {
    const auto sound = whiteNoise(60 * second, 3);
    std::vector<float> turned(sound.size());
    std::transform(sound.begin(), sound.end(), turned.begin(), [](float value) { return -value; });
    const Case three({sound, sum(turned, whiteNoise(sound.size(), 4)), whiteNoise(sound.size(), 5)});
    const auto best = three.best();
    REQUIRE(best.flips[0] != best.flips[1]);
    const auto standing = three.standing(best);
    REQUIRE(standing.stands.size() == 3);
    CHECK(standing.stands[1] == 1.0);
    CHECK(standing.stands[2] > 0.4); // it is the best of the whole
    CHECK(standing.stands[2] < 1.0);
    const auto again = three.standing(best, 1);
    CHECK(again.stands == standing.stands);
    CHECK(again.mayBeOff == standing.mayBeOff);
}

TEST_CASE("a nudge may be off until the sum has lost a tenth of a decibel") {
    const auto sound = whiteNoise(20 * second, 6);
    const Case three({sound, delayed(sound, 20.0), whiteNoise(sound.size(), 7)});
    auto proposal = flipped({false, false, false});
    proposal.nudges = {20.0 / 48000.0, 0.0, 0.0};
    const std::vector<int> signs{1, 1, 1};
    proposal.gain = three.model.gain(signs, proposal.nudges);
    const auto standing = three.standing(proposal);
    REQUIRE(standing.mayBeOff[0]);
    double least = 1e9;
    for (const double side : {1.0, -1.0}) {
        auto moved = proposal.nudges;
        moved[0] += side * *standing.mayBeOff[0];
        least = std::min(least, three.model.gain(signs, moved));
    }
    CHECK(decibelsOfPower(proposal.gain / least) == Approx(Standing::nudgeLossDb).margin(0.002));
    // Nearly symmetric: both tracks may be off alike.
    REQUIRE(standing.mayBeOff[1]);
    CHECK(*standing.mayBeOff[1] == Approx(*standing.mayBeOff[0]).epsilon(0.05));
}

TEST_CASE("tracks of a unit are off together") {
    const auto sound = whiteNoise(20 * second, 8);
    Case three({sound, sound, sound});
    three.constraints.unit = {0, 1, 1};
    auto proposal = flipped({false, false, false});
    proposal.gain = three.model.gain(std::vector<int>{1, 1, 1}, proposal.nudges);
    const auto standing = three.standing(proposal);
    CHECK(standing.mayBeOff[1] == standing.mayBeOff[2]);
}

TEST_CASE("a stop ends it, a choice of stretches has no course of time") {
    const auto sound = whiteNoise(20 * second, 9);
    const Case two({sound, sound});
    Workers workers(2);
    std::stop_source stop;
    stop.request_stop();
    CHECK_FALSE(standingOf(two.spectra, two.adjustments, lowMidBand, two.model, {}, flipped({false, false}), workers,
                           {{}, stop.get_token()}));
    const std::vector<float> weights(static_cast<std::size_t>(two.spectra.stretches()), 1.0f);
    const auto chosen = two.spectra.restrictedTo(weights, workers);
    const auto standing =
        standingOf(chosen, two.adjustments, lowMidBand, two.model, {}, flipped({false, false}), workers, {});
    REQUIRE(standing);
    CHECK(standing->parts.empty());
    CHECK(standing->stands.empty());
}

TEST_CASE("of the stereo sum each part is what the pans leave of it") {
    const auto sound = whiteNoise(20 * second, 10);
    Case two({sound, sum(sound, whiteNoise(sound.size(), 11))});
    const std::vector<PanGains> apart{panGains(-1.0), panGains(1.0)};
    two.model = SummationModel(two.spectra, std::vector<int>{0, 1}, two.adjustments, lowMidBand, apart);
    for (const auto& part : two.standing(flipped({false, true})).parts)
        CHECK(part.winsDb == Approx(0.0).margin(1e-9));
    const std::vector<PanGains> near{panGains(-0.5), panGains(0.5)}; // they meet by cos 45 degrees
    two.model = SummationModel(two.spectra, std::vector<int>{0, 1}, two.adjustments, lowMidBand, near);
    const std::vector<double> still{0.0, 0.0};
    const double wins =
        decibelsOfPower(two.model.gain(std::vector<int>{1, -1}, still) / two.model.gain(std::vector<int>{1, 1}, still));
    CHECK(two.standing(flipped({false, true})).medianDb == Approx(wins).margin(0.5));
}

TEST_CASE("moments in which nobody plays, though something hisses, are no part of the course") {
    auto sound = whiteNoise(40 * second, 1);
    for (std::size_t n = 20 * second; n < sound.size(); ++n)
        sound[n] *= 1e-3f;
    auto other = sum(sound, whiteNoise(40 * second, 2, 0.0002));
    const Case two({sound, other});
    auto proposal = flipped({false, true});
    proposal.gain = two.model.gain(std::vector<int>{1, -1}, proposal.nudges);
    const auto standing = two.standing(proposal);
    REQUIRE(standing.parts.size() >= 3);
    for (const auto& part : standing.parts)
        CHECK(part.from.value < 20.0);
    CHECK(standing.medianDb < -10.0);
}
