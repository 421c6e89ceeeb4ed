#include "Demo/Score.h"

#include <catch2/catch.hpp>

#include <cmath>

using namespace spillwright;

namespace {

Phrase notes(const std::string& text, int beatsPerBar = 4) {
    auto read = readNotes(text, beatsPerBar);
    REQUIRE(read);
    return *read;
}

std::string faultOf(const Result<Phrase>& read) {
    REQUIRE_FALSE(read);
    return read.fault().what + "; " + read.fault().mend;
}

const Feel strict{};
const Tempo march{120.0, 4, Seconds(0.0)}; // half a second a beat

} // namespace

TEST_CASE("pitches are keys, c4 the middle one") {
    const auto phrase = notes("c4 f#4 bb3 a-1*.5 g9");
    REQUIRE(phrase.notes.size() == 5);
    const int keys[] = {60, 66, 58, 9, 127};
    for (std::size_t n = 0; n < 5; ++n)
        CHECK(phrase.notes[n].key == keys[n]);
}

TEST_CASE("a length holds until another is given, rests and holds take their time") {
    const auto phrase = notes("d5*.5 e5 -*1 f5 _*.5 g5*.5 | c4+e4+g4*4");
    REQUIRE(phrase.notes.size() == 7);
    const double starts[] = {0.0, 0.5, 2.0, 3.5, 4.0, 4.0, 4.0};
    const double lengths[] = {0.5, 0.5, 1.5, 0.5, 4.0, 4.0, 4.0};
    for (std::size_t n = 0; n < 7; ++n) {
        CHECK(phrase.notes[n].start == Approx(starts[n]));
        CHECK(phrase.notes[n].length == Approx(lengths[n]));
    }
    CHECK(phrase.bars == 2);
}

TEST_CASE("dynamics, accents and short notes") {
    const auto phrase = notes("c4 p c4 c4! ff c4!'");
    CHECK(phrase.notes[0].velocity == 80);
    CHECK(phrase.notes[1].velocity == 52);
    CHECK(phrase.notes[2].velocity == 68);
    CHECK(phrase.notes[3].velocity == 127); // 112 + 16, held at the largest
    CHECK(phrase.notes[3].length == Approx(0.5));
}

TEST_CASE("thirds of a beat fill a bar") {
    CHECK(notes("c4*0.3333333333 c4 c4 c4*3").bars == 1);
}

TEST_CASE("a bar that is not full, and words that are no notes, are named") {
    CHECK(faultOf(readNotes("c4 d4 e4 f4 | c4 d4 e4*1.5 |", 4)) == "bar 2 has 3.5 beats; fill it to 4");
    CHECK(faultOf(readNotes("c4*5", 4)) == "bar 1 has 5 beats; fill it to 4");
    for (const char* word : {"h4", "c", "c44", "c4*", "c4*0", "c4*x", "+c4", "c4++d4", "4", "C4"}) {
        CAPTURE(word);
        CHECK(faultOf(readNotes(word, 4)).find("'" + std::string(word) + "' in bar 1 is no note") == 0);
    }
}

TEST_CASE("the steps of a stroke pattern share out their bar") {
    const std::map<char, Stroke> strokes{{'x', {36, 100}}, {'o', {38, 60}}};
    const auto read = readStrokes("x... o..x | x.o", strokes, 4);
    REQUIRE(read);
    CHECK(read->bars == 2);
    REQUIRE(read->notes.size() == 5);
    const double starts[] = {0.0, 2.0, 3.5, 4.0, 4.0 + 8.0 / 3.0};
    const int keys[] = {36, 38, 36, 36, 38};
    for (std::size_t n = 0; n < 5; ++n) {
        CHECK(read->notes[n].start == Approx(starts[n]));
        CHECK(read->notes[n].key == keys[n]);
    }
    CHECK(faultOf(readStrokes("x.z.", strokes, 4)) == "'z' in bar 1 stands for no stroke; name it under strokes");
    CHECK(faultOf(readStrokes("x...||x...", strokes, 4)) == "bar 2 has no steps; write '.' for a silent one");
    CHECK(faultOf(readStrokes("", strokes, 4)) == "bar 1 has no steps; write '.' for a silent one");
}

