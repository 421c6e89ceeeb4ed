#include "Core/Measure/StretchPools.h"

#include "Core/Measure/Kernels.h"
#include "Core/Types.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace spillwright {

namespace {

using kernels::binsPerBlock;

constexpr double middleToHertz = 2000.0;
constexpr double wholeToHertz = 562.341325; // the low-mid band is kept bin by bin
constexpr int widestPool = 8;               // bins

struct Grain {
    double middleHertz, upperHertz; // widths that no pool of more than one bin exceeds
};
constexpr std::array<Grain, 2> grains{{{6.0, 12.0}, {12.0, 24.0}}}; // fine, coarse

int blockOf(double hertz, double binWidthHz) {
    return static_cast<int>(std::floor(hertz / binWidthHz + 1e-9)) / binsPerBlock;
}

int binsWithin(double hertz, double binWidthHz) {
    int bins = 1;
    while (bins < widestPool && 2 * bins * binWidthHz <= hertz)
        bins *= 2;
    return bins;
}

} // namespace

std::size_t Keeping::bytes(int tracks) const {
    const auto all = static_cast<std::size_t>(tracks);
    return static_cast<std::size_t>(stretches) * (all * (all + 1) / 2) * valuesPerPair() * sizeof(std::uint32_t);
}

std::vector<Pool> Keeping::pools(int bins) const {
    std::vector<Pool> all;
    for (int block = 0; block < blocks(); ++block)
        for (int bin = block * binsPerBlock; bin < std::min(bins, (block + 1) * binsPerBlock);) {
            const int count = std::min(poolBins[static_cast<std::size_t>(block)], bins - bin);
            all.push_back({bin, count});
            bin += count;
        }
    return all;
}

Keeping chooseKeeping(int bins, double binWidthHz, int tracks, int stretches, std::size_t atMostBytes) {
    const int blocks = std::min((bins + binsPerBlock - 1) / binsPerBlock, blockOf(wideBand.high.value, binWidthHz) + 1);
    for (int together = 1;; together *= 2)
        for (const Grain& grain : grains) {
            Keeping keeping;
            keeping.together = together;
            keeping.stretches = (stretches + together - 1) / together;
            keeping.valuesTo.push_back(0);
            for (int block = 0; block < blocks; ++block) {
                const int pool = block <= blockOf(wholeToHertz, binWidthHz) ? 1
                                 : block <= blockOf(middleToHertz, binWidthHz)
                                     ? binsWithin(grain.middleHertz, binWidthHz)
                                     : binsWithin(grain.upperHertz, binWidthHz);
                keeping.poolBins.push_back(pool);
                keeping.valuesTo.push_back(keeping.valuesTo.back() + static_cast<std::size_t>(binsPerBlock / pool));
            }
            const bool last = together >= stretches && &grain == &grains.back();
            if (last || keeping.bytes(tracks) <= atMostBytes) return keeping;
        }
}

} // namespace spillwright
