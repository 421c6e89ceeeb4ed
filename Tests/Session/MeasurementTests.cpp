#include "Session/Measurement.h"
#include "Session/ProposalWords.h"

#include "Support/MemorySource.h"
#include "Support/TestSignals.h"
#include "Support/TestWav.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <nlohmann/json.hpp>

using namespace spillwright;
using namespace spillwright::test;

namespace {

constexpr std::size_t length = 8 * 48000;

std::vector<TrackInfo> named(const std::vector<std::string>& names) {
    std::vector<TrackInfo> tracks;
    for (const auto& name : names) {
        tracks.emplace_back();
        tracks.back().name = tracks.back().file = name;
    }
    return tracks;
}

/// a and b hear one source (b upside down), the overdub hears none of it.
struct Trio {
    std::vector<TrackInfo> tracks = named({"a", "b", "overdub"});
    MemorySource source{{noise(length, 1), mixed(delayed(noise(length, 1), 0, -0.9f), noise(length, 2, 0.03f)),
                         noise(length, 3, 0.2f)}};
    Workers workers{2};

    Measurement measured(const MeasureOptions& options = {}) {
        auto m = measure("folder", tracks, source, {}, options, workers, {});
        REQUIRE(m.ok());
        return std::move(m).value();
    }
    Proposals proposed(const ProposeOptions& options) {
        auto p = makeProposals(measured(), options, workers, {});
        if (!p) FAIL(p.fault().line());
        return std::move(p).value();
    }
};

} // namespace

TEST_CASE("an overdub is never changed and does not blur the proof") {
    Trio band;
    ProposeOptions options;
    options.count = 2;
    const auto p = band.proposed(options);
    for (const auto& named : p.proposals) {
        CHECK_FALSE(named.setting.tracks[2].adjustment.flip);
        CHECK(named.setting.tracks[2].adjustment.nudge == Seconds(0.0));
    }
    const auto& best = p.proposals.front();
    CHECK(best.proposal.allow == Allow::flips);
    CHECK(best.proposal.gain == best.proposal.upperBound);
    // Of the two mirror images (flip a or flip b) both have one flip: the one that leaves the first track alone.
    CHECK_FALSE(best.setting.tracks[0].adjustment.flip);
    CHECK(best.setting.tracks[1].adjustment.flip);
    REQUIRE(best.proposal.why.size() == 1);
    CHECK(p.trackNames[static_cast<std::size_t>(best.proposal.why[0].track)] == "b");
    // Taking the only change back leads to the recorded setting.
    CHECK(best.proposal.why[0].effectDb == Approx(best.summationGainDb - p.asRecordedGainDb).margin(1e-9));
}

TEST_CASE("a proposal says in words and numbers what it brings, where, when and how surely") {
    Trio band;
    auto p = band.proposed({});
    auto& flips = p.proposals.front();
    const auto said = proposalInWords(p, flips);
    INFO(said);
    CHECK(said.find("Turning 'b' over brings ") == 0);
    CHECK(said.find("It helps throughout, least from 0:0") != std::string::npos);
    CHECK(flips.winsDb == Approx(flips.summationGainDb - p.asRecordedGainDb).margin(1e-9));
    REQUIRE(flips.winsMost);
    CHECK(flips.winsMost->second >= flips.winsDb);
    CHECK((flips.winsMost->first.value >= 200.0 && flips.winsMost->first.value <= 500.0));
    const auto json = proposalsToJson(p);
    const auto& first = json["proposals"][0];
    CHECK(first["words"] == said);
    CHECK(first["leftOut"].empty());
    CHECK(first["course"]["worst_dB"].get<double>() > 2.5);
    CHECK(first["course"]["worst_dB"].get<double>() <= first["course"]["median_dB"].get<double>());
    const auto& change = first["why"][0];
    CHECK(change["stands"] == 1.0);
    CHECK(change["worth_dB"] == change["effect_dB"]); // the other stands for the whole
    CHECK(change["mayBeOff_ms"].get<double>() > 0.05);
    CHECK(change["mayBeOff_ms"].get<double>() < 1.0);

    flips.standing->parts[1].winsDb = -2.5;
    flips.standing->worst = 1;
    flips.standing->stands[1] = 0.7;
    const auto doubted = proposalInWords(p, flips);
    CHECK(doubted.find("in 1 of ") != std::string::npos);
    CHECK(doubted.find("(-2.5 dB)") != std::string::npos);
    CHECK(doubted.find("70 of 100 choices") != std::string::npos);
}

