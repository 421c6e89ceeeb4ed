#pragma once

#include "Core/TrackAdjustment.h"
#include "Media/Batch.h"
#include "Media/Recording.h"
#include "Media/WriteAudio.h"

#include <filesystem>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace spillwright {

struct RenderOptions {
    std::filesystem::path to;                 ///< Folder; made if absent; must not be the recording.
    std::optional<std::filesystem::path> sum; ///< Also write the stereo sum here (WAV).
    SampleFormat format = SampleFormat::int24;
    bool replace = false;
    /// Also write here what was done, as text with a SHA-256 of every file: "sha256sum --check" reads it.
    std::optional<std::filesystem::path> notes = std::nullopt;
    std::string settingName = ""; ///< For the notes.
};

struct RenderReport {
    std::vector<std::filesystem::path> written; ///< In track order, then the sum; not the notes.
    std::vector<std::string> remarks;           ///< One line each: written as float, container changed, not rendered.
};

/// Writes one file a readable file of the recording: same name, container, rate, length and bext chunk (whose
/// description, where it has room, and coding history gain a line that says what was done; the rest of it stays byte
/// for byte), each channel
/// nudged at the file's own rate, high-passed, flipped and with its gain. A mute concerns the sum alone: the file of a
/// muted track is written as if it sounded. Silent channels (peak below -90 dBFS) stay as they are, a file of nothing
/// else is copied. Where no gain and no high-pass is set and the nudge is whole, each sample is exact to the bit, as
/// far as the format has bits. What would clip, or was float, is written as 32-bit float (FLAC and AIFF then become
/// WAV). The sum is what is heard: all readable tracks at the recording's rate, placed and panned.
///
/// One adjustment a track. Each file appears whole or not at all; on a fault or a stop nothing of this render is left
/// behind, and files that were to be replaced are the old ones. Faults: the target is the recording, a file is there
/// already, no room, not allowed, a file of the recording that can no longer be read.
Result<RenderReport> render(const Recording& recording, std::span<const TrackAdjustment> adjustments,
                            const RenderOptions& options, const Watch& watch);

/// The same, but the files wait in the batch, behind what it has already, until it is kept. On a fault or a stop it is
/// as it was before.
Result<RenderReport> prepareRender(const Recording& recording, std::span<const TrackAdjustment> adjustments,
                                   const RenderOptions& options, Batch& together, const Watch& watch);

} // namespace spillwright
