#include "Session/Takes.h"

#include "Session/Readings.h"
#include "Support/MeasuredTake.h"
#include "Support/TestWav.h"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

using namespace spillwright;
using namespace spillwright::test;
using Kind = TakeChange::Kind;

namespace {

enum Track { drum, horn, cello, far, near, trackCount };
const std::vector<std::string> trackNames{"drum", "horn", "cello", "far", "near"};

/// What a take of the small band is like. late[player][track]: samples that the straight way takes, level likewise.
struct Small {
    int late[3][trackCount] = {{0, 210, 260, 700, 330}, {240, 0, 180, 820, 410}, {275, 190, 0, 640, 290}};
    float level[3][trackCount] = {
        {1.0f, 0.20f, 0.15f, 0.5f, 0.6f}, {0.15f, 1.0f, 0.2f, 0.6f, 0.5f}, {0.1f, 0.15f, 1.0f, 0.45f, 0.55f}};
    float gain[trackCount] = {1, 1, 1, 1, 1};
    int shifted[trackCount] = {};
    double rate = 48000.0;
    double seconds = 14.0;
};

/// Noise in slots of a fifth of a second, each of a level of its own.
std::vector<float> player(unsigned seed, std::size_t length) {
    auto sound = noise(length, seed);
    const auto levels = noise(length / 9600 + 1, seed + 1000, 1.0f);
    for (std::size_t n = 0; n < length; ++n)
        sound[n] *= std::pow(10.0f, levels[n / 9600] / std::sqrt(3.0f) - 1.0f);
    return sound;
}

std::vector<std::vector<float>> record(const Small& small, unsigned seed) {
    const auto length = static_cast<std::size_t>(small.seconds * small.rate);
    std::vector<std::vector<float>> tracks(trackCount);
    std::vector<std::vector<float>> players;
    for (unsigned p = 0; p < 3; ++p)
        players.push_back(player(10 * seed + p, length));
    for (int t = 0; t < trackCount; ++t) {
        auto sum = noise(length, 10 * seed + 5 + static_cast<unsigned>(t), 2e-5f);
        for (std::size_t p = 0; p < 3; ++p) {
            const int late = small.late[p][t];
            const float level = small.level[p][t];
            sum = mixed(std::move(sum), delayed(players[p], late, level));
            for (int wall = 1; wall <= 2; ++wall)
                sum = mixed(std::move(sum), delayed(players[p], 500 * wall + 37 * t + 91 * static_cast<int>(p),
                                                    0.12f * level * (wall == 1 ? 1.0f : -1.0f)));
        }
        tracks[static_cast<std::size_t>(t)] = delayed(sum, small.shifted[t], small.gain[t]);
    }
    return tracks;
}

std::vector<TrackInfo> infos(const std::vector<std::string>& names = trackNames) {
    std::vector<TrackInfo> tracks;
    for (const auto& name : names) {
        tracks.emplace_back();
        tracks.back().name = name;
        tracks.back().file = name + ".wav";
    }
    return tracks;
}

Measurement measured(const std::string& folder, std::vector<std::vector<float>> samples, Workers& workers,
                     double rate = 48000.0, const std::vector<std::string>& names = trackNames) {
    auto m = measure(folder, infos(names), MemorySource(std::move(samples), rate), {}, {}, workers, {});
    if (!m) FAIL(m.fault().line());
    return std::move(m).value();
}

const Measurement& firstTake() {
    static Workers workers(2);
    static const Measurement made = measured("one", record({}, 1), workers);
    return made;
}

Comparison against(const Measurement& second, Workers& workers, const CompareOptions& options = {}) {
    auto c = compareTakes({firstTake(), second}, options, workers, {});
    if (!c) FAIL(c.fault().line());
    return std::move(c).value();
}

bool said(const std::vector<VerdictLine>& verdict, const std::string& words) {
    return std::any_of(verdict.begin(), verdict.end(),
                       [&](const VerdictLine& line) { return line.text.find(words) != std::string::npos; });
}

/// "far moved, horn gain": all that is called a change.
std::string told(const Comparison& c) {
    std::string words;
    for (const auto& change : c.differences.front().changes)
        words += (words.empty() ? "" : ", ") + c.tracks[static_cast<std::size_t>(change.track)].name + " " +
                 changeWord(change.kind);
    return words;
}

} // namespace