TEST_CASE("what a proposal takes from the lows, below the band it serves, is told, with the pair that pays most") {
    // In the band the second track is upside down, below it it is not.
    const auto heard = pinkNoise(length, 7);
    const auto crossed =
        filtered(heard, 48000.0, [](double hertz) { return std::complex<double>(hertz < 140.0 ? 0.9 : -0.9); });
    const MemorySource source{{heard, crossed}};
    Workers workers{2};
    auto m = measure("folder", named({"kick in", "kick out"}), source, {}, {}, workers, {});
    REQUIRE(m);
    ProposeOptions options;
    options.rungs = {Allow::flips};
    const auto p = makeProposals(*m, options, workers, {});
    REQUIRE(p);
    const auto& flips = p->proposals.front();
    REQUIRE(flips.setting.tracks[1].adjustment.flip);
    // 1 and 0.9 in phase against opposed: 20 lg (1.9 / 0.1); the window leaks a little of the one into the other.
    REQUIRE(flips.lows);
    CHECK(flips.lows->winsDb == Approx(20.0 * std::log10(0.1 / 1.9)).margin(0.5));
    REQUIRE(flips.lows->worst);
    CHECK(flips.lows->worst->first == 0);
    CHECK(flips.lows->worst->second == 1);
    CHECK(flips.lows->worst->winsDb == Approx(flips.lows->winsDb).margin(1e-9));
    const auto said = proposalInWords(*p, flips);
    INFO(said);
    CHECK(said.find("Below the band it takes 25.") != std::string::npos);
    CHECK(said.find("'kick in' and 'kick out', which surely share a sound, lose 25.") != std::string::npos);
    CHECK(proposalsToJson(*p)["proposals"][0]["lows"]["worst"]["second"] == "kick out");

    // 50 dB down below the band: nothing to say.
    const auto thin =
        filtered(heard, 48000.0, [](double hertz) { return std::complex<double>(hertz > 160.0 ? 1.0 : 0.003); });
    const MemorySource without{
        {thin, delayed(thin, 0, -0.9f)}}; // not all of it cancels: there is a figure to leave out
    auto n = measure("folder", named({"a", "b"}), without, {}, {}, workers, {});
    REQUIRE(n);
    const auto q = makeProposals(*n, options, workers, {});
    REQUIRE(q);
    CHECK_FALSE(q->proposals.front().lows);
}

TEST_CASE("nudges that pull tracks apart by more than is heard as one moment are told") {
    const auto sound = noise(length, 1);
    const MemorySource source{{sound, mixed(delayed(sound, 336, 0.9f), noise(length, 2, 0.01f))}}; // 7 ms
    Workers workers{2};
    auto m = measure("folder", named({"a", "b"}), source, {}, {}, workers, {});
    REQUIRE(m);
    const auto p = makeProposals(*m, {}, workers, {});
    REQUIRE(p);
    const auto said = proposalInWords(*p, p->proposals.back());
    INFO(said);
    CHECK(said.find("It moves tracks by up to 7 ms against each other: listen to the timing.") != std::string::npos);
    CHECK(proposalInWords(*p, p->proposals.front()).find("against each other") == std::string::npos);
}

