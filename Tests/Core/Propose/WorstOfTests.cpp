#include "Core/Propose/WorstOf.h"
#include "TestModels.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>

using namespace spillwright;
using namespace spillwright::test;

namespace {

std::vector<SummationModel> someModels(int tracks, int count, std::uint64_t seed) {
    std::vector<SummationModel> models;
    for (int k = 0; k < count; ++k)
        models.push_back(manySources(tracks, 2, 0.004, 100 * seed + static_cast<std::uint64_t>(k), 24.0));
    return models;
}

Proposal worstOf(const std::vector<SummationModel>& models, const std::vector<double>& bests,
                 const Constraints& constraints, Allow allow, int threads = 2) {
    Workers workers(threads);
    auto found = proposeForWorst(models, bests, constraints, allow, workers, {});
    REQUIRE(found.ok());
    return found.value();
}

double leastOf(const std::vector<SummationModel>& models, const std::vector<double>& bests,
               const std::vector<int>& signs, const std::vector<double>& nudges) {
    double least = 1e9;
    for (std::size_t k = 0; k < models.size(); ++k)
        least = std::min(least, models[k].gain(signs, nudges) / bests[k]);
    return least;
}

const std::vector<double> someBests{2.0, 1.5, 3.0};

} // namespace

TEST_CASE("the flips for the source that fares worst are the best of all flips") {
    for (const int n : {2, 5, 10}) {
        const auto models = someModels(n, 3, static_cast<std::uint64_t>(n));
        const std::vector<double> nudges(static_cast<std::size_t>(n), 0.0);
        double best = 0.0;
        for (int set = 0; set < 1 << n; ++set) {
            std::vector<int> signs;
            for (int i = 0; i < n; ++i)
                signs.push_back(set >> i & 1 ? -1 : 1);
            best = std::max(best, leastOf(models, someBests, signs, nudges));
        }
        const auto found = worstOf(models, someBests, {}, Allow::flips);
        CHECK(found.gain == Approx(best).epsilon(1e-9));
        CHECK(found.gain == Approx(leastOf(models, someBests, signsOf(found.flips), nudges)).epsilon(1e-9));
        CHECK(found.upperBound == Approx(best).epsilon(1e-9));
        CHECK(found.proof == Proof::exhaustive);
        CHECK(2 * std::count(found.flips.begin(), found.flips.end(), true) <= n); // of mirror images the plainer
    }
}

TEST_CASE("what helps one source and harms another is not proposed for the worst of them") {
    // Turning the second track over helps the first source more than it harms the second: the mean wants it.
    const auto one = oneSource({0.0, 0.0, 0.0}, {1, -1, 1}, 0.2), other = oneSource({0.0, 0.0, 0.0}, {1, 1, 1}, 5.0);
    const std::vector models{one, other};
    const std::vector<int> turned{1, -1, 1};
    const std::vector<double> still(3, 0.0);
    Workers workers(1);
    const auto mean = SummationModel::meanOf(models, std::vector{1.0, 1.0});
    const auto forMean = propose(mean, {}, Allow::flips, 1, workers, {});
    REQUIRE(forMean.ok());
    CHECK(signsOf(forMean->front().flips) == turned);
    // With the second's own best in view and the first's far below what it has anyway.
    const std::vector bests{one.gain(std::vector<int>{1, 1, 1}, still) / 2.0,
                            other.gain(std::vector<int>{1, 1, 1}, still)};
    const auto found = worstOf(models, bests, {}, Allow::flips);
    CHECK(signsOf(found.flips) == std::vector<int>{1, 1, 1});
    CHECK(found.gain == Approx(1.0));
}

TEST_CASE("nothing tried by chance beats what is proposed for the worst, and the bound holds") {
    struct Case {
        int tracks;
        Allow allow;
    };
    const auto [tracks, allow] = GENERATE(Case{5, Allow::nudges}, Case{24, Allow::flips});
    const auto models = someModels(tracks, 3, 7);
    Constraints constraints;
    constraints.largestNudge = 0.001;
    constraints.proofTime = Seconds(0.0);
    const auto found = worstOf(models, someBests, constraints, allow);
    CHECK(found.gain == Approx(leastOf(models, someBests, signsOf(found.flips), found.nudges)).epsilon(1e-9));
    CHECK(found.upperBound >= found.gain);
    RandomStream random(5);
    for (int attempt = 0; attempt < 3000; ++attempt) {
        std::vector<int> signs;
        std::vector<double> nudges;
        for (int i = 0; i < tracks; ++i) {
            signs.push_back(random.sign());
            nudges.push_back(allow == Allow::nudges && i > 0 ? random.between(-0.001, 0.001) : 0.0);
        }
        REQUIRE(leastOf(models, someBests, signs, nudges) <= found.gain);
    }
    for (const double nudge : found.nudges)
        CHECK(std::abs(nudge) <= 0.001 + 1e-12);
}

TEST_CASE("nudges serve the worst source no worse than flips alone, from any number of workers alike") {
    const auto models = someModels(6, 3, 2);
    Constraints constraints;
    constraints.largestNudge = 0.002;
    constraints.proofTime = Seconds(0.0);
    const auto flips = worstOf(models, someBests, constraints, Allow::flips);
    const auto nudges = worstOf(models, someBests, constraints, Allow::nudges);
    CHECK(nudges.gain >= flips.gain - 1e-9);
    const auto alone = worstOf(models, someBests, constraints, Allow::nudges, 1);
    CHECK(alone.flips == nudges.flips);
    CHECK(alone.nudges == nudges.nudges);
    CHECK(alone.gain == nudges.gain);
}

