#pragma once

#include "Core/Types.h"

#include <array>
#include <vector>

namespace spillwright {

/// What the source of a practice room plays. All of them are computed: nothing has to be installed.
enum class PracticeSound : int { pinkNoise, drums, voice };
inline constexpr std::array<const char*, 3> practiceSoundNames{"pink noise", "drums", "voice"};

/// The root mean square of every loop, dB of full scale.
inline constexpr Decibels practiceLevel{-26.0};

/// A loop of 4 to 6 s whose end goes on into its beginning. The same samples each time; `sampleRate` 8000 Hz or more.
/// Pink noise: every octave from 20 Hz to 20 kHz (or 0.45 of the rate) holds the same power. Drums: kick, snare, toms
/// and hat, two bars. Voice: four sung vowels.
std::vector<float> practiceSound(PracticeSound sound, double sampleRate);

/// Brings a sound to practiceLevel; silence stays silence.
void levelPracticeSound(std::vector<float>& samples);

} // namespace spillwright