TEST_CASE("a muted track takes no part in the sum and is not changed") {
    Trio band;
    ProposeOptions options;
    options.rungs = {Allow::flips};
    options.setting = Setting{"m", {{"b", {}}}};
    options.setting->tracks[0].adjustment.muted = true;
    const auto p = band.proposed(options);
    CHECK_FALSE(p.proposals[0].setting.tracks[1].adjustment.flip);
    CHECK(p.proposals[0].setting.tracks[1].adjustment.muted);
    // What is left ignores each other: only chance is summed.
    CHECK(p.proposals[0].summationGainDb == Approx(p.asRecordedGainDb).margin(1e-9));
    CHECK(p.proposals[0].summationGainDb == Approx(0.0).margin(0.1));
}

TEST_CASE("a held track keeps what the setting gives it, and the others are fitted to it") {
    Trio band;
    ProposeOptions options;
    options.rungs = {Allow::flips};
    options.hold = {"b"};
    auto p = band.proposed(options);
    CHECK(p.proposals[0].setting.tracks[0].adjustment.flip);
    CHECK_FALSE(p.proposals[0].setting.tracks[1].adjustment.flip);

    options.setting = Setting{"m", {{"b", {}}}};
    options.setting->tracks[0].adjustment.flip = true;
    p = band.proposed(options);
    CHECK_FALSE(p.proposals[0].setting.tracks[0].adjustment.flip);
    CHECK(p.proposals[0].setting.tracks[1].adjustment.flip);
}

TEST_CASE("gains of the setting count: a track that is turned down matters less") {
    Trio band;
    ProposeOptions options;
    options.rungs = {Allow::flips};
    const double even = band.proposed(options).proposals[0].summationGainDb;
    options.setting = Setting{"m", {{"b", {}}}};
    options.setting->tracks[0].adjustment.gain = Decibels(-20.0);
    const auto p = band.proposed(options);
    CHECK(p.proposals[0].summationGainDb < even - 0.5);
    CHECK(p.proposals[0].setting.tracks[1].adjustment.gain == Decibels(-20.0));
}

TEST_CASE("silent tracks take no part, and a recording of nothing but silence is a fault") {
    Workers workers(1);
    const auto tracks = named({"a", "quiet", "b"});
    const float belowNinety = 0.9f * 3.16e-5f; // -90 dBFS is 3.162e-5
    const MemorySource source({noise(length, 1), std::vector<float>(length, belowNinety), noise(length, 1)});
    const auto m = measure("f", tracks, source, {}, {}, workers, {});
    REQUIRE(m.ok());
    CHECK(m->usable == std::vector<int>{0, 2});
    CHECK(m->tracks[1].state == TrackState::silent);
    CHECK(m->pairs.size() == 1);
    CHECK(m->warnings == std::vector<std::string>{"quiet: silent (peak below -90 dBFS); it takes no part",
                                                  "b: the same audio as a; leave one of them out"});

    const MemorySource nothing({std::vector<float>(length), std::vector<float>(length)});
    const auto none = measure("f", named({"a", "b"}), nothing, {}, {}, workers, {});
    REQUIRE_FALSE(none.ok());
    CHECK(none.fault().line() ==
          "f: every track is silent or unreadable; choose a folder of tracks with sound in them");
}

TEST_CASE("one sample that differs makes a copy a track of its own") {
    Workers workers(1);
    auto other = noise(length, 1);
    std::swap(other[1000], other[2000]); // every figure of the track stays what it was
    const MemorySource source({noise(length, 1), other});
    const auto m = measure("f", named({"a", "b"}), source, {}, {}, workers, {});
    REQUIRE(m.ok());
    CHECK(m->warnings.empty());
}

TEST_CASE("one usable track can be measured, but nothing can be proposed for it") {
    Workers workers(1);
    const MemorySource source({noise(length, 1)});
    const auto m = measure("f", named({"a"}), source, {}, {}, workers, {});
    REQUIRE(m.ok());
    CHECK(m->pairs.empty());
    const auto p = makeProposals(*m, {}, workers, {});
    REQUIRE_FALSE(p.ok());
    CHECK(p.fault().kind == Fault::Kind::input);
}

