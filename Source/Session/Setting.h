#pragma once

#include "Core/Result.h"
#include "Core/TrackAdjustment.h"
#include "Session/TrackInfo.h"

#include <nlohmann/json_fwd.hpp>

#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace spillwright {

struct TrackSetting {
    std::string track;
    TrackAdjustment adjustment;
    bool operator==(const TrackSetting&) const = default;
};

/// What the user changes, a proposal suggests, is heard, rendered, saved and undone.
struct Setting {
    std::string name;
    std::vector<TrackSetting> tracks; ///< A track that is not named keeps the default adjustment.
    bool operator==(const Setting&) const = default;
};

/// `where` names the text in faults (a file name). Faults: not JSON, another format or version, a value of a wrong kind
/// or out of range.
Result<Setting> settingFromJson(std::string_view text, const std::string& where);
/// The same of an object within another file; its format and version are that file's matter. `mend` is said in faults.
Result<Setting> settingFromDocument(const nlohmann::json& root, const std::string& where, const std::string& mend);
nlohmann::ordered_json settingToJson(const Setting& setting);
Result<Setting> readSettingFile(const std::string& path);

/// One adjustment a track of the recording. Fault: a name that no track bears; the near ones are listed.
Result<std::vector<TrackAdjustment>> adjustmentsFor(const Setting& setting, std::span<const TrackInfo> tracks);
/// Index of the named track, or the fault that lists the near names.
Result<int> findTrack(std::string_view name, std::span<const TrackInfo> tracks);
/// The setting that says the same in names.
Setting settingFrom(std::string name, std::span<const TrackInfo> tracks, std::span<const TrackAdjustment> adjustments);

/// Not muted, and soloed where any track is. solo: empty or one flag a track.
bool isHeard(const TrackAdjustment& adjustment, const std::vector<bool>& solo, std::size_t track);
/// With what is not heard muted.
std::vector<TrackAdjustment> withSolo(std::vector<TrackAdjustment> setting, const std::vector<bool>& solo);

/// The pan that is used where the adjustment has none: linked pairs fully left and right, others in the centre.
double effectivePan(const TrackInfo& track, const TrackAdjustment& adjustment);

} // namespace spillwright
