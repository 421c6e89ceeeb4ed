#include "Session/Findings.h"

#include "Core/Statistics.h"
#include "Session/Words.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

namespace spillwright {

namespace {

constexpr double chanceMisses = 0.05; // of triangles that one source rules: arrivals' errors have heavy tails
constexpr std::size_t pairsNamed = 3; // one by one; of more only the number is told
constexpr std::size_t tracksNamed = 4;

/// "a, b and c", "a, b, c, d and 5 more".
std::string namesOf(const Measurement& m, const std::vector<int>& tracks) {
    const std::size_t named = tracks.size() <= tracksNamed + 1 ? tracks.size() : tracksNamed;
    std::string words;
    for (std::size_t k = 0; k < named; ++k)
        words += (k == 0                   ? ""
                  : k + 1 == tracks.size() ? " and "
                                           : ", ") +
                 m.tracks[static_cast<std::size_t>(tracks[k])].name;
    return named == tracks.size() ? words : words + " and " + std::to_string(tracks.size() - named) + " more";
}

std::string signedMs(Seconds time) {
    char text[32];
    std::snprintf(text, sizeof text, "%+.2f ms", inMilliseconds(time));
    return text;
}

std::string tracksInNumber(int count) {
    return std::to_string(count) + (count == 1 ? " track" : " tracks");
}

} // namespace

std::vector<std::string> stabilityInWords(const Measurement& m) {
    std::vector<std::string> lines;
    const auto nameOf = [&](int track) { return m.tracks[static_cast<std::size_t>(track)].name; };
    for (const auto& clock : m.stability.otherClocks) {
        char rate[160];
        // What was counted fast lasts too long: fewer samples, by the same part, put it right.
        std::snprintf(rate, sizeof rate,
                      ": clock is %.2f ppm %s (+-%.2f ppm; %.3f ms a minute) against %s; resample by a factor of "
                      "%.9f before you nudge, or measure short stretches",
                      std::abs(clock.ppm), clock.ppm > 0 ? "fast" : "slow", ninetyFive * clock.ppmUncertainty,
                      std::abs(clock.ppm) * 0.06, tracksInNumber(clock.against).c_str(),
                      1.0 / (1.0 + 1e-6 * clock.ppm));
        lines.push_back(namesOf(m, clock.tracks) + rate);
    }
    for (const auto& move : m.stability.moved) {
        const bool alone = move.against == 1; // of two tracks: which of them, or whether a source, nobody can tell
        lines.push_back(nameOf(move.track) + ": " + (alone ? "moved, or another source took over," : "moved") +
                        " at about " + clockText(std::round(move.time.value), false) + " (arrival " +
                        signedMs(move.step) + " against " + tracksInNumber(move.against) +
                        "); measure before and after apart");
    }
    for (const auto& track : m.stability.wandering) {
        char range[48];
        std::snprintf(range, sizeof range, "%.2f ms", inMilliseconds(track.range));
        lines.push_back(nameOf(track.track) + ": arrival wanders over " + range + " against " +
                        tracksInNumber(track.against) +
                        " (its source moves, or sources take turns); measure short stretches");
    }
    return lines;
}

std::vector<std::string> consistencyInWords(const Measurement& m) {
    const auto& found = m.consistency;
    std::vector<std::string> lines;
    // What is off by less costs a tenth of a decibel at 500 Hz, 20 lg |cos(pi f t)|.
    constexpr Seconds worthSaying(1e-4);
    std::vector<OddPair> oddArrivals;
    std::copy_if(found.oddArrivals.begin(), found.oddArrivals.end(), std::back_inserter(oddArrivals),
                 [](const auto& odd) { return std::abs((odd.measured - odd.expected).value) >= worthSaying.value; });
    for (std::size_t k = 0; k < std::min(pairsNamed, oddArrivals.size()); ++k) {
        const auto& odd = oddArrivals[k];
        lines.push_back(pairName(m, odd.first, odd.second) + ": arrives at " + signedMs(odd.measured) +
                        ", but the other pairs of these tracks say " + signedMs(odd.expected) +
                        "; do not nudge by this pair alone");
    }
    if (oddArrivals.size() > pairsNamed)
        lines.push_back(std::to_string(oddArrivals.size() - pairsNamed) +
                        " more pairs arrive at other times than the pairs beside them say; trust the fitted arrivals");
    for (std::size_t k = 0; k < std::min(pairsNamed, found.oddPolarities.size()); ++k)
        lines.push_back(pairName(m, found.oddPolarities[k].first, found.oddPolarities[k].second) +
                        ": polarity contradicts the other pairs of these tracks; listen before you flip by it");
    if (found.oddPolarities.size() > pairsNamed)
        lines.push_back(std::to_string(found.oddPolarities.size() - pairsNamed) +
                        " more pairs contradict the polarity of the pairs beside them; listen before you flip by them");

    const bool open = found.closing < (1.0 - chanceMisses) * found.triangles;
    const bool told = found.sets.size() == 1 && !oddArrivals.empty();
    if (open && !told) {
        std::string line = "arrivals: " + std::to_string(found.closing) + " of " + std::to_string(found.triangles) +
                           (found.triangles == 1 ? " triangle closes" : " triangles close");
        for (std::size_t k = 0; k < std::min(pairsNamed, found.sets.size()); ++k)
            line += (k == 0 ? "; one source rules " : "; another ") + namesOf(m, found.sets[k].tracks);
        lines.push_back(line + "; other pairs hear different sources first, so take their arrivals pair by pair");
    }
    return lines;
}

} // namespace spillwright