TEST_CASE("measuring stops when told to, and says that it was told") {
    Trio band;
    std::stop_source stop;
    stop.request_stop();
    const auto m = measure("folder", band.tracks, band.source, {}, {}, band.workers, {{}, stop.get_token()});
    REQUIRE_FALSE(m.ok());
    CHECK(m.fault().kind == Fault::Kind::cancelled);
}

TEST_CASE("progress rises from 0 to 1") {
    Trio band;
    std::vector<double> told;
    const auto m = measure("folder", band.tracks, band.source, {}, {}, band.workers,
                           {[&](double done) { told.push_back(done); }, {}});
    REQUIRE(m.ok());
    REQUIRE(told.size() > 2);
    CHECK(std::is_sorted(told.begin(), told.end()));
    CHECK(told.front() >= 0.0);
    CHECK(told.back() == Approx(1.0));
}

TEST_CASE("a take that is clipped throughout is warned of as such, a few samples at full scale more mildly") {
    Workers workers(1);
    auto square = noise(length, 1), touched = noise(length, 2);
    for (std::size_t n = 0; n < length; ++n)
        square[n] = n / 100 % 2 == 0 ? 1.0f : -1.0f;
    touched[5000] = touched[5001] = 1.0f;
    const MemorySource source({square, touched, noise(length, 3)});
    const auto m = measure("f", named({"square", "touched", "clean"}), source, {}, {}, workers, {});
    REQUIRE(m.ok());
    CHECK(m->warnings == std::vector<std::string>{
                             "square: clipped throughout, 100 % of it at full scale; its readings are not those of the "
                             "sound, use another take or leave it out",
                             "touched: 2 samples at full scale; listen for clipping"});
}

TEST_CASE("a band of which nothing is measured is one clear line at any rate") {
    Workers workers(1);
    const auto lineOf = [&](double rate, Band band, std::size_t samples) {
        MeasureOptions options;
        options.band = band;
        const MemorySource source({noise(samples, 1), noise(samples, 2)}, rate);
        const auto m = measure("f", named({"a", "b"}), source, {}, options, workers, {});
        if (!m) return m.fault().line();
        return m->warnings.empty() ? std::string() : m->warnings.back();
    };
    const auto band = [](double low, double high) { return Band{Hertz(low), Hertz(high)}; };
    CHECK(lineOf(8000.0, band(4000.0, 6000.0), length) ==
          "f: the band lies above half the recording's sample rate; choose a lower band");
    CHECK(lineOf(8000.0, band(3000.0, 6000.0), length) ==
          "f: the band is read up to 4000 Hz; nothing higher is measured");
    CHECK(lineOf(192000.0, band(30000.0, 40000.0), length) ==
          "f: the band holds none of the frequencies that are measured, up to 24000 Hz every 2.9 Hz; choose a lower "
          "or a wider band");
    CHECK(lineOf(48000.0, band(300.0, 300.1), length) ==
          "f: the band holds none of the frequencies that are measured, up to 24000 Hz every 2.9 Hz; choose a lower "
          "or a wider band");
    CHECK(lineOf(48000.0, band(178.0, 200.0), 3000) == // four windows of 1024 samples: bins at 187.5 Hz alone
          "f: short: measured with windows of 1024 samples; readings of late arrivals are less sure");
    CHECK(lineOf(8000.0, band(178.0, 562.0), length).empty());
    CHECK(lineOf(192000.0, band(178.0, 562.0), 2 * length).empty());
}

TEST_CASE("a stretch too short for any window says so, and nothing is related in it") {
    Workers workers(1);
    const MemorySource source({noise(900, 1), noise(900, 1)});
    const auto m = measure("f", named({"a", "b"}), source, {}, {}, workers, {});
    REQUIRE(m.ok());
    REQUIRE(m->pairs.size() == 1);
    CHECK_FALSE(m->pairs[0].related);
    CHECK(m->warnings.back() ==
          "f: too short to compare tracks: 900 samples, and no window is shorter than 1024; choose a longer stretch");
}

