#pragma once

#include "Core/Result.h"
#include "Core/Scene/Scene.h"
#include "Core/TrackAdjustment.h"

#include <optional>

namespace spillwright {

/// A microphone to drag about, and what is done to its track.
struct PracticeMicrophone {
    std::string name;
    Point position;
    FirstOrderPattern pattern;
    TrackAdjustment adjustment; ///< Pan: none is the centre.
    bool operator==(const PracticeMicrophone&) const = default;
};

/// One source and some microphones on a floor plan, to show what a comb filter is.
struct PracticeRoom {
    Point size{6.0, 5.0, 3.0}; ///< Metres.
    std::array<double, surfaces> absorption{1.0, 1.0, 1.0,
                                            1.0, 1.0, 1.0}; ///< In the order of Surface, 0..1; 1: no wall.
    Celsius temperature{20.0};
    Seconds decay{0.4}; ///< Reflections later than this are left out; so are those beyond the budget of a Detail.
    Point source{1.5, 2.5, 1.2};
    FirstOrderPattern sourcePattern;
    std::vector<PracticeMicrophone> microphones;

    bool operator==(const PracticeRoom&) const = default;
};

/// What a practice room may hold.
namespace practiceLimits {
inline constexpr double shortestEdge = 0.5, longestEdge = 50.0;   ///< Metres.
inline constexpr double coldest = -40.0, warmest = 60.0;          ///< Degrees Celsius.
inline constexpr double shortestDecay = 0.01, longestDecay = 1.0; ///< Seconds.
inline constexpr double nearest = 0.01;      ///< Metres between source and microphone, and between a place and its aim.
inline constexpr double nearestWall = 0.001; ///< Metres; what is pushed against a wall stays so far before it.
inline constexpr std::size_t mostMicrophones = 8;
inline constexpr std::size_t longestName = 200;                           ///< Bytes, of a microphone.
inline constexpr double largestNudge = 0.05;                              ///< Seconds, either way.
inline constexpr double largestGain = 40.0;                               ///< Decibels, either way.
inline constexpr double lowestHighPass = 10.0, highestHighPass = 10000.0; ///< Hertz.
} // namespace practiceLimits

/// The first thing that stands in the way of a room being heard; `where` names the part ("source", a microphone), the
/// rest what to do. Nothing else in a practice room needs a check: what this lets pass costs a bounded time.
std::optional<Fault> faultOf(const PracticeRoom& room);

/// The nearest place within the walls: what is pushed against one slides along it.
Point withinWalls(const Point& place, const Point& size);

/// How much of the reverberation is reckoned: about so many reflections, in order of time, however large, small or live
/// the room.
enum class Detail : int {
    moving = 40000, ///< While something is dragged.
    resting = 400000
};

/// The same room, source and microphones for the acoustics of scenes; what is done to the tracks is left out. A sound
/// of 1 at an omni source is heard at 1 by an omni microphone 1 m away. No fault in the room.
Scene sceneOf(const PracticeRoom& room, double sampleRate, Detail detail);

} // namespace spillwright
