#pragma once

#include "Core/Result.h"
#include "Core/Workers.h"
#include "Session/Lesson.h"

#include <filesystem>
#include <optional>
#include <vector>

namespace spillwright {

/// Writes a lesson into a folder (made if absent; must be empty or absent; whole or not at all): the page as page.txt,
/// the lesson as lesson.json, and of each step, numbered, the sum in stereo and each microphone as it is heard in it:
/// 48 kHz, 24 bits, or 32-bit float where a file would clip. A muted microphone is written too. `sound`: in the place
/// of the lesson's own, mono, 48 kHz. Faults: folder not empty, disk full, stop.
Outcome writeLesson(const Lesson& lesson, const std::optional<std::vector<float>>& sound,
                    const std::filesystem::path& to, Workers& workers, const Watch& watch);

inline constexpr double lessonSampleRate = 48000.0; ///< Hz.

} // namespace spillwright
