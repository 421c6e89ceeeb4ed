#include "Session/Measurement.h"

#include "Session/JsonNumbers.h"
#include "Session/Readings.h"
#include "Session/SourcesJson.h"

#include <nlohmann/json.hpp>

#include <algorithm>
#include <cmath>
#include <cstring>
#include <numeric>
#include <sstream>

namespace spillwright {

namespace {

using namespace jsonNumbers;

/// So large a part of a track at full scale is no stray peak: the sound's shape is lost.
constexpr double clippedThroughout = 0.01;

double inDecibels(double amplitude) {
    return decibelsOfAmplitude(amplitude);
}

std::string count(std::int64_t n, const char* one, const char* many) {
    return std::to_string(n) + " " + (n == 1 ? one : many);
}

/// Whether two tracks hold the same samples throughout. Reads both; asked only where every figure of theirs agrees.
bool sameSamples(const SampleSource& source, int a, int b, std::int64_t from, std::int64_t to) {
    struct Stream {
        std::unique_ptr<GroupReader> reader;
        std::vector<std::vector<float>> buffers;
        std::vector<float*> pointers;
        std::size_t channel = 0;
    };
    constexpr int chunk = 1 << 15;
    auto openStream = [&](int track, Stream& stream) {
        const auto& groups = source.groups();
        for (std::size_t g = 0; g < groups.size(); ++g) {
            const auto it = std::find(groups[g].begin(), groups[g].end(), track);
            if (it == groups[g].end()) continue;
            stream.channel = static_cast<std::size_t>(it - groups[g].begin());
            stream.buffers.assign(groups[g].size(), std::vector<float>(chunk));
            for (auto& buffer : stream.buffers)
                stream.pointers.push_back(buffer.data());
            auto opened = source.openGroup(static_cast<int>(g));
            if (!opened) return false;
            stream.reader = std::move(opened).value();
            return true;
        }
        return false;
    };
    Stream first, second;
    if (!openStream(a, first) || !openStream(b, second)) return false;
    for (std::int64_t start = from; start < to; start += chunk) {
        const int length = static_cast<int>(std::min<std::int64_t>(chunk, to - start));
        if (!first.reader->read(start, length, first.pointers) || !second.reader->read(start, length, second.pointers))
            return false;
        if (!std::equal(first.pointers[first.channel], first.pointers[first.channel] + length,
                        second.pointers[second.channel]))
            return false;
    }
    return true;
}

void warnOfTracks(Measurement& m, const SampleSource& source) {
    const auto& spectra = *m.spectra;
    for (std::size_t i = 0; i < m.tracks.size(); ++i) {
        const auto& track = m.tracks[i];
        const auto& statistics = spectra.statistics(static_cast<int>(i));
        if (track.state == TrackState::silent)
            m.warnings.push_back(track.name + ": silent (peak below -90 dBFS); it takes no part");
        if (track.state != TrackState::ok) continue;
        const double clipped = static_cast<double>(statistics.clippedSamples) / static_cast<double>(statistics.samples);
        if (clipped >= clippedThroughout)
            m.warnings.push_back(track.name + ": clipped throughout, " + std::to_string(std::lround(100.0 * clipped)) +
                                 " % of it at full scale; its readings are not those of the sound, use another take "
                                 "or leave it out");
        else if (statistics.clippedSamples > 0)
            m.warnings.push_back(track.name + ": " + count(statistics.clippedSamples, "sample", "samples") +
                                 " at full scale; listen for clipping");
        if (const double offset = std::abs(statistics.offset()); offset >= notedOffset) {
            std::ostringstream line;
            line << track.name << ": constant offset of " << std::round(inDecibels(offset) * 10.0) / 10.0
                 << " dBFS; a high-pass takes it out";
            m.warnings.push_back(line.str());
        }
    }
    // Each copy is named once, against the first of its kind.
    for (std::size_t b = 1; b < m.usable.size(); ++b)
        for (std::size_t a = 0; a < b; ++a) {
            const auto& first = spectra.statistics(m.usable[a]);
            const auto& second = spectra.statistics(m.usable[b]);
            if (first.sumOfSquares != second.sumOfSquares || first.peak != second.peak || first.sum != second.sum)
                continue;
            if (!sameSamples(source, m.usable[a], m.usable[b], spectra.from(), spectra.to())) continue;
            m.warnings.push_back(m.tracks[static_cast<std::size_t>(m.usable[b])].name + ": the same audio as " +
                                 m.tracks[static_cast<std::size_t>(m.usable[a])].name + "; leave one of them out");
            break;
        }
}

/// `movement` null: it could not be asked.
void addMovement(ordered_json& p, const std::optional<Movement>& movement) {
    const auto ms = [](Seconds time) { return rounded(inMilliseconds(time), msDigits); };
    const char* words[] = {"still", "drifts", "steps", "wanders"};
    p["movement"] = movement ? ordered_json(words[static_cast<int>(movement->kind)]) : ordered_json();
    p["holdsStill"] = movement ? ordered_json(movement->kind == MovementKind::still) : ordered_json();
    p["arrivalSpread_ms"] = movement ? ms(movement->spread) : ordered_json();
    p["arrivalRange_ms"] = movement ? ms(movement->range) : ordered_json();
    p["driftPpm"] = movement ? rounded(movement->driftPpm, msDigits) : ordered_json();
    p["driftPpmUncertainty"] = movement ? rounded(movement->driftPpmUncertainty, msDigits) : ordered_json();
    const bool steps = movement && movement->stepTime;
    p["step_ms"] = steps ? ms(movement->step) : ordered_json();
    p["stepUncertainty_ms"] = steps ? ms(movement->stepUncertainty) : ordered_json();
    p["step_s"] = steps ? rounded(movement->stepTime->value, 1) : ordered_json();
}

ordered_json stabilityToJson(const Measurement& m) {
    const auto nameOf = [&](int track) { return m.tracks[static_cast<std::size_t>(track)].name; };
    const auto& stability = m.stability;
    if (!stability.asked) return nullptr;
    ordered_json clocks = ordered_json::array(), moved = ordered_json::array(), wandering = ordered_json::array();
    for (const auto& clock : stability.otherClocks) {
        ordered_json names = ordered_json::array();
        for (const int track : clock.tracks)
            names.push_back(nameOf(track));
        clocks.push_back({{"tracks", std::move(names)},
                          {"driftPpm", rounded(clock.ppm, msDigits)},
                          {"driftPpmUncertainty", rounded(clock.ppmUncertainty, msDigits)},
                          {"against", clock.against}});
    }
    for (const auto& move : stability.moved)
        moved.push_back({{"track", nameOf(move.track)},
                         {"time_s", rounded(move.time.value, 1)},
                         {"step_ms", rounded(inMilliseconds(move.step), msDigits)},
                         {"stepUncertainty_ms", rounded(inMilliseconds(move.uncertainty), msDigits)},
                         {"against", move.against}});
    for (const auto& track : stability.wandering)
        wandering.push_back({{"track", nameOf(track.track)},
                             {"range_ms", rounded(inMilliseconds(track.range), msDigits)},
                             {"against", track.against}});
    return {{"oneClockWithinPpm",
             stability.oneClockWithinPpm ? rounded(*stability.oneClockWithinPpm, msDigits) : ordered_json()},
            {"otherClocks", std::move(clocks)},
            {"moved", std::move(moved)},
            {"wandering", std::move(wandering)}};
}

} // namespace

Result<CrossSpectraOptions> stretchOf(const std::string& folder, const SampleSource& source,
                                      const MeasureOptions& options) {
    const double rate = source.sampleRate();
    const auto sampleOf = [&](Seconds time) { return static_cast<std::int64_t>(std::llround(time.value * rate)); };
    CrossSpectraOptions stretch;
    if (options.from) stretch.from = sampleOf(*options.from);
    stretch.to = options.to ? std::min(sampleOf(*options.to), source.length()) : source.length();
    if (stretch.from < 0 || stretch.from >= source.length()) {
        std::ostringstream length;
        length << "the recording is " << std::round(static_cast<double>(source.length()) / rate * 1000.0) / 1000.0
               << " s long; choose a stretch within it";
        return Fault{folder, "the stretch begins outside the recording", length.str()};
    }
    return stretch;
}

Result<Measurement> measure(const std::string& folder, std::span<const TrackInfo> tracks, const SampleSource& source,
                            std::vector<std::string> warnings, const MeasureOptions& options, Workers& workers,
                            const Watch& watch, std::shared_ptr<const CrossSpectra> known) {
    const auto stretch = stretchOf(folder, source, options);
    if (!stretch) return stretch.fault();
    if (options.band.low.value >= source.sampleRate() / 2.0)
        return Fault{folder, "the band lies above half the recording's sample rate", "choose a lower band"};

    constexpr double passShare = 0.85; // of the whole time, for the progress
    if (!known) {
        Watch passWatch{[&](double done) { watch.tell(done * passShare); }, watch.stop};
        auto spectra = computeCrossSpectra(source, *stretch, workers, passWatch);
        if (!spectra) return spectra.fault();
        known = std::make_shared<const CrossSpectra>(std::move(spectra).value());
    }

    Measurement m;
    m.folder = folder;
    m.options = options;
    m.tracks.assign(tracks.begin(), tracks.end());
    m.spectra = std::move(known);
    m.warnings = std::move(warnings);
    findUsable(m);
    if (m.usable.empty())
        return Fault{folder, "every track is silent or unreadable", "choose a folder of tracks with sound in them"};
    warnOfTracks(m, source);
    if (m.spectra->windows() == 0)
        m.warnings.push_back(folder + ": too short to compare tracks: " +
                             count(m.spectra->to() - m.spectra->from(), "sample", "samples") +
                             ", and no window is shorter than " + std::to_string(m.spectra->windowLength()) +
                             "; choose a longer stretch");
    else if (m.spectra->windowShortened()) {
        std::ostringstream line;
        line << folder << ": short: measured with windows of " << m.spectra->windowLength()
             << " samples; readings of late arrivals are less sure";
        m.warnings.push_back(line.str());
    }

    Watch pairsWatch{[&](double done) { watch.tell(passShare + done * (1.0 - passShare)); }, watch.stop};
    if (auto fault = readAllPairs(m, workers, pairsWatch)) return *fault;
    return m;
}

const char* sharedWord(Shared shared) {
    switch (shared) {
    case Shared::sound:
        return "sound";
    case Shared::oneTone:
        return "one tone";
    case Shared::printed:
        return "printed";
    case Shared::mainsHum:
        return "mains hum";
    case Shared::offset:
        return "offset";
    case Shared::noiseFloor:
        return "noise floor";
    case Shared::nothing:
        return "nothing";
    }
    return "";
}

nlohmann::ordered_json measurementToJson(const Measurement& m) {
    using namespace jsonNumbers;
    const auto& spectra = *m.spectra;
    const auto nameOf = [&](int track) { return m.tracks[static_cast<std::size_t>(track)].name; };
    const double rate = spectra.sampleRate();

    ordered_json tracks = ordered_json::array();
    for (std::size_t i = 0; i < m.tracks.size(); ++i) {
        const auto& track = m.tracks[i];
        const auto& statistics = spectra.statistics(static_cast<int>(i));
        const bool readable = track.state != TrackState::unreadable;
        const double offsetDb = inDecibels(std::abs(statistics.offset()));
        ordered_json t;
        t["name"] = track.name;
        t["file"] = track.file;
        t["channel"] = track.channel;
        t["linkedTo"] = track.linkedTo ? ordered_json(nameOf(*track.linkedTo)) : ordered_json();
        t["level_dBFS"] = readable ? rounded(inDecibels(statistics.rms()), dbDigits) : ordered_json();
        t["peak_dBFS"] =
            readable ? rounded(inDecibels(static_cast<double>(statistics.peak)), dbDigits) : ordered_json();
        t["state"] = track.state == TrackState::ok ? "ok" : readable ? "silent" : "unreadable";
        if (!readable) t["why"] = track.why;
        t["clippedSamples"] = readable ? ordered_json(statistics.clippedSamples) : ordered_json();
        t["offset_dBFS"] =
            readable && std::abs(statistics.offset()) >= notedOffset ? rounded(offsetDb, dbDigits) : ordered_json();
        t["resampledFrom_Hz"] = track.resampledFromHz ? ordered_json(*track.resampledFromHz) : ordered_json();
        t["spillShare"] = nullptr;
        tracks.push_back(std::move(t));
    }

    ordered_json pairs = ordered_json::array();
    const double metresPerMs = speedOfSound(m.options.temperature) * 1e-3;
    for (const auto& pair : m.pairs) {
        ordered_json p;
        p["first"] = nameOf(pair.first);
        p["second"] = nameOf(pair.second);
        p["related"] = pair.related;
        p["shared"] = sharedWord(pair.shared);
        p["coherence"] = rounded(pair.coherence, shareDigits);
        p["coherenceLow"] = rounded(pair.coherenceLow, shareDigits);
        p["coherenceHigh"] = rounded(pair.coherenceHigh, shareDigits);
        ordered_json thirdOctaves = ordered_json::array();
        for (const auto& third : pair.coherenceByThirdOctave)
            thirdOctaves.push_back({{"centre_Hz", third.centre.value},
                                    {"coherence", rounded(third.coherence, shareDigits)},
                                    {"coherenceLow", rounded(third.low, shareDigits)},
                                    {"coherenceHigh", rounded(third.high, shareDigits)}});
        p["coherenceByThirdOctave"] = std::move(thirdOctaves);
        const auto ms = [](const std::optional<Arrival>& arrival, Seconds Arrival::*what) {
            return arrival ? rounded(inMilliseconds((*arrival).*what), msDigits) : ordered_json();
        };
        p["arrival_ms"] = ms(pair.arrival, &Arrival::delay);
        p["arrivalUncertainty_ms"] = ms(pair.arrival, &Arrival::uncertainty);
        p["arrivalConfidence"] = pair.arrival ? rounded(pair.arrival->confidence, shareDigits) : ordered_json();
        p["arrivalRunnerUp_ms"] = pair.arrival && pair.arrival->runnerUp
                                      ? rounded(inMilliseconds(*pair.arrival->runnerUp), msDigits)
                                      : ordered_json();
        p["arrivalInBand_ms"] = ms(pair.arrivalInBand, &Arrival::delay);
        p["arrivalInBandUncertainty_ms"] = ms(pair.arrivalInBand, &Arrival::uncertainty);
        p["arrivalFitted_ms"] =
            pair.arrivalFitted ? rounded(inMilliseconds(pair.arrivalFitted->delay), msDigits) : ordered_json();
        p["arrivalFittedUncertainty_ms"] =
            pair.arrivalFitted ? rounded(inMilliseconds(pair.arrivalFitted->uncertainty), msDigits) : ordered_json();
        addMovement(p, pair.movement);
        p["closesTriangles"] = pair.closesTriangles ? ordered_json(*pair.closesTriangles) : ordered_json();
        p["distance_m"] =
            pair.arrival ? rounded(inMilliseconds(pair.arrival->delay) * metresPerMs, msDigits) : ordered_json();
        p["distanceUncertainty_m"] =
            pair.arrival
                ? rounded(
                      distanceUncertainty(pair.arrival->delay, pair.arrival->uncertainty, m.options.temperature).value,
                      msDigits)
                : ordered_json();
        p["polarity"] = pair.polarity ? ordered_json(sign(pair.polarity->polarity)) : ordered_json();
        p["polarityConfidence"] = pair.polarity ? rounded(pair.polarity->confidence, shareDigits) : ordered_json();
        p["oneTone"] = pair.shared == Shared::oneTone;
        p["bandsDisagree"] = pair.bandsDisagree;
        p["summationGain_dB"] = rounded(pair.summationGain.value, dbDigits);
        p["summationGainFlipped_dB"] = rounded(pair.summationGainFlipped.value, dbDigits);
        pairs.push_back(std::move(p));
    }

    ordered_json sets = ordered_json::array();
    for (const auto& set : m.consistency.sets) {
        ordered_json names = ordered_json::array();
        for (const int track : set.tracks)
            names.push_back(nameOf(track));
        sets.push_back({{"tracks", std::move(names)}, {"pairs", set.pairs}});
    }

    ordered_json root;
    root["format"] = "spillwright/measurement";
    root["version"] = 1;
    root["folder"] = m.folder;
    root["sampleRate_Hz"] = rate;
    root["from_s"] = rounded(static_cast<double>(spectra.from()) / rate, msDigits);
    root["to_s"] = rounded(static_cast<double>(spectra.to()) / rate, msDigits);
    root["band_Hz"] = bandToJson(m.options.band);
    root["source"] = nullptr;
    root["temperature_C"] = m.options.temperature.value;
    root["windowLength"] = spectra.windowLength();
    root["effectiveAverages"] = rounded(spectra.effectiveAverages(), 3);
    root["tracks"] = std::move(tracks);
    root["pairs"] = std::move(pairs);
    root["stability"] = stabilityToJson(m);
    root["triangles"] = {
        {"asked", m.consistency.triangles}, {"closing", m.consistency.closing}, {"sets", std::move(sets)}};
    addSources(m, root);
    root["warnings"] = m.warnings;
    return root;
}

} // namespace spillwright