TEST_CASE("takes that differ in the playing alone differ in nothing") {
    Workers workers(2);
    Small longer;
    longer.seconds = 18.0;
    const auto c = against(measured("two", record(longer, 2), workers), workers);
    CHECK(told(c).empty());
    const auto& d = c.differences.front();
    CHECK(d.waysUnexplained == 0);
    for (const auto& track : d.tracks)
        CHECK(track.against >= 3);
    for (const auto& pair : d.pairs)
        for (const auto* figure : {&pair.coherence, &pair.summationGain, &pair.notch}) {
            REQUIRE(*figure);
            CHECK(!(*figure)->stands);
        }
    REQUIRE(!d.verdict.empty());
    CHECK(d.verdict.front().text == "nothing was changed since A, as far as can be told");
    CHECK(d.canBeTold);
    CHECK(d.waysAlike == d.ways);
}

TEST_CASE("what was done to a track is told of that track and of no other") {
    Workers workers(2);
    Small small;
    std::string expected;
    SECTION("inverted") {
        small.gain[far] = -1.0f;
        expected = "far inverted";
    }
    SECTION("a close track inverted") {
        small.gain[horn] = -1.0f;
        expected = "horn inverted";
    }
    SECTION("3 dB less gain") {
        small.gain[cello] = std::pow(10.0f, -3.0f / 20.0f);
        expected = "cello gain";
    }
    SECTION("recorded late") {
        small.shifted[near] = 96;
        expected = "near late";
    }
    SECTION("moved") {
        small.late[0][near] -= 24;
        small.late[1][near] += 20;
        small.late[2][near] += 9;
        expected = "near moved";
    }
    auto samples = record(small, 3);
    SECTION("silent") {
        std::fill(samples[drum].begin(), samples[drum].end(), 0.0f);
        expected = "drum silent";
    }
    const auto c = against(measured("two", std::move(samples), workers), workers);
    CHECK(told(c) == expected);
    const auto& change = c.differences.front().changes.front();
    if (change.kind == Kind::gain) CHECK(change.amount == Approx(-3.0).margin(0.5));
    if (change.kind == Kind::late) CHECK(change.amount == Approx(2.0).margin(0.02)); // 96 samples
    // Its pairs are due to it, and so are all that stand.
    for (const auto& pair : c.differences.front().pairs) {
        const auto [first, second] = c.pairOf(static_cast<std::size_t>(pair.pair));
        CHECK(pair.dueTo ==
              (first == change.track || second == change.track ? std::vector<int>{change.track} : std::vector<int>{}));
        if (pair.dueTo.empty()) CHECK(!(pair.summationGain && pair.summationGain->stands));
    }
}

TEST_CASE("of takes that are not of one set-up no change is told, and it is asked whether they are") {
    Workers workers(2);
    std::vector<std::vector<float>> samples;
    CompareOptions options;
    auto names = trackNames;
    std::string why;
    SECTION("no sound in common between the tracks of one") {
        for (unsigned t = 0; t < trackCount; ++t)
            samples.push_back(noise(48000 * 12, 700 + t));
        why = "none of the";
    }
    SECTION("other places throughout") {
        Small elsewhere;
        for (int player = 0; player < 3; ++player)
            for (int t = 0; t < trackCount; ++t)
                elsewhere.late[player][t] += player == t ? 0 : 31 + 53 * ((3 * player + 2 * t) % 7);
        samples = record(elsewhere, 2);
        why = "of the";
    }
    SECTION("tracks matched at random") {
        samples = record({}, 2);
        names = {"near", "far", "drum", "horn", "cello"};
        why = "of the";
    }
    SECTION("one track alone matched") {
        samples = record({}, 2);
        samples.pop_back();
        names = {"oboe", "flute", "bassoon", "tuba"};
        options.match = {{"cello", "tuba"}};
        why = "no track is heard in another one in both takes";
    }
    const auto c = against(measured("two", samples, workers, 48000.0, names), workers, options);
    const auto& d = c.differences.front();
    CHECK_FALSE(d.canBeTold);
    CHECK(told(c).empty());
    REQUIRE_FALSE(d.verdict.empty());
    CHECK(d.verdict.front().text.starts_with("whether anything was changed cannot be told: "));
    CHECK(d.verdict.front().text.find(why) != std::string::npos);
    CHECK(d.verdict.front().text.find("is it the same set-up") != std::string::npos);
    CHECK_FALSE(said(d.verdict, "no difference"));
    CHECK_FALSE(said(d.verdict, "nothing was changed"));
    CHECK_FALSE((d.sum && d.sum->stands));
    const auto json = comparisonToJson(c)["differences"][0];
    CHECK(json["canBeTold"] == false);
    CHECK(json["changes"].empty());
    for (const auto& track : json["tracks"])
        CHECK(track["inverted"].is_null());
}

