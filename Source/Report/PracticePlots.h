#pragma once

#include "Core/Scene/PracticeAcoustics.h"
#include "Report/Plot.h"

namespace spillwright {

/// The sum's response over frequency, its notches marked from the lowest on, and each microphone alone behind it, in dB
/// against the loudest direct sound; in stereo left and right instead. No lines: every microphone is muted, or nothing
/// is left. `thick`: how much thicker than usual curves are.
Plot plotPracticeComb(const PracticeRoom& room, const PracticeReading& reading, float thick);
inline constexpr std::size_t mostPracticeNotches = 12;

/// The sum's response over time, 1 for its highest point, from 1 ms before the click to some time after the last
/// direct sound. Marked: where each microphone's direct sound lies.
Plot plotPracticeImpulse(const PracticeRoom& room, const PracticeReading& reading, const PracticeResponses& responses,
                         float thick);

} // namespace spillwright
