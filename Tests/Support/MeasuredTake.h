#pragma once

#include "Session/Measurement.h"
#include "Support/MemorySource.h"
#include "Support/TakenBand.h"

#include <string>
#include <utility>
#include <vector>

namespace spillwright::test {

/// What a folder of a band's take would list.
inline std::vector<TrackInfo> tracksOf(const TakenBand& band) {
    std::vector<TrackInfo> all;
    for (const auto& name : band.names) {
        all.emplace_back();
        all.back().name = name;
        all.back().file = name + ".wav";
    }
    all[TakenBand::overheadL].linkedTo = TakenBand::overheadR;
    all[TakenBand::overheadR].linkedTo = TakenBand::overheadL;
    all[TakenBand::overheadR].isRight = true;
    return all;
}

/// A take of a band, measured.
inline Result<Measurement> measuredTake(const std::string& folder, const TakenBand& band,
                                        std::vector<std::vector<float>> samples, Workers& workers) {
    const MemorySource source(std::move(samples), TakenBand::rate);
    return measure(folder, tracksOf(band), source, {}, {}, workers, {});
}

} // namespace spillwright::test
