#include "Core/Scene/PracticeRoom.h"

#include "Core/Scene/Acoustics.h"

#include <catch2/catch.hpp>

#include <functional>
#include <limits>
#include <string>

using namespace spillwright;

namespace {

PracticeRoom duo() {
    PracticeRoom room;
    room.source = {1.0, 2.5, 1.2};
    room.microphones = {{"near", {2.0, 2.5, 1.2}, {}, {}}, {"far", {4.0, 2.5, 1.2}, {}, {}}};
    return room;
}

} // namespace

TEST_CASE("a practice room that cannot be says what and what to do, in one line") {
    REQUIRE_FALSE(faultOf(duo()));
    const double nan = std::numeric_limits<double>::quiet_NaN(), endless = std::numeric_limits<double>::infinity();
    const std::pair<std::function<void(PracticeRoom&)>, std::string> cases[] = {
        {[](auto& r) { r.microphones[1].position = r.source; }, "microphone 'far': stands on the source; "},
        {[](auto& r) {
             r.source = {-1, 1, 1};
         },
         "source: stands outside the walls; "},
        {[=](auto& r) { r.source.y = nan; }, "source: stands outside the walls; "},
        {[](auto& r) { r.microphones[0].position.z = 3.0; }, "microphone 'near': stands outside the walls; "},
        {[](auto& r) { r.microphones.clear(); }, "room: holds no microphone; "},
        {[](auto& r) { r.microphones.resize(9, r.microphones[0]); }, "room: holds more than 8 microphones; "},
        {[](auto& r) { r.microphones[1].name = "near"; }, "microphone 'near': bears the name of another one; "},
        {[](auto& r) { r.microphones[1].name.clear(); }, "microphone 2: has no name; "},
        {[](auto& r) { r.size.x = 0.0; }, "room: is no room of this size; "},
        {[=](auto& r) { r.size.y = nan; }, "room: is no room of this size; "},
        {[=](auto& r) { r.size.z = endless; }, "room: is no room of this size; "},
        {[](auto& r) { r.size.z = 51.0; }, "room: is no room of this size; "},
        {[](auto& r) { r.absorption[2] = 1.1; }, "room: has a wall that absorbs less than nothing or more than all; "},
        {[](auto& r) { r.temperature = Celsius(-300.0); }, "room: has a temperature that is out of range; "},
        {[](auto& r) { r.decay = Seconds(0.0); }, "room: has a decay that is out of range; "},
        {[](auto& r) { r.sourcePattern.omniShare = 2.0; }, "source: has a pattern that is none; "},
        {[](auto& r) {
             r.sourcePattern = {0.5, r.source};
         },
         "source: aims at its own place; "},
        {[=](auto& r) {
             r.sourcePattern = {0.5, {nan, 0, 0}};
         },
         "source: aims at its own place; "},
        {[](auto& r) { r.microphones[0].adjustment.nudge = Seconds(0.06); },
         "microphone 'near': has a delay that is out of range; "},
        {[=](auto& r) { r.microphones[0].adjustment.gain = Decibels(endless); },
         "microphone 'near': has a gain that is out of range; "},
        {[](auto& r) { r.microphones[0].adjustment.highPass = Hertz(0.0); },
         "microphone 'near': has a high-pass that is out of range; "},
        {[](auto& r) { r.microphones[0].adjustment.pan = 1.5; }, "microphone 'near': has a pan that is out of range; "},
    };
    for (const auto& [spoil, line] : cases) {
        PracticeRoom room = duo();
        spoil(room);
        const auto fault = faultOf(room);
        REQUIRE(fault);
        CHECK(fault->line().substr(0, line.size()) == line);
        CHECK(fault->line().size() > line.size());
        CHECK(fault->line().find('\n') == std::string::npos);
    }
}

TEST_CASE("whatever the room, its reflections stay within the budget and the direct sound before the fade") {
    // The count grows as the sphere that sound fills; its skin and the thinnest rooms take it some way beyond.
    for (const Point size : {Point{0.5, 0.5, 0.5}, Point{0.5, 0.5, 50.0}, Point{50.0, 50.0, 50.0},
                             Point{50.0, 50.0, 0.5}, Point{6.0, 5.0, 3.0}}) {
        PracticeRoom room = duo();
        room.size = size;
        room.absorption.fill(0.0);
        room.decay = Seconds(1.0);
        room.source = {0.1, 0.1, 0.1};
        room.microphones.resize(1);
        room.microphones[0].position = {size.x - 0.1, size.y - 0.1, size.z - 0.1};
        REQUIRE_FALSE(faultOf(room));
        for (const Detail detail : {Detail::moving, Detail::resting}) {
            const Scene scene = sceneOf(room, 48000.0, detail);
            const double speed = speedOfSound(room.temperature), decay = scene.rooms[0].decay.value;
            const double direct = distanceBetween(room.source, room.microphones[0].position) / speed;
            CAPTURE(size.x, size.y, size.z, decay);
            CHECK(direct < 0.8 * decay);
            const auto heard = images(scene.rooms[0], scene.sources[0], scene.microphones[0], Metres(decay * speed));
            // A room of 50 m by itself needs 94000 to hold the way along it, whatever the budget.
            CHECK(heard.size() < 1.3 * std::max(static_cast<double>(static_cast<int>(detail)), 150000.0));
        }
    }
}

TEST_CASE("an omni microphone 1 m from an omni source hears it as loud as it is") {
    PracticeRoom room = duo();
    const Scene scene = sceneOf(room, 48000.0, Detail::moving);
    CHECK(directPath(scene, 0, 0)->level.value == Approx(0.0).margin(1e-9));
    CHECK(directPath(scene, 0, 1)->level.value == Approx(-20.0 * std::log10(3.0)).margin(1e-9));
}

TEST_CASE("what is pushed against a wall stays a millimetre before it and keeps its other places") {
    const Point size{6.0, 5.0, 3.0};
    CHECK(withinWalls({1.0, 2.0, 0.0005}, size) == Point{1.0, 2.0, 0.0005}); // within is within
    CHECK(withinWalls({9.0, 2.0, 1.0}, size) == Point{6.0 - practiceLimits::nearestWall, 2.0, 1.0});
    CHECK(withinWalls({-1.0, 7.0, 0.0}, size) ==
          Point{practiceLimits::nearestWall, 5.0 - practiceLimits::nearestWall, practiceLimits::nearestWall});
}
