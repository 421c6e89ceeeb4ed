#include "Report/RecallSheet.h"

#include <catch2/catch.hpp>

#include <set>

using namespace spillwright;

namespace {

/// RFC 4180 by its own grammar, a character at a time.
std::vector<std::vector<std::string>> parsed(const std::string& text) {
    std::vector<std::vector<std::string>> rows(1, std::vector<std::string>(1));
    bool quoted = false;
    for (std::size_t i = 0; i < text.size(); ++i) {
        const char c = text[i];
        if (quoted && c == '"' && i + 1 < text.size() && text[i + 1] == '"')
            rows.back().back() += text[++i];
        else if (c == '"')
            quoted = !quoted;
        else if (!quoted && c == ',')
            rows.back().emplace_back();
        else if (!quoted && c == '\r' && text[i + 1] == '\n')
            rows.emplace_back(1), ++i;
        else
            rows.back().back() += c;
    }
    REQUIRE(rows.back() == std::vector<std::string>{""}); // the last line is closed
    rows.pop_back();
    return rows;
}

std::vector<TrackInfo> tracksCalled(const std::vector<std::string>& names) {
    std::vector<TrackInfo> tracks(names.size());
    for (std::size_t i = 0; i < names.size(); ++i) {
        tracks[i].name = names[i];
        tracks[i].file = names[i] + ".wav";
    }
    return tracks;
}

} // namespace

TEST_CASE("a row says the nudge as time, samples and the way of sound") {
    auto tracks = tracksCalled({"kick in", "pair L", "pair R"});
    tracks[1].linkedTo = 2;
    tracks[2].linkedTo = 1;
    tracks[2].isRight = true;
    tracks[2].channel = 1;
    std::vector<TrackAdjustment> adjustments(3);
    adjustments[0].flip = true;
    adjustments[0].nudge = milliseconds(-1.25);
    adjustments[0].gain = Decibels(-3.5);
    adjustments[0].highPass = Hertz(80.0);
    adjustments[0].highPassSlope = Slope::dB18;
    adjustments[0].pan = 0.25;
    adjustments[2].muted = true;
    const auto rows = recallSheet(tracks, adjustments, 96000.0, Celsius(20.0));
    REQUIRE(rows.size() == 3);
    CHECK(rows[0].flip);
    CHECK(rows[0].nudgeMs == Approx(-1.25));
    CHECK(rows[0].nudgeSamples == Approx(-120.0));          // 1.25 ms at 96 kHz
    CHECK(rows[0].nudgeCm == Approx(-42.9).epsilon(1e-12)); // 1.25 ms at 343.2 m/s (ISO 9613-1, 20 degrees)
    const auto cells = parsed(recallCsv(rows, 96000.0, Celsius(20.0)));
    REQUIRE(cells.size() == 4);
    CHECK(cells[0][4] == "nudge (ms; + is later)");
    CHECK(cells[0][5] == "nudge (samples at 96000 Hz)");
    CHECK(cells[0][6] == "nudge (cm at 20 C)");
    CHECK(cells[1] == std::vector<std::string>{"kick in", "kick in.wav", "1", "yes", "-1.25", "-120", "-42.9", "-3.5",
                                               "80", "18", "25", "no", ""});
    CHECK(cells[2] ==
          std::vector<std::string>{"pair L", "pair L.wav", "1", "no", "0", "0", "0", "0", "", "", "-100", "no", ""});
    CHECK(cells[3] ==
          std::vector<std::string>{"pair R", "pair R.wav", "2", "no", "0", "0", "0", "0", "", "", "100", "yes", ""});
}

TEST_CASE("names with commas, quotes and line feeds are one cell of one line, and none is a formula") {
    const std::vector<std::string> names{
        "a, b", "say \"ah\"",         "two\nlines",  "=1+1",          "+49",    "-3 dB pad", "@home",  "\tpadded",
        "it's", "=cmd|' /C calc'!A0", "caf\xC3\xA9", "caf\xE9 Latin", "  =1+1", "\uFF1D1+1", "a;=1+1", "\u202Egnp.wav",
        "3"};
    const auto tracks = tracksCalled(names);
    const std::vector<TrackAdjustment> adjustments(names.size());
    const auto cells =
        parsed(recallCsv(recallSheet(tracks, adjustments, 48000.0, Celsius(20.0)), 48000.0, Celsius(20.0)));
    REQUIRE(cells.size() == names.size() + 1);
    for (std::size_t i = 0; i < names.size(); ++i) {
        const auto& cell = cells[i + 1][0];
        CAPTURE(names[i]);
        REQUIRE(cells[i + 1].size() == 13);
        CHECK(std::string("=+-@\t\r").find(cell.front()) == std::string::npos);
        CHECK(cell.find_first_of("\t\r\n") == std::string::npos);
        const std::set<std::size_t> changed{2, 3, 4, 5, 6, 7, 9, 11, 12, 13, 15};
        CHECK((cell == names[i]) != changed.contains(i));
    }
    CHECK(cells[3][0] == "two\uFFFDlines");
    CHECK(cells[13][0] == "'  =1+1");
    CHECK(cells[14][0] == "'\uFF1D1+1");
    CHECK(cells[16][0] == "\uFFFDgnp.wav");
    CHECK(cells[4][0] == "'=1+1");
    CHECK(cells[12][0] == "caf\xEF\xBF\xBD Latin");
}
