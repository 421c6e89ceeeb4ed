#pragma once

#include "Core/Types.h"

#include <vector>

namespace spillwright {

/// One third octave cut to a band. Its lower edge belongs to it, its upper edge only where it is the band's last.
struct ThirdOctave {
    double low = 0.0;   ///< Hz.
    double high = 0.0;  ///< Hz.
    double share = 0.0; ///< Of the band's width in octaves; the shares of a band add up to 1.
};

/// The third octaves of a band, edges 10^((k +- 1/2)/10) Hz (IEC 61260-1, base 10), the outer ones cut to the band.
/// 0 < low < high; anything else gives none.
std::vector<ThirdOctave> thirdOctavesOf(Band band);

/// The bins of a third octave: those whose centre lies within it. firstBin > lastBin where there are none.
struct ThirdOctaveBins {
    double share = 0.0; ///< As in ThirdOctave.
    int firstBin = 0;
    int lastBin = -1;
};

/// The third octaves of a band in bins 1..binCount-1 (0 Hz never takes part), low to high; one entry each, the empty
/// ones too.
std::vector<ThirdOctaveBins> thirdOctaveBins(Band band, double binWidthHz, int binCount);

/// Bins 1..binCount-1 whose centre lies within the band, edges included. share: 1.
ThirdOctaveBins binsWithin(Band band, double binWidthHz, int binCount);

} // namespace spillwright
