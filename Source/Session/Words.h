#pragma once

#include "Session/Measurement.h"
#include "Session/Setting.h"

#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace spillwright {

/// "kick in / overhead L"
std::string pairName(const Measurement& measurement, int first, int second);

/// "1:07", or "1:07.42"; what is left is cut off.
std::string clockText(double seconds, bool hundredths);

/// "1.2 dB"
std::string decibelsText(double value, int digits);

/// "near ones: 'snare', 'snare under'": the three most alike.
std::string nearNames(std::string_view name, std::span<const std::string> names);

/// The words that all the names begin with; of one name, the name. Empty: none.
std::string commonWords(std::span<const std::string> names);

/// What is wrong with a track, or empty.
std::string trackTrouble(const TrackInfo& track);

/// "flipped, 0.63 ms later, -3 dB, high-pass 80 Hz at 12 dB an octave, pan 25 left"; "as recorded".
std::string adjustmentInWords(const TrackAdjustment& adjustment);

/// The same of each track that is not as recorded, its name before it; where it stands is told where it is not the
/// usual place. "every track as recorded" where none is otherwise. One adjustment a track.
std::vector<std::string> adjustmentsInWords(std::span<const TrackInfo> tracks,
                                            std::span<const TrackAdjustment> adjustments);
/// "kick out: flipped", one line a track that is not as recorded; "every track as recorded" where none is otherwise.
std::vector<std::string> settingInWords(const Setting& setting);

} // namespace spillwright
