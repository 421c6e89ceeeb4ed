#include "Session/SourceSums.h"

#include "Session/Sources.h"
#include "Support/HeardBand.h"

#include <nlohmann/json.hpp>

using namespace spillwright;
using namespace spillwright::test;

namespace {

Proposals made(HeardBand& band, const SourceAim& aim, Allow allow = Allow::flips) {
    ProposeOptions options;
    options.rungs = {allow};
    options.aim = aim;
    options.proofTime = Seconds(0.0);
    auto proposals = makeProposals(band.measured, options, band.workers, {});
    if (!proposals) FAIL(proposals.fault().line());
    return std::move(proposals).value();
}

std::string refused(HeardBand& band, const SourceAim& aim) {
    ProposeOptions options;
    options.aim = aim;
    const auto proposals = makeProposals(band.measured, options, band.workers, {});
    return proposals ? std::string() : proposals.fault().line();
}

} // namespace

TEST_CASE("a proposal says what each source gains, as that source alone in focus has it") {
    HeardBand band;
    const auto proposals = made(band, {});
    const auto& proposal = proposals.proposals.front();
    REQUIRE(proposal.sources.size() == 3);
    const std::vector<TrackAdjustment> recorded(band.measured.tracks.size());
    for (int source = 0; source < 3; ++source) {
        const auto focused = focusOn(band.measured, source, band.workers, {});
        REQUIRE(focused.ok());
        const auto model = summationModel(*focused, recorded);
        const auto& told = proposal.sources[static_cast<std::size_t>(source)];
        INFO(told.name);
        CHECK(told.name == band.measured.sources->names[static_cast<std::size_t>(source)]);
        const double gain = decibelsOfPower(model.gain(signsOf(proposal.proposal.flips), proposal.proposal.nudges));
        const double before =
            decibelsOfPower(model.gain(std::vector<int>(recorded.size(), 1), proposal.proposal.nudges));
        CHECK(told.gainDb == Approx(gain).margin(1e-3));
        CHECK(told.winsDb == Approx(gain - before).margin(2e-3));
        CHECK_FALSE(told.belowBestDb);

        // In focus the others are told of as well.
        ProposeOptions options;
        options.rungs = {Allow::flips};
        const auto alone = makeProposals(*focused, options, band.workers, {});
        REQUIRE(alone.ok());
        CHECK(alone->proposals.front().sources.size() == 3);
    }
}

TEST_CASE("an aim at one source alone is that source in focus, and weights lean the mean") {
    HeardBand band;
    for (const char* name : {"kick", "ride"}) {
        const auto aimed = made(band, {Aim::mean, {{name, 1.0}}});
        const auto focused = focusOn(band.measured, *findSource(name, band.measured), band.workers, {});
        REQUIRE(focused.ok());
        ProposeOptions options;
        options.rungs = {Allow::flips};
        const auto alone = makeProposals(*focused, options, band.workers, {});
        REQUIRE(alone.ok());
        CHECK(aimed.proposals.front().summationGainDb == Approx(alone->proposals.front().summationGainDb).margin(2e-3));
    }
    const auto even = made(band, {Aim::mean, {{"kick", 1.0}, {"ride", 1.0}}});
    const auto leaning = made(band, {Aim::mean, {{"kick", 1.0}, {"ride", 3.0}}});
    const auto meanOf = [](const Proposals& proposals, double kick, double ride) {
        const auto& sources = proposals.proposals.front().sources;
        return decibelsOfPower(
            (kick * std::pow(10.0, sources[0].gainDb / 10.0) + ride * std::pow(10.0, sources[2].gainDb / 10.0)) /
            (kick + ride));
    };
    CHECK(even.proposals.front().summationGainDb == Approx(meanOf(even, 1.0, 1.0)).margin(1e-6));
    CHECK(leaning.proposals.front().summationGainDb == Approx(meanOf(leaning, 1.0, 3.0)).margin(1e-6));
    CHECK(even.aim == Aim::mean);
    CHECK(even.aimedAt == std::vector<std::pair<std::string, double>>{{"kick", 1.0}, {"ride", 1.0}});
    const auto json = proposalsToJson(leaning);
    CHECK(json["aim"] == "mean");
    CHECK(json["aimedAt"][1]["weight"] == 3.0);
    CHECK(json["proposals"][0]["sources"][2]["source"] == "ride");
    CHECK(json["proposals"][0]["why"][0]["mayBeOff_ms"].is_number());
}

