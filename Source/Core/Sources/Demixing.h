#pragma once

#include "Core/Measure/WindowSpectra.h"
#include "Core/Workers.h"

#include <Eigen/Core>

#include <optional>
#include <span>
#include <vector>

namespace spillwright {

/// Sources told apart at the bins of one third octave.
struct DemixedBand {
    int firstBin = 0;
    std::vector<Eigen::MatrixXcd>
        unmixing;           ///< [bin] Sources as their close tracks hold them = unmixing * close tracks.
    Eigen::ArrayXXf powers; ///< [kept window][source] Sum over the bins, in the close track.
};

/// Tells apart what close tracks hold in one of the windows' third octaves, by independent vector analysis: at every
/// bin a square matrix makes sources of the tracks, such that in each window each source has one power for all bins of
/// the third octave, by which its own moments are known (see readSpillMap for the literature). Windows of spectra are
/// all that are kept.
///
/// Where a track hears another's source and nothing of its own, which of the two the sound belongs to cannot be told
/// from it. leaders: the tracks, by their place in closeTracks, those first to which such a sound belongs rather.
/// nullopt: stopped. Throws std::bad_alloc.
std::optional<DemixedBand> demix(const WindowSpectra& windows, int band, std::span<const int> closeTracks,
                                 std::span<const int> leaders, const Watch& watch);

} // namespace spillwright
