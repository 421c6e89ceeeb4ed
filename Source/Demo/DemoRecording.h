#pragma once

#include "Core/Result.h"
#include "Core/Workers.h"

#include <nlohmann/json_fwd.hpp>

#include <filesystem>
#include <string>
#include <vector>

namespace spillwright {

struct DemoSession {
    std::string name;  ///< As `demo NAME` takes it; the scene file's name without ending.
    std::string title; ///< One line for people.
    std::filesystem::path sceneFile;
};

/// The demo sessions that came with the program (installed, or in the source tree), in order of name.
std::vector<DemoSession> demoSessions();

/// Computes the recording of a scene into a folder of 24-bit WAV files (made if absent; must be empty or absent; whole
/// or not at all). The same bytes each time with the same libraries. Faults: scene unreadable, no sound bank, folder
/// not empty, disk full, stop.
Outcome computeDemo(const std::filesystem::path& sceneFile, const std::filesystem::path& to, Workers& workers,
                    const Watch& watch);

/// The truth of a scene for the tests: for each track what was done to it, for each source and track arrival, polarity,
/// level.
Result<nlohmann::ordered_json> demoTruth(const std::filesystem::path& sceneFile);

} // namespace spillwright