TEST_CASE("the file says what is shared, and how sure the coherence is") {
    Trio band;
    const auto json = measurementToJson(band.measured());
    for (const auto& pair : json["pairs"]) {
        CHECK(pair["coherenceLow"] <= pair["coherence"]);
        CHECK(pair["coherenceHigh"] >= pair["coherence"]);
        for (const auto& third : pair["coherenceByThirdOctave"]) {
            CHECK(third["coherenceLow"] <= third["coherence"]);
            CHECK(third["coherenceHigh"] >= third["coherence"]);
        }
    }
    CHECK(json["pairs"][1]["shared"] == "nothing");
    CHECK(json["pairs"][1]["related"] == false);
    CHECK(json["pairs"][1]["oneTone"] == false);

    auto first = noise(length, 4), second = noise(length, 5);
    for (std::size_t n = 0; n < length; ++n) {
        const double t = static_cast<double>(n) / 48000.0;
        for (int partial = 1; partial < 8; ++partial) {
            first[n] += static_cast<float>(0.1 * std::sin(314.159265 * partial * t));
            second[n] += static_cast<float>(0.1 * std::sin(314.159265 * partial * t + partial));
        }
    }
    Workers workers(1);
    const auto m = measure("f", named({"a", "b"}), MemorySource({first, second}), {}, {}, workers, {});
    REQUIRE(m.ok());
    const auto humming = measurementToJson(*m)["pairs"][0];
    CHECK(humming["shared"] == "mains hum");
    CHECK(humming["related"] == false);
    CHECK(humming["arrival_ms"].is_null());
}

TEST_CASE("groups move as one, single tracks have limits of their own, and the stereo sum goes by the pans") {
    Trio band;
    ProposeOptions options;
    options.rungs = {Allow::flips};
    options.groups = {{"a", "b"}};
    auto p = band.proposed(options);
    CHECK(p.proposals[0].setting.tracks[0].adjustment.flip == p.proposals[0].setting.tracks[1].adjustment.flip);
    options.groups = {{"a", "nobody"}};
    const auto unknown = makeProposals(band.measured(), options, band.workers, {});
    REQUIRE_FALSE(unknown.ok());
    CHECK(unknown.fault().line().find("nobody: no track bears this name; near ones: ") == 0);

    options = {};
    options.rungs = {Allow::nudges};
    options.ownLargest = {{"b", milliseconds(0.0)}, {"a", milliseconds(0.0)}};
    p = band.proposed(options);
    CHECK(p.proposals[0].setting.tracks[0].adjustment.nudge == Seconds(0.0));
    CHECK(p.proposals[0].setting.tracks[1].adjustment.nudge == Seconds(0.0));

    options = {};
    options.rungs = {Allow::flips};
    options.stereo = true;
    Setting wide{"wide", {{"a", {}}, {"b", {}}}};
    wide.tracks[0].adjustment.pan = -1.0;
    wide.tracks[1].adjustment.pan = 1.0;
    options.setting = wide;
    p = band.proposed(options);
    CHECK(p.proposals[0].proposal.why.empty()); // they do not meet
    CHECK(p.proposals[0].summationGainDb == Approx(0.0).margin(0.1));
}

TEST_CASE("an even balance makes all tracks equally loud, and is part of the setting") {
    Trio band;
    ProposeOptions options;
    options.evenBalance = true;
    const auto p = band.proposed(options);
    const auto& tracks = p.proposals[0].setting.tracks;
    const auto gain = [&](int track) { return tracks[static_cast<std::size_t>(track)].adjustment.gain.value; };
    // All three are white: loud as their samples' power.
    const auto m = band.measured();
    const auto level = [&](int track) { return decibelsOfAmplitude(m.spectra->statistics(track).rms()) + gain(track); };
    CHECK(level(0) == Approx(level(1)).margin(0.1));
    CHECK(level(0) == Approx(level(2)).margin(0.1));
    CHECK(gain(0) + gain(1) + gain(2) == Approx(0.0).margin(1e-9));
}
