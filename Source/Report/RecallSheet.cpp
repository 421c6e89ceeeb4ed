#include "Report/RecallSheet.h"

#include "Session/Files.h"
#include "Session/Setting.h"
#include "Session/Words.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <iterator>
#include <string_view>

namespace spillwright {

namespace {

/// As few digits as say it, at most so many decimals; never "-0".
std::string plain(double value, int decimals) {
    std::array<char, 64> text{};
    std::snprintf(text.data(), text.size(), "%.*f", decimals, value);
    std::string digits = text.data();
    if (digits.find('.') != std::string::npos) {
        digits.erase(digits.find_last_not_of('0') + 1);
        if (digits.back() == '.') digits.pop_back();
    }
    return digits == "-0" ? "0" : digits;
}

/// What a spreadsheet may take for the beginning of a formula, also in its wide forms (U+FF1D, FF0B, FF0D, FF20).
constexpr std::string_view formulaBegins[] = {"=", "+", "-", "@", "\uFF1D", "\uFF0B", "\uFF0D", "\uFF20"};

/// One line, whatever the words hold; blanks before a formula are seen through.
std::string field(std::string_view words) {
    std::string text = shownText(words);
    const auto said = std::string_view(text).substr(std::min(text.find_first_not_of(' '), text.size()));
    if (std::any_of(std::begin(formulaBegins), std::end(formulaBegins),
                    [&](std::string_view begin) { return said.starts_with(begin); }))
        text.insert(text.begin(), '\'');
    if (text.find_first_of(",;\"") == std::string::npos) return text;
    std::string quoted = "\"";
    for (const char c : text)
        quoted += c == '"' ? std::string("\"\"") : std::string(1, c);
    return quoted + "\"";
}

} // namespace

std::vector<RecallRow> recallSheet(std::span<const TrackInfo> tracks, std::span<const TrackAdjustment> adjustments,
                                   double sampleRate, Celsius temperature) {
    std::vector<RecallRow> rows;
    for (std::size_t i = 0; i < tracks.size(); ++i) {
        const auto& track = tracks[i];
        const auto& adjustment = adjustments[i];
        RecallRow row;
        row.track = track.name;
        row.file = track.file;
        row.channel = track.channel + 1;
        row.flip = adjustment.flip;
        row.nudgeMs = inMilliseconds(adjustment.nudge);
        row.nudgeSamples = adjustment.nudge.value * sampleRate;
        row.nudgeCm = 100.0 * adjustment.nudge.value * speedOfSound(temperature);
        row.gainDb = adjustment.gain.value;
        if (adjustment.highPass) {
            row.highPassHz = adjustment.highPass->value;
            row.slopeDbPerOctave = inDecibelsPerOctave(adjustment.highPassSlope);
        }
        row.pan = effectivePan(track, adjustment);
        row.muted = adjustment.muted;
        row.remark = trackTrouble(track);
        rows.push_back(std::move(row));
    }
    return rows;
}

std::string recallCsv(std::span<const RecallRow> rows, double sampleRate, Celsius temperature) {
    constexpr const char* end = "\r\n";
    std::string text = "track,file,channel,flip,nudge (ms; + is later),nudge (samples at " + plain(sampleRate, 3) +
                       " Hz),nudge (cm at " + plain(temperature.value, 1) +
                       " C),gain (dB),high-pass (Hz),high-pass slope (dB/octave),pan (-100 left to 100 right),muted," +
                       "remark" + end;
    for (const auto& row : rows) {
        text += field(row.track) + "," + field(row.file) + "," + std::to_string(row.channel) + "," +
                (row.flip ? "yes" : "no") + "," + plain(row.nudgeMs, 6) + "," + plain(row.nudgeSamples, 3) + "," +
                plain(row.nudgeCm, 2) + "," + plain(row.gainDb, 3) + "," +
                (row.highPassHz ? plain(*row.highPassHz, 3) + "," + std::to_string(row.slopeDbPerOctave)
                                : std::string(",")) +
                "," + plain(100.0 * row.pan, 2) + "," + (row.muted ? "yes" : "no") + "," + field(row.remark) + end;
    }
    return text;
}

} // namespace spillwright
