#include "Session/BlindTest.h"

#include "Session/TextFile.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <limits>
#include <sstream>

using namespace spillwright;

namespace {

BlindPlan planFor(BlindQuestion question, int trials, std::uint64_t seed = 20251128) {
    BlindPlan plan;
    plan.question = question;
    plan.trials = trials;
    plan.seed = seed;
    plan.recording = "net-loft";
    plan.heard = "0:12.00 to 0:20.50, over and over";
    plan.date = "2026-11-28 12:00";
    plan.a = {"as recorded", {}, -17.32, Decibels(0.0)};
    plan.b = {"flips", {}, -15.02, Decibels(-2.31)};
    TrackAdjustment kick, room;
    kick.flip = true;
    room.nudge = milliseconds(-1.25);
    room.highPass = Hertz(80.0);
    TrackAdjustment slopeAlone; // without a high-pass it is nothing
    slopeAlone.highPassSlope = Slope::dB24;
    plan.b.setting.tracks = {{"kick out", kick}, {"snare", slopeAlone}, {"room", room}};
    return plan;
}

BlindTest started(const BlindPlan& plan) {
    auto test = BlindTest::start(plan);
    if (!test) FAIL(test.fault().line());
    return std::move(test).value();
}

std::string refused(const BlindPlan& plan) {
    const auto test = BlindTest::start(plan);
    return test ? "started" : test.fault().line();
}

/// SplitMix64 once more, as its paper has it, to recompute the order by.
std::vector<char> orderBySeed(std::uint64_t seed, int trials) {
    std::vector<char> order;
    for (int n = 0; n < trials; ++n) {
        seed += 0x9e3779b97f4a7c15u;
        std::uint64_t z = seed;
        z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
        z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
        z ^= z >> 31;
        order.push_back((z >> 63) == 0 ? 'A' : 'B');
    }
    return order;
}

std::vector<std::string> linesOf(const std::string& text) {
    std::vector<std::string> lines;
    std::istringstream stream(text);
    for (std::string line; std::getline(stream, line);)
        lines.push_back(line);
    return lines;
}

bool has(const std::string& text, const std::string& part) {
    return text.find(part) != std::string::npos;
}

BlindSound answerFor(Candidate version) {
    return version == Candidate::a ? BlindSound::a : BlindSound::b;
}

} // namespace

TEST_CASE("the louder of two versions is turned down to the other, and neither where one is not known") {
    auto plan = planFor(BlindQuestion::preference, 8);
    plan.a.gain = plan.b.gain = Decibels(1.0);
    plan.b.loudness.reset();
    matchLoudness(plan);
    CHECK(plan.a.gain == Decibels(1.0));
    CHECK(plan.b.gain == Decibels(1.0));
    plan.b.loudness = -15.02;
    matchLoudness(plan);
    CHECK(plan.a.gain.value == 0.0);
    CHECK(plan.b.gain.value == Approx(-2.3));
    CHECK(refused(plan) == "started");
    plan.a.loudness = -12.0;
    matchLoudness(plan);
    CHECK(plan.a.gain.value == Approx(-3.02));
    CHECK(plan.b.gain.value == 0.0);
}

TEST_CASE("a blind test starts only where both versions are known to be equally loud") {
    auto plan = planFor(BlindQuestion::preference, 16);
    CHECK(refused(plan) == "started"); // 0.01 LU apart
    plan.b.gain = Decibels(-2.2);
    CHECK(refused(plan) == "started"); // 0.1 LU, all that is allowed
    plan.b.gain = Decibels(-2.19);
    CHECK(refused(plan) == "blind test: 'flips' is 0.11 LU louder than 'as recorded', and the louder one wins whatever "
                           "it sounds like; match them within 0.1 LU");
    plan.b.gain = Decibels(-2.5);
    CHECK(refused(plan) == "blind test: 'as recorded' is 0.20 LU louder than 'flips', and the louder one wins whatever "
                           "it sounds like; match them within 0.1 LU");
    plan.a.loudness.reset();
    CHECK(refused(plan) == "blind test: how loud 'as recorded' is over what is heard is not known; wait until its "
                           "loudness is measured, or choose a loop in which it sounds");
    plan.a.loudness = -std::numeric_limits<double>::infinity();
    plan.b.loudness = -std::numeric_limits<double>::infinity();
    CHECK(has(refused(plan), "not known"));
    plan = planFor(BlindQuestion::preference, 16);
    plan.a.gain = Decibels(std::nan(""));
    CHECK(has(refused(plan), "not known"));
    for (const int trials : {0, -3, 1001})
        CHECK(refused(planFor(BlindQuestion::preference, trials)) ==
              "blind test: " + std::to_string(trials) + " trials cannot be done; choose 1 to 1000");
    CHECK(refused(planFor(BlindQuestion::preference, 1000)) == "started");
}

