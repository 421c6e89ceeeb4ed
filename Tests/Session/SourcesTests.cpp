#include "Session/Sources.h"

#include "Session/Readings.h"
#include "Session/SpillFindings.h"
#include "Support/HeardBand.h"

#include <nlohmann/json.hpp>

using namespace spillwright;
using namespace spillwright::test;

TEST_CASE("a sources file says the same when it is read again") {
    const SourceList list{{{"kick", {"kick in", "kick out"}}, {"Flügel", {"Flügel"}}}};
    const auto again = sourcesFromJson(sourcesToJson(list).dump(), "f");
    REQUIRE(again.ok());
    CHECK(*again == list);
}

TEST_CASE("a sources file that is none is refused in one line that says where") {
    const auto refused = [](const std::string& sources) {
        const auto read = sourcesFromJson(
            R"({"format": "spillwright/sources", "version": 1, "sources": )" + sources + "}", "band.json");
        return read ? std::string() : read.fault().line();
    };
    CHECK(refused("[]").empty());
    const auto says = [&](const std::string& sources, const std::string& words) {
        const auto line = refused(sources);
        INFO(line);
        CHECK(line.find("band.json: ") == 0);
        CHECK(line.find(words) != std::string::npos);
    };
    says("7", "\"sources\" is not a list");
    says("[7]", "source 1: is not an object");
    says(R"([{"closeTracks": ["a"]}])", "source 1: \"name\" is missing");
    says(R"([{"name": 3, "closeTracks": ["a"]}])", "source 1: \"name\" is not a text");
    says(R"([{"name": "x", "closeTracks": []}])", "\"closeTracks\" is not a list of tracks");
    says(R"([{"name": "x", "closeTracks": [1]}])", "holds what is no text");
    says(R"([{"name": "x", "closeTracks": ["a"]}, {"name": "x", "closeTracks": ["b"]}])",
         "source \"x\" is there twice");
    says(R"([{"name": "x", "closeTracks": ["a"]}, {"name": "y", "closeTracks": ["a"]}])",
         "track \"a\" stands close to two sources");
    CHECK(sourcesFromJson("{}", "f").fault().what == "\"format\" is not \"spillwright/sources\"");
    CHECK(readSourcesFile("/nowhere/at all.json").fault().line().find("/nowhere/at all.json: this sources file ") == 0);
}

TEST_CASE("a track moves from source to source, and none is left without a track or with another's name") {
    const SourceList list{{{"kick", {"in", "out"}}, {"vox", {"vox"}}}};
    CHECK(movedTo(list, "out", 1) == SourceList{{{"kick", {"in"}}, {"vox", {"vox", "out"}}}});
    CHECK(movedTo(list, "in", 0) == list);
    CHECK(movedTo(list, "vox", std::nullopt) == SourceList{{{"kick", {"in", "out"}}}});
    CHECK(movedTo(list, "room", 0) == SourceList{{{"kick", {"in", "out", "room"}}, {"vox", {"vox"}}}});
    CHECK(movedAlone(list, "vox") == list);
    CHECK(movedAlone(list, "out") == SourceList{{{"kick", {"in"}}, {"vox", {"vox"}}, {"out", {"out"}}}});
    CHECK(movedAlone(SourceList{{{"room", {"a"}}}}, "room") == SourceList{{{"room", {"a"}}, {"room'", {"room"}}}});
}

TEST_CASE("a source is called by the words that its close tracks begin with") {
    const auto called = [](const std::vector<std::vector<std::string>>& close) {
        std::vector<TrackInfo> tracks;
        SourcePlan plan;
        for (const auto& names : close) {
            plan.sources.emplace_back();
            for (const auto& name : names) {
                plan.sources.back().closeTracks.push_back(static_cast<int>(tracks.size()));
                tracks.emplace_back();
                tracks.back().name = name;
            }
        }
        return namesOfSources(plan, tracks);
    };
    using Names = std::vector<std::string>;
    CHECK(called({{"kick in", "kick out"}, {"snare top", "snare under"}}) == Names{"kick", "snare"});
    CHECK(called({{"vox"}, {"kick", "kick"}}) == Names{"vox", "kick"});
    CHECK(called({{"left", "right"}}) == Names{"left"});
    CHECK(called({{"tom high", "tom low"}, {"tom floor", "tom floor under"}}) == Names{"tom", "tom floor"});
    // Two that would be called alike: each by its own first track.
    CHECK(called({{"tom 1 a", "tom 2 a"}, {"tom 3 a", "tom 4 a"}}) == Names{"tom 1 a", "tom 3 a"});
}

