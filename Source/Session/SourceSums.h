#pragma once

#include "Session/Measurement.h"

#include <string>
#include <vector>

namespace spillwright {

/// The summation gain of one source alone, of the usable tracks.
struct SourceSum {
    int source = 0; ///< Of the measurement's sources.
    std::string name;
    SummationModel model;
};

/// Of each source that is told apart and sounds in the band, in order. Empty where none is. Arguments as those of
/// summationModel.
std::vector<SourceSum> sourceSums(const Measurement& measurement, std::span<const TrackAdjustment> adjustments,
                                  bool stereo);

/// The sums that an aim names, with their weights. Faults: no sources were told apart, a name that none bears, one
/// named twice, a weight that is not above 0, none of the named sounds in the band.
struct AimedSums {
    std::vector<SummationModel> models;
    std::vector<double> weights;
    std::vector<std::string> names;
};
Result<AimedSums> aimedSums(const Measurement& measurement, const std::vector<SourceSum>& sums, const SourceAim& aim);

/// What each source gains or loses, in a sentence that begins with a space; empty where that is nothing.
std::string sourcesInWords(const std::vector<SourceGain>& sources);

} // namespace spillwright
