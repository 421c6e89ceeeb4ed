#include "Session/SourcesJson.h"

#include "Session/JsonNumbers.h"
#include "Session/SpillFindings.h"

#include <nlohmann/json.hpp>

namespace spillwright {

namespace {

using namespace jsonNumbers;

ordered_json db(const std::optional<Decibels>& level) {
    return level ? rounded(level->value, dbDigits) : ordered_json();
}

ordered_json share(const std::optional<double>& told) {
    return told ? rounded(*told, shareDigits) : ordered_json();
}

ordered_json byThirdOctave(const SpillMap& map, const std::vector<std::optional<Decibels>>& levels) {
    ordered_json list = ordered_json::array();
    for (std::size_t b = 0; b < levels.size(); ++b)
        list.push_back({{"centre_Hz", map.centres[b].value}, {"level_dB", db(levels[b])}});
    return list;
}

ordered_json reason(Untold why) {
    return why == Untold::told ? ordered_json() : ordered_json(untoldInWords(why));
}

ordered_json momentsToJson(const std::vector<Moments>& moments) {
    ordered_json list = ordered_json::array();
    for (const auto& span : moments)
        list.push_back({{"from_s", rounded(span.from.value, 3)}, {"to_s", rounded(span.to.value, 3)}});
    return list;
}

} // namespace

void addSources(const Measurement& m, ordered_json& root) {
    const auto trackName = [&](int track) { return m.tracks[static_cast<std::size_t>(track)].name; };
    if (m.focus) root["source"] = m.sources->names[static_cast<std::size_t>(*m.focus)];
    ordered_json sources = ordered_json::array(), spill = ordered_json::array(), order = ordered_json::array(),
                 rescue = ordered_json::array(), apart = ordered_json::array(), near = ordered_json::array(),
                 unsure = ordered_json::array();
    if (m.sources && !m.sources->map.readings.empty()) {
        const auto& map = m.sources->map;
        const auto sourceName = [&](int source) { return m.sources->names[static_cast<std::size_t>(source)]; };
        ordered_json times = ordered_json::array();
        for (const Seconds time : map.times)
            times.push_back(rounded(time.value, 3));
        for (std::size_t k = 0; k < map.plan.sources.size(); ++k) {
            ordered_json close = ordered_json::array(), presence = ordered_json::array();
            for (const int track : map.plan.sources[k].closeTracks)
                close.push_back(trackName(track));
            for (const float level : map.presence[k])
                presence.push_back(rounded(static_cast<double>(level), 1));
            sources.push_back({{"name", m.sources->names[k]},
                               {"closeTracks", std::move(close)},
                               {"leads", momentsToJson(leadingMoments(map, static_cast<int>(k)))},
                               {"presence_s", times},
                               {"presence_dB", std::move(presence)}});
            ordered_json helpers = ordered_json::array();
            for (const auto& helper : rescueFor(m, static_cast<int>(k)))
                helpers.push_back(
                    {{"track", trackName(helper.track)},
                     {"level_dB", db(helper.level)},
                     {"bandwidthShare", rounded(helper.bandwidth, shareDigits)},
                     {"toneByThirdOctave", byThirdOctave(map, helper.tone)},
                     {"flip", helper.flip},
                     {"nudge_ms", helper.nudge ? rounded(inMilliseconds(*helper.nudge), msDigits) : ordered_json()},
                     {"gain_dB", rounded(helper.gain.value, dbDigits)},
                     {"gainLinedUp_dB", rounded(helper.gainLinedUp.value, dbDigits)}});
            rescue.push_back({{"source", m.sources->names[k]}, {"microphones", std::move(helpers)}});
        }
        for (const auto& reading : map.readings) {
            const auto& arrival = reading.arrival;
            spill.push_back(
                {{"source", sourceName(reading.source)},
                 {"track", trackName(reading.track)},
                 {"level_dB", db(reading.level)},
                 {"levelLowMid_dB", db(reading.levelLowMid)},
                 {"levelByThirdOctave", byThirdOctave(map, reading.levelByThirdOctave)},
                 {"levelUntold", reason(reading.whyNoLevel)},
                 {"shareOfTrack", rounded(reading.shareOfTrack, shareDigits)},
                 {"arrival_ms", arrival ? rounded(inMilliseconds(arrival->delay), msDigits) : ordered_json()},
                 {"arrivalUncertainty_ms",
                  arrival ? rounded(inMilliseconds(arrival->uncertainty), msDigits) : ordered_json()},
                 {"distance_m", arrival ? rounded(arrival->delay.value * speedOfSound(m.options.temperature), msDigits)
                                        : ordered_json()},
                 {"arrivalUntold", reason(reading.whyNoArrival)},
                 {"polarity", reading.polarity ? ordered_json(sign(reading.polarity->polarity)) : ordered_json()},
                 {"polarityConfidence",
                  reading.polarity ? rounded(reading.polarity->confidence, shareDigits) : ordered_json()},
                 {"coherence", rounded(reading.coherence, shareDigits)}});
        }
        for (const auto& entry : orderOfEntry(m)) {
            ordered_json brings = ordered_json::array();
            for (const auto& brought : entry.brings)
                brings.push_back({{"source", sourceName(brought.source)},
                                  {"shareOfTrack", rounded(brought.share, shareDigits)},
                                  {"level_dB", db(brought.level)}});
            order.push_back({{"track", trackName(entry.track)},
                             {"closeTo", entry.source ? ordered_json(sourceName(*entry.source)) : ordered_json()},
                             {"spillShare", share(entry.spillShare)},
                             {"brings", std::move(brings)},
                             {"why", entryInWords(m, entry)}});
        }
        for (const int track : m.usable) {
            auto& t = root["tracks"][static_cast<std::size_t>(track)];
            t["spillShare"] = share(spillShareOf(m, track));
            t["unexplainedShare"] = rounded(map.unexplained[static_cast<std::size_t>(track)], shareDigits);
        }
        for (const auto& late : heardApart(m))
            apart.push_back({{"source", sourceName(late.source)},
                             {"track", trackName(late.track)},
                             {"arrival_ms", rounded(inMilliseconds(late.later), msDigits)},
                             {"distance_m", rounded(late.further.value, msDigits)},
                             {"level_dB", rounded(late.level.value, dbDigits)}});
        for (const auto& loud : tooNear(m))
            near.push_back({{"source", sourceName(loud.source)},
                            {"track", trackName(loud.track)},
                            {"level_dB", rounded(loud.level.value, dbDigits)}});
        for (const int track : m.sources->unsure)
            unsure.push_back(trackName(track));
    }
    root["sources"] = std::move(sources);
    root["unsureCloseTracks"] = std::move(unsure);
    root["spill"] = std::move(spill);
    root["orderOfEntry"] = std::move(order);
    root["rescue"] = std::move(rescue);
    root["spacing"] = {{"louderThanThreeToOne", std::move(near)}, {"heardApart", std::move(apart)}};
}

} // namespace spillwright
