#include "Core/Measure/WindowSpectra.h"

#include "Core/Measure/Kernels.h"

#include <algorithm>
#include <bit>
#include <cassert>

namespace spillwright {

namespace {

constexpr std::int64_t windowsKept = 240; // of half as many and of all the levels scatter much the same
constexpr int tracksOfOneShare = 32;      // of windowSpectraBytes

} // namespace

WindowSpectra::WindowSpectra(int trackCount, std::int64_t windows, double binWidthHz, int binCount)
    : tracks(trackCount), all(windows), thirds(thirdOctaveBins(sourceBand, binWidthHz, binCount)) {
    const auto within = binsWithin(sourceBand, binWidthHz, binCount);
    low = within.firstBin;
    bins = std::max(0, within.lastBin - within.firstBin + 1);
    powers =
        LargeArray<std::uint16_t>(static_cast<std::size_t>(tracks) * static_cast<std::size_t>(all) * thirds.size());
    const std::size_t ofWindow =
        static_cast<std::size_t>(tracks) * static_cast<std::size_t>(bins) * sizeof(std::uint32_t);
    if (ofWindow == 0) return;
    const auto fit = static_cast<std::int64_t>((tracks > tracksOfOneShare ? 2 : 1) * windowSpectraBytes / ofWindow);
    const std::int64_t count = std::min({all, windowsKept, fit});
    for (std::int64_t k = 0; k < count; ++k)
        chosen.push_back((2 * k + 1) * all / (2 * count));
    spectra = LargeArray<std::uint32_t>(static_cast<std::size_t>(count) * ofWindow / sizeof(std::uint32_t));
}

float WindowSpectra::power(int track, std::int64_t window, int band) const {
    assert(track >= 0 && track < tracks && window >= 0 && window < all);
    const std::size_t at =
        (static_cast<std::size_t>(track) * static_cast<std::size_t>(all) + static_cast<std::size_t>(window)) *
            thirds.size() +
        static_cast<std::size_t>(band);
    return std::bit_cast<float>(static_cast<std::uint32_t>(powers.data()[at]) << 16);
}

void WindowSpectra::copyPowers(int track, int band, std::span<float> out) const {
    assert(std::ssize(out) <= all);
    for (std::size_t window = 0; window < out.size(); ++window)
        out[window] = power(track, static_cast<std::int64_t>(window), band);
}

void WindowSpectra::take(int track, std::int64_t window, const std::complex<float>* spectrum) {
    const auto bands = thirds.size();
    std::uint16_t* into =
        powers.data() +
        (static_cast<std::size_t>(track) * static_cast<std::size_t>(all) + static_cast<std::size_t>(window)) * bands;
    for (std::size_t band = 0; band < bands; ++band) {
        const auto& of = thirds[band];
        if (of.lastBin < of.firstBin) continue;
        const auto power = kernels::sumOfSquares(reinterpret_cast<const float*>(spectrum + of.firstBin),
                                                 2 * static_cast<std::size_t>(of.lastBin - of.firstBin + 1));
        const auto bits = std::bit_cast<std::uint32_t>(power);
        into[band] = static_cast<std::uint16_t>((bits + 0x8000u) >> 16);
    }
    const auto at = std::lower_bound(chosen.begin(), chosen.end(), window);
    if (at == chosen.end() || *at != window) return;
    kernels::packKept(spectrum + low, static_cast<std::size_t>(bins),
                      spectra.data() + place(track, static_cast<int>(at - chosen.begin())));
}

} // namespace spillwright