TEST_CASE("sources are told from the sound: which tracks stand close, and where each is heard") {
    HeardBand band;
    const auto& heard = *band.measured.sources;
    CHECK(heard.guessed);
    CHECK(heard.names == std::vector<std::string>{"kick", "trumpet", "ride"});
    CHECK(heard.map.plan.sources[0].closeTracks.size() == 2);
    CHECK_FALSE(sourceOf(heard.map.plan, 4)); // far

    // Levels within 0.3 dB down to -15 dB and 0.7 dB below, arrivals within a sample.
    const auto check = [&](const char* source, const char* track, double amplitude, int lateSamples) {
        INFO(source << " in " << track);
        const auto& reading = band.reading(band.measured, source, track);
        REQUIRE(reading.level);
        const double placed = 20.0 * std::log10(std::abs(amplitude));
        CHECK(reading.level->value == Approx(placed).margin(placed >= -15.0 ? 0.3 : 0.7));
        REQUIRE(reading.arrival);
        CHECK(reading.arrival->delay.value * 48000.0 == Approx(lateSamples).margin(1.0));
        REQUIRE(reading.polarity);
        CHECK(sign(reading.polarity->polarity) == (amplitude > 0 ? 1 : -1));
    };
    using namespace spillingBand;
    check("trumpet", "trumpet", 1.0, 0);
    check("ride", "trumpet", static_cast<double>(rideInTrumpet), rideInTrumpetLate);
    check("kick", "ride", static_cast<double>(kickInRide), kickInRideLate);
}

TEST_CASE("the user's list is honoured, and what it cannot mean is said") {
    HeardBand band;
    const auto m = band.hear(SourceList{{{"drum", {"kick in"}}, {"brass", {"trumpet", "dead"}}}});
    CHECK_FALSE(m.sources->guessed);
    CHECK(m.sources->names == std::vector<std::string>{"drum", "brass"});
    CHECK(m.sources->map.plan.sources[1].closeTracks == std::vector<int>{2}); // the dead one is silent
    CHECK(listOf(m) == SourceList{{{"drum", {"kick in"}}, {"brass", {"trumpet"}}}});
    CHECK(m.sources->map.readings.size() == 2 * m.usable.size());

    const auto unknown = hearSources(band.measured, SourceList{{{"x", {"trompet"}}}}, band.workers, {});
    REQUIRE_FALSE(unknown.ok());
    CHECK(unknown.fault().line().find("near ones: 'trumpet'") != std::string::npos);
    const auto dead = hearSources(band.measured, SourceList{{{"x", {"dead"}}}}, band.workers, {});
    REQUIRE_FALSE(dead.ok());
    CHECK(dead.fault().what == "every close track of the list is silent or unreadable");
    const auto none = band.hear(SourceList{});
    CHECK(none.sources->names.empty());
    CHECK(none.sources->map.readings.empty());

    std::stop_source stop;
    stop.request_stop();
    const auto stopped = hearSources(band.measured, std::nullopt, band.workers, Watch{{}, stop.get_token()});
    REQUIRE_FALSE(stopped.ok());
    CHECK(stopped.fault().kind == Fault::Kind::cancelled);
    const auto loop = readStretches(band.measured, Seconds(2.0), Seconds(11.0), band.workers, {});
    REQUIRE(loop.ok());
    const auto moments = hearSources(*loop, std::nullopt, band.workers, {});
    REQUIRE_FALSE(moments.ok());
    CHECK(moments.fault().what == "sources cannot be told apart in some moments alone");
}

TEST_CASE("too short a recording tells of no spill, and says how long would do") {
    std::vector<std::vector<float>> samples; // eight players who share no sound, each loud and soft as he likes
    std::vector<TrackInfo> tracks(8);
    for (unsigned k = 0; k < 8; ++k) {
        auto player = spillingBand::player(50 + k);
        player.resize(4 * 48000);
        samples.push_back(std::move(player));
        tracks[k].name = tracks[k].file = "player " + std::to_string(k);
    }
    const MemorySource source(samples);
    Workers workers{2};
    const auto measured = measure("take", tracks, source, {}, {}, workers, {});
    REQUIRE(measured.ok());
    SourceList list;
    for (const auto& track : tracks)
        list.sources.push_back({track.name, {track.name}});
    const auto heard = hearSources(*measured, list, workers, {});
    REQUIRE(heard.ok());
    CHECK(heard->sources->map.readings.empty());
    CHECK(heard->sources->names.size() == 8);
    // 22 windows, 20.8 effective averages in 4 s: 7 times 8 takes 10.8 s.
    CHECK(heard->warnings.back() == "take: too short to tell 8 sources apart; choose a stretch of 12 s or more");
    const auto focused = focusOn(*heard, 0, workers, {});
    REQUIRE_FALSE(focused.ok());
    CHECK(focused.fault().what == "the sources were not told apart");
    CHECK(orderOfEntry(*heard).empty());
    CHECK(rescueFor(*heard, 0).empty());
    CHECK_FALSE(spillShareOf(*heard, 0));
    CHECK(measurementToJson(*heard)["tracks"][0]["spillShare"].is_null());
}

