#include "Session/LowsChange.h"

#include "Session/PairWords.h"

#include <cmath>

namespace spillwright {

namespace {

constexpr double closeFrom = 0.3;     // coherence of tracks that have a sound in common to lose
constexpr double leastShare = 1e-3;   // -30 dB
constexpr double leastPairLoss = 2.0; // dB; what is less is not named

} // namespace

double shareInBand(const Measurement& m, std::span<const TrackAdjustment> adjustments, Band band) {
    const auto bins = binsWithin(band, m.spectra->binWidth(), m.spectra->binCount());
    double within = 0.0, whole = 0.0;
    for (const int track : m.usable) {
        const auto& adjustment = adjustments[static_cast<std::size_t>(track)];
        if (adjustment.muted) continue;
        const double amplitude = amplitudeOfDecibels(adjustment.gain.value);
        for (int bin = 1; bin < m.spectra->binCount(); ++bin) {
            const double power = amplitude * amplitude * m.spectra->power(bin, track);
            whole += power;
            if (bin >= bins.firstBin && bin <= bins.lastBin) within += power;
        }
    }
    return whole > 0.0 ? within / whole : 0.0;
}

std::optional<LowsChange> lowsChange(const Measurement& m, std::span<const TrackAdjustment> adjustments, bool stereo,
                                     const Placement& from, const Placement& to) {
    if (shareInBand(m, adjustments, lowsBand) <= leastShare) return std::nullopt;
    const auto wins = [](const SummationModel& model, const Placement& before, const Placement& after) {
        return decibelsOfPower(model.gain(after.signs, after.nudges)) -
               decibelsOfPower(model.gain(before.signs, before.nudges));
    };
    const auto mix = usableMix(m, adjustments, stereo);
    LowsChange change;
    change.winsDb = wins(SummationModel(*m.spectra, m.usable, mix.adjustments, lowsBand, mix.pans), from, to);
    if (!std::isfinite(change.winsDb)) return std::nullopt;

    std::vector<int> position(m.tracks.size(), -1); // in the list of usable tracks
    for (std::size_t p = 0; p < m.usable.size(); ++p)
        position[static_cast<std::size_t>(m.usable[p])] = static_cast<int>(p);
    double worst = -leastPairLoss;
    for (const auto& pair : m.pairs) {
        if (!pair.related || !isSure(pair) || pair.coherence < closeFrom) continue;
        const std::array tracks{pair.first, pair.second};
        const std::array adjusted{adjustments[static_cast<std::size_t>(pair.first)],
                                  adjustments[static_cast<std::size_t>(pair.second)]};
        if (adjusted[0].muted || adjusted[1].muted) continue;
        const auto ofPair = [&](const Placement& all) {
            Placement two;
            for (const int track : tracks) {
                const auto p = static_cast<std::size_t>(position[static_cast<std::size_t>(track)]);
                two.signs.push_back(all.signs[p]);
                two.nudges.push_back(all.nudges[p]);
            }
            return two;
        };
        const auto before = ofPair(from), after = ofPair(to);
        if (before.signs == after.signs && before.nudges == after.nudges) continue;
        const double pairWins = wins(SummationModel(*m.spectra, tracks, adjusted, lowsBand), before, after);
        if (pairWins < worst) {
            worst = pairWins;
            change.worst = LowsChange::Pair{pair.first, pair.second, pairWins};
        }
    }
    return change;
}

} // namespace spillwright
