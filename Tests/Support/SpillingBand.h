#pragma once

#include "Support/TestWav.h"

#include <cmath>
#include <filesystem>
#include <string>
#include <utility>
#include <vector>

namespace spillwright::test {

/// Three players in one room, each loud and soft at moments of its own, and six microphones. Amplitudes and delays are
/// what the tests' figures come from.
namespace spillingBand {

inline constexpr std::size_t length = 30 * 48000;
inline constexpr float kickOut = -0.9f;        ///< Kick against kick in: upside down ...
inline constexpr int kickOutLate = 30;         ///< ... and 0.625 ms late.
inline constexpr float rideInTrumpet = 0.38f;  ///< Ride against its own track: -8.4 dB ...
inline constexpr int rideInTrumpetLate = 144;  ///< ... and 3 ms late.
inline constexpr float kickInRide = -0.1f;     ///< -20 dB, upside down ...
inline constexpr int kickInRideLate = 192;     ///< ... and 4 ms late.
inline constexpr float trumpetInRoom = 0.5f;   ///< -6.0 dB ...
inline constexpr int trumpetInRoomLate = 1200; ///< ... and 25 ms late.

inline const std::vector<std::string>& names() {
    static const std::vector<std::string> all{"kick in", "kick out", "trumpet", "ride", "far", "dead"};
    return all;
}

/// Noise in slots of a quarter of a second, each of a level of its own between -40 and 0 dB.
inline std::vector<float> player(unsigned seed) {
    auto sound = noise(length, seed);
    const auto levels = noise(length / 12000 + 1, seed + 1000, 1.0f); // within sqrt(3) either way, all alike
    for (std::size_t n = 0; n < length; ++n)
        sound[n] *= std::pow(10.0f, (levels[n / 12000] / std::sqrt(3.0f) - 1.0f));
    return sound;
}

inline std::vector<std::vector<float>> tracks() {
    const auto kick = player(1), trumpet = player(2), ride = player(3);
    const auto with = [](std::vector<float> sum, unsigned seed) {
        return mixed(std::move(sum), noise(length, seed, 2e-5f));
    };
    const auto wash = [&](const std::vector<float>& sound, float level, int late) {
        auto heard = delayed(sound, late, level);
        for (int k = 1; k <= 3; ++k) // a few walls
            heard = mixed(heard, delayed(sound, late + 431 * k, level * 0.25f * (k % 2 ? 1.0f : -1.0f)));
        return heard;
    };
    return {with(kick, 11),
            with(delayed(kick, kickOutLate, kickOut), 12),
            with(mixed(trumpet, delayed(ride, rideInTrumpetLate, rideInTrumpet)), 13),
            with(mixed(ride, delayed(kick, kickInRideLate, kickInRide)), 14),
            with(mixed(mixed(wash(kick, 0.4f, 700), wash(trumpet, trumpetInRoom, trumpetInRoomLate)),
                       wash(ride, 0.45f, 900)),
                 15),
            std::vector<float>(length, 0.0f)};
}

inline void write(const std::filesystem::path& folder) {
    const auto all = tracks();
    for (std::size_t t = 0; t < all.size(); ++t)
        writeWav(folder / ("0" + std::to_string(t + 1) + " " + names()[t] + ".wav"), all[t]);
}

} // namespace spillingBand

} // namespace spillwright::test