TEST_CASE("where both tracks of a pair changed both are named") {
    Workers workers(2);
    Small small;
    small.gain[far] = -1.0f;
    small.gain[near] = -1.0f;
    const auto c = against(measured("two", record(small, 3), workers), workers);
    CHECK(told(c) == "far inverted, near inverted");
    for (const auto& pair : c.differences.front().pairs)
        if (c.pairOf(static_cast<std::size_t>(pair.pair)) == std::pair<int, int>(far, near))
            CHECK(pair.dueTo == std::vector<int>{far, near});
}

TEST_CASE("a track that fell silent keeps what is told of the take in which it sounds") {
    Workers workers(2);
    auto samples = record({}, 3);
    std::fill(samples[drum].begin(), samples[drum].end(), 0.0f);
    const auto silent = measured("two", std::move(samples), workers);
    const auto usual = against(measured("three", record({}, 3), workers), workers);
    const auto c = against(silent, workers);
    REQUIRE((c.takes[0].spillShares[drum] && usual.takes[0].spillShares[drum]));
    CHECK(*c.takes[0].spillShares[drum] == Approx(*usual.takes[0].spillShares[drum]).margin(1e-9));
    CHECK(*c.takes[0].spillShares[drum] < 0.5);
    CHECK_FALSE(c.takes[1].spillShares[drum]);
}

TEST_CASE("which tracks may stand close after all is told with the comparison") {
    Workers workers(2);
    CompareOptions options;
    options.sources = SourceList{{{"drum", {"drum"}}, {"horn", {"horn"}}, {"cello", {"cello"}}}};
    options.unsure = {"far"};
    const auto c = against(measured("two", record({}, 3), workers), workers, options);
    CHECK(c.tracks[far].standingUnsure);
    CHECK_FALSE(c.tracks[near].standingUnsure);
    CHECK(comparisonToJson(c)["tracks"][far]["inTakes"][0]["spillShareUnsure"] == true);
}

TEST_CASE("a remark on hearing the sources says of which takes it is") {
    Workers workers(2);
    Small brief;
    brief.seconds = 4.0; // too short for its sources
    const auto one = measured("one", record(brief, 1), workers), two = measured("two", record(brief, 2), workers);
    const auto c = compareTakes({one, two}, {}, workers, {});
    REQUIRE(c.ok());
    REQUIRE_FALSE(c->warnings.empty());
    for (const auto& line : c->warnings)
        CHECK((line.starts_with("A: ") || line.starts_with("B: ") || line.starts_with("A and B: ")));
    for (std::size_t k = 1; k < c->warnings.size(); ++k)
        CHECK(c->warnings[k] != c->warnings[k - 1]);
}

TEST_CASE("a figure that does not stand says from what size on it would") {
    Workers workers(2);
    Small small;
    small.gain[near] = -1.0f;
    const auto c = against(measured("two", record(small, 6), workers), workers);
    int judged = 0;
    for (const auto& pair : c.differences.front().pairs)
        for (const auto* figure : {&pair.coherence, &pair.summationGain, &pair.notch})
            if (*figure && (*figure)->standsFrom) {
                ++judged;
                CHECK((*figure)->stands == (std::abs((*figure)->value) > *(*figure)->standsFrom));
                CHECK(*(*figure)->standsFrom > *(*figure)->uncertainty);
            }
    CHECK(judged == 30);
}

TEST_CASE("hum in one take is told with its frequency, and that it is gone the other way round") {
    Workers workers(2);
    auto samples = record({}, 4);
    for (std::size_t n = 0; n < samples[cello].size(); ++n)
        for (int line = 1; line <= 6; ++line)
            samples[cello][n] += static_cast<float>(
                0.01 * std::sin(2.0 * std::numbers::pi * 50.0 * line * static_cast<double>(n) / 48000.0 + line));
    const auto hums = measured("two", std::move(samples), workers);
    const auto c = against(hums, workers);
    CHECK(told(c) == "cello hum");
    CHECK(c.differences.front().changes.front().hertz == Approx(50.0).margin(0.1));
    auto back = compareTakes({hums, firstTake()}, {}, workers, {});
    REQUIRE(back.ok());
    CHECK(told(*back) == "cello hum gone");
}

