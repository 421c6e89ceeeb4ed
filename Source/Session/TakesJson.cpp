#include "Session/JsonNumbers.h"
#include "Session/Takes.h"

#include <nlohmann/json.hpp>

#include <cctype>

namespace spillwright {

namespace {

using namespace jsonNumbers;

ordered_json number(const std::optional<double>& value, int digits, double scale = 1.0) {
    return value ? rounded(*value * scale, digits) : ordered_json();
}

/// "moved, or its source" -> "movedOrItsSource"
std::string inCamel(const char* words) {
    std::string name;
    bool capital = false;
    for (const char* p = words; *p; ++p) {
        const auto c = static_cast<unsigned char>(*p);
        if (!std::isalpha(c)) {
            capital = true;
            continue;
        }
        name += capital ? static_cast<char>(std::toupper(c)) : *p;
        capital = false;
    }
    return name;
}

ordered_json trackInTake(const Comparison& c, std::size_t track, std::size_t k) {
    const int t = c.tracks[track].tracks[k];
    if (t < 0) return nullptr;
    const auto& take = c.takes[k];
    const auto& info = take.recording.tracks[static_cast<std::size_t>(t)];
    const auto& level = take.levels[track];
    const auto& hum = take.hums[track];
    return {{"name", info.name},
            {"state", info.state == TrackState::ok       ? "ok"
                      : info.state == TrackState::silent ? "silent"
                                                         : "unreadable"},
            {"level_dBFS", level ? rounded(level->value, dbDigits) : ordered_json()},
            {"levelUncertainty_dB", level ? number(level->uncertainty, dbDigits) : ordered_json()},
            {"spillShare", number(take.spillShares[track], shareDigits)},
            {"spillShareUnsure", c.tracks[track].standingUnsure},
            {"hum_Hz", hum ? rounded(hum->hertz, 2) : ordered_json()},
            {"hum_dBFS", hum ? rounded(hum->level.value, dbDigits) : ordered_json()}};
}

ordered_json pairInTake(const std::optional<ComparedPair>& pair) {
    if (!pair) return nullptr;
    const auto& reading = pair->reading;
    const auto ms = [&](Seconds Arrival::*what) {
        return reading.arrival ? rounded(inMilliseconds((*reading.arrival).*what), msDigits) : ordered_json();
    };
    return {
        {"related", reading.related},
        {"coherence", rounded(pair->coherence.value, shareDigits)},
        {"coherenceUncertainty", number(pair->coherence.uncertainty, shareDigits)},
        {"arrival_ms", ms(&Arrival::delay)},
        {"arrivalUncertainty_ms", ms(&Arrival::uncertainty)},
        {"polarity", reading.polarity ? ordered_json(sign(reading.polarity->polarity)) : ordered_json()},
        {"polarityConfidence", reading.polarity ? rounded(reading.polarity->confidence, shareDigits) : ordered_json()},
        {"notch_Hz", pair->notchAt ? rounded(pair->notchAt->value, 2) : ordered_json()},
        {"deepest_dB", rounded(pair->notch.value, dbDigits)},
        {"deepestUncertainty_dB", number(pair->notch.uncertainty, dbDigits)},
        {"summationGain_dB", rounded(pair->summationGain.value, dbDigits)},
        {"summationGainUncertainty_dB", number(pair->summationGain.uncertainty, dbDigits)},
        {"summationGainBest_dB", rounded(pair->best.value, dbDigits)}};
}

/// Under the names of the figure: "coherence", "coherenceUncertainty", "coherenceDiffers".
void add(ordered_json& into, const std::string& name, const std::string& unit,
         const std::optional<Difference>& difference, int digits, double scale = 1.0) {
    into[name + unit] = difference ? rounded(difference->value * scale, digits) : ordered_json();
    into[name + "Uncertainty" + unit] = difference ? number(difference->uncertainty, digits, scale) : ordered_json();
    into[name + "Differs"] = difference && difference->uncertainty ? ordered_json(difference->stands) : ordered_json();
    into[name + "DiffersFrom" + unit] = difference ? number(difference->standsFrom, digits, scale) : ordered_json();
}

const char* placeWord(TrackChange::Place place) {
    switch (place) {
    case TrackChange::Place::asItWas:
        return "asItWas";
    case TrackChange::Place::late:
        return "late";
    case TrackChange::Place::moved:
        return "moved";
    case TrackChange::Place::sourceMoved:
        return "sourceMoved";
    case TrackChange::Place::either:
        return "movedOrItsSource";
    }
    return "";
}

ordered_json changeToJson(const Comparison& c, const TakeChange& change) {
    using Kind = TakeChange::Kind;
    ordered_json one;
    one["track"] = c.tracks[static_cast<std::size_t>(change.track)].name;
    one["change"] = inCamel(changeWord(change.kind));
    const bool time = change.kind == Kind::late || change.kind == Kind::moved || change.kind == Kind::sourceMoved ||
                      change.kind == Kind::movedEither;
    if (time) {
        one["later_ms"] = rounded(change.amount, msDigits);
        one["laterUncertainty_ms"] = number(change.uncertainty, msDigits);
    } else if (change.kind == Kind::gain) {
        one["gain_dB"] = rounded(change.amount, dbDigits);
        one["gainUncertainty_dB"] = number(change.uncertainty, dbDigits);
    } else if (change.kind == Kind::hum || change.kind == Kind::humGone) {
        one["hum_Hz"] = rounded(change.hertz, 2);
        one["hum_dBFS"] = rounded(change.amount, dbDigits);
    } else if (change.kind == Kind::spill) {
        one["spillShare"] = rounded(change.amount, shareDigits);
        one["spillShareUncertainty"] = number(change.uncertainty, shareDigits);
    }
    if (change.against > 0) one["against"] = change.against;
    return one;
}

ordered_json differenceToJson(const Comparison& c, const TakeDifference& d) {
    ordered_json one;
    one["first"] = c.takes.front().name;
    one["second"] = c.takes[static_cast<std::size_t>(d.second)].name;
    ordered_json verdict = ordered_json::array();
    for (const auto& line : d.verdict)
        verdict.push_back(line.text);
    one["verdict"] = std::move(verdict);
    one["canBeTold"] = d.canBeTold;
    one["ways"] = d.ways;
    one["waysAlike"] = d.waysAlike;
    ordered_json changes = ordered_json::array();
    for (const auto& change : d.changes)
        changes.push_back(changeToJson(c, change));
    one["changes"] = std::move(changes);
    one["eitherOfTwo"] = d.ambiguous;
    one["waysUnexplained"] = d.waysUnexplained;
    add(one, "summationGain", "_dB", d.sum, dbDigits);
    add(one, "summationGainBest", "_dB", d.best, dbDigits);
    ordered_json tracks = ordered_json::array();
    for (std::size_t t = 0; t < c.tracks.size(); ++t) {
        const auto& change = d.tracks[t];
        ordered_json track;
        track["track"] = c.tracks[t].name;
        const bool told = change.against > 0;
        track["ways"] = change.against;
        track["inverted"] = told ? ordered_json(change.inverted) : ordered_json();
        track["place"] = told ? ordered_json(placeWord(change.place)) : ordered_json();
        track["later_ms"] = told ? rounded(inMilliseconds(change.later), msDigits) : ordered_json();
        track["laterUncertainty_ms"] = told && change.place != TrackChange::Place::asItWas
                                           ? rounded(inMilliseconds(change.laterUncertainty), msDigits)
                                           : ordered_json();
        track["gain_dB"] = change.gain ? rounded(change.gain->value, dbDigits) : ordered_json();
        track["gainUncertainty_dB"] = change.gain ? rounded(change.gainUncertainty.value, dbDigits) : ordered_json();
        track["gainDiffers"] = change.gain ? ordered_json(change.gainChanged) : ordered_json();
        add(track, "spillShareAtSamePlaying", "", d.spill[t], shareDigits);
        tracks.push_back(std::move(track));
    }
    one["tracks"] = std::move(tracks);
    ordered_json pairs = ordered_json::array();
    for (const auto& pair : d.pairs) {
        const auto [first, second] = c.pairOf(static_cast<std::size_t>(pair.pair));
        ordered_json p;
        p["first"] = c.tracks[static_cast<std::size_t>(first)].name;
        p["second"] = c.tracks[static_cast<std::size_t>(second)].name;
        add(p, "coherence", "", pair.coherence, shareDigits);
        add(p, "summationGain", "_dB", pair.summationGain, dbDigits);
        add(p, "deepest", "_dB", pair.notch, dbDigits);
        add(p, "arrival", "_ms", pair.arrival, msDigits, 1e3);
        p["polarityDiffers"] = pair.polarityDiffers ? ordered_json(*pair.polarityDiffers) : ordered_json();
        p["dueTo"] = ordered_json::array();
        for (const int track : pair.dueTo)
            p["dueTo"].push_back(c.tracks[static_cast<std::size_t>(track)].name);
        pairs.push_back(std::move(p));
    }
    one["pairs"] = std::move(pairs);
    return one;
}

} // namespace

nlohmann::ordered_json comparisonToJson(const Comparison& c) {
    ordered_json takes = ordered_json::array();
    for (const auto& take : c.takes) {
        const auto& m = take.recording;
        const double rate = m.spectra->sampleRate();
        ordered_json flips = ordered_json::array();
        for (const int track : take.flips)
            flips.push_back(c.tracks[static_cast<std::size_t>(track)].name);
        ordered_json one;
        one["name"] = take.name;
        one["folder"] = m.folder;
        one["sampleRate_Hz"] = rate;
        one["from_s"] = rounded(static_cast<double>(m.spectra->from()) / rate, msDigits);
        one["to_s"] = rounded(static_cast<double>(m.spectra->to()) / rate, msDigits);
        one["summationGain_dB"] = take.sum ? rounded(take.sum->value, dbDigits) : ordered_json();
        one["summationGainUncertainty_dB"] = take.sum ? number(take.sum->uncertainty, dbDigits) : ordered_json();
        one["summationGainBest_dB"] = take.best ? rounded(take.best->value, dbDigits) : ordered_json();
        one["summationGainBestUncertainty_dB"] = take.best ? number(take.best->uncertainty, dbDigits) : ordered_json();
        one["flips"] = std::move(flips);
        takes.push_back(std::move(one));
    }
    ordered_json tracks = ordered_json::array();
    for (std::size_t t = 0; t < c.tracks.size(); ++t) {
        const auto by = c.tracks[t].by;
        ordered_json track;
        track["name"] = c.tracks[t].name;
        track["matchedBy"] = by == MatchedBy::name ? "name" : by == MatchedBy::order ? "order" : "hand";
        ordered_json inTakes = ordered_json::array();
        for (std::size_t k = 0; k < c.takes.size(); ++k)
            inTakes.push_back(trackInTake(c, t, k));
        track["inTakes"] = std::move(inTakes);
        tracks.push_back(std::move(track));
    }
    ordered_json pairs = ordered_json::array();
    for (std::size_t p = 0; p < c.pairCount(); ++p) {
        const auto [first, second] = c.pairOf(p);
        ordered_json pair;
        pair["first"] = c.tracks[static_cast<std::size_t>(first)].name;
        pair["second"] = c.tracks[static_cast<std::size_t>(second)].name;
        ordered_json inTakes = ordered_json::array();
        for (const auto& take : c.takes)
            inTakes.push_back(pairInTake(take.pairs[p]));
        pair["inTakes"] = std::move(inTakes);
        pairs.push_back(std::move(pair));
    }
    ordered_json differences = ordered_json::array();
    for (const auto& difference : c.differences)
        differences.push_back(differenceToJson(c, difference));

    const auto& options = c.takes.front().recording.options;
    ordered_json root;
    root["format"] = "spillwright/comparison";
    root["version"] = 1;
    root["of"] = c.microphones ? "microphones" : "takes";
    root["source"] = c.source ? ordered_json(*c.source) : ordered_json();
    root["band_Hz"] = bandToJson(options.band);
    root["temperature_C"] = options.temperature.value;
    root["takes"] = std::move(takes);
    root["tracks"] = std::move(tracks);
    root["pairs"] = std::move(pairs);
    root["differences"] = std::move(differences);
    root["warnings"] = c.warnings;
    return root;
}

} // namespace spillwright
