#include "Session/Readings.h"

#include "Core/ThirdOctaves.h"
#include "Session/Findings.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>
#include <new>
#include <sstream>

namespace spillwright {

namespace {

constexpr double overlapAsked = 0.5; ///< Of a stretch's own length.

/// Weight 1 for the stretches that are meant, 0 for the others. There is at least one stretch.
std::vector<float> chosenStretches(const CrossSpectra& spectra, std::int64_t from, std::int64_t to) {
    std::vector<float> weights(static_cast<std::size_t>(spectra.stretches()));
    std::size_t most = 0;
    std::int64_t largest = std::numeric_limits<std::int64_t>::min();
    for (std::size_t k = 0; k < weights.size(); ++k) {
        const StretchSpan span = spectra.stretchSpan(static_cast<int>(k));
        // Below 0: how far apart they are, so that what follows the last window counts to the last stretch.
        const std::int64_t overlap = std::min(to, span.to) - std::max(from, span.from);
        if (overlap > largest) {
            largest = overlap;
            most = k;
        }
        if (static_cast<double>(overlap) >= overlapAsked * static_cast<double>(span.to - span.from)) weights[k] = 1.0f;
    }
    weights[most] = 1.0f;
    return weights;
}

/// A band of which nothing is measured is a fault; one that reaches higher than what is measured is remarked on.
std::optional<Fault> checkBand(Measurement& m) {
    const auto& spectra = *m.spectra;
    if (spectra.windows() == 0) return std::nullopt;
    const auto bins = binsWithin(m.options.band, spectra.binWidth(), spectra.binCount());
    const double top = (spectra.binCount() - 1) * spectra.binWidth();
    const auto hertz = [](double value) { return std::to_string(std::lround(value)) + " Hz"; };
    if (bins.firstBin > bins.lastBin) {
        std::ostringstream apart;
        apart << std::round(spectra.binWidth() * 10.0) / 10.0 << " Hz";
        return Fault{m.folder,
                     "the band holds none of the frequencies that are measured, up to " + hertz(top) + " every " +
                         apart.str(),
                     "choose a lower or a wider band"};
    }
    if (m.options.band.high.value > top + spectra.binWidth())
        m.warnings.push_back(m.folder + ": the band is read up to " + hertz(top) + "; nothing higher is measured");
    return std::nullopt;
}

} // namespace

ReadSpan spanOf(const Measurement& m) {
    const double rate = m.spectra->sampleRate();
    return {Seconds(static_cast<double>(m.spectra->from()) / rate),
            Seconds(static_cast<double>(m.spectra->to()) / rate)};
}

void findUsable(Measurement& m) {
    m.usable.clear();
    for (std::size_t i = 0; i < m.tracks.size(); ++i) {
        auto& track = m.tracks[i];
        if (track.state != TrackState::unreadable)
            track.state = m.spectra->statistics(static_cast<int>(i)).silent() ? TrackState::silent : TrackState::ok;
        if (track.state == TrackState::ok) m.usable.push_back(static_cast<int>(i));
    }
}

std::optional<Fault> readAllPairs(Measurement& m, Workers& workers, const Watch& watch) {
    if (auto fault = checkBand(m)) return fault;
    auto pairs = readPairs(*m.spectra, m.usable, {m.options.band, m.options.largestArrival}, workers, watch);
    if (!pairs) return pairs.fault();
    m.pairs = std::move(pairs).value();
    m.stability = readStability(*m.spectra, m.pairs, workers);
    m.consistency = fitTriangles(m.pairs);
    for (const auto& lines : {stabilityInWords(m), consistencyInWords(m)})
        m.warnings.insert(m.warnings.end(), lines.begin(), lines.end());
    return std::nullopt;
}

Result<Measurement> readStretches(const Measurement& whole, Seconds from, Seconds to, Workers& workers,
                                  const Watch& watch) {
    const auto& spectra = *whole.spectra;
    const double rate = spectra.sampleRate();
    const auto first = static_cast<std::int64_t>(std::llround(from.value * rate));
    const auto last = static_cast<std::int64_t>(std::llround(to.value * rate));
    const auto moments = [&](Seconds a, Seconds b) {
        std::ostringstream words;
        words << std::round(a.value * 100.0) / 100.0 << " s to " << std::round(b.value * 100.0) / 100.0 << " s";
        return words.str();
    };
    if (first >= last || last <= spectra.from() || first >= spectra.to() || spectra.stretches() == 0)
        return Fault{whole.folder, "nothing was measured from " + moments(from, to), "choose moments that were"};

    Measurement m;
    m.folder = whole.folder;
    m.options = whole.options;
    m.tracks = whole.tracks;
    const auto weights = chosenStretches(spectra, first, last);
    if (std::find(weights.begin(), weights.end(), 0.0f) == weights.end()) {
        m = whole;
        m.warnings.clear();
    } else {
        try {
            m.spectra = std::make_shared<const CrossSpectra>(spectra.restrictedTo(weights, workers));
        } catch (const std::bad_alloc&) {
            return Fault{m.folder, "too little memory for readings of some moments alone",
                         "close other programs or read the whole"};
        }
    }
    const ReadSpan covered = spanOf(m);
    m.options.from = covered.from;
    m.options.to = covered.to;
    if (m.spectra == whole.spectra) return m;

    findUsable(m);
    if (m.usable.empty())
        return Fault{m.folder, "nothing sounds from " + moments(covered.from, covered.to), "choose other moments"};
    if (auto fault = readAllPairs(m, workers, watch)) return *fault;
    return m;
}

} // namespace spillwright
