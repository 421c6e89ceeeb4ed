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

/// The truth of a scene for the tests:
/// `tracks`: what was done to each (inverted, late, high-passed).
/// `sources`: the close track of each; lead_s, how long it is the loudest of its room; leadClose_s, how long it is so
/// in its close track. `paths`, one a source and track of the same room: distance_m; flight_ms from source to track,
/// lateness included; sign of the direct sound in the track; its level direct_dB against the dry part; directShare, its
/// energy against that of the whole impulse response (above 1 where reflections cancel it); level_dBFS of all that the
/// track hears of the source; and against the source's close track, where it has one, arrival_ms, polarity, level_dB
/// (direct sound and reverberation, 100 Hz to 8 kHz) and levelLowMid_dB. High-passes do not enter arrivals.
Result<nlohmann::ordered_json> demoTruth(const std::filesystem::path& sceneFile);

} // namespace spillwright
