#pragma once

#include "Desk/Controller.h"
#include "Session/PairWords.h"

#include <string>
#include <utility>
#include <vector>

namespace spillwright::desk::words {

/// "48 kHz · 16 tracks · 0:40 · low-mid 178–562 Hz"
std::string recording(const Controller& controller);

/// A cell of the map: the source in the track, in up to three lines.
std::string cell(const Controller& controller, int source, int track);
/// "trumpet · ride at −9.1 dB ..." as headings (true) and lines, for reading: the order of entry, who can help the
/// chosen source, what the spacing says.
std::vector<std::pair<std::string, bool>> findings(const Controller& controller);

/// Which moments the readings are of: "reads 0:12–0:22 of 1:04", "reads trumpet alone", "reads the whole, 1:04".
std::string reads(const Controller& controller);
/// "0:12–0:22"
std::string moments(const ReadSpan& span);

/// Of two tracks, the first in track order being the one that is listened from.
PairWords pair(const Controller& controller, int first, int second);
std::string versionName(VersionKind kind); ///< By its key: "kept under 6".
/// As the user calls it, else by its key.
std::string versionName(const Controller& controller, VersionKind kind);
/// "proven best", "0.12 below bound", what to do where there is no proposal yet.
std::string versionProof(const Controller& controller, VersionKind kind);
/// "3 flips, 2 nudges: snare under, tom floor"
std::string versionChanges(const Controller& controller, VersionKind kind);
/// What a proposal does, in words, and a line a change: "flip snare under: 1.4 dB".
std::string versionWorths(const Controller& controller, VersionKind kind);

/// The row read out: "snare under, −23.1 dBFS, flipped, nudge +0.30 ms".
std::string track(const Controller& controller, int track);
std::string task(const Controller& controller);
std::string spokenTime(Seconds time); ///< "7 s", "45 s", "3 min": no more exact than is known.

} // namespace spillwright::desk::words
