#include "Core/Scene/PracticeRoom.h"

#include "Core/Scene/Acoustics.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <sstream>

namespace spillwright {

namespace {

using namespace practiceLimits;

bool within(double value, double low, double high) {
    return value >= low && value <= high; // no number is within nothing
}

std::string range(double low, double high, const char* unit) {
    std::ostringstream text;
    text << low << " to " << high << " " << unit;
    return text.str();
}

bool inside(const Point& place, const Point& size) {
    for (int axis = 0; axis < 3; ++axis)
        if (!(place[axis] > 0.0 && place[axis] < size[axis])) return false;
    return true;
}

std::optional<Fault> faultOfPlace(const std::string& who, const Point& place, const FirstOrderPattern& pattern,
                                  const Point& size) {
    if (!inside(place, size)) return Fault{who, "stands outside the walls", "move it into the room"};
    if (!within(pattern.omniShare, 0.0, 1.0))
        return Fault{who, "has a pattern that is none", "give its omni share as " + range(0.0, 1.0, "")};
    if (pattern.omniShare < 1.0 &&
        !(distanceBetween(place, pattern.aimedAt) >= nearest && std::isfinite(distanceBetween(place, pattern.aimedAt))))
        return Fault{who, "aims at its own place", "aim it at another one"};
    return std::nullopt;
}

std::optional<Fault> faultOfMicrophone(const PracticeMicrophone& microphone, const std::string& who,
                                       const PracticeRoom& room) {
    if (auto fault = faultOfPlace(who, microphone.position, microphone.pattern, room.size)) return fault;
    if (!(distanceBetween(microphone.position, room.source) >= nearest))
        return Fault{who, "stands on the source", "move it at least 1 cm away"};
    const auto& adjustment = microphone.adjustment;
    if (!within(adjustment.nudge.value, -largestNudge, largestNudge))
        return Fault{who, "has a delay that is out of range",
                     "give " + range(-1e3 * largestNudge, 1e3 * largestNudge, "ms")};
    if (!within(adjustment.gain.value, -largestGain, largestGain))
        return Fault{who, "has a gain that is out of range", "give " + range(-largestGain, largestGain, "dB")};
    if (adjustment.highPass && !within(adjustment.highPass->value, lowestHighPass, highestHighPass))
        return Fault{who, "has a high-pass that is out of range",
                     "give " + range(lowestHighPass, highestHighPass, "Hz")};
    if (adjustment.pan && !within(*adjustment.pan, -1.0, 1.0))
        return Fault{who, "has a pan that is out of range", "give " + range(-1.0, 1.0, "(left to right)")};
    return std::nullopt;
}

/// The way from a place to the farthest microphone.
double farthestPath(const PracticeRoom& room) {
    double farthest = 0.0;
    for (const auto& microphone : room.microphones)
        farthest = std::max(farthest, distanceBetween(microphone.position, room.source));
    return farthest;
}

Seconds decayOf(const PracticeRoom& room, Detail detail) {
    const double speed = speedOfSound(room.temperature);
    // 4 pi (c t)^3 / (3 V) images are heard within t (Kuttruff, Room Acoustics).
    const double volume = room.size.x * room.size.y * room.size.z;
    const double reach = std::cbrt(3.0 * volume * static_cast<int>(detail) / (4.0 * std::numbers::pi)) / speed;
    const bool bare = std::all_of(room.absorption.begin(), room.absorption.end(), [](double a) { return a == 1.0; });
    // The direct sound lies before the last fifth, which is faded out.
    const double direct = (farthestPath(room) / speed + 0.002) / 0.8;
    return Seconds(std::max(direct, bare ? 0.0 : std::min(room.decay.value, reach)));
}

} // namespace

std::optional<Fault> faultOf(const PracticeRoom& room) {
    for (int axis = 0; axis < 3; ++axis)
        if (!within(room.size[axis], shortestEdge, longestEdge))
            return Fault{"room", "is no room of this size", "make each edge " + range(shortestEdge, longestEdge, "m")};
    for (const double absorption : room.absorption)
        if (!within(absorption, 0.0, 1.0))
            return Fault{"room", "has a wall that absorbs less than nothing or more than all",
                         "give each wall " + range(0.0, 1.0, "")};
    if (!within(room.temperature.value, coldest, warmest))
        return Fault{"room", "has a temperature that is out of range", "give " + range(coldest, warmest, "degrees C")};
    if (!within(room.decay.value, shortestDecay, longestDecay))
        return Fault{"room", "has a decay that is out of range", "give " + range(shortestDecay, longestDecay, "s")};
    if (auto fault = faultOfPlace("source", room.source, room.sourcePattern, room.size)) return fault;
    if (room.microphones.empty()) return Fault{"room", "holds no microphone", "put one in"};
    if (room.microphones.size() > mostMicrophones)
        return Fault{"room", "holds more than " + std::to_string(mostMicrophones) + " microphones", "take some out"};
    for (std::size_t place = 0; place < room.microphones.size(); ++place) {
        const auto& microphone = room.microphones[place];
        const std::string who = microphone.name.empty() ? "microphone " + std::to_string(place + 1)
                                                        : "microphone '" + microphone.name + "'";
        if (microphone.name.empty()) return Fault{who, "has no name", "give it one"};
        if (microphone.name.size() > longestName)
            return Fault{"microphone " + std::to_string(place + 1), "has a name that is too long", "shorten it"};
        for (std::size_t other = 0; other < place; ++other)
            if (room.microphones[other].name == microphone.name)
                return Fault{who, "bears the name of another one", "rename it"};
        if (auto fault = faultOfMicrophone(microphone, who, room)) return fault;
    }
    return std::nullopt;
}

Point withinWalls(const Point& place, const Point& size) {
    const auto along = [](double at, double edge) {
        return at > 0.0 && at < edge ? at : std::clamp(at, nearestWall, edge - nearestWall);
    };
    return {along(place.x, size.x), along(place.y, size.y), along(place.z, size.z)};
}

Scene sceneOf(const PracticeRoom& room, double sampleRate, Detail detail) {
    Scene scene;
    scene.sampleRate = sampleRate;
    ShoeboxRoom box;
    box.size = room.size;
    for (std::size_t surface = 0; surface < surfaces; ++surface)
        box.absorption[surface].fill(room.absorption[surface]);
    box.temperature = room.temperature;
    box.decay = decayOf(room, detail);
    box.silence = Seconds(ImpulseResponse::lead / sampleRate); // the filter at dcCorner is as long
    box.scatter = Metres(std::min(0.1, 0.03 * std::min({room.size.x, room.size.y, room.size.z})));
    scene.rooms = {box};
    SceneSource source;
    source.position = room.source;
    source.pattern = room.sourcePattern;
    scene.sources = {source};
    for (const auto& placed : room.microphones) {
        SceneMicrophone microphone;
        microphone.name = placed.name;
        microphone.position = placed.position;
        microphone.pattern = placed.pattern;
        microphone.gain = Decibels(decibelsOfAmplitude(4.0 * std::numbers::pi));
        scene.microphones.push_back(microphone);
    }
    return scene;
}

} // namespace spillwright