TEST_CASE("steady sounds that never part tell no levels and no spill of each other") {
    std::vector<std::vector<float>> samples;
    std::vector<TrackInfo> tracks(3);
    for (unsigned k = 0; k < 3; ++k) {
        samples.push_back(noise(20 * 48000, 70 + k));
        tracks[k].name = tracks[k].file = "fan " + std::to_string(k);
    }
    const MemorySource source(samples);
    Workers workers{2};
    const auto measured = measure("fans", tracks, source, {}, {}, workers, {});
    REQUIRE(measured.ok());
    const auto heard =
        hearSources(*measured, SourceList{{{"a", {"fan 0"}}, {"b", {"fan 1"}}, {"c", {"fan 2"}}}}, workers, {});
    REQUIRE(heard.ok());
    for (const auto& reading : heard->sources->map.readings)
        if (sourceOf(heard->sources->map.plan, reading.track) != reading.source) {
            CHECK_FALSE(reading.level);
            CHECK_FALSE(reading.arrival);
        }
    for (const auto& reading : heard->sources->map.readings)
        if (sourceOf(heard->sources->map.plan, reading.track) != reading.source) CHECK(reading.shareOfTrack < 0.01);
    for (const int track : heard->usable) // what telling them apart leaves over is nobody's
        CHECK(spillShareOf(*heard, track).value_or(0.0) < 0.1);
}

TEST_CASE("a source is found by its name and by its close tracks") {
    HeardBand band;
    const auto& m = band.measured;
    CHECK(*findSource("kick", m) == 0);
    CHECK(*findSource("kick out", m) == 0);
    CHECK(*findSource("ride", m) == 2);
    CHECK(findSource("far", m).fault().what == "no source is told from this track");
    CHECK(findSource("rid", m).fault().line().find("near ones: 'ride'") != std::string::npos);
    auto before = m;
    before.sources.reset();
    CHECK(findSource("ride", before).fault().what == "no source is told from this track");
    CHECK(findSource("oboe", before).fault().what == "no source was told apart");
}

TEST_CASE("in focus, pairs and sums are those of one source") {
    HeardBand band;
    const auto pairOf = [](const Measurement& m, int first, int second) {
        for (const auto& pair : m.pairs)
            if (pair.first == first && pair.second == second) return pair;
        FAIL("no such pair");
        return PairReading{};
    };
    auto focused = focusOn(band.measured, 2, band.workers, {}); // the ride
    REQUIRE(focused.ok());
    CHECK(focused->focus == 2);
    const auto pair = pairOf(*focused, 2, 3); // trumpet, ride
    REQUIRE(pair.related);
    REQUIRE(pair.arrival);
    CHECK(pair.arrival->delay.value * 48000.0 == Approx(-spillingBand::rideInTrumpetLate).margin(1.0));
    REQUIRE(pair.polarity);
    CHECK(pair.polarity->polarity == Polarity::same);
    CHECK(pair.coherence > 0.9);
    CHECK_FALSE(pairOf(*focused, 0, 3).related); // no ride in the kick's track

    auto kick = focusOn(band.measured, 0, band.workers, {});
    REQUIRE(kick.ok());
    const auto insideOutside = pairOf(*kick, 0, 1);
    REQUIRE(insideOutside.polarity);
    CHECK(insideOutside.polarity->polarity == Polarity::inverted);
    ProposeOptions options;
    options.rungs = {Allow::flips};
    const auto proposed = makeProposals(*kick, options, band.workers, {});
    REQUIRE(proposed.ok());
    CHECK(proposed->source == "kick");
    const auto& flips = proposed->proposals.front().proposal.flips;
    CHECK(flips[0] != flips[1]);
    CHECK(proposalsToJson(*proposed)["source"] == "kick");

    const auto json = measurementToJson(*kick);
    CHECK(json["source"] == "kick");
    CHECK(json["tracks"][0]["level_dBFS"] == measurementToJson(band.measured)["tracks"][0]["level_dBFS"]);
}