TEST_CASE("for the worst source, each is told how far it is below its own best") {
    HeardBand band;
    for (const Allow allow : {Allow::flips, Allow::nudges}) {
        const auto worst = made(band, {Aim::worst, {}}, allow);
        const auto& proposal = worst.proposals.front();
        double farthest = 0.0;
        for (const auto& source : proposal.sources) {
            REQUIRE(source.belowBestDb);
            const auto own = made(band, {Aim::mean, {{source.name, 1.0}}}, allow);
            CHECK(*source.belowBestDb ==
                  Approx(decibelsOfPower(own.proposals.front().proposal.fullGain) - source.gainDb).margin(1e-6));
            farthest = std::max(farthest, *source.belowBestDb);
        }
        CHECK(proposal.summationGainDb == Approx(-farthest).margin(1e-6));
        CHECK(proposal.upperBoundDb >= proposal.summationGainDb);
        const auto json = proposalsToJson(worst);
        CHECK(json["aim"] == "worst");
        CHECK(json["proposals"][0]["sources"][0]["belowBest_dB"].is_number());
        if (!proposal.proposal.why.empty())
            CHECK(json["proposals"][0]["words"].get<std::string>().find(
                      "to whichever source fares worst: none is then more than") != std::string::npos);
    }
}

TEST_CASE("an aim that means nothing is refused in one line") {
    HeardBand band;
    CHECK(refused(band, {Aim::mean, {{"oboe", 1.0}}}).find("oboe: no source and no close track bears this name") == 0);
    CHECK(refused(band, {Aim::mean, {{"kick", 0.0}}}).find("its weight is not above 0") != std::string::npos);
    CHECK(refused(band, {Aim::mean, {{"kick", 1.0}, {"kick out", 1.0}}}).find("this source is named twice") !=
          std::string::npos);
    auto without = band.measured;
    without.sources.reset();
    ProposeOptions options;
    options.aim.at = Aim::worst;
    CHECK(makeProposals(without, options, band.workers, {}).fault().line().find("no source was told apart") !=
          std::string::npos);
    options.count = 2;
    CHECK(makeProposals(band.measured, options, band.workers, {}).fault().line().find("has one proposal a rung") !=
          std::string::npos);
    options.count = 1;
    const auto focused = focusOn(band.measured, 0, band.workers, {});
    REQUIRE(focused.ok());
    CHECK(makeProposals(*focused, options, band.workers, {}).fault().line().find("while one is in focus") !=
          std::string::npos);
}

TEST_CASE("what sources gain and lose is said in a sentence") {
    const auto gain = [](const char* name, double wins) { return SourceGain{name, 0.0, wins, std::nullopt}; };
    CHECK(sourcesInWords({}).empty());
    CHECK(sourcesInWords({gain("a", 0.05), gain("b", -0.09)}).empty());
    CHECK(sourcesInWords({gain("a", 0.5), gain("b", -0.84), gain("c", 2.0)}) ==
          " Of the sources, 'c' gains 2.0 dB, 'a' 0.5 dB; 'b' loses 0.8 dB.");
    CHECK(sourcesInWords({gain("a", -0.5), gain("b", -3.0), gain("c", -1.0), gain("d", -2.0)}) ==
          " Of the sources, 'b' loses 3.0 dB, 'd' 2.0 dB, 'c' 1.0 dB and 1 more some.");
}
