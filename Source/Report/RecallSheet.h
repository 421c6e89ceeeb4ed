#pragma once

#include "Core/TrackAdjustment.h"
#include "Core/Types.h"
#include "Session/TrackInfo.h"

#include <optional>
#include <span>
#include <string>
#include <vector>

namespace spillwright {

/// One track of a setting as somebody sets it by hand on another desk.
struct RecallRow {
    std::string track, file;
    int channel = 0; ///< Of the file, 1 = first.
    bool flip = false;
    double nudgeMs = 0.0;      ///< Positive: later. The same three times:
    double nudgeSamples = 0.0; ///< at the recording's rate,
    double nudgeCm = 0.0;      ///< as the way of sound at the room's temperature.
    double gainDb = 0.0;
    std::optional<double> highPassHz;
    int slopeDbPerOctave = 0; ///< 0 without a high-pass.
    double pan = 0.0;         ///< -1 left .. +1 right.
    bool muted = false;
    std::string remark; ///< "silent", "unreadable: ..."; empty.
};

/// A row a track, in their order; `adjustments`: one a track.
std::vector<RecallRow> recallSheet(std::span<const TrackInfo> tracks, std::span<const TrackAdjustment> adjustments,
                                   double sampleRate, Celsius temperature);

/// The sheet for a spreadsheet: RFC 4180, UTF-8, units in the head, every row a line. A text that a spreadsheet would
/// take for a formula (it begins with = + - @) has an apostrophe before it; control characters are U+FFFD.
std::string recallCsv(std::span<const RecallRow> rows, double sampleRate, Celsius temperature);

} // namespace spillwright