TEST_CASE("the hidden order is balanced and does not know the trial before") {
    // Counts of fair coins stay within 4.5 standard deviations, sqrt(n)/2 each.
    int x = 0, same = 0, total = 0;
    for (std::uint64_t seed = 0; seed < 400; ++seed) {
        const auto order = hiddenOrder(seed * 7919, 100);
        REQUIRE(order.size() == 100);
        for (std::size_t n = 0; n + 1 < order.size(); ++n, ++total) {
            x += order[n] == Candidate::a;
            same += order[n] == order[n + 1];
        }
    }
    const double spread = 4.5 * 0.5 * std::sqrt(total);
    CHECK(std::abs(x - 0.5 * total) < spread);
    CHECK(std::abs(same - 0.5 * total) < spread);
    // In the first trial as well, over seeds that follow one another.
    int first = 0;
    for (std::uint64_t seed = 0; seed < 4000; ++seed)
        first += hiddenOrder(seed, 1)[0] == Candidate::a;
    CHECK(std::abs(first - 2000.0) < 4.5 * 0.5 * std::sqrt(4000.0));
    CHECK(hiddenOrder(1, 20) != hiddenOrder(2, 20));
}

TEST_CASE("in a test of identification A and B are themselves and X is one of them") {
    auto test = started(planFor(BlindQuestion::identification, 40));
    const auto order = orderBySeed(20251128, 40);
    CHECK(test.offers(BlindSound::x));
    CHECK_FALSE(test.offers(BlindSound::y));
    CHECK_FALSE(test.accepts(BlindSound::x));
    for (int trial = 0; trial < 40; ++trial) {
        CHECK(test.answered() == trial);
        CHECK(test.plays(BlindSound::a) == Candidate::a);
        CHECK(test.plays(BlindSound::b) == Candidate::b);
        CHECK((test.plays(BlindSound::x) == Candidate::a) == (order[static_cast<std::size_t>(trial)] == 'A'));
        test.answer(BlindSound::x, Seconds(1.0)); // no answer
        test.answer(trial < 30 ? answerFor(test.plays(BlindSound::x)) : BlindSound::a, Seconds(1.0));
    }
    REQUIRE(test.over());
    CHECK_FALSE(test.accepts(BlindSound::a));
    test.answer(BlindSound::a, Seconds(1.0));
    CHECK(test.answered() == 40);
    const auto result = test.result();
    REQUIRE(result);
    const auto rightByChance = std::count(order.begin() + 30, order.end(), 'A');
    CHECK(result->right == 30 + rightByChance);
    CHECK(result->sides == TestSides::one);
    CHECK(result->probability == binomialTail(40, result->right, 0.5));
    CHECK(result->neededAt5 == 26);
    CHECK(result->neededAt1 == 28);
    CHECK_FALSE(result->endedEarly());
}

