#include "Session/Setting.h"

#include "Session/AdjustmentJson.h"
#include "Session/TextFile.h"
#include "Session/Words.h"

#include <nlohmann/json.hpp>

#include <algorithm>
#include <set>

namespace spillwright {

namespace {

using nlohmann::json;
using nlohmann::ordered_json;

constexpr auto formatName = "spillwright/setting";
constexpr int formatVersion = 1;
constexpr auto mend = "give a setting file as propose --save writes it";

} // namespace

Result<Setting> settingFromJson(std::string_view text, const std::string& where) {
    const auto document = parseDocument(text, where, {formatName, formatVersion, "setting", mend});
    if (!document) return document.fault();
    return settingFromDocument(*document, where, mend);
}

Result<Setting> settingFromDocument(const json& root, const std::string& where, const std::string& mended) {
    auto fault = [&](std::string what) { return Fault{where, std::move(what), mended}; };

    Setting setting;
    Members top(root, "");
    top.text("name", setting.name);
    if (!top.problem().empty()) return fault(top.problem());
    const auto tracks = root.find("tracks");
    if (tracks == root.end() || !tracks->is_array()) return fault("\"tracks\" is not a list");
    std::set<std::string> names;
    for (std::size_t i = 0; i < tracks->size(); ++i) {
        const auto& object = (*tracks)[i];
        const std::string place = "track " + std::to_string(i + 1) + ": ";
        if (!object.is_object()) return fault(place + "is not an object");
        TrackSetting track;
        Members members(object, place);
        members.text("track", track.track);
        readAdjustment(members, track.adjustment);
        if (!members.problem().empty()) return fault(members.problem());
        if (track.track.empty()) return fault(place + "\"track\" is missing");
        if (!names.insert(track.track).second) return fault("track \"" + track.track + "\" is there twice");
        setting.tracks.push_back(std::move(track));
    }
    return setting;
}

ordered_json settingToJson(const Setting& setting) {
    ordered_json tracks = ordered_json::array();
    for (const auto& [name, adjustment] : setting.tracks) {
        ordered_json track;
        track["track"] = name;
        writeAdjustment(adjustment, track);
        tracks.push_back(std::move(track));
    }
    return {{"format", formatName}, {"version", formatVersion}, {"name", setting.name}, {"tracks", std::move(tracks)}};
}

Result<Setting> readSettingFile(const std::string& path) {
    const auto text = readTextFile(path, "setting");
    if (!text) return text.fault();
    return settingFromJson(*text, path);
}

Result<int> findTrack(std::string_view name, std::span<const TrackInfo> tracks) {
    for (std::size_t i = 0; i < tracks.size(); ++i)
        if (tracks[i].name == name) return static_cast<int>(i);

    std::vector<std::string> names;
    for (const auto& track : tracks)
        names.push_back(track.name);
    return Fault{std::string(name), "no track bears this name", nearNames(name, names)};
}

Result<std::vector<TrackAdjustment>> adjustmentsFor(const Setting& setting, std::span<const TrackInfo> tracks) {
    std::vector<TrackAdjustment> adjustments(tracks.size());
    for (const auto& track : setting.tracks) {
        const auto index = findTrack(track.track, tracks);
        if (!index) return index.fault();
        adjustments[static_cast<std::size_t>(*index)] = track.adjustment;
    }
    return adjustments;
}

Setting settingFrom(std::string name, std::span<const TrackInfo> tracks, std::span<const TrackAdjustment> adjustments) {
    Setting setting{std::move(name), {}};
    for (std::size_t i = 0; i < tracks.size(); ++i) {
        setting.tracks.push_back({tracks[i].name, adjustments[i]});
        auto& pan = setting.tracks.back().adjustment.pan;
        pan = pan.value_or(defaultPan(tracks[i])); // a file that says where every track stands
    }
    return setting;
}

bool isHeard(const TrackAdjustment& adjustment, const std::vector<bool>& solo, std::size_t track) {
    const bool anySolo = std::find(solo.begin(), solo.end(), true) != solo.end();
    return !adjustment.muted && (!anySolo || (track < solo.size() && solo[track]));
}

std::vector<TrackAdjustment> withSolo(std::vector<TrackAdjustment> setting, const std::vector<bool>& solo) {
    for (std::size_t track = 0; track < setting.size(); ++track)
        setting[track].muted = !isHeard(setting[track], solo, track);
    return setting;
}

double effectivePan(const TrackInfo& track, const TrackAdjustment& adjustment) {
    if (adjustment.pan) return *adjustment.pan;
    if (!track.linkedTo) return 0.0;
    return track.isRight ? 1.0 : -1.0;
}

} // namespace spillwright