TEST_CASE("a hum of one line alone is told, and its level") {
    Workers workers(2);
    auto samples = record({}, 4);
    for (std::size_t n = 0; n < samples[cello].size(); ++n)
        samples[cello][n] +=
            static_cast<float>(0.05 * std::sin(2.0 * std::numbers::pi * 59.97 * static_cast<double>(n) / 48000.0));
    const auto c = against(measured("two", std::move(samples), workers), workers);
    CHECK(told(c) == "cello hum");
    const auto& change = c.differences.front().changes.front();
    CHECK(change.hertz == Approx(59.97).margin(0.3));
    CHECK(change.amount == Approx(-29.0).margin(1.0));
}

TEST_CASE("another rate is compared in seconds and hertz, and said") {
    Workers workers(2);
    Small small;
    small.rate = 44100.0;
    for (auto& of : small.late)
        for (int& late : of)
            late = static_cast<int>(std::lround(late * 44.1 / 48.0)); // to half a sample of 11 microseconds
    small.gain[horn] = -1.0f;
    const auto c = against(measured("two", record(small, 5), workers, 44100.0), workers);
    CHECK(std::any_of(c.warnings.begin(), c.warnings.end(),
                      [](const std::string& line) { return line.find("44100 Hz against 48000 Hz") != line.npos; }));
    CHECK(told(c).find("horn inverted") != std::string::npos);
}

TEST_CASE("tracks are matched by hand before name, and by order where they are as many") {
    const auto takeOf = [](std::string folder, std::vector<std::string> names) {
        Measurement m;
        m.folder = std::move(folder);
        m.tracks = infos(names);
        return m;
    };
    const std::vector<Measurement> takes{takeOf("one", {"kick", "snare", "room"}),
                                         takeOf("two", {"Snare", "kick", "hall"})};
    const auto matched = matchTracks(takes, {});
    REQUIRE(matched.ok());
    CHECK((*matched)[0].tracks == std::vector<int>{0, 1});
    CHECK((*matched)[1].tracks == std::vector<int>{1, 0}); // case aside
    CHECK((*matched)[2].tracks == std::vector<int>{2, 2});
    CHECK((*matched)[2].by == MatchedBy::order);

    const std::vector<std::pair<std::string, std::string>> hand{{"kick", "hall"}};
    const auto byHand = matchTracks(takes, hand);
    REQUIRE(byHand.ok());
    CHECK((*byHand)[0].tracks == std::vector<int>{0, 2});
    CHECK((*byHand)[0].by == MatchedBy::hand);

    const std::vector<std::pair<std::string, std::string>> unknown{{"kick", "hal"}};
    const auto fault = matchTracks(takes, unknown);
    REQUIRE(!fault.ok());
    CHECK(fault.fault().line().find("'hall'") != std::string::npos);

    const std::vector<std::pair<std::string, std::string>> twice{{"kick", "hall"}, {"kick", "Snare"}};
    const auto both = matchTracks(takes, twice);
    REQUIRE(!both.ok());
    CHECK(both.fault().line() == "kick: is matched by hand twice; match it with one track of each take");
    const std::vector<std::pair<std::string, std::string>> shared{{"kick", "hall"}, {"snare", "hall"}};
    const auto taken = matchTracks(takes, shared);
    REQUIRE(!taken.ok());
    CHECK(taken.fault().what == "no track of another take bears this name, or it is matched already");

    const std::vector<Measurement> apart{takeOf("one", {"kick", "snare"}), takeOf("two", {"flute"})};
    const auto nothing = matchTracks(apart, {});
    REQUIRE(!nothing.ok());
    CHECK(nothing.fault().line() ==
          "two: has no track in common with one; choose another take, or say which track is which (--match)");

    // One that is said to be none of them is none, whatever it is called.
    const std::vector<std::pair<std::string, std::string>> none{{"kick", ""}};
    const auto without = matchTracks(takes, none);
    REQUIRE(without.ok());
    CHECK((*without)[0].tracks == std::vector<int>{0, -1});
    CHECK((*without)[1].tracks == std::vector<int>{1, 0});

    // What only later takes have comes last, and is one track where they name it alike.
    const std::vector<Measurement> three{takeOf("one", {"kick", "snare"}), takeOf("two", {"kick", "snare", "bass"}),
                                         takeOf("three", {"bass", "kick", "snare", "oboe"})};
    const auto all = matchTracks(three, {});
    REQUIRE(all.ok());
    REQUIRE(all->size() == 4);
    CHECK((*all)[2].tracks == std::vector<int>{-1, 2, 0});
    CHECK((*all)[3].tracks == std::vector<int>{-1, -1, 3});
}

