#pragma once

#include "Core/TrackAdjustment.h"
#include "Core/Workers.h"
#include "Media/Batch.h"
#include "Media/Recording.h"

#include <filesystem>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace spillwright {

/// A setting whose sum is wanted.
struct SumVersion {
    std::string name;
    std::vector<TrackAdjustment> adjustments; ///< One a track of the recording.
};

struct SumsOptions {
    std::filesystem::path to;         ///< Folder; made if absent; must not be the recording.
    std::optional<double> targetLufs; ///< As loud as this, where no true peak forbids it; none: as the quietest.
    bool replace = false;
};

struct SumsReport {
    struct Sum {
        std::string name;
        std::filesystem::path file;
        double gainDb = 0.0;            ///< By which it was turned.
        std::optional<double> loudness; ///< LUFS, integrated, of what was written; none: silence or below the gate.
        double truePeakDb = 0.0;        ///< dBTP of what was written; -infinity: silence.
    };
    std::vector<Sum> sums;       ///< As the versions.
    std::filesystem::path notes; ///< "sums.txt" in the folder: settings, loudness, peaks, a SHA-256 of each file.
    std::vector<std::string> remarks;
};

/// No sum passes this true peak.
inline constexpr double highestTruePeakDb = -1.0;

/// The stereo sums of several settings, for somebody who is to compare them: 24-bit WAV at the recording's rate, called
/// after their versions, equally loud (integrated loudness, ITU-R BS.1770; true peaks by four times oversampling:
/// libebur128). All are turned down to the quietest, or to the target, and all together further where one would pass
/// highestTruePeakDb; none is turned by another amount than its loudness asks for. A silent one stays as it is. Each
/// sum is made twice, once to be measured: memory does not grow with the length. Every file appears, or none. Faults:
/// those of render.
Result<SumsReport> renderSums(const Recording& recording, std::span<const SumVersion> versions,
                              const SumsOptions& options, const Watch& watch);

/// The same, but the files wait in the batch, behind what it has already, until it is kept. On a fault or a stop it is
/// as it was before.
Result<SumsReport> prepareSums(const Recording& recording, std::span<const SumVersion> versions,
                               const SumsOptions& options, Batch& together, const Watch& watch);

} // namespace spillwright
