#pragma once

#include <complex>
#include <cstdint>
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

} // namespace spillwright