TEST_CASE("for the worst source too, what is held, linked or named stays so") {
    const auto models = someModels(7, 3, 4);
    Constraints constraints;
    constraints.unit = {0, 1, 1, 2, 3, 4, 5};
    constraints.start = {false, true, false, false, true, false, false};
    constraints.startNudges = {0.0, 0.0002, 0.0, 0.0, -0.0003, 0.0, 0.0};
    constraints.held = {false, false, false, false, true, false, false};
    constraints.reference = 3;
    constraints.unrelated = {false, false, false, false, false, false, true};
    constraints.largestNudge = 0.001;
    constraints.proofTime = Seconds(0.0);
    for (const Allow allow : {Allow::flips, Allow::nudges}) {
        const auto found = worstOf(models, someBests, constraints, allow);
        CHECK(found.flips[1] != found.flips[2]);
        CHECK(found.nudges[1] - found.nudges[2] == Approx(0.0002));
        CHECK(found.flips[4]);
        CHECK(found.nudges[4] == Approx(-0.0003));
        CHECK_FALSE(found.flips[3]);
        CHECK(found.nudges[3] == 0.0);
        CHECK_FALSE(found.flips[6]);
        CHECK(found.nudges[6] == 0.0);
    }
}

TEST_CASE("a change that the worst source hardly feels is left out, and nothing else is changed in its stead") {
    const auto models = someModels(8, 3, 9);
    Constraints constraints;
    constraints.leastWorthDb = 0.0;
    const auto all = worstOf(models, someBests, constraints, Allow::flips);
    REQUIRE(all.why.size() > 1);
    double least = 1e9;
    for (const auto& change : all.why) {
        REQUIRE(change.worthDb);
        CHECK(*change.worthDb <= change.effectDb + 1e-9);
        CHECK(*change.worthDb >= -1e-9);
        least = std::min(least, *change.worthDb);
    }
    constraints.leastWorthDb = least + 1e-6;
    const auto fewer = worstOf(models, someBests, constraints, Allow::flips);
    REQUIRE_FALSE(fewer.leftOut.empty());
    CHECK(fewer.why.size() < all.why.size());
    CHECK(fewer.fullGain == Approx(all.gain));
    CHECK(fewer.leftOut.front().effectDb == Approx(least).margin(1e-9));
    for (std::size_t track = 0; track < all.flips.size(); ++track)
        if (!all.flips[track]) CHECK_FALSE(fewer.flips[track]);
}

TEST_CASE("of contradictions and of a stop the worst of the sources tells as the sum does") {
    const auto models = someModels(4, 2, 3);
    const std::vector bests{1.0, 1.0};
    Constraints constraints;
    constraints.held = {true, false, false, false};
    constraints.start = {true, false, false, false};
    constraints.reference = 0;
    Workers workers(1);
    for (const Allow allow : {Allow::flips, Allow::nudges}) {
        const auto refused = proposeForWorst(models, bests, constraints, allow, workers, {});
        REQUIRE_FALSE(refused.ok());
        CHECK(refused.fault().line().find("upside down") != std::string::npos);
        std::stop_source stop;
        stop.request_stop();
        const auto stopped = proposeForWorst(models, bests, {}, allow, workers, {{}, stop.get_token()});
        REQUIRE_FALSE(stopped.ok());
        CHECK(stopped.fault().kind == Fault::Kind::cancelled);
    }
}

TEST_CASE("with a time the worst of the sources is served within it, and that is said") {
    const auto models = someModels(12, 3, 5);
    Constraints constraints;
    constraints.largestNudge = 0.01;
    constraints.time = Seconds(0.0);
    const auto found = worstOf(models, someBests, constraints, Allow::nudges);
    CHECK(found.cutShort);
    CHECK(found.upperBound >= found.gain);
    CHECK(found.gain == Approx(leastOf(models, someBests, signsOf(found.flips), found.nudges)).epsilon(1e-9));
    CHECK(found.gain >= leastOf(models, someBests, std::vector<int>(12, 1), std::vector<double>(12, 0.0)));
}

TEST_CASE(
    "a start beyond the largest nudge is measured from, and linked tracks keep their offsets when they are put back") {
    const auto models = someModels(6, 3, 6);
    Constraints constraints;
    constraints.unit = {0, 1, 1, 2, 3, 4};
    constraints.startNudges = {0.0006, 0.0009, 0.0011, 0.02, -0.004, 0.0};
    constraints.largestNudge = 0.001;
    constraints.proofTime = Seconds(0.0);
    for (const double leastWorthDb : {0.0, 0.1, 50.0}) {
        constraints.leastWorthDb = leastWorthDb;
        const auto found = worstOf(models, someBests, constraints, Allow::nudges);
        CHECK(found.nudges[0] == 0.0); // the loudest stands for the whole
        CHECK(found.nudges[2] - found.nudges[1] == Approx(0.0002).margin(1e-9));
        for (const double nudge : found.nudges)
            CHECK(std::abs(nudge) <= 0.001 + 1e-12);
        CHECK(found.gain == Approx(leastOf(models, someBests, signsOf(found.flips), found.nudges)).epsilon(1e-9));
        CHECK(found.upperBound >= found.gain);
        if (leastWorthDb == 50.0) {
            // All that can be put back is: as far as the limits go, everything against the loudest as at the start.
            CHECK(found.flips == std::vector<bool>(6, false));
            CHECK(found.nudges[1] == Approx(0.0003).margin(1e-9));
            CHECK(found.nudges[3] == Approx(0.001).margin(1e-9));
            CHECK(found.nudges[4] == Approx(-0.001).margin(1e-9));
            CHECK(found.nudges[5] == Approx(-0.0006).margin(1e-9));
        }
    }
}
