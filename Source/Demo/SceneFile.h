#pragma once

#include "Core/Result.h"
#include "Core/Scene/Scene.h"
#include "Demo/Score.h"

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace spillwright {

/// A preset of the sound bank.
struct Instrument {
    int bank = 0; ///< 128: drum kits.
    int program = 0;
    bool chokes = false; ///< Each stroke silences the one before, as a closing hi-hat does.
    bool rings = false;  ///< Struck: a note sounds until it has died away, whatever its length.
};

/// What a source plays.
struct Part {
    Instrument instrument;
    std::vector<Note> notes;
};

/// One file of the recording: one channel, or left and right.
struct SceneOutputFile {
    std::string name; ///< Without ending.
    std::vector<int> microphones;
};

/// A scene file, read and checked: everything that a demo recording is computed from.
struct SceneFile {
    std::string title;
    Seconds length;
    std::string soundBank;                           ///< File name of the sound bank.
    Scene scene;                                     ///< Microphones are named as the tracks of the recording will be.
    std::vector<Part> parts;                         ///< One a source.
    std::vector<std::optional<int>> closeMicrophone; ///< One a source: the microphone that is its own.
    std::vector<SceneOutputFile> files;              ///< In the order of their first microphone.
};

/// Faults name the file, the object and the field: "FILE: source 'kick' has no position_m; give position_m as three
/// numbers". Fields that are not known are faults too, so that a slip of the pen is not passed over.
Result<SceneFile> readSceneFile(const std::filesystem::path& file);
Result<SceneFile> readScene(const std::string& text, const std::string& where);

/// The title alone.
Result<std::string> readSceneTitle(const std::filesystem::path& file);

} // namespace spillwright
