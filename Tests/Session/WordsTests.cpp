#include "Session/Words.h"

#include <catch2/catch.hpp>

using namespace spillwright;

TEST_CASE("a time is read as on a clock, what is left cut off") {
    CHECK(clockText(67.42, true) == "1:07.42");
    CHECK(clockText(39.999, false) == "0:39");
}

TEST_CASE("the words that all names begin with are whole words, in order") {
    using Names = std::vector<std::string>;
    CHECK(commonWords(Names{"kick in", "kick out"}) == "kick");
    CHECK(commonWords(Names{"snare", "snare top", "snare  bottom"}) == "snare");
    CHECK(commonWords(Names{"floor tom top", "floor tom under"}) == "floor tom");
    CHECK(commonWords(Names{"kick", "kicks"}).empty());
    CHECK(commonWords(Names{"ride", "hat"}).empty());
    CHECK(commonWords(Names{"room L"}) == "room L");
}

TEST_CASE("an adjustment in words names all that is set, and nothing else") {
    CHECK(adjustmentInWords({}) == "as recorded");
    TrackAdjustment all;
    all.flip = true;
    all.nudge = milliseconds(0.625);
    all.gain = Decibels(-3.0);
    all.highPass = Hertz(80.0);
    all.highPassSlope = Slope::dB24;
    all.pan = -0.25;
    all.muted = true;
    CHECK(adjustmentInWords(all) ==
          "muted, flipped, 0.625 ms later, -3 dB, high-pass 80 Hz at 24 dB an octave, pan 25 left");
    TrackAdjustment centre;
    centre.pan = 0.0;
    CHECK(adjustmentInWords(centre) == "in the centre");
    CHECK(settingInWords({}) == std::vector<std::string>{"every track as recorded"});
    CHECK(settingInWords({"n", {{"kick", {}}, {"snare", centre}}}) == std::vector<std::string>{"snare: in the centre"});
}

TEST_CASE("of a setting the usual place of a track is no change") {
    std::vector<TrackInfo> tracks(3);
    tracks[0].name = "pair L";
    tracks[0].linkedTo = 1;
    tracks[1].name = "pair R";
    tracks[1].linkedTo = 0;
    tracks[1].isRight = true;
    tracks[2].name = "mono";
    std::vector<TrackAdjustment> adjustments(3);
    adjustments[0].pan = -1.0;
    adjustments[1].pan = 0.5;
    adjustments[2].pan = 0.0;
    CHECK(adjustmentsInWords(tracks, adjustments) == std::vector<std::string>{"pair R: pan 50 right"});
    adjustments[1].pan.reset();
    CHECK(adjustmentsInWords(tracks, adjustments) == std::vector<std::string>{"every track as recorded"});
}
