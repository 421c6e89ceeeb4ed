#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

namespace spillwright {

/// Neighbouring bins that are kept as one value, their sum.
struct Pool {
    int firstBin = 0;
    int bins = 1;
    bool operator==(const Pool&) const = default;
};

/// How finely the cross-spectra of stretches are kept: from 0 Hz to the block of kernels::binsPerBlock bins that holds
/// 8 kHz, four bytes a pool, pair and stretch. Within a block all pools are alike.
struct Keeping {
    std::vector<int> poolBins;         ///< [block] Bins a pool: 1, 2, 4 or 8.
    std::vector<std::size_t> valuesTo; ///< [block] Values of a pair before this block; one more at the end.
    int together = 1;                  ///< Stretches of the pass kept as one.
    int stretches = 0;                 ///< Kept.

    int blocks() const { return static_cast<int>(poolBins.size()); }
    std::size_t valuesPerPair() const { return valuesTo.back(); }
    std::size_t bytes(int tracks) const;
    /// Those with at least one of `bins` bins, ascending; the last holds no bin past them.
    std::vector<Pool> pools(int bins) const;
};

/// What stretches may take in memory: an hour of 24 tracks then stays within 600 MiB with the pass beside it, and four
/// minutes of 64 tracks are kept at their finest.
inline constexpr std::size_t keptAtMostBytes = std::size_t(400) << 20;

/// The finest that fits into `atMostBytes`, of
///   fine:   one bin up to 562 Hz, pools of at most 6 Hz up to 2 kHz, of at most 12 Hz above
///           (952 values at 48 kHz; lags to +-43 ms keep their height);
///   coarse: one bin up to 562 Hz, at most 12 Hz up to 2 kHz, at most 24 Hz above (572 values);
/// then fine with two neighbouring stretches kept as one, coarse with two, fine with four and so on, each rung about
/// four fifths or three fifths of the one before. The last rung, all stretches as one, is taken whatever it needs.
Keeping chooseKeeping(int bins, double binWidthHz, int tracks, int stretches, std::size_t atMostBytes);

} // namespace spillwright
