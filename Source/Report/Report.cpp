#include "Report/Report.h"

#include "Media/Batch.h"
#include "Report/Page.h"
#include "Report/RecallSheet.h"
#include "Session/Files.h"
#include "Session/TextFile.h"

#include <string_view>
#include <utility>

namespace spillwright {

namespace {

namespace fs = std::filesystem;

/// Where the bytes go: a link is followed, as writeTextFile() does.
fs::path behindLinks(const fs::path& path) {
    std::error_code error;
    const auto place = fs::weakly_canonical(fs::absolute(path), error);
    return error ? fs::absolute(path) : place;
}

Outcome mayBeWritten(const fs::path& path, const fs::path& recordingFolder, bool replace) {
    if (isFolder(path)) return Fault{shownPath(path), "is a folder", "name a file in it"};
    const auto place = behindLinks(path);
    if (sameFolder(place.parent_path(), recordingFolder))
        return Fault{shownPath(path), "lies in the recording, which is never written to", "choose another folder"};
    std::error_code ignored;
    const bool there = isThere(path);
    if (there && !fs::is_regular_file(place, ignored)) return done(); // a device, a pipe: nothing is lost
    if (there && !replace)
        return Fault{shownPath(path), "is there already", "choose another name, or allow it to be replaced"};
    const auto tried = OutputFile::create(place); // nothing is kept of it
    return tried ? done() : Outcome(tried.fault());
}

} // namespace

Result<std::string> reportAsHtml(const ReportContents& contents, Workers& workers, const Watch& watch) {
    return Page(contents, workers, watch).write();
}

Result<std::string> recallAsCsv(const ReportContents& contents) {
    const auto& m = contents.measurement;
    std::vector<TrackAdjustment> adjustments(m.tracks.size());
    if (contents.taken) {
        auto taken = adjustmentsFor(contents.versions[*contents.taken].setting, m.tracks);
        if (!taken) return taken.fault();
        adjustments = std::move(taken).value();
    }
    const double rate = contents.recording.sampleRate();
    return recallCsv(recallSheet(m.tracks, adjustments, rate, m.options.temperature), rate, m.options.temperature);
}

Outcome mayBeSaved(const ReportFiles& files, const fs::path& recordingFolder) {
    if (auto may = mayBeWritten(files.page, recordingFolder, files.replace); !may) return may;
    if (!files.recall) return done();
    if (samePath(*files.recall, files.page))
        return Fault{shownPath(*files.recall), "is to be the report and the recall sheet", "give them two names"};
    return mayBeWritten(*files.recall, recordingFolder, files.replace);
}

Outcome saveReport(const ReportContents& contents, const ReportFiles& files, Workers& workers, const Watch& watch) {
    if (auto may = mayBeSaved(files, contents.recording.folder()); !may) return may;
    for (const auto& file : {std::optional(files.page), files.recall})
        if (file)
            if (auto own = notOfRecording(*file, contents.recording); !own) return own;
    const auto html = reportAsHtml(contents, workers, watch);
    if (!html) return html.fault();
    if (!files.recall) return writeTextFile(files.page, *html);
    const auto csv = recallAsCsv(contents);
    if (!csv) return csv.fault();
    Batch both; // or none
    const std::pair<fs::path, std::string_view> texts[] = {{files.page, *html}, {*files.recall, *csv}};
    for (const auto& [file, text] : texts) {
        std::error_code ignored;
        const auto place = behindLinks(file);
        const bool device = fs::exists(place, ignored) && !fs::is_regular_file(place, ignored);
        if (auto added = device ? writeTextFile(place, text) : both.addText(place, text); !added) return added;
    }
    return both.keepAll();
}

} // namespace spillwright