TEST_CASE("phrases follow each other in order, repeats and rests counted in bars") {
    const std::map<std::string, Phrase> phrases{{"a", notes("c4*4")}, {"b", notes("d4*4 | e4")}};
    const auto played = arrange(phrases, "rest a*2 b rest*3 a", march, strict);
    REQUIRE(played);
    REQUIRE(played->size() == 5);
    const double bars[] = {1, 2, 3, 4, 8};
    const int keys[] = {60, 60, 62, 64, 60};
    for (std::size_t n = 0; n < 5; ++n) {
        CHECK((*played)[n].start.value == Approx(bars[n] * 2.0));
        CHECK((*played)[n].length.value == Approx(n == 3 ? 2.0 : 2.0));
        CHECK((*played)[n].key == keys[n]);
    }
    const auto later = arrange(phrases, "a", {60.0, 4, Seconds(1.3)}, strict);
    REQUIRE(later);
    CHECK((*later)[0].start.value == Approx(1.3));
    CHECK((*later)[0].length.value == Approx(4.0));
}

TEST_CASE("an order that cannot be followed is named") {
    const std::map<std::string, Phrase> phrases{{"a", notes("c4*4")}};
    for (const auto& [order, what] :
         std::map<std::string, std::string>{{"a b", "its order names a phrase 'b' that is not written"},
                                            {"a*0", "'a*0' in its order repeats nothing"},
                                            {"a*x", "'a*x' in its order repeats nothing"}}) {
        const auto played = arrange(phrases, order, march, strict);
        REQUIRE_FALSE(played);
        CHECK(played.fault().what == what);
    }
}

TEST_CASE("an order that would never end is refused") {
    std::string rests, notes;
    for (int k = 0; k < 101; ++k) {
        rests += "rest*1000 ";
        notes += "a*1000 ";
    }
    for (const auto& order : {rests, notes}) {
        const auto played = arrange({{"a", *readNotes("c4 d4 e4 f4", 4)}}, order, {120.0, 4, Seconds(0.0)}, Feel());
        REQUIRE_FALSE(played);
        CHECK(played.fault().what == "its order goes on for more than 100000 bars or 100000 notes");
    }
    CHECK_FALSE(readNotes("c2147483647", 1)); // no key has that octave
}

TEST_CASE("people play beside the beat: as far as their feel says, together in a chord, the same each time") {
    const std::map<std::string, Phrase> phrases{{"a", notes("c4+e4 c4+e4 c4+e4 c4+e4")}};
    const Feel feel{.seed = 5, .timing = milliseconds(8.0), .late = milliseconds(3.0), .velocity = 6.0};
    const auto played = arrange(phrases, "rest a*250", march, feel);
    REQUIRE(played);
    REQUIRE(played->size() == 2000);
    double sum = 0.0, squares = 0.0, loudness = 0.0;
    for (std::size_t n = 0; n < 2000; n += 2) {
        const double aside = (*played)[n].start.value - (2.0 + 0.5 * static_cast<double>(n / 2));
        sum += aside;
        squares += aside * aside;
        loudness += std::pow((*played)[n].velocity - 80, 2);
        if ((*played)[n].start != (*played)[n + 1].start) FAIL("a chord that falls apart");
    }
    const double mean = sum / 1000.0;
    // 1000 chords: the mean is known within 3 * 8 / sqrt(1000) ms, the deviation within 3 / sqrt(2000) = 7 %.
    CHECK(1e3 * mean == Approx(3.0).margin(0.76));
    CHECK(1e3 * std::sqrt(squares / 1000.0 - mean * mean) == Approx(8.0).epsilon(0.07));
    CHECK(std::sqrt(loudness / 1000.0) == Approx(6.0).epsilon(0.07));
    CHECK(*arrange(phrases, "rest a*250", march, feel) == *played);
    Feel other = feel;
    other.seed = 6;
    CHECK_FALSE(*arrange(phrases, "rest a*250", march, other) == *played);
}
