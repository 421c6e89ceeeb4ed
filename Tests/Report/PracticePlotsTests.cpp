#include "Report/PracticePlots.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>

using namespace spillwright;

namespace {

/// Without walls: 1 m and 1.5 m away, which sound at 343.2 m/s (ISO 9613-1) needs 2.914 and 4.371 ms for.
PracticeRoom duo() {
    PracticeRoom room;
    room.size = {12.0, 8.0, 4.0};
    room.source = {2.0, 4.0, 1.5};
    room.microphones = {{"near", {3.0, 4.0, 1.5}, {}, {}}, {"far", {3.5, 4.0, 1.5}, {}, {}}};
    return room;
}

} // namespace

TEST_CASE("the practice room's comb is marked at its notches, from the lowest on") {
    const auto room = duo();
    PracticeAcoustics acoustics(48000.0);
    const auto plot = plotPracticeComb(room, readingOf(room, acoustics.follow(room, Detail::resting)), 1.0f);
    REQUIRE(plot.marks.size() == mostPracticeNotches);
    for (std::size_t k = 0; k < plot.marks.size(); ++k) // (2k + 1) c / 2d
        CHECK(plot.marks[k].x == Approx(343.2 * static_cast<double>(2 * k + 1)).margin(0.2));
    CHECK(plot.marks.front().words.front() == "343 Hz");
    CHECK(plot.lines.size() == 3); // the sum, and each of the two alone
    // 1 and 1/1.5 together: 20 log10 (1 + 1/1.5), below the top of the plot.
    const auto& sum = plot.lines.back().y;
    CHECK(*std::max_element(sum.begin(), sum.end()) == Approx(20.0 * std::log10(1.0 + 1.0 / 1.5)).margin(0.1));
    CHECK(plot.y.high >= 6.0);
}

TEST_CASE("where every microphone is muted the practice plots hold no curve") {
    auto room = duo();
    for (auto& microphone : room.microphones)
        microphone.adjustment.muted = true;
    PracticeAcoustics acoustics(48000.0);
    const auto& responses = acoustics.follow(room, Detail::resting);
    const auto reading = readingOf(room, responses);
    CHECK(plotPracticeComb(room, reading, 1.0f).lines.empty());
    const auto impulse = plotPracticeImpulse(room, reading, responses, 1.0f);
    CHECK(impulse.lines.empty());
    CHECK(impulse.marks.empty());
}

TEST_CASE("the practice room's impulse response peaks where the direct sounds are marked, upside down where flipped") {
    auto room = duo();
    room.microphones[1].adjustment.flip = true;
    PracticeAcoustics acoustics(48000.0);
    const auto& responses = acoustics.follow(room, Detail::resting);
    const auto plot = plotPracticeImpulse(room, readingOf(room, responses), responses, 1.0f);
    REQUIRE(plot.lines.size() == 1);
    REQUIRE(plot.marks.size() == 2);
    const auto& line = plot.lines.front();
    const auto highest = std::max_element(line.y.begin(), line.y.end()) - line.y.begin();
    const auto lowest = std::min_element(line.y.begin(), line.y.end()) - line.y.begin();
    const double sampleMs = 1000.0 / 48000.0;
    CHECK(plot.marks[0].x == Approx(1000.0 / 343.2).margin(1e-6));
    CHECK(plot.marks[1].x == Approx(1500.0 / 343.2).margin(1e-6));
    CHECK(line.x[static_cast<std::size_t>(highest)] == Approx(plot.marks[0].x).margin(sampleMs));
    CHECK(line.x[static_cast<std::size_t>(lowest)] == Approx(plot.marks[1].x).margin(sampleMs));
    CHECK(plot.marks[1].y < 0.0);
    CHECK(plot.x.high > plot.marks[1].x);
}

TEST_CASE("where two cancel each other altogether the practice plots say so in the place of curves") {
    auto room = duo();
    room.microphones[1] = {"flipped", {2.0, 5.0, 1.5}, {}, {}}; // as far away as the first
    room.microphones[1].adjustment.flip = true;
    PracticeAcoustics acoustics(48000.0);
    const auto& responses = acoustics.follow(room, Detail::resting);
    const auto reading = readingOf(room, responses);
    for (const auto& plot :
         {plotPracticeComb(room, reading, 1.0f), plotPracticeImpulse(room, reading, responses, 1.0f)}) {
        CHECK(plot.lines.empty());
        CHECK(plot.instead.find("nothing is left") == 0);
    }
}

TEST_CASE("in stereo the practice plots have left and right, not their sum") {
    auto room = duo();
    room.microphones[0].adjustment.pan = -1.0;
    room.microphones[1].adjustment.pan = 1.0;
    PracticeAcoustics acoustics(48000.0);
    const auto& responses = acoustics.follow(room, Detail::resting);
    const auto reading = readingOf(room, responses);
    const auto comb = plotPracticeComb(room, reading, 1.0f);
    REQUIRE(comb.lines.size() == 2);
    CHECK(comb.lines[0].name == "left");
    CHECK(comb.lines[1].name == "right");
    CHECK(comb.marks.empty());
    CHECK(comb.caption.find("left and right") != std::string::npos);
    // Each alone on its side: 1 and 1/1.5 m away, the same at all frequencies.
    for (const auto& [line, level] : {std::pair(0, 0.0), std::pair(1, -20.0 * std::log10(1.5))})
        for (const double dB : comb.lines[static_cast<std::size_t>(line)].y)
            CHECK(dB == Approx(level).margin(0.3)); // the fractional delay's roll-off at 20 kHz
    const auto impulse = plotPracticeImpulse(room, reading, responses, 1.0f);
    REQUIRE(impulse.lines.size() == 2);
    const auto peakOf = [](const Plot::Line& line) {
        return line.x[static_cast<std::size_t>(std::max_element(line.y.begin(), line.y.end()) - line.y.begin())];
    };
    CHECK(peakOf(impulse.lines[0]) == Approx(1000.0 / 343.2).margin(1000.0 / 48000.0));
    CHECK(peakOf(impulse.lines[1]) == Approx(1500.0 / 343.2).margin(1000.0 / 48000.0));
}
