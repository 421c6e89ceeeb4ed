#include "Session/SpillFindings.h"

#include "Session/PairWords.h"
#include "Session/Words.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstdio>
#include <numbers>

namespace spillwright {

namespace {

constexpr double broughtShare = 0.01;
constexpr std::size_t broughtNamed = 3;
constexpr double worthALine = 0.2; // of a track's energy
constexpr double matters = 0.05;   // of a track's energy
/// A third octave holds a source's sound where it is within this of the loudest one.
constexpr double soundWithinDb = 30.0;

bool isClose(const SpillMap& map, int source, int track) {
    return sourceOf(map.plan, track) == source;
}

const std::string& trackName(const Measurement& m, int track) {
    return m.tracks[static_cast<std::size_t>(track)].name;
}

const std::string& sourceName(const Measurement& m, int source) {
    return m.sources->names[static_cast<std::size_t>(source)];
}

std::string inDb(double value) {
    char text[32];
    std::snprintf(text, sizeof text, "%+.1f dB", value);
    return text;
}

/// 10 lg of the source's power in the sum of its close track and another one over that in the close track alone, from
/// 100 Hz to 8 kHz.
double gainOfSum(const SpillMap& map, const SpillReading& reading, double binWidth, bool flip, Seconds nudge) {
    const auto place = static_cast<std::size_t>(&reading - map.readings.data());
    const auto& response = map.responses[place];
    const auto& power = map.sourcePowers[static_cast<std::size_t>(reading.source)];
    double alone = 0.0, coherent = 0.0, cross = 0.0;
    for (std::size_t f = 0; f < power.size(); ++f) {
        const double hertz = (map.firstBin + static_cast<double>(f)) * binWidth;
        const auto turn = std::polar(1.0, -2.0 * std::numbers::pi * hertz * nudge.value);
        const auto h = std::complex<double>(response[f]) * turn;
        const double s = static_cast<double>(power[f]);
        alone += s;
        coherent += s * std::norm(h);
        cross += s * h.real();
    }
    if (!(alone > 0.0)) return 0.0;
    const double whole =
        reading.level ? std::max(coherent, alone * std::pow(10.0, reading.level->value / 10.0)) : coherent;
    return decibelsOfPower((alone + whole + (flip ? -2.0 : 2.0) * cross) / alone);
}

} // namespace

std::optional<double> spillShareOf(const Measurement& m, int track) {
    if (!m.sources || m.sources->map.readings.empty()) return std::nullopt;
    return m.sources->map.toldSpillShare(track);
}

bool spillShareUnsure(const Measurement& m, int track) {
    if (!m.sources) return false;
    const auto& unsure = m.sources->unsure;
    return std::find(unsure.begin(), unsure.end(), track) != unsure.end();
}

std::vector<Entry> orderOfEntry(const Measurement& m) {
    std::vector<Entry> order;
    if (!m.sources || m.sources->map.readings.empty()) return order;
    const auto& map = m.sources->map;
    for (const int track : m.usable) {
        Entry entry{track, spillShareOf(m, track), sourceOf(map.plan, track), {}};
        for (const auto& reading : map.readings)
            if (reading.track == track && reading.source != entry.source && reading.shareOfTrack >= broughtShare)
                entry.brings.push_back({reading.source, reading.shareOfTrack, reading.level});
        std::stable_sort(entry.brings.begin(), entry.brings.end(),
                         [](const auto& a, const auto& b) { return a.share > b.share; });
        order.push_back(std::move(entry));
    }
    std::stable_sort(order.begin(), order.end(), // nothing told is less than 0
                     [](const Entry& a, const Entry& b) { return a.spillShare > b.spillShare; });
    return order;
}

std::string entryInWords(const Measurement& m, const Entry& entry) {
    char share[64] = "spill cannot be told, others always play with it";
    if (entry.spillShare)
        std::snprintf(share, sizeof share, "%s%.0f %% spill", spillShareUnsure(m, entry.track) ? "perhaps " : "",
                      100.0 * *entry.spillShare);
    std::string words = share, low;
    for (std::size_t k = 0; k < std::min(broughtNamed, entry.brings.size()); ++k) {
        const auto& brought = entry.brings[k];
        words += (k == 0 ? ": " : ", ") + sourceName(m, brought.source);
        if (!brought.level) continue;
        words += " at " + inDb(brought.level->value);
        if (brought.level->value >= enoughOfItDb) low += (low.empty() ? "" : ", ") + sourceName(m, brought.source);
    }
    if (!low.empty()) words += "; with it in, start low with the close tracks of " + low;
    return words;
}

std::vector<Rescuer> rescueFor(const Measurement& m, int source) {
    std::vector<Rescuer> helpers;
    const auto& map = m.sources->map;
    if (map.readings.empty()) return helpers;
    const auto& powers = map.powerByThirdOctave[static_cast<std::size_t>(source)];
    const double loudest = *std::max_element(powers.begin(), powers.end());
    const int from = map.plan.sources[static_cast<std::size_t>(source)].closeTracks.front();
    for (const auto& reading : map.readings) {
        if (reading.source != source || reading.track == from || (!reading.level && !reading.arrival)) continue;
        const auto place = static_cast<std::size_t>(&reading - map.readings.data());
        Rescuer helper;
        helper.track = reading.track;
        helper.level = reading.level;
        int sounding = 0, above = 0;
        for (std::size_t b = 0; b < powers.size(); ++b) {
            if (powers[b] > 0.0 && decibelsOfPower(powers[b] / loudest) >= -soundWithinDb) {
                ++sounding;
                above += map.shareByThirdOctave[place][b] > 0.5;
            }
            const auto& level = reading.levelByThirdOctave[b];
            helper.tone.push_back(level && reading.level ? std::optional(*level - *reading.level) : std::nullopt);
        }
        helper.bandwidth = sounding > 0 ? static_cast<double>(above) / sounding : 0.0;
        helper.flip = reading.polarity && reading.polarity->polarity == Polarity::inverted;
        if (reading.arrival) helper.nudge = -reading.arrival->delay;
        const double width = m.spectra->binWidth();
        helper.gain = Decibels(gainOfSum(map, reading, width, false, Seconds(0.0)));
        helper.gainLinedUp = Decibels(gainOfSum(map, reading, width, helper.flip, helper.nudge.value_or(Seconds(0.0))));
        helpers.push_back(std::move(helper));
    }
    std::stable_sort(helpers.begin(), helpers.end(), [](const Rescuer& a, const Rescuer& b) {
        if (a.bandwidth != b.bandwidth) return a.bandwidth > b.bandwidth;
        return a.level.value_or(Decibels(-1e9)) > b.level.value_or(Decibels(-1e9));
    });
    return helpers;
}

std::string toneInWords(const Measurement& m, const Rescuer& rescuer) {
    struct Part {
        const char* name;
        double highestHz;
        double sum = 0.0;
        int count = 0;
    };
    Part parts[] = {{"lows", 350.0}, {"mids", 2200.0}, {"highs", 1e9}};
    const auto& centres = m.sources->map.centres;
    for (std::size_t b = 0; b < rescuer.tone.size(); ++b)
        if (rescuer.tone[b]) {
            auto& part = *std::find_if(std::begin(parts), std::end(parts),
                                       [&](const Part& p) { return centres[b].value < p.highestHz; });
            part.sum += rescuer.tone[b]->value;
            ++part.count;
        }
    std::string words;
    for (const auto& part : parts) {
        if (part.count == 0) continue;
        char figure[48];
        std::snprintf(figure, sizeof figure, "%s%s %+.0f", words.empty() ? "" : ", ", part.name, part.sum / part.count);
        words += figure;
    }
    return words.empty() ? words : words + " dB";
}

std::vector<std::string> unexplainedInWords(const Measurement& m) {
    if (!m.sources || m.sources->map.readings.empty()) return {};
    std::string tracks;
    for (const int track : m.usable) {
        const double share = m.sources->map.unexplained[static_cast<std::size_t>(track)];
        if (!(share >= worthALine)) continue;
        char figure[32];
        std::snprintf(figure, sizeof figure, " %.0f %%", 100.0 * share);
        tracks += (tracks.empty() ? "" : ", ") + trackName(m, track) + figure;
    }
    if (tracks.empty()) return {};
    return {"no source explains this much of " + tracks +
            ": somebody plays who has no close track; let the track that hears him best stand for him"};
}

std::vector<HeardApart> heardApart(const Measurement& m) {
    std::vector<HeardApart> found;
    if (!m.sources) return found;
    const auto& map = m.sources->map;
    for (const auto& reading : map.readings)
        if (reading.arrival && reading.level && !isClose(map, reading.source, reading.track) &&
            reading.arrival->delay > heardApartFrom && *reading.level >= heardApartLevel)
            found.push_back({reading.source, reading.track, reading.arrival->delay,
                             Metres(reading.arrival->delay.value * speedOfSound(m.options.temperature)),
                             *reading.level});
    std::stable_sort(found.begin(), found.end(), [](const auto& a, const auto& b) { return a.level > b.level; });
    return found;
}

std::vector<TooNear> tooNear(const Measurement& m) {
    std::vector<TooNear> found;
    if (!m.sources) return found;
    const auto& map = m.sources->map;
    for (const auto& reading : map.readings) {
        const auto own = sourceOf(map.plan, reading.track);
        if (own && *own != reading.source && reading.level && *reading.level > threeToOne &&
            reading.shareOfTrack >= matters)
            found.push_back({reading.source, reading.track, *reading.level});
    }
    std::stable_sort(found.begin(), found.end(), [](const auto& a, const auto& b) { return a.level > b.level; });
    return found;
}

std::vector<std::string> spacingInWords(const Measurement& m) {
    std::vector<std::string> lines;
    // Tracks in the order of their first finding, each with all that it hears so.
    const auto grouped = [&](const auto& found, const auto& words, const std::string& advice) {
        std::vector<int> tracks;
        for (const auto& one : found)
            if (std::find(tracks.begin(), tracks.end(), one.track) == tracks.end()) tracks.push_back(one.track);
        for (const int track : tracks) {
            std::string heard;
            for (const auto& one : found)
                if (one.track == track) heard += (heard.empty() ? " hears " : ", ") + words(one);
            lines.push_back(trackName(m, track) + heard + advice);
        }
    };
    grouped(
        tooNear(m), [&](const TooNear& near) { return sourceName(m, near.source) + " at " + inDb(near.level.value); },
        ": louder than the -9.5 dB of a spacing of 3:1; move it off, or turn its dead side there");
    grouped(
        heardApart(m),
        [&](const HeardApart& apart) {
            char later[64];
            std::snprintf(later, sizeof later, " %.0f ms late (%.1f m) at ", inMilliseconds(apart.later),
                          apart.further.value);
            return sourceName(m, apart.source) + later + inDb(apart.level.value);
        },
        ": late enough to be heard as wash; move it nearer, or keep it low");
    return lines;
}

std::vector<UpsideDown> upsideDown(const Measurement& m) {
    constexpr double sureFrom = 0.9;
    constexpr int leastTellers = 3;
    constexpr double mostSay = 0.75;
    if (!m.sources) return {};
    const std::size_t count = m.tracks.size();
    // How surely two tracks hear the same sources the same way up, above 0, or not, below.
    std::vector<double> alike(count * count, 0.0);
    for (const auto& reading : m.sources->map.readings) {
        const int close = m.sources->map.plan.sources[static_cast<std::size_t>(reading.source)].closeTracks.front();
        if (reading.track == close || !reading.arrival || !reading.polarity || reading.polarity->confidence < sureFrom)
            continue;
        const auto a = static_cast<std::size_t>(close), b = static_cast<std::size_t>(reading.track);
        const double sign = reading.polarity->polarity == Polarity::inverted ? -1.0 : 1.0;
        alike[a * count + b] = alike[b * count + a] += sign * reading.polarity->confidence;
    }
    // Turned over one by one, whichever puts most right, until none does.
    std::vector<double> way(count, 1.0);
    const auto atOdds = [&](std::size_t track) {
        double sum = 0.0;
        for (std::size_t other = 0; other < count; ++other)
            sum -= alike[track * count + other] * way[track] * way[other];
        return sum;
    };
    for (std::size_t turns = 0; turns < count * count; ++turns) {
        std::size_t worst = 0;
        for (std::size_t track = 1; track < count; ++track)
            if (atOdds(track) > atOdds(worst)) worst = track;
        if (atOdds(worst) <= 0.0) break;
        way[worst] = -way[worst];
    }
    // In each set of tracks that tell of each other the lesser part is upside down.
    std::vector<bool> seen(count, false);
    std::vector<UpsideDown> found;
    for (std::size_t first = 0; first < count; ++first) {
        if (seen[first]) continue;
        std::vector<std::size_t> set{first};
        seen[first] = true;
        for (std::size_t k = 0; k < set.size(); ++k)
            for (std::size_t other = 0; other < count; ++other)
                if (!seen[other] && alike[set[k] * count + other] != 0.0) {
                    seen[other] = true;
                    set.push_back(other);
                }
        const auto turned = static_cast<std::size_t>(
            std::count_if(set.begin(), set.end(), [&](std::size_t track) { return way[track] < 0.0; }));
        if (2 * turned == set.size()) continue;
        const double lesser = 2 * turned < set.size() ? -1.0 : 1.0;
        for (const std::size_t track : set) {
            if (way[track] != lesser) continue;
            UpsideDown one{static_cast<int>(track), 0, 0};
            for (std::size_t other = 0; other < count; ++other) {
                const double told = alike[track * count + other];
                if (told == 0.0) continue;
                ++one.tellers;
                one.against += told * way[track] * way[other] > 0.0;
            }
            if (one.tellers >= leastTellers && one.against >= mostSay * one.tellers) found.push_back(one);
        }
    }
    std::sort(found.begin(), found.end(), [](const auto& a, const auto& b) { return a.track < b.track; });
    return found;
}

std::vector<std::string> wiringInWords(const Measurement& m) {
    std::vector<std::string> lines;
    for (const auto& one : upsideDown(m))
        lines.push_back(trackName(m, one.track) + ": upside down, say " + std::to_string(one.against) + " of " +
                        std::to_string(one.tellers) +
                        " tracks that surely hear the same sources; look at its wiring, listen, and flip it");
    return lines;
}

const char* untoldInWords(Untold why) {
    switch (why) {
    case Untold::told:
        return "told";
    case Untold::alwaysTogether:
        return "always plays with another source";
    case Untold::tooFaint:
        return "too faint among the others";
    case Untold::noLeadingPeak:
        return "no path leads";
    case Untold::waysDisagree:
        return "two ways of reading it disagree";
    }
    return "";
}

std::string spillInWords(const Measurement& measurement, const SpillReading& reading, DistanceUnit unit) {
    constexpr const char* dot = " \u00b7 ";
    const auto& close = measurement.sources->map.plan.sources[static_cast<std::size_t>(reading.source)].closeTracks;
    std::string text;
    if (reading.level)
        text = signedAmount(reading.level->value, 1) + " dB" +
               (reading.levelLowMid ? ", low-mid " + signedAmount(reading.levelLowMid->value, 1) : "");
    else
        text = untoldInWords(reading.whyNoLevel);
    text += dot + unsignedAmount(100.0 * reading.shareOfTrack, 0) + " % of the track";
    if (reading.track == close.front()) return text + "\nits close track, against which the others are read";
    text += "\n";
    if (reading.arrival)
        text +=
            timeWithUncertainty(reading.arrival->delay, reading.arrival->uncertainty) + " (" +
            distanceText(reading.arrival->delay, reading.arrival->uncertainty, measurement.options.temperature, unit) +
            ")";
    else
        text += "when: " + std::string(untoldInWords(reading.whyNoArrival));
    if (reading.polarity)
        text += std::string(dot) + wayUp(reading.polarity->polarity) +
                (isSure(reading.polarity->confidence) ? "" : ", not sure");
    if (std::find(close.begin(), close.end(), reading.track) != close.end())
        text += std::string(dot) + "a close track too";
    return text;
}

} // namespace spillwright
