#pragma once

#include "Core/Propose/SummationModel.h"
#include "Report/GridDrawing.h"
#include "Report/Markup.h"
#include "Report/Plot.h"
#include "Report/Report.h"
#include "Session/PairWords.h"

#include <initializer_list>
#include <utility>

namespace spillwright {

/// The report's page as it is written: what is told is read first, then a part after the other, each from a file of
/// its own: PageRecording, PageSettings, PagePairs, PageSpill, PageClosing.
class Page {
public:
    Page(const ReportContents& of, Workers& work, const Watch& watched)
        : contents(of), m(of.measurement), recording(of.recording), workers(work), watch(watched),
          rate(of.recording.sampleRate()) {}

    /// Once. Faults: those of reportAsHtml.
    Result<std::string> write();

private:
    /// What one setting does, as far as it is known.
    struct Figures {
        std::vector<TrackAdjustment> adjustments; ///< One a track.
        double gainDb = 0.0, lowMidCoherence = 0.0;
        std::optional<double> loudness; ///< LUFS.
        int flips = 0, nudges = 0;
    };
    /// A pair of usable tracks, and what it does to the sum.
    struct Pair {
        const PairReading* reading = nullptr;
        double recordedDb = 0.0, takenDb = 0.0; ///< Of the two alone.
        double change = 0.0;                    ///< Of G, by the setting taken.
        bool heard = true;
    };
    struct Column {
        const char* words;
        bool isNumber = false;
    };

    // what is told
    Fault stoppedFault() const;
    Outcome readAll();
    Outcome readLoudness();
    void readPairs();
    std::vector<Figures*> all();
    const Figures& taken() const { return contents.taken ? versions[*contents.taken] : asRecorded; }
    std::string takenName() const;
    /// Signs and nudges of the usable tracks.
    std::pair<std::vector<int>, std::vector<double>> placement(const std::vector<TrackAdjustment>& adjustments) const;
    double gainOf(const SummationModel& model, const std::vector<TrackAdjustment>& adjustments) const;
    const std::string& name(int track) const { return m.tracks[static_cast<std::size_t>(track)].name; }
    std::string folderName() const;
    const CrossSpectra& wholeSpectra() const { return m.allSpectra ? *m.allSpectra : *m.spectra; }

    // parts that come again
    void paragraph(const std::string& words, const char* kind = "");
    void item(const std::string& words); ///< Of a list.
    /// A signed amount in decibels; its sign stands in it, its colour repeats it.
    void gainCell(double dB, int decimals = 2);
    void number(const std::string& words, bool stands = false);
    void cell(const std::string& words, bool stands = false);
    void headRow(std::initializer_list<Column> columns);
    void rowHead(const std::string& words);
    void entry(const char* what, const std::string& words);
    Markup::Inside section(const char* id, const char* title, bool ownPage = false);

    void head();
    void summary();
    void contentsList();

    void recordingSection();
    std::string recordedOn() const;
    std::string trackRemark(std::size_t track) const;
    std::string whatIsDoneAbout(int upsideDownTrack) const;
    void remarksSection();

    void takenSection();
    void versionsSection();
    void versionInWords(const ReportVersion& version);
    void changesTable(const ReportVersion& version);
    void versionRow(const std::string& words, const Figures& one, bool isTaken);

    void gridSection();
    void grid(const char* id, const std::string& title, const std::vector<PairState>& states);
    std::vector<PairState> states(double Pair::*gain, bool muting) const;
    void pairsTable();
    PairWords wordsOf(const PairReading& reading) const;
    void plotsSection();
    std::vector<const Pair*> pairsThatMatter() const;
    void plotsOf(const Pair& pair, const std::string& id, bool ownPage);
    void figure(const Plot& plot, const std::string& id, const std::string& said);

    void spillSection();
    void spillTable(std::size_t from, std::size_t to);
    void spillCell(const SpillReading* reading, const std::vector<int>& close);

    void recallSection();
    void readingSection();
    void cautionsSection();

    const ReportContents& contents;
    const Measurement& m;
    const Recording& recording;
    Workers& workers;
    const Watch& watch;
    const double rate;
    Figures asRecorded;
    std::vector<Figures> versions; ///< As contents.versions.
    std::vector<Pair> pairs;
    Markup page;
};

/// Of the page: on a screen of any size, and on A4 and Letter paper.
std::string styleSheet();

/// "62 %"
std::string percent(double share);
/// "1 track", "3 tracks".
std::string counted(std::size_t count, const std::string& noun);

} // namespace spillwright