TEST_CASE("in a test of preference X and Y are the two versions, and the answer counts for what it stands for") {
    auto test = started(planFor(BlindQuestion::preference, 16));
    CHECK_FALSE(test.offers(BlindSound::a));
    CHECK_FALSE(test.accepts(BlindSound::b));
    bool swapped[2] = {};
    for (int trial = 0; trial < 16; ++trial) {
        CHECK(test.plays(BlindSound::x) != test.plays(BlindSound::y));
        swapped[test.plays(BlindSound::x) == Candidate::a ? 0 : 1] = true;
        const auto wanted = trial < 12 ? Candidate::b : Candidate::a;
        test.answer(test.plays(BlindSound::x) == wanted ? BlindSound::x : BlindSound::y, Seconds(2.0));
    }
    CHECK(swapped[0]);
    CHECK(swapped[1]);
    const auto result = test.result();
    REQUIRE(result);
    CHECK(result->a == 4);
    CHECK(result->b == 12);
    CHECK(result->sides == TestSides::two);
    CHECK(result->probability == Approx(0.076812744140625)); // scipy.stats.binomtest(12, 16).pvalue
    CHECK(result->neededAt5 == 13);
    CHECK(result->neededAt1 == 14);
    CHECK(result->missed[1] == Approx(1.0 - 0.245889).margin(1e-6));
    const auto words = blindResultInWords(*result, "as recorded", "flips");
    CHECK(words[0] == "A ('as recorded') was preferred 4 times, B ('flips') 12 times.");
    CHECK(has(words[1], "with a probability of 7.68 % (p = 0.07681; exact binomial, two-sided)"));
    CHECK(words[2] == "To get below 5 %, one and the same had to be preferred in 13 of 16; below 1 %, 14 of 16.");
    CHECK(has(words[3], "Not below 5 %: a preference is not shown. That is no proof"));
    CHECK(words[4] == "Even what is there is missed at times: of listeners who in truth prefer one in 6 of 10 trials, "
                      "93 % would not have got below 5 % in 16; in 7 of 10, 75 %; in 8 of 10, 40 %; in 9 of 10, "
                      "6.84 %.");
}

TEST_CASE("a blind test tells nothing before it is over") {
    auto test = started(planFor(BlindQuestion::identification, 3));
    const std::string still = "blind test: it is still going on, and what is behind X stays hidden until it is over; "
                              "answer the trials that are left, or end it early";
    const test::TemporaryFolder folder;
    for (int trial = 0; trial < 3; ++trial) {
        REQUIRE_FALSE(test.result());
        CHECK(test.result().fault().line() == still);
        CHECK_FALSE(test.protocol());
        CHECK_FALSE(test.answers());
        CHECK_FALSE(test.save(folder / "protocol.txt"));
        CHECK_FALSE(std::filesystem::exists(folder / "protocol.txt"));
        test.answer(BlindSound::a, Seconds(1.0));
    }
    CHECK(test.result());
    CHECK(test.protocol());
    CHECK(test.answers());
}

TEST_CASE("a blind test that is ended early says so, and reckons with what was answered") {
    auto test = started(planFor(BlindQuestion::identification, 16));
    for (int trial = 0; trial < 10; ++trial)
        test.answer(trial == 4 ? (test.plays(BlindSound::x) == Candidate::a ? BlindSound::b : BlindSound::a)
                               : answerFor(test.plays(BlindSound::x)),
                    Seconds(3.0));
    CHECK_FALSE(test.over());
    test.endEarly();
    CHECK(test.over());
    const auto result = test.result();
    REQUIRE(result);
    CHECK(result->endedEarly());
    CHECK(result->answered == 10);
    CHECK(result->right == 9);
    CHECK(result->probability == Approx(0.01074).margin(5e-6));
    const auto words = blindResultInWords(*result, "a", "b");
    CHECK(words[0] == "Ended early, after 10 of 16 trials; all that follows is about these 10.");
    CHECK(words[1] == "9 of 10 right.");
    CHECK(words[2] == "Whoever only guesses gets as many right or more with a probability of 1.07 % (p = 0.01074; "
                      "exact binomial, one-sided).");
    CHECK(words[3] == "To get below 5 %, right had to be 9 of 10; below 1 %, 10 of 10.");
    CHECK(has(words[4], "Below 5 %: the difference was heard"));
    CHECK(has(*test.protocol(), "Trials: 16 planned, 10 answered; ended early\n"));

    auto none = started(planFor(BlindQuestion::preference, 16));
    none.endEarly();
    REQUIRE(none.result());
    CHECK(blindResultInWords(*none.result(), "a", "b").back() == "No trial was answered, so there is no result.");
    CHECK(none.protocol());
    auto few = started(planFor(BlindQuestion::identification, 3));
    for (int trial = 0; trial < 3; ++trial)
        few.answer(answerFor(few.plays(BlindSound::x)), Seconds(1.0));
    CHECK(blindResultInWords(*few.result(), "a", "b").back() ==
          "3 trials are too few to get below 5 %, whatever is answered.");
}

