#pragma once

#include "Bench/SpillScenes.h"
#include "Core/Measure/CrossSpectra.h"
#include "Core/Workers.h"

#include <filesystem>

namespace spillwright::bench {

/// A session and what the pass over its audio gives. The tracks hold no samples any more.
struct MeasuredScene {
    SpillScene scene;
    CrossSpectra spectra;
};

/// Makes and measures a session. folder: where one that was made before is taken from, and is left for the next time
/// (about 5 MiB a track); empty: nowhere. Only for machines whose sound bank and program stay the same. Faults: as
/// makeSpillScene, and those of the pass.
Result<MeasuredScene> measuredScene(std::uint64_t set, int kind, const std::filesystem::path& soundBank,
                                    const std::filesystem::path& folder, Workers& workers);

} // namespace spillwright::bench
