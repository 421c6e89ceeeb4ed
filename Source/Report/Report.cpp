#include "Report/Report.h"

#include "Report/Page.h"
#include "Report/RecallSheet.h"
#include "Session/Files.h"
#include "Session/TextFile.h"

namespace spillwright {

namespace {

Outcome mayBeWritten(const std::filesystem::path& path, const Recording& recording) {
    std::error_code ignored;
    if (std::filesystem::is_directory(path, ignored)) return Fault{shownPath(path), "is a folder", "name a file in it"};
    return notOfRecording(path, recording);
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

Outcome saveReport(const ReportContents& contents, const std::filesystem::path& page,
                   const std::optional<std::filesystem::path>& recall, Workers& workers, const Watch& watch) {
    if (auto may = mayBeWritten(page, contents.recording); !may) return may;
    if (recall) {
        if (auto may = mayBeWritten(*recall, contents.recording); !may) return may;
        if (std::filesystem::absolute(*recall).lexically_normal() == std::filesystem::absolute(page).lexically_normal())
            return Fault{shownPath(*recall), "is to be the report and the recall sheet", "give them two names"};
    }
    const auto html = reportAsHtml(contents, workers, watch);
    if (!html) return html.fault();
    if (recall) {
        const auto csv = recallAsCsv(contents);
        if (!csv) return csv.fault();
        if (auto written = writeTextFile(*recall, *csv); !written) return written;
    }
    return writeTextFile(page, *html);
}

} // namespace spillwright
