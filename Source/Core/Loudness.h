#pragma once

#include "Core/Types.h"

#include <array>
#include <optional>
#include <span>

namespace spillwright {

/// The K-weighting of ITU-R BS.1770: a shelf, then a high-pass. The standard gives the coefficients at 48 kHz alone;
/// at other rates they are those of the analogue filters that the bilinear transform takes to the same coefficients at
/// 48 kHz (De Man 2018, "Evaluation of implementations of the EBU R128 loudness measurement"; constants from memory).
class KFilter {
public:
    explicit KFilter(double sampleRate);

    /// Filters in place; the state is kept in double between calls. Allocates nothing.
    void process(float* samples, int count);
    /// |K|^2, the power response.
    double powerAt(Hertz frequency) const;

private:
    struct Section {
        double b0, b1, b2, a1, a2;
        double first = 0.0, second = 0.0; // state
    };
    double sampleRate;
    std::array<Section, 2> sections;
};

/// |K|^2 at 48 kHz, 0 to 24 kHz. At 997 Hz 0.691 dB.
double kWeighting(Hertz frequency);

/// Gating blocks of ITU-R BS.1770: so long, so far apart.
inline constexpr Seconds loudnessBlock = Seconds(0.4);
inline constexpr Seconds loudnessStep = Seconds(0.1);

/// Nothing below counts, LUFS.
inline constexpr double absoluteGate = -70.0;

/// Integrated loudness in LUFS of gating blocks, each given as the mean square of what is K-weighted, summed over the
/// channels: the mean of those above -70 LUFS and not more than 10 LU below the mean of these. nullopt: none is.
std::optional<double> gatedLoudness(std::span<const double> blockPowers);

} // namespace spillwright
