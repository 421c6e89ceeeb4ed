#pragma once

#include <cmath>
#include <compare>
#include <numbers>

namespace spillwright {

/// A number with a unit: different quantities are different types at interfaces. Inside a function plain doubles with
/// the unit in the name are used; `.value` crosses the border.
template <class Unit>
struct Quantity {
    double value = 0.0;

    constexpr Quantity() = default;
    constexpr explicit Quantity(double v) : value(v) {}

    constexpr auto operator<=>(const Quantity&) const = default;
    constexpr Quantity operator-() const { return Quantity(-value); }
    constexpr Quantity operator+(Quantity other) const { return Quantity(value + other.value); }
    constexpr Quantity operator-(Quantity other) const { return Quantity(value - other.value); }
    constexpr Quantity operator*(double factor) const { return Quantity(value * factor); }
    constexpr double operator/(Quantity other) const { return value / other.value; }
};

using Seconds = Quantity<struct SecondsUnit>;
using Hertz = Quantity<struct HertzUnit>;
using Decibels = Quantity<struct DecibelsUnit>; ///< A ratio of powers, 10 log10; or of amplitudes, 20 log10.
using Metres = Quantity<struct MetresUnit>;
using Celsius = Quantity<struct CelsiusUnit>;

constexpr Seconds milliseconds(double ms) {
    return Seconds(ms * 1e-3);
}
constexpr double inMilliseconds(Seconds s) {
    return s.value * 1e3;
}

inline double decibelsOfPower(double ratio) {
    return 10.0 * std::log10(ratio);
}
inline double decibelsOfAmplitude(double ratio) {
    return 20.0 * std::log10(ratio);
}
inline double amplitudeOfDecibels(double dB) {
    return std::pow(10.0, dB / 20.0);
}

/// +1: the same way up; -1: upside down.
enum class Polarity : int { same = 1, inverted = -1 };
constexpr int sign(Polarity p) {
    return static_cast<int>(p);
}

/// A frequency band, edges included.
struct Band {
    Hertz low;
    Hertz high;
    bool operator==(const Band&) const = default;
};

/// The third octaves 200 to 500 Hz, exact base-10 edges 10^2.25 and 10^2.75 Hz (IEC 61260-1). Shown as 178 to 562 Hz.
inline const Band lowMidBand{Hertz(std::pow(10.0, 2.25)), Hertz(std::pow(10.0, 2.75))};

/// From which arrival and polarity are told, frequencies weighing as f^wideBandExponent: nearly every octave alike.
inline const Band wideBand{Hertz(60.0), Hertz(8000.0)};
inline constexpr double wideBandExponent = -0.75;

/// Speed of sound in dry air, 343.2 m/s * sqrt((T + 273.15) / 293.15). ISO 9613-1:1993. Metres per second.
inline double speedOfSound(Celsius temperature) {
    return 343.2 * std::sqrt((temperature.value + 273.15) / 293.15);
}

/// One standard uncertainty of that speed, as a part of it, in a room: its temperature is known to 1 degree C (0.17 %
/// at 20 degrees), its humidity not at all: air of 0 to 100 % carries sound up to 0.37 % faster (Cramer 1993, at 20
/// degrees), which is 0.37 %/sqrt(3) in root mean square. 0.27 % together.
inline double speedOfSoundUncertainty(Celsius temperature) {
    constexpr double degrees = 1.0, humid = 0.0037;
    return std::hypot(0.5 * degrees / (temperature.value + 273.15), humid / std::numbers::sqrt3);
}

/// Of a path difference: that of the arrival and that of the speed of sound together.
inline Metres distanceUncertainty(Seconds arrival, Seconds arrivalUncertainty, Celsius temperature) {
    return Metres(speedOfSound(temperature) *
                  std::hypot(arrivalUncertainty.value, arrival.value * speedOfSoundUncertainty(temperature)));
}

} // namespace spillwright