TEST_CASE("tracks keep their names whatever a take adds to them") {
    const auto partners = [](const std::vector<std::string>& one, const std::vector<std::string>& two) {
        std::vector<Measurement> takes(2);
        takes[0].folder = "one";
        takes[0].tracks = infos(one);
        takes[1].folder = "two";
        takes[1].tracks = infos(two);
        const auto matched = matchTracks(takes, {});
        if (!matched) FAIL(matched.fault().line());
        std::vector<std::string> found;
        for (const auto& track : *matched)
            if (track.tracks.front() >= 0)
                found.push_back(track.tracks[1] < 0            ? "-"
                                : track.by == MatchedBy::order ? "order"
                                                               : two[static_cast<std::size_t>(track.tracks[1])]);
        return found;
    };
    using Names = std::vector<std::string>;
    const Names band{"kick in", "kick out", "snare"};
    for (const Names& two :
         {Names{"kick in-2", "kick out-2", "snare-2"}, Names{"T2 kick in", "T2 kick out", "T2 snare"},
          Names{"KICK IN take 2", "KICK OUT take 2", "SNARE take 2"}, Names{"kick in (2)", "kick out (2)", "snare (2)"},
          Names{"KICKIN", "KickOut", "Snare"}, Names{"kick_in_02", "kick_out_02", "snare_02"},
          Names{"tk2 kick in", "tk2-kick-out", "tk2_snare"},
          Names{"Take 2 - Kick In", "Take 2 - Kick Out", "Take 2 - Snare"},
          Names{"kick in", "kick out take 2", "snare"}, Names{"04 kick in", "05 kick out", "06 snare"}}) {
        CAPTURE(two);
        CHECK(partners(band, two) == two);
        CHECK(partners(two, band) == band);
        CHECK(partners(band, {two[2], two[0], two[1]}) == two); // whatever the order
        CHECK(partners(band, {two[2], two[0]}) == Names{two[0], "-", two[2]});
        CHECK(partners(band, {two[1], two[2]}) == Names{"-", two[1], two[2]});
    }

    // A number that tells tracks apart is no marker.
    CHECK(partners({"kick 1", "kick 2"}, {"kick 2", "kick 1"}) == Names{"kick 1", "kick 2"});
    CHECK(partners({"kick 1", "kick 2"}, {"kick 2 T2", "kick 1 T2"}) == Names{"kick 1 T2", "kick 2 T2"});
    CHECK(partners({"tom 1", "tom 2", "tom 3"}, {"Tom-02", "Tom-03"}) == Names{"-", "Tom-02", "Tom-03"});
    CHECK(partners({"kick", "kick 2", "snare"}, {"kick 2 2", "kick 2", "snare 2"}) ==
          Names{"kick 2", "kick 2 2", "snare 2"});
    CHECK(partners({"kick", "kick 2", "tom", "tom 2"}, {"kick 2", "tom 2"}) == Names{"-", "kick 2", "-", "tom 2"});
    CHECK(partners({"01 tom 1", "02 tom 2"}, {"02 tom 1", "03 tom 2"}) == Names{"02 tom 1", "03 tom 2"});
    CHECK(partners({"T1", "T2"}, {"t2", "t1"}) == Names{"t1", "t2"}); // a name of nothing else is a name

    // The sides of a stereo file stand behind what its name bears.
    const Names sides{"OH take 2 L", "OH take 2 R", "Vox (2)"};
    CHECK(partners({"oh L", "oh R", "vox"}, {sides[2], sides[1], sides[0]}) == sides);
    CHECK(partners({"oh (2) L", "oh (2) R", "vox"}, {"vox", "OHR", "OHL"}) == Names{"OHL", "OHR", "vox"});

    // What fits two tracks fits none.
    CHECK(partners({"kick", "snare"}, {"kick 1", "kick 2", "snare"}) == Names{"-", "snare"});
    CHECK(partners({"kick 1", "snare", "kick 3"}, {"kick 4", "kick 5", "snare"}) == Names{"order", "snare", "order"});
    CHECK(partners({"tom 1 2", "snare"}, {"tom 12", "snare"}) == Names{"order", "snare"});
    CHECK(partners({"+", "-"}, {"-", "+"}) == Names{"+", "-"});
}

