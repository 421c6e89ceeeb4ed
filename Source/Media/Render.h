#pragma once

#include "Core/TrackAdjustment.h"
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
};

struct RenderReport {
    std::vector<std::filesystem::path> written;
    std::vector<std::string> remarks; ///< One line each: written as float, container changed, not rendered.
};

/// Each file appears whole or not at all; on a fault or a stop nothing of this render is left
/// behind.
Result<RenderReport> render(const Recording& recording, std::span<const TrackAdjustment> adjustments,
                            const RenderOptions& options, const Watch& watch);

/// Constant-power pan, -3.01 dB in the centre: left = cos((pan + 1) pi / 4), right = sin of the same.
struct PanGains {
    double left = 0.0;
    double right = 0.0;
};
PanGains panGains(double pan);
/// The pan that is used where the adjustment has none: linked pairs fully left and right, others in the centre.
double effectivePan(const TrackInfo& track, const TrackAdjustment& adjustment);

} // namespace spillwright
