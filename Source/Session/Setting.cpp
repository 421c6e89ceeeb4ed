#include "Session/Setting.h"

#include <nlohmann/json.hpp>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <limits>
#include <sstream>

namespace spillwright {

namespace {

using nlohmann::json;
using nlohmann::ordered_json;

constexpr auto formatName = "spillwright/setting";
constexpr int formatVersion = 1;
/// Far beyond any sensible setting: what lies outside is a slip of the pen.
constexpr double largestNudgeMs = 1000.0;
constexpr double largestGainDb = 60.0;

/// Edit distance of two names without regard to ASCII case, for "did you mean".
int distance(std::string_view a, std::string_view b) {
    auto lower = [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c; };
    std::vector<int> row(b.size() + 1);
    for (std::size_t j = 0; j <= b.size(); ++j)
        row[j] = static_cast<int>(j);
    for (std::size_t i = 1; i <= a.size(); ++i) {
        int diagonal = row[0];
        row[0] = static_cast<int>(i);
        for (std::size_t j = 1; j <= b.size(); ++j) {
            const int substituted = diagonal + (lower(a[i - 1]) == lower(b[j - 1]) ? 0 : 1);
            diagonal = row[j];
            row[j] = std::min({row[j] + 1, row[j - 1] + 1, substituted});
        }
    }
    return row[b.size()];
}

/// Reads the members of one JSON object and remembers the first thing that is wrong with them.
class Members {
public:
    Members(const json& members, std::string prefix) : object(members), place(std::move(prefix)) {}

    void number(const char* key, double low, double high, double& into) {
        const auto* member = find(key);
        if (member == nullptr) return;
        if (!member->is_number()) return complain(key, "is not a number");
        const double value = member->get<double>();
        if (!(value >= low && value <= high)) {
            std::ostringstream range;
            range << "is outside " << low << " to " << high;
            return complain(key, range.str());
        }
        into = value;
    }

    void optionalNumber(const char* key, double low, double high, std::optional<double>& into) {
        const auto* member = find(key);
        if (member == nullptr || member->is_null()) return;
        double value = 0.0;
        number(key, low, high, value);
        into = value;
    }

    void flag(const char* key, bool& into) {
        const auto* member = find(key);
        if (member == nullptr) return;
        if (!member->is_boolean()) return complain(key, "is neither true nor false");
        into = member->get<bool>();
    }

    void text(const char* key, std::string& into) {
        const auto* member = find(key);
        if (member == nullptr) return;
        if (!member->is_string()) return complain(key, "is not a text");
        into = member->get<std::string>();
    }

    const std::string& problem() const { return firstProblem; }

private:
    const json& object;
    std::string place;
    std::string firstProblem;

    const json* find(const char* key) const {
        const auto it = object.find(key);
        return it == object.end() ? nullptr : &*it;
    }

    void complain(const char* key, const std::string& what) {
        if (firstProblem.empty()) firstProblem = place + "\"" + key + "\" " + what;
    }
};

} // namespace

Result<Setting> settingFromJson(std::string_view text, const std::string& where) {
    const json root = json::parse(text, nullptr, false);
    auto fault = [&](std::string what) {
        return Fault{where, std::move(what), "give a setting file as propose --save writes it"};
    };
    if (root.is_discarded()) return fault("this is not JSON");
    if (!root.is_object() || root.value("format", json()) != json(formatName))
        return fault(std::string("\"format\" is not \"") + formatName + "\"");
    const auto version = root.find("version");
    if (version == root.end() || !version->is_number_integer()) return fault("\"version\" is missing");
    if (version->get<double>() > formatVersion)
        return Fault{where, "this setting was written by a newer version", "update this program"};
    if (*version != formatVersion) return fault("there is no such \"version\"");

    Setting setting;
    Members top(root, "");
    top.text("name", setting.name);
    if (!top.problem().empty()) return fault(top.problem());
    const auto tracks = root.find("tracks");
    if (tracks == root.end() || !tracks->is_array()) return fault("\"tracks\" is not a list");
    for (std::size_t i = 0; i < tracks->size(); ++i) {
        const auto& object = (*tracks)[i];
        const std::string place = "track " + std::to_string(i + 1) + ": ";
        if (!object.is_object()) return fault(place + "is not an object");
        TrackSetting track;
        auto& adjustment = track.adjustment;
        double nudgeMs = 0.0;
        std::optional<double> highPassHz;
        Members members(object, place);
        members.text("track", track.track);
        members.flag("flip", adjustment.flip);
        members.number("nudge_ms", -largestNudgeMs, largestNudgeMs, nudgeMs);
        members.number("gain_dB", -std::numeric_limits<double>::max(), largestGainDb, adjustment.gain.value);
        members.optionalNumber("highPass_Hz", 1.0, 20000.0, highPassHz);
        members.optionalNumber("pan", -1.0, 1.0, adjustment.pan);
        members.flag("muted", adjustment.muted);
        if (!members.problem().empty()) return fault(members.problem());
        if (track.track.empty()) return fault(place + "\"track\" is missing");
        for (const auto& earlier : setting.tracks)
            if (earlier.track == track.track) return fault("track \"" + track.track + "\" is there twice");
        adjustment.nudge = milliseconds(nudgeMs);
        if (highPassHz) adjustment.highPass = Hertz(*highPassHz);
        setting.tracks.push_back(std::move(track));
    }
    return setting;
}

ordered_json settingToJson(const Setting& setting) {
    ordered_json tracks = ordered_json::array();
    for (const auto& [name, adjustment] : setting.tracks) {
        ordered_json track;
        track["track"] = name;
        track["flip"] = adjustment.flip;
        track["nudge_ms"] = inMilliseconds(adjustment.nudge);
        track["gain_dB"] = adjustment.gain.value;
        track["highPass_Hz"] = adjustment.highPass ? ordered_json(adjustment.highPass->value) : ordered_json();
        track["pan"] = adjustment.pan ? ordered_json(*adjustment.pan) : ordered_json();
        track["muted"] = adjustment.muted;
        tracks.push_back(std::move(track));
    }
    return {{"format", formatName}, {"version", formatVersion}, {"name", setting.name}, {"tracks", std::move(tracks)}};
}

Result<Setting> readSettingFile(const std::string& path) {
    std::ifstream file(path, std::ios::binary);
    std::ostringstream text;
    if (file) text << file.rdbuf();
    if (!file) return Fault{path, "this setting cannot be read", "check the name and the permissions"};
    return settingFromJson(text.str(), path);
}

Result<int> findTrack(std::string_view name, std::span<const TrackInfo> tracks) {
    for (std::size_t i = 0; i < tracks.size(); ++i)
        if (tracks[i].name == name) return static_cast<int>(i);

    std::vector<std::pair<int, std::string>> near;
    for (const auto& track : tracks)
        near.emplace_back(distance(name, track.name), track.name);
    std::stable_sort(near.begin(), near.end(), [](const auto& a, const auto& b) { return a.first < b.first; });
    std::string list;
    for (std::size_t i = 0; i < std::min<std::size_t>(near.size(), 3); ++i)
        list += (i == 0 ? "'" : ", '") + near[i].second + "'";
    return Fault{std::string(name), "no track bears this name", "near ones: " + list};
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

} // namespace spillwright