TEST_CASE("each of three takes is held against the first") {
    Workers workers(2);
    Small third;
    third.gain[near] = -1.0f;
    auto c = compareTakes(
        {firstTake(), measured("two", record({}, 6), workers), measured("three", record(third, 7), workers)}, {},
        workers, {});
    REQUIRE(c.ok());
    REQUIRE(c->differences.size() == 2);
    CHECK(c->differences[0].changes.empty());
    REQUIRE(c->differences[1].changes.size() == 1);
    CHECK(c->differences[1].changes.front().kind == Kind::inverted);
    CHECK(c->takes[2].name == "C");
}

TEST_CASE("microphones for one job are compared as if each in turn were in the mix") {
    Workers workers(2);
    Small small;
    small.gain[near] = -0.5f;
    const auto whole = measured("one", record(small, 8), workers);
    const std::vector<std::string> job{"far", "near"};
    const auto c = compareMicrophones(whole, job, {}, workers, {});
    REQUIRE(c.ok());
    CHECK(c->microphones);
    CHECK(c->tracks.size() == trackCount - 1);
    for (const auto& take : c->takes)
        CHECK(take.recording.usable.size() == trackCount - 1);
    // The pair of the drum with each, as the recording as a whole has it.
    for (std::size_t k = 0; k < 2; ++k)
        for (const auto& pair : whole.pairs)
            if (pair.first == drum && pair.second == (k == 0 ? far : near))
                CHECK(c->takes[k].pairs[2]->coherence.value == pair.coherence); // (0,1) (0,2) (0,3)
    const auto& d = c->differences.front();
    CHECK(d.changes.empty()); // nothing was changed: they are different
    CHECK(d.tracks[far].inverted);
    REQUIRE(d.verdict.size() >= 2);
    CHECK(d.verdict[1].text.starts_with("the other way up"));

    for (const auto& [names, what] : {std::pair(std::vector<std::string>{"far"}, "names one track"),
                                      std::pair(std::vector<std::string>{"far", "far"}, "is named twice"),
                                      std::pair(std::vector<std::string>{"far", "fare"}, "no track bears this name")}) {
        const auto bad = compareMicrophones(whole, names, {}, workers, {});
        REQUIRE(!bad.ok());
        CHECK(bad.fault().line().find(what) != std::string::npos);
    }
}

TEST_CASE("one source's pairs are compared alone, and loops of takes too") {
    Workers workers(2);
    const auto second = measured("two", record({}, 9), workers);
    CompareOptions options;
    options.source = "horn";
    const auto c = against(second, workers, options);
    CHECK(c.source == "horn");
    CHECK(c.takes.front().pairs[0]->coherence.value !=
          against(second, workers).takes.front().pairs[0]->coherence.value);
    CHECK(!c.takes.front().pairs[0]->coherence.uncertainty);
    const auto& verdict = c.differences.front().verdict;
    CHECK(said(verdict, "of horn alone no uncertainties are known"));
    CHECK_FALSE(said(verdict, "no difference in how full")); // nobody knows
    options.source = "oboe";
    const auto nobody = compareTakes({firstTake(), second}, options, workers, {});
    REQUIRE(!nobody.ok());
    CHECK(nobody.fault().line().find("oboe: no source and no close track bears this name; near ones: ") == 0);

    const auto loop = readStretches(firstTake(), Seconds(3.0), Seconds(9.0), workers, {});
    const auto other = readStretches(second, Seconds(1.0), Seconds(8.0), workers, {});
    REQUIRE((loop.ok() && other.ok()));
    const auto loops = compareTakes({*loop, *other}, {}, workers, {});
    REQUIRE(loops.ok());
    CHECK(loops->differences.front().pairs.size() == loops->pairCount());
}

