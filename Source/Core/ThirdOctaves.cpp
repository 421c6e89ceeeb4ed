#include "Core/ThirdOctaves.h"

#include <algorithm>
#include <cmath>

namespace spillwright {

std::vector<ThirdOctave> thirdOctavesOf(Band band) {
    const double low = band.low.value, high = band.high.value;
    if (!(low > 0.0) || !(high > low)) return {};
    // An edge that rounding puts a hair inside the band is the band's own edge.
    const double hair = 1e-9;
    std::vector<double> edges{low};
    for (int k = static_cast<int>(std::floor(10.0 * std::log10(low))) - 1;; ++k) {
        const double edge = std::pow(10.0, (k + 0.5) / 10.0);
        if (edge >= high * (1.0 - hair)) break;
        if (edge > low * (1.0 + hair)) edges.push_back(edge);
    }
    edges.push_back(high);
    std::vector<ThirdOctave> octaves;
    for (std::size_t b = 0; b + 1 < edges.size(); ++b)
        octaves.push_back({edges[b], edges[b + 1], std::log(edges[b + 1] / edges[b]) / std::log(high / low)});
    return octaves;
}

ThirdOctaveBins binsWithin(Band band, double binWidthHz, int binCount) {
    // Bin centres are compared in Hz, as edges are: rounding a quotient could take a centre on an edge to either side.
    int first = std::max(1, static_cast<int>(std::floor(band.low.value / binWidthHz)));
    while (first * binWidthHz < band.low.value)
        ++first;
    int last = std::min(binCount - 1, static_cast<int>(std::ceil(std::min(band.high.value / binWidthHz, 1e9))));
    while (last >= first && last * binWidthHz > band.high.value)
        --last;
    return {1.0, first, last};
}

std::vector<ThirdOctaveBins> thirdOctaveBins(Band band, double binWidthHz, int binCount) {
    std::vector<ThirdOctaveBins> result;
    const auto octaves = thirdOctavesOf(band);
    for (std::size_t b = 0; b < octaves.size(); ++b) {
        auto bins = binsWithin({Hertz(octaves[b].low), Hertz(octaves[b].high)}, binWidthHz, binCount);
        if (b + 1 < octaves.size() && bins.lastBin * binWidthHz == octaves[b].high) --bins.lastBin;
        result.push_back({octaves[b].share, bins.firstBin, bins.lastBin});
    }
    return result;
}

} // namespace spillwright
