#include "Core/Propose/MomentGain.h"

#include "Core/Measure/CrossSpectra.h"
#include "Core/Propose/SummationModel.h"
#include "Core/Signal/AlignedVector.h"
#include "Core/Signal/Fourier.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

namespace spillwright {

std::optional<double> momentGain(std::span<const std::vector<float>> tracks, double sampleRate,
                                 std::span<const TrackAdjustment> adjustments, Band band) {
    const int window = usualWindow(sampleRate);
    const int samples = tracks.empty() ? 0 : static_cast<int>(tracks.front().size());
    if (samples < window) return std::nullopt;
    const int windows = (samples - window) / (window / 2) + 1;
    const double binWidth = sampleRate / window;
    const int firstBin = std::max(1, static_cast<int>(std::ceil(band.low.value / binWidth)));
    const int lastBin = std::min(window / 2, static_cast<int>(std::floor(band.high.value / binWidth)));
    if (lastBin < firstBin) return std::nullopt;
    const int bins = lastBin - firstBin + 1;

    const auto fourier = Fourier::ofLength(window);
    AlignedVector<float> input(static_cast<std::size_t>(window));
    AlignedVector<std::complex<float>> output(static_cast<std::size_t>(fourier->binCount()));
    std::vector<std::complex<float>> spectra; // [track][window][bin]
    spectra.reserve(tracks.size() * static_cast<std::size_t>(windows * bins));
    for (const auto& track : tracks)
        for (int k = 0; k < windows; ++k) {
            for (int n = 0; n < window; ++n) {
                const double hann = 0.5 - 0.5 * std::cos(2.0 * std::numbers::pi * n / window);
                input[static_cast<std::size_t>(n)] =
                    static_cast<float>(hann) * track[static_cast<std::size_t>(k * (window / 2) + n)];
            }
            fourier->forward(input.data(), output.data());
            spectra.insert(spectra.end(), output.begin() + firstBin, output.begin() + lastBin + 1);
        }
    const auto at = [&](int bin, int i, int j) -> std::complex<double> {
        if (bin < firstBin || bin > lastBin) return 0.0;
        std::complex<double> sum = 0.0;
        for (int k = 0; k < windows; ++k) {
            const auto place = [&](int track) {
                return spectra[static_cast<std::size_t>((track * windows + k) * bins + bin - firstBin)];
            };
            sum += std::complex<double>(place(i)) * std::conj(std::complex<double>(place(j)));
        }
        return sum;
    };
    const auto model = SummationModel::fromSpectra(fourier->binCount(), binWidth, at, adjustments, band);
    if (!model.hasEnergy()) return std::nullopt;
    std::vector<int> signs;
    std::vector<double> nudges;
    for (const auto& adjustment : adjustments) {
        signs.push_back(adjustment.flip ? -1 : 1);
        nudges.push_back(adjustment.nudge.value);
    }
    return model.gain(signs, nudges);
}

} // namespace spillwright