TEST_CASE("takes that cannot be compared are refused with what to do") {
    Workers workers(2);
    const auto& first = firstTake();
    const auto one = compareTakes({first}, {}, workers, {});
    REQUIRE(!one.ok());
    CHECK(one.fault().line() == "compare: needs two takes or more, up to 26; name their folders");
    const auto many = compareTakes(std::vector(27, first), {}, workers, {}); // letters name them
    REQUIRE(!many.ok());
    CHECK(many.fault().line() == one.fault().line());
    Small brief;
    for (const double seconds : {0.01, 2000.0 / 48000.0, 0.98 * shortestTake.value}) {
        brief.seconds = seconds;
        const auto tiny = compareTakes({first, measured("tiny", record(brief, 2), workers)}, {}, workers, {});
        REQUIRE(!tiny.ok());
        CHECK(tiny.fault().line().find("s are too short to compare, which takes 2 s at least; choose a longer take") !=
              std::string::npos);
    }
    brief.seconds = 1.02 * shortestTake.value;
    CHECK(compareTakes({first, measured("short", record(brief, 2), workers)}, {}, workers, {}).ok());

    // All that is matched is silent there.
    std::vector<std::vector<float>> alone{std::vector<float>(96000), noise(96000, 3)};
    const auto none =
        compareTakes({first, measured("other", std::move(alone), workers, 48000.0, {"drum", "oboe"})}, {}, workers, {});
    REQUIRE(!none.ok());
    CHECK(none.fault().line().find("no track sounds both here and in one") != std::string::npos);

    std::stop_source stop;
    stop.request_stop();
    const auto stopped = compareTakes({first, first}, {}, workers, {{}, stop.get_token()});
    REQUIRE(!stopped.ok());
    CHECK(stopped.fault().kind == Fault::Kind::cancelled);
}

TEST_CASE("a comparison is the same bytes of JSON for any number of workers, with units in its names") {
    Workers one(1), two(2);
    Small small;
    small.gain[far] = -0.7f;
    const auto second = measured("two", record(small, 3), two);
    const auto json = comparisonToJson(against(second, two));
    CHECK(json.dump() == comparisonToJson(against(second, one)).dump());
    CHECK(json["format"] == "spillwright/comparison");
    CHECK(json["version"] == 1);
    CHECK(json["tracks"].size() == trackCount);
    CHECK(json["pairs"].size() == 10);
    CHECK(json["pairs"][0]["inTakes"].size() == 2);
    CHECK(json["pairs"][0]["inTakes"][0]["summationGain_dB"].is_number());
    CHECK(json["differences"][0]["changes"][0]["track"] == "far");
    CHECK(json["differences"][0]["changes"][0]["change"] == "inverted");
    CHECK(json["differences"][0]["changes"][1]["gain_dB"].get<double>() == Approx(-3.1).margin(0.5));
    CHECK(json["differences"][0]["pairs"][0]["coherenceDiffers"] == false);
    CHECK(json["takes"][0]["summationGainBest_dB"].get<double>() >= json["takes"][0]["summationGain_dB"].get<double>());
}

TEST_CASE("in rooms, what is called a change is what was changed", "[long]") {
    Workers workers(2);
    const std::uint64_t seed = 31;
    const TakenBand band(seed);
    TakenBand::Playing playing;
    playing.seed = 1;
    const auto first = measuredTake("one", band, band.record(playing, workers), workers);
    REQUIRE(first.ok());
    auto changed = band;
    changed.move(TakenBand::overheadL, 0.2, seed);
    changed.at(TakenBand::tom).faults.inverted = true;
    auto& gain = changed.at(TakenBand::overheadR).gain;
    gain = gain - Decibels(3.0);
    playing.seed = 2;
    playing.beatsPerMinute = 121.0;
    const auto second = measuredTake("two", changed, changed.record(playing, workers), workers);
    playing.seed = 3;
    const auto same = measuredTake("three", band, band.record(playing, workers), workers);
    REQUIRE((second.ok() && same.ok()));
    const auto c = compareTakes({*first, *second}, {}, workers, {});
    REQUIRE(c.ok());
    CHECK(told(*c) == "tom inverted, overhead L moved, overhead R gain");
    const auto none = compareTakes({*first, *same}, {}, workers, {});
    REQUIRE(none.ok());
    CHECK(told(*none) == "");
}
