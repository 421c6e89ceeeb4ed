#pragma once

#include "Core/Measure/LargeArray.h"
#include "Core/ThirdOctaves.h"
#include "Core/Types.h"

#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace spillwright {

/// The band in which sources are told apart: the third octaves 100 Hz to 8 kHz, edges 10^1.95 and 10^3.95 Hz.
inline const Band sourceBand{Hertz(std::pow(10.0, 1.95)), Hertz(std::pow(10.0, 3.95))};

/// What single complex windows may take in memory up to 32 tracks; beyond, twice that.
inline constexpr std::size_t windowSpectraBytes = std::size_t(64) << 20;

/// What the pass over the audio keeps of single windows, beside their mean: which instrument sounds when is read from
/// it.
/// - Of every window of every track, the power in each third octave of sourceBand, within 2^-8 of itself (0.02 dB).
/// - Of about 240 windows, spread evenly over what was measured, the spectra of all tracks within sourceBand; each part
///   within 2^-8 of itself. Fewer windows where 240 would exceed the memory above (35 tracks and more).
/// Scaled as CrossSpectra is: the mean over windows of |X|^2 is CrossSpectra::power.
///
/// Memory at 24 tracks: 60 MiB and, per minute, 0.3 MiB.
class WindowSpectra {
public:
    WindowSpectra() = default;
    /// Zeros. Throws std::bad_alloc.
    WindowSpectra(int tracks, std::int64_t windows, double binWidthHz, int binCount);

    int trackCount() const { return tracks; }
    std::int64_t windows() const { return all; } ///< Of the pass.
    /// One a third octave of sourceBand, 100 Hz first; those past the last bin are empty.
    std::span<const ThirdOctaveBins> bands() const { return thirds; }

    /// Sum over the band's bins of |X|^2.
    float power(int track, std::int64_t window, int band) const;
    /// The same of all windows.
    void copyPowers(int track, int band, std::span<float> out) const;

    /// The windows of which spectra are kept, ascending.
    std::span<const std::int64_t> kept() const { return chosen; }
    int firstBin() const { return low; } ///< Of the spectra: firstBin()..firstBin()+binCount()-1.
    int binCount() const { return bins; }
    /// A kept window's spectrum, the value of each bin as kernels::keptValue reads it.
    std::span<const std::uint32_t> spectrum(int track, int keptWindow) const {
        return {spectra.data() + place(track, keptWindow), static_cast<std::size_t>(bins)};
    }

    /// By the pass: takes what is kept of one window of one track. Each window and track once, from any thread.
    void take(int track, std::int64_t window, const std::complex<float>* spectrum);

    /// For CrossSpectra: all that a pass fills in, part by part.
    template <class Self, class Visit>
    static bool visit(Self& self, Visit&& each) {
        return each(std::span(self.powers.data(), self.powers.size())) &&
               each(std::span(self.spectra.data(), self.spectra.size()));
    }

private:
    int tracks = 0;
    std::int64_t all = 0;
    std::vector<ThirdOctaveBins> thirds;
    std::vector<std::int64_t> chosen;
    int low = 0, bins = 0;
    LargeArray<std::uint16_t> powers;  // [track][window][band], the upper half of a float
    LargeArray<std::uint32_t> spectra; // [kept window][track][bin]

    std::size_t place(int track, int keptWindow) const {
        return (static_cast<std::size_t>(keptWindow) * static_cast<std::size_t>(tracks) +
                static_cast<std::size_t>(track)) *
               static_cast<std::size_t>(bins);
    }
};

} // namespace spillwright