TEST_CASE("from the protocol alone order and result are recomputed") {
    for (const auto question : {BlindQuestion::preference, BlindQuestion::identification}) {
        const std::uint64_t seed = 0xFEDCBA9876543210u;
        auto test = started(planFor(question, 25, seed));
        for (int trial = 0; trial < 25; ++trial) {
            const bool first = trial % 3 != 0;
            const bool preference = question == BlindQuestion::preference;
            test.answer(preference ? (first ? BlindSound::x : BlindSound::y) : (first ? BlindSound::a : BlindSound::b),
                        Seconds(1.0 + 0.5 * trial));
        }
        const test::TemporaryFolder folder;
        REQUIRE(test.save(folder / "protocol.txt"));
        const auto text = readTextFile(folder / "protocol.txt", "protocol");
        REQUIRE(text);
        CHECK(*text == *test.protocol());
        CHECK(has(*text, "Date: 2026-11-28 12:00\n"));
        CHECK(has(*text, "Recording: net-loft\n"));
        CHECK(has(*text, "Version A: as recorded\n    every track as recorded\n    loudness -17.32 LUFS, played with "
                         "+0.00 dB: -17.32 LUFS\n"));
        CHECK(has(*text, "Version B: flips\n    kick out: flipped\n    room: 1.25 ms earlier, high-pass 80 Hz at 12 dB "
                         "an octave\n    "
                         "loudness -15.02 LUFS, played with -2.31 dB: -17.33 LUFS\n"));
        CHECK(has(*text, "Difference in loudness as played: 0.01 LU"));

        const auto at = text->find("SplitMix64");
        REQUIRE(at != std::string::npos);
        const auto order = orderBySeed(std::stoull(text->substr(text->find("seed ", at) + 5)), 25);
        std::size_t trials = 0;
        int right = 0, a = 0;
        for (const auto& line : linesOf(*text)) {
            std::istringstream fields(line);
            std::size_t number = 0;
            std::string x, y, answer, chosen;
            if (!(fields >> number >> x) || number != trials + 1) continue;
            if (question == BlindQuestion::preference) {
                REQUIRE(fields >> y >> answer >> chosen);
                CHECK(y == (x == "A" ? "B" : "A"));
                CHECK(chosen == (answer == "X" ? x : y));
                a += chosen == "A";
            } else {
                REQUIRE(fields >> answer >> chosen);
                CHECK(chosen == (answer == x ? "yes" : "no"));
                right += answer == x;
            }
            CHECK(x[0] == order[trials]);
            ++trials;
        }
        CHECK(trials == 25);
        if (question == BlindQuestion::preference)
            CHECK(has(*text, "A ('as recorded') was preferred " + std::to_string(a) + " times"));
        else
            CHECK(has(*text, std::to_string(right) + " of 25 right.\n"));
    }
}

TEST_CASE("a protocol stays text and whole, whatever names hold") {
    auto plan = planFor(BlindQuestion::preference, 1);
    plan.recording = "two\nlines \xff";
    plan.a.name = "Übung";
    auto test = started(plan);
    test.answer(BlindSound::y, Seconds(1.0));
    const auto text = test.protocol();
    REQUIRE(text);
    CHECK(has(*text, "Recording: two lines \xef\xbf\xbd\n")); // U+FFFD
    CHECK(has(*text, "Version A: Übung\n"));
    const test::TemporaryFolder folder;
    const auto failed = test.save(folder / "absent" / "protocol.txt");
    REQUIRE_FALSE(failed);
    CHECK(has(failed.fault().line(), "cannot be written"));
}
