#pragma once

#include "Core/Propose/SummationModel.h"

#include <complex>
#include <span>
#include <vector>

namespace spillwright {

/// What each pair of tracks does alone under any flips and nudges: its summation gain in the band of the model, whose
/// gains and high-passes are taken over. Built once per balance; gains() then costs about a millisecond for 64 tracks.
class PairGains {
public:
    PairGains() = default;
    PairGains(const SummationModel& model, Band band);

    /// Linear, 0..2, 1 = the two ignore each other; in the order (0,1), (0,2), (1,2), (0,3) ... of the model's tracks.
    /// A pair of which one does not sound has 1.
    std::vector<double> gains(std::span<const int> signs, std::span<const double> nudges) const;

    static std::size_t pairIndex(int first, int second) {
        const auto high = static_cast<std::size_t>(second);
        return high * (high - 1) / 2 + static_cast<std::size_t>(first);
    }

private:
    int tracks = 0;
    std::vector<double> frequencies;             ///< Hz.
    std::vector<int> thirdOctave;                ///< Of each bin, 0..shares.size()-1.
    std::vector<double> shares;                  ///< omega_b of each third octave.
    std::vector<std::complex<float>> cross;      ///< [pair][bin].
    std::vector<std::vector<double>> bandPowers; ///< [third octave][track], the scale of a third octave is free.
};

} // namespace spillwright
