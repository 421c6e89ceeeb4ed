#pragma once

#include "Desk/Controller.h"

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

struct PairWords {
    static constexpr int mostRows = 7;
    std::string names;    ///< "snare over · snare under"
    std::string sentence; ///< "same sound 0.31 ms later, upside down"
    std::string sureness; ///< "sure", "not sure", empty for unrelated tracks.
    struct Row {
        std::string name;  ///< "arrival"
        std::string value; ///< "0.31 ± 0.01 ms later · sure, 93 %"
    };
    std::vector<Row> rows; ///< At most mostRows.
    std::string now;       ///< "now +1.9 dB · as recorded −3.1 · flipped +1.9"
    bool sure = false;
};
/// Of two tracks, the first in track order being the one that is listened from.
PairWords pair(const Controller& controller, int first, int second);
/// The same as lines of plain text, a number with its name each. Empty while there is no pair.
std::string lines(const PairWords& pair);

/// How far a reading is to be trusted: "almost certain", "sure", "likely", "a guess".
std::string certainty(double confidence);
bool isSure(double confidence); ///< "sure" or more.
/// Sure of both the arrival and the polarity.
bool sure(const PairReading& reading);

std::string versionName(VersionKind kind);
/// "proven best", "0.12 below bound", what to do where there is no proposal yet.
std::string versionProof(const Controller& controller, VersionKind kind);
/// "3 flips, 2 nudges: snare under, tom floor"
std::string versionChanges(const Controller& controller, VersionKind kind);
/// What a proposal does, in words, and a line a change: "flip snare under: 1.4 dB".
std::string versionWorths(const Controller& controller, VersionKind kind);

/// What is wrong with a track, or empty.
std::string trackTrouble(const TrackInfo& track);
/// The row read out: "snare under, −23.1 dBFS, flipped, nudge +0.30 ms".
std::string track(const Controller& controller, int track);
std::string task(const Controller& controller);
std::string spokenTime(Seconds time); ///< "7 s", "45 s", "3 min": no more exact than is known.

} // namespace spillwright::desk::words
