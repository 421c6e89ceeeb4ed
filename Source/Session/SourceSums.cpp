#include "Session/SourceSums.h"

#include "Session/Sources.h"
#include "Session/Words.h"

#include <algorithm>
#include <cmath>

namespace spillwright {

std::vector<SourceSum> sourceSums(const Measurement& m, std::span<const TrackAdjustment> adjustments, bool stereo) {
    std::vector<SourceSum> sums;
    if (!m.sources || m.sources->map.readings.empty()) return sums;
    const CrossSpectra& whole = m.focus ? *m.allSpectra : *m.spectra;
    const auto mix = usableMix(m, adjustments, stereo);
    for (int source = 0; source < std::ssize(m.sources->names); ++source) {
        const SourceSpectra alone(whole, m.sources->map, source);
        auto model = SummationModel::ofTracks(
            m.usable, whole.binCount(), whole.binWidth(), whole.sampleRate(),
            [&](int bin, int i, int j) { return std::complex<double>(alone.at(bin, i, j)); }, mix.adjustments,
            m.options.band, mix.pans);
        if (model.hasEnergy())
            sums.push_back({source, m.sources->names[static_cast<std::size_t>(source)], std::move(model)});
    }
    return sums;
}

Result<AimedSums> aimedSums(const Measurement& m, const std::vector<SourceSum>& sums, const SourceAim& aim) {
    if (sums.empty())
        return Fault{m.folder, "no source was told apart that sounds in the band",
                     "choose a longer stretch or another band, or leave out the aim at sources"};
    AimedSums aimed;
    const auto add = [&aimed](const SourceSum& sum, double weight) {
        aimed.models.push_back(sum.model);
        aimed.weights.push_back(weight);
        aimed.names.push_back(sum.name);
    };
    if (aim.sources.empty())
        for (const auto& sum : sums)
            add(sum, 1.0);
    std::vector<int> named;
    for (const auto& [name, weight] : aim.sources) {
        const auto source = findSource(name, m);
        if (!source) return source.fault();
        if (!(weight > 0.0 && std::isfinite(weight)))
            return Fault{name, "its weight is not above 0", "give a weight like 1 or 0.5, or leave the source out",
                         Fault::Kind::usage};
        if (std::count(named.begin(), named.end(), *source) > 0)
            return Fault{name, "this source is named twice", "name it once", Fault::Kind::usage};
        named.push_back(*source);
        const auto sum = std::find_if(sums.begin(), sums.end(), [&](const auto& s) { return s.source == *source; });
        if (sum == sums.end())
            return Fault{name, "this source does not sound in the band", "leave it out, or choose another band"};
        add(*sum, weight);
    }
    return aimed;
}

std::string sourcesInWords(const std::vector<SourceGain>& sources) {
    constexpr double noted = 0.1; // dB
    constexpr std::size_t most = 3;
    auto sorted = sources;
    std::stable_sort(sorted.begin(), sorted.end(), [](const auto& a, const auto& b) { return a.winsDb > b.winsDb; });
    const auto part = [&](const char* verb, auto&& counts) {
        std::string text;
        std::size_t named = 0, others = 0;
        for (const auto& source : sorted) {
            if (!counts(source.winsDb)) continue;
            if (++named > most) {
                ++others;
                continue;
            }
            text += (named == 1 ? "'" : ", '") + source.name + "' " + (named == 1 ? verb : "") +
                    decibelsText(std::abs(source.winsDb), 1);
        }
        return others > 0 ? text + " and " + std::to_string(others) + " more some" : text;
    };
    const std::string gains = part("gains ", [](double wins) { return wins >= noted; });
    std::reverse(sorted.begin(), sorted.end()); // who loses most first
    const std::string losses = part("loses ", [](double wins) { return wins <= -noted; });
    if (gains.empty() && losses.empty()) return {};
    return " Of the sources, " + gains + (gains.empty() || losses.empty() ? "" : "; ") + losses + ".";
}

} // namespace spillwright
