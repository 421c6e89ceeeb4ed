#pragma once

#include "Core/Workers.h"
#include "Media/Recording.h"
#include "Session/Measurement.h"
#include "Session/SessionFile.h"
#include "Session/Setting.h"

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace spillwright {

/// A setting under its name, and why it is as it is.
struct ReportVersion {
    std::string name;  ///< "flips"
    Setting setting;   ///< A track that is not named is as recorded.
    std::string words; ///< What it does, in sentences; may be empty.
    std::string bound; ///< How far it may be from the best, in words; empty: it was set by hand.
    struct Change {
        std::string track;
        std::string what;                ///< "flip, nudge to +0.31 ms"
        double effectDb = 0.0;           ///< What the sum would lose if this one change were taken back ...
        std::optional<double> worthDb;   ///< ... and the others were then made anew as well as can be.
        std::optional<double> stands;    ///< 0..1, see Standing.
        std::optional<Seconds> mayBeOff; ///< See Standing.
    };
    std::vector<Change> changes; ///< Most valuable first; may be empty.
};

/// A proposal as a version. `name`: "flips", "flips and nudges, 2nd".
ReportVersion versionOf(const Proposals& proposals, const NamedProposal& proposal, const Measurement& measurement);
/// Where the version does the same flips and nudges, to a nanosecond, it gets the proposal's words, bound and changes:
/// true.
bool explain(ReportVersion& version, const ReportVersion& proposal, const std::vector<TrackInfo>& tracks);
/// What a session has under its keys, of the tracks that the recording has. `taken` is the place of the one that was
/// heard; where that one was changed since, what was heard stands beside the others as "as heard".
struct SessionVersions {
    std::vector<ReportVersion> versions;
    std::optional<std::size_t> taken;
};
SessionVersions versionsOf(const Session& session, const std::vector<TrackInfo>& tracks);

/// What a report is made of. As recorded needs no version of its own.
struct ReportContents {
    const Recording& recording;
    const Measurement& measurement;      ///< Of that recording.
    std::vector<ReportVersion> versions; ///< Compared with each other in this order.
    std::optional<std::size_t> taken;    ///< Of the versions; none: as recorded.
    std::string date;                    ///< Of the report, as it is to be read; empty: it bears none.
};

/// One HTML page that needs nothing else: no network, no script, no typeface. For somebody who was not there: the
/// recording, what is wrong with its files, the setting taken and why, what it was compared with, every pair as a grid,
/// the plots of the pairs that matter most, the spill map, the recall sheet, cautions. Reads the audio once, for the
/// loudness of the versions. The same contents give the same bytes, for any number of workers.
/// Faults: a track of a setting that the recording has not, a file that can no longer be read, a stop.
Result<std::string> reportAsHtml(const ReportContents& contents, Workers& workers, const Watch& watch);

/// The recall sheet of the setting taken. Faults: a track of it that the recording has not.
Result<std::string> recallAsCsv(const ReportContents& contents);

/// Where a report goes, and its recall sheet with it.
struct ReportFiles {
    std::filesystem::path page;
    std::optional<std::filesystem::path> recall = std::nullopt;
    bool replace = false; ///< Files that are there already.
};

/// Whether they may be written: to be asked before a recording is measured for a long time. Faults: in the folder of
/// the recording, a file is there already, a folder is in the place, no such folder, not allowed, both have one name.
Outcome mayBeSaved(const ReportFiles& files, const std::filesystem::path& recordingFolder);

/// Writes the report and, where it is asked for, its recall sheet: each file whole or not at all, nothing where the
/// report could not be made. Faults: those of the three above, a file of the recording is in the place, no room.
Outcome saveReport(const ReportContents& contents, const ReportFiles& files, Workers& workers, const Watch& watch);

} // namespace spillwright
