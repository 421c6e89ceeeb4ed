#pragma once

#include "Core/Types.h"

#include <array>
#include <vector>

namespace spillwright {

/// A third octave as it is named.
struct NominalThirdOctave {
    double hertz;
    int k; ///< Exact centre 10^(k/10) Hz.
};
/// Those that are told of, 100 Hz to 8 kHz (IEC 61260-1).
inline constexpr std::array<NominalThirdOctave, 20> nominalThirdOctaves{
    {{100, 20},  {125, 21},  {160, 22},  {200, 23},  {250, 24},  {315, 25},  {400, 26},
     {500, 27},  {630, 28},  {800, 29},  {1000, 30}, {1250, 31}, {1600, 32}, {2000, 33},
     {2500, 34}, {3150, 35}, {4000, 36}, {5000, 37}, {6300, 38}, {8000, 39}}};

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
