#pragma once

#include "Core/Measure/CrossSpectra.h"

#include <complex>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace spillwright {

/// Hum of the mains in a cross-spectrum: lines at multiples of 50 or 60 Hz.
struct MainsHum {
    double hertz = 0.0;              ///< Of the mains, as found: within 0.6 % of 50 or 60.
    int lines = 0;                   ///< Among the first twenty multiples.
    bool low = false;                ///< One of the first three multiples is among them.
    std::vector<std::uint8_t> ruled; ///< Of each bin, 1: a line or what the window spills of one rules the bin.
};

/// Finds them. Immutable, any number of threads.
class MainsHumFinder {
public:
    /// Of Hann windows whose bins lie binWidth Hz apart.
    explicit MainsHumFinder(double binWidth);

    /// False: no lines, or the window is too short to tell them apart (bins wider than 6 Hz). `magnitudes` |S12| a bin,
    /// from 0 Hz on. At least `fewestLines`. Mostly done after some hundred operations; a hum costs O(bins * lines).
    bool find(std::span<const float> magnitudes, int fewestLines, MainsHum& hum) const;

private:
    double width;

    float tallestAround(std::span<const float> magnitudes, double hertz) const;
    float between(std::span<const float> magnitudes, double lowHz, double highHz) const;
    bool stands(std::span<const float> magnitudes, double mains, int multiple) const;
    double sharpened(std::span<const float> magnitudes, double nominal) const;
    void rule(std::span<const float> magnitudes, MainsHum& hum) const;
};

/// Hum of the mains that a track has throughout.
struct SteadyHum {
    double hertz = 0.0; ///< Of the mains: near 50 or 60.
    int lines = 0;      ///< Multiples that stand out.
    Decibels level; ///< Of the first twenty multiples together, rms, full scale = 1; under music up to 2 dB too low.
};
/// From what each frequency has in the quietest tenth of the windows that are kept: music pauses, hum does not. Lines
/// below sourceBand are not asked. nullopt: fewer than four lines stand out, neither the second nor the third multiple
/// among them, or fewer than 30 windows are kept. O(bins * windows).
std::optional<SteadyHum> steadyHum(const CrossSpectra& spectra, int track);
/// What the multiples of `mains` hold in the same way, whether they stand out or not.
std::optional<Decibels> steadyLevelAt(const CrossSpectra& spectra, int track, double mains);
/// Hum that one recording of a track has throughout and an earlier one has not: even one line alone, if it is one of
/// the first three multiples, stays as strong from beginning to end, is alone within some bins, lies within 0.6 % and
/// 0.15 bins of its place and 6 dB above what the earlier one mostly has there. nullopt: there is none, or fewer than
/// 30 windows are kept; 50 and 60 Hz themselves need four stretches as well. Level and frequency of the lines found.
std::optional<SteadyHum> addedHum(const CrossSpectra& later, int track, const CrossSpectra& earlier, int earlierTrack);

} // namespace spillwright
