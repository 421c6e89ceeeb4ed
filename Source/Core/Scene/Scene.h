#pragma once

#include "Core/Types.h"

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace spillwright {

/// Metres from the corner of a room; x and y along the floor, z up.
struct Point {
    double x = 0.0;
    double y = 0.0;
    double z = 0.0;

    double operator[](int axis) const { return axis == 0 ? x : axis == 1 ? y : z; }
    bool operator==(const Point&) const = default;
};
double distanceBetween(const Point& a, const Point& b);

/// One value an octave, 125 Hz to 8 kHz; below and above the outermost value holds, between two centres the response
/// passes smoothly from one to the other.
inline constexpr int octaves = 7;
using PerOctave = std::array<double, octaves>;
inline constexpr PerOctave octaveCentresHz{125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0};

/// The surfaces of a shoebox, in the order of ShoeboxRoom::absorption.
enum class Surface { xLow, xHigh, yLow, yHigh, floor, ceiling };
inline constexpr int surfaces = 6;

struct ShoeboxRoom {
    std::string name;
    Point size;                                   ///< Each edge > 0.
    std::array<PerOctave, surfaces> absorption{}; ///< Share of the energy that a surface keeps, 0..1.
    PerOctave airLossDbPerMetre{};                ///< Attenuation by the air (ISO 9613-1).
    Celsius temperature{20.0};
    Seconds decay{0.5};  ///< Length of the impulse responses; the last fifth is faded out ...
    Seconds silence;     ///< ... and this follows, in which a short one's filters ring out.
    Metres scatter{0.0}; ///< Second and later reflections are moved by up to this, so that no lattice is heard.
};

/// First-order pattern: gain = omniShare + (1 - omniShare) cos(angle off the aim). 1: omni; 0.5: cardioid; 0: figure of
/// eight, whose rear hears upside down. The aim is a point that is aimed at; of no matter for an omni.
struct FirstOrderPattern {
    double omniShare = 1.0;
    Point aimedAt;
    bool operator==(const FirstOrderPattern&) const = default;
};

struct SceneSource {
    std::string name;
    int room = 0;
    Point position;
    FirstOrderPattern pattern;
    Decibels level; ///< Applied to the dry part.
};

/// What was done wrong to a microphone, applied to all that it hears, its own noise included.
struct MicrophoneFaults {
    bool inverted = false;
    int lateSamples = 0;             ///< Positive: recorded later. Negative: earlier.
    std::optional<Hertz> highPass{}; ///< Corner of a second-order Butterworth filter.
};

struct SceneMicrophone {
    std::string name;
    int room = 0;
    Point position;
    FirstOrderPattern pattern;
    Decibels gain;              ///< From sound to full scale: a dry part of 1 at 1 m gives gain / (4 pi).
    Decibels selfNoise{-200.0}; ///< White, dBFS rms.
    MicrophoneFaults faults;
};

/// Rooms, who plays in them, and who listens. A microphone hears the sources of its own room only.
struct Scene {
    double sampleRate = 48000.0; ///< Hz.
    std::uint64_t seed = 1;      ///< Of the microphones' noise.
    std::vector<ShoeboxRoom> rooms;
    std::vector<SceneSource> sources;
    std::vector<SceneMicrophone> microphones;
};

} // namespace spillwright
