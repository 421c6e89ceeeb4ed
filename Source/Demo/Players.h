#pragma once

#include "Core/Workers.h"
#include "Demo/SceneFile.h"

#include <filesystem>
#include <span>
#include <vector>

namespace spillwright {

/// Where a sound bank is looked for: the data folders of the user and of the system.
std::vector<std::filesystem::path> soundBankFolders();

/// Fault: it is in none of the folders; says which package brings it.
Result<std::filesystem::path> findSoundBank(const std::string& name, std::span<const std::filesystem::path> folders);

/// Plays a part dry: no reverberation, no chorus, left and right together as one channel. Each note begins on its own
/// sample. `length` samples at `sampleRate`. Faults: the bank cannot be read or has no such preset.
Result<std::vector<float>> playPart(const std::filesystem::path& soundBank, const Part& part, double sampleRate,
                                    std::int64_t length);

/// All parts of a scene, one a source. Tells progress 0..1.
Result<std::vector<std::vector<float>>> playParts(const SceneFile& scene, Workers& workers, const Watch& watch);

} // namespace spillwright
