#pragma once

#include "Core/Propose/PairGains.h"
#include "Desk/Background.h"
#include "Desk/SumPeaks.h"

#include "Audition/Mix.h"
#include "Audition/Monitor.h"
#include "Audition/StandIn.h"
#include "Core/Measure/CrossSpectra.h"
#include "Core/Propose/LoudnessModel.h"
#include "Media/Recording.h"
#include "Media/Render.h"
#include "Media/SpectraCache.h"
#include "Session/Amounts.h"
#include "Session/Measurement.h"
#include "Session/Readings.h"
#include "Session/SessionFile.h"
#include "Session/Sources.h"
#include "Session/TrackList.h"

#include <array>
#include <chrono>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace spillwright::desk {

/// What one key makes audible. The order is that of the cards and of the keys 1 to 8.
enum class VersionKind { asRecorded, flips, nudgesTo1ms, nudgesTo10ms, mine, keptFirst, keptSecond, keptThird };
inline constexpr int versionCount = 8, keptCount = 3;
constexpr std::size_t indexOf(VersionKind kind) {
    return static_cast<std::size_t>(kind);
}
constexpr bool isProposal(VersionKind kind) {
    return kind == VersionKind::flips || kind == VersionKind::nudgesTo1ms || kind == VersionKind::nudgesTo10ms;
}
constexpr bool isKept(VersionKind kind) {
    return kind >= VersionKind::keptFirst;
}
/// Place among the kept ones.
constexpr std::size_t keptIndex(VersionKind kind) {
    return indexOf(kind) - indexOf(VersionKind::keptFirst);
}

/// What proposals may do, and whom they serve. Nothing of it is heard.
struct Terms {
    bool stereo = false; ///< The stereo sum by the pans, left and right in power; else the mono sum.
    Aim aim = Aim::sum;
    std::vector<int> group;                      ///< [track] Tracks of one number above 0 move as one.
    std::vector<std::optional<Seconds>> largest; ///< [track] Its own largest nudge, where that is less than the card's.
    bool operator==(const Terms&) const = default;
};
inline constexpr int mostGroups = 6;

/// Flips and nudges under one key. Gains, high-passes, pans and mutes are the user's balance and are the same in the
/// versions that are not kept, so that a comparison compares one thing. What the user keeps is kept whole.
struct Version {
    std::optional<std::vector<TrackAdjustment>> whole; ///< Only of what is kept: all of the setting.
    std::string called;                                ///< Only of what is kept: by the user; empty: by its key.
    std::vector<bool> flips;                           ///< One a track of the recording.
    std::vector<Seconds> nudges;                       ///< One a track of the recording.
    double gainDb = 0.0;          ///< Summation gain under the present balance; of what is kept, under its own.
    std::optional<double> gapDb;  ///< Only for proposals: the bound above the sum they serve.
    Terms terms;                  ///< Only for proposals: those they were made under.
    bool cutShort = false;        ///< More time might have lowered the bound.
    std::string words;            ///< What a proposal does, for people.
    bool onMine = false;          ///< Only for proposals: they build on flips and nudges that were there.
    std::optional<double> lowsDb; ///< Only for proposals: what they do to the lows, below the band.
    /// The bound and the worths are true only of the balance and of the moments they were proposed for.
    bool boundHolds = false;
    std::optional<ReadSpan> proposedFrom;   ///< Only for proposals that were made from the loop alone.
    std::optional<std::string> proposedFor; ///< Only for proposals of one source alone: its name.
    struct Change {
        int track = 0;
        Proposal::Change::Kind kind = Proposal::Change::Kind::flip;
        double effectDb = 0.0; ///< What the sum would lose if this one change were taken back.
    };
    std::vector<Change> why; ///< Most valuable first.
};

/// How a pair stands under the setting that is heard now.
struct PairNow {
    double gainDb = 0.0; ///< Of the two alone, in the band.
    bool heard = true;   ///< False: one of the two is muted or not soloed.
};

/// What the user is told in the banner.
struct Notice {
    std::string text;
    bool fault = false;
    bool remarks = false; ///< It stands for the list of remarks, which tells more.
    bool stays = false;   ///< Until it is dismissed; what else is told goes when something is changed.
};

/// What the measurement has to remark, a line each.
struct Remarks {
    std::vector<std::string> recording; ///< Of the recording as a whole.
    std::vector<std::string> loop;      ///< Of the loop, where it is read alone.
    std::vector<std::string> focus;     ///< Of the source that is read alone.
    std::size_t count() const { return recording.size() + loop.size() + focus.size(); }
};

/// Which of the places that a session file names are taken without asking, beside its own folder and what is below.
struct KnownPlaces {
    std::vector<std::filesystem::path> before; ///< Folders and session files that the user opened or saved before.
    bool ownState = false;                     ///< It was kept for a restart by the program itself: whatever it names.
};

/// Everything the window knows and does, without drawing: recording, measurement, the setting that is heard, versions,
/// undo, selection, and the work in the background. All calls on one thread; poll() takes over what the background has
/// finished.
///
/// All readings are of the whole recording or, on request, of the loop alone or of one source alone; what is asked here
/// is answered from those that are read now.
class Controller {
public:
    enum class Task { none, opening, computingDemo, measuring, proposing, rendering, reporting };
    enum Changed : unsigned {
        recordingChanged = 1,
        measurementChanged = 2,
        settingChanged = 4, ///< Adjustments, solo, hold, link, undo.
        versionsChanged = 8,
        selectionChanged = 16,
        noticeChanged = 32,
        taskChanged = 64,
        waveformChanged = 128,
        readingsChanged = 256,   ///< Pairs, sums and levels: measured, or read from other moments or of another source.
        sourcesChanged = 512,    ///< Which instrument is heard where, the focus and the chosen source.
        aloneChanged = 1024,     ///< The sound of one source alone.
        listeningChanged = 2048, ///< How the sum is listened to; a difference; loudness, and whether it is matched.
        sessionFileChanged = 4096, ///< Which session file this is, or whether its recording is looked for.
    };

    /// threads: 0 = one a core. What can be computed again (the demo, spectra) is kept below `cache`; empty: in the
    /// system's folder for temporary files, and spectra are not kept. What the user says of a recording's sources is
    /// kept in `choices`, a file a folder; empty: not kept.
    explicit Controller(int threads = 0, std::filesystem::path cache = {}, std::filesystem::path choices = {});
    ~Controller();

    /// One of its own for another recording: with as many threads, keeping and finding things at the same places, and
    /// reading the same band at the same temperature.
    std::unique_ptr<Controller> another() const;

    /// Called with what changed (bits of Changed), on the calling thread.
    void addListener(std::function<void(unsigned)> listener);

    // ---- work in the background
    void openFolder(const std::filesystem::path& folder);
    /// Computes the first demo session, unless it is there already, and opens it.
    void openDemo();
    /// Opens a session file and its recording: where the file says, or in `folder`, which is then written into the
    /// file. Tracks that are missing, new or other ones are told, the rest is taken. Where the recording is not found,
    /// or the user is to be asked first, see recordingWantedFor().
    void openSession(const std::filesystem::path& path, std::optional<std::filesystem::path> folder = std::nullopt,
                     const KnownPlaces& known = {});
    /// The session file that could not be opened because the user has to say where its recording is; empty: none.
    const std::filesystem::path& recordingWantedFor() const { return wantedFor; }
    /// Where that session says that it is; empty: there is nothing of it.
    const std::filesystem::path& recordingSaidIn() const { return saidIn; }
    void propose();
    /// `refused` may take a fault, and then says so; else it is told as any other.
    /// `sums`: a folder for the sums of all versions, equally loud; none: they are not written.
    void render(const RenderOptions& options, const std::optional<std::filesystem::path>& sums = {},
                std::function<bool(const Fault&)> refused = {});
    /// A page for somebody who was not there, of all versions and of what is heard, and a recall sheet beside it, which
    /// ends in .csv.
    void saveReport(const std::filesystem::path& page, bool replace = false);
    /// The band and the temperature that readings are of. A recording that is open is read anew, which takes no time to
    /// speak of: its spectra are known.
    void setMeasureOptions(Band band, Celsius temperature);
    const MeasureOptions& measureOptions() const { return measureWith; }
    /// In what nudges are listed and distances told. Nothing is read anew.
    void setUnits(const Units& units);
    const Units& units() const { return shownIn; }
    Measures measures() const; ///< Of the recording that is open.
    const SpectraCache& cache() const { return spectraCache; }
    void cancel();
    void poll();
    Task task() const { return currentTask; }
    bool busy() const { return currentTask != Task::none; }
    bool readingLoop() const { return loopWork.busy(); } ///< The readings of the loop are on their way.
    double progress() const { return background.progress(); }
    /// Of the work in the background, by how far it came in how long; none in its first seconds.
    std::optional<Seconds> timeLeft() const;

    // ---- what is known
    const std::shared_ptr<const Recording>& recording() const { return openRecording; }
    /// What is read now; nullptr before it was measured.
    const std::shared_ptr<const Measurement>& measurement() const { return read().of; }
    /// The recording as a whole, whatever is read now; nullptr before it was measured.
    const std::shared_ptr<const Measurement>& wholeMeasurement() const { return whole.of; }
    std::string sessionName() const;
    int trackCount() const { return static_cast<int>(tracks().size()); }
    const std::vector<TrackInfo>& tracks() const;
    std::optional<double> levelDbfs(int track) const; ///< RMS; none before it was measured or where it is silent.
    /// The reading of a pair in either order; nullptr before it was measured or for tracks that take no part.
    const PairReading* reading(int first, int second) const;
    std::optional<PairNow> pairNow(int first, int second) const;
    std::optional<double> gainNowDb() const;
    const std::optional<SumPeaks>& waveform() const { return peaks; }
    const std::optional<Notice>& notice() const { return currentNotice; }
    Remarks remarks() const;
    void say(std::string text, bool fault = false);
    void caution(std::string text); ///< The same, to stay until it is dismissed.
    void dismissNotice();

    // ---- the session file
    /// Whole or not at all; says which. The ending is added where it is missing. True: it is there.
    bool saveSession(std::filesystem::path path);
    const std::filesystem::path& sessionPath() const { return sessionFile; } ///< Empty: never saved.
    /// The file that the recording was opened by: a session, or a state that was kept; empty: its folder was opened.
    const std::filesystem::path& openedBy() const { return openedFile; }
    /// Something of what the file holds has changed since it was saved or opened; which track is selected does not
    /// count.
    bool sessionChanged() const;
    /// What the file would hold, but for where the recording is as seen from it.
    Session session() const;

    // ---- which moments are read
    Moments loopMoments() const { return {loopFrom, loopTo}; }
    bool loopsWhole() const;
    /// Tells where the loop is; where it is read alone, the readings follow in the background, the newest loop first.
    void setLoop(Seconds from, Seconds to);
    /// Between the loop alone and the whole recording. Not a step of undo: it changes nothing that is heard.
    void toggleReadLoop();
    bool readsLoop() const { return loopWanted; } ///< As asked for; the readings may be on their way.
    /// The moments that are read now, whole stretches of about 5 s; none while it is the whole recording.
    std::optional<ReadSpan> readMoments() const;

    // ---- which instrument is heard where
    /// The recording with its sources; nullptr until they are heard, which follows measuring by itself.
    const Measurement* withSources() const { return wholeHeard.get(); }
    int sourceCount() const;
    const std::string& sourceName(int source) const;
    std::string shownSourceName(int source) const; ///< Called after a track, it is called as that one is shown.
    const SpillReading* spill(int source, int track) const; ///< nullptr for a track that takes no part.
    std::optional<double> spillShare(int track) const;
    bool spillShareUnsure(int track) const; ///< It may stand close to something after all, or not.
    int clippedSamples(int track) const;    ///< Of the whole recording, at full scale.
    /// Where what is written of this recording goes, unless the user says otherwise: beside it; of the demo, which lies
    /// in the cache, the user's home.
    std::filesystem::path besideRecording() const;
    bool hearingSources() const { return sourceWork.busy(); } ///< Or reading the focus source.
    /// The source that all readings are of; none: all that sounds, or the loop.
    std::optional<int> focused() const;
    /// The readings follow in the background. Leaves the loop. Not a step of undo: it changes nothing that is heard.
    void setFocus(std::optional<int> source);
    void focusNext();                                 ///< From all to the first source, from the last one to all.
    int chosenSource() const { return chosenColumn; } ///< -1: none.
    void chooseSource(int source);
    /// When the chosen source plays nearly alone, the best first.
    const std::vector<Moments>& leading() const { return leadingOfChosen; }

    // A source alone, told from the close tracks, as tracks hear it.
    static constexpr Seconds longestAlone = Seconds(20.0);
    /// Tracks that hear it well enough: that one, or of all.
    std::vector<int> tracksThatTell(int source, std::optional<int> track) const;
    /// In the background, the newest wish wins; until then what was computed before stays.
    void computeAlone(int source, std::vector<int> tracks, StretchSpan stretch);
    void leaveAlone(); ///< Or what is on its way to it.
    bool computingAlone() const { return aloneWork.busy(); }
    double aloneProgress() const { return aloneWork.progress(); }
    const std::shared_ptr<const TrackSound>& alone() const { return aloneSound; } ///< Null: none.

    // Who stands close to what, as the user says: heard anew, and kept for this folder.
    void standCloseTo(int track, int source);
    void standAlone(int track); ///< A source of its own.
    void standFar(int track);   ///< Close to none: a room or overhead microphone.
    void renameSource(int source, const std::string& name);
    void guessSources(); ///< Forgets what the user said.

    // ---- the setting that is heard
    const std::vector<TrackAdjustment>& adjustments() const { return now->adjustments; }
    /// With what is not soloed muted: what is heard.
    std::vector<TrackAdjustment> heardAdjustments() const;
    const std::vector<bool>& solo() const { return soloed; }
    bool held(int track) const { return now->held[static_cast<std::size_t>(track)]; }
    bool linked() const { return now->linked; } ///< Stereo pairs move together.

    void flip(int track);
    static constexpr Seconds largestNudge = Seconds(1.0); ///< As a setting file allows.
    /// At most the largest, either way. Within one gesture (see endGesture) all steps are one step of undo.
    void setNudge(int track, Seconds nudge, bool gesture = false);
    void nudgeBy(int track, Seconds by);
    /// Nudges the chosen track so that it hears the sound of the pair together with its partner.
    void alignPair();
    void setGain(int track, Decibels gain, bool gesture = false);
    /// -1 left .. +1 right, of this track alone; none: as the recording has it.
    void setPan(int track, std::optional<double> pan, bool gesture = false);
    /// Corner none: no filter, and the slope is 12 dB per octave again. Slope none: as it was.
    void setHighPass(int track, std::optional<Hertz> corner, std::optional<Slope> slope = {});
    void toggleMute(int track);
    void toggleSolo(int track); ///< Not a step of undo: it is for listening.
    void setSolo(std::vector<bool> tracks);
    void toggleHold(int track);
    void toggleLinks();
    /// Another recording's setting, whole: one a track. One step of undo, however often it follows.
    void setAll(std::vector<TrackAdjustment> adjustments);
    /// Gains that make all tracks equally loud, as one step of undo. Nothing before it was measured.
    void makeEquallyLoud();
    void endGesture() { gestureOpen = false; }

    bool canUndo() const { return step > 0; }
    bool canRedo() const { return step + 1 < historySize(); }
    /// Says in the banner what was undone.
    void undo();
    void redo();
    std::string undoWords() const; ///< "Undo flip of 'snare under'"; empty where there is nothing to undo.
    std::string redoWords() const; ///< "Redo flip of 'snare under'"
    /// All that undo and redo can reach, oldest first: at 0 the setting as it was opened.
    int historySize() const { return static_cast<int>(history.size()); }
    int historyPlace() const { return step; }     ///< Where what is heard stands in it.
    const std::string& historyWords(int k) const; ///< What led there: "flip of 'snare under'".
    void goToHistory(int k);                      ///< As so many undos or redos; silent.

    // ---- versions
    const Terms& terms() const { return proposalTerms; }
    /// Not a step of undo: it changes nothing that is heard. Proposals made under others are marked.
    void setTerms(Terms terms);
    const std::optional<Version>& version(VersionKind kind) const { return versions[indexOf(kind)]; }
    std::optional<VersionKind> heardVersion() const { return now->heard; }
    /// Applies a version at once, as one step of undo. A proposal that is not there yet is made first; under an empty
    /// key for what is kept, what is heard is kept.
    void hear(VersionKind kind);
    /// Keeps the setting that is heard, whole, under that key, as one step of undo.
    void keep(VersionKind kind);
    /// What is kept there is called so, as one step of undo; empty: by its key again. What cannot be is said: nothing
    /// is kept there, another version bears the name, it has more than mostOfName characters.
    void renameKept(VersionKind kind, const std::string& name);
    static constexpr int mostOfName = 20;
    /// All of a version's setting; none where it is not there.
    std::optional<std::vector<TrackAdjustment>> settingOf(VersionKind kind) const;

    // ---- how it is listened to; none of it is a step of undo, and none is rendered
    const Listening& listening() const { return listenedTo; }
    void setListening(const Listening& listening);
    /// Between what is heard and its difference from the version that was heard before.
    void toggleDifference();
    std::optional<VersionKind> differenceFrom() const { return less; }
    /// The two of the chosen pair alone, or all: not a step of undo.
    void togglePairSolo();
    bool pairSoloed() const;
    /// Every track but those close to the chosen source, or what was soloed before.
    void toggleSpillSolo();
    bool spillSoloed() const { return soloBeforeSpill.has_value(); }
    /// Versions are heard as loud as the setting as recorded, under the balance of the versions that are not kept.
    bool matchesLoudness() const { return matching; }
    void setMatching(bool match);
    /// BS.1770 over the loop; none before it is known, and of silence. It is known some time after
    /// measuring, and after the loop moved.
    std::optional<double> loudnessLufs(const std::vector<TrackAdjustment>& setting) const;
    /// What is played of the recording, round and round.
    std::string loopInWords() const;
    bool loudnessKnown() const { return loudness != nullptr; }
    /// Which reading of the loop loudness is of; 0: none yet (HeardMix::loudnessBasis).
    int loudnessBasis() const { return loudness ? loudnessReadings : 0; }
    bool readingLoudness() const { return loudWork.busy(); }
    /// What matching does to a setting; 0 where loudness is unknown or not matched.
    Decibels compensation(const std::vector<TrackAdjustment>& setting) const;
    /// What the player is to play.
    HeardMix heardMix() const;
    /// The same, to be played now. Where what is heard before is of a kind whose loudness is only guessed, what was
    /// metered of it goes along.
    HeardMix nextMix();
    void setMetered(std::optional<double> lufs) { meteredLufs = lufs; } ///< Of what is heard now, momentary.
    /// Nothing is turned up by more, nor down by more: matchedInFull() tells whether that was enough.
    static constexpr Decibels mostTurnedUp = Decibels(12.0), mostTurnedDown = Decibels(-60.0);
    bool matchedInFull(const std::vector<TrackAdjustment>& setting) const;

    /// The summation gain of this moment under what is heard, some time after it was asked for with what sounds; none
    /// while nothing is known.
    void readMoment(std::vector<std::vector<float>> samples);
    bool readingMoment() const { return momentWork.busy(); }
    /// None while a source is read or heard alone: it is of the sum.
    std::optional<double> momentGainDb() const { return focus.of || aloneSound ? std::nullopt : momentDb; }
    void forgetMoment();

    // ---- selection
    int selectedTrack() const { return chosen; } ///< -1: none.
    int partnerTrack() const { return partner; } ///< -1: none.
    void selectTrack(int track);
    void selectPair(int track, int other);
    // ---- how the tracks are listed; each a step of undo but for folding
    const TrackList& trackList() const { return now->list; }
    const std::string& shownName(int track) const; ///< Given here, or its file's.
    /// Empty: as its file again. Nothing where another track is called so already, which is said.
    void renameTrack(int track, const std::string& name);
    void labelNext();                     ///< Of the tracks that are chosen: the next label, after the last one none.
    void moveTrack(int track, int place); ///< In the list, from 0.
    void toggleGroup();                   ///< Of the tracks looked at together; of one in a group: it is dissolved.
    void renameGroup(int group, const std::string& name);
    void toggleFold(int group);
    /// The track so many lines farther down that is shown; the first or the last where there are not as many.
    int besideInList(int track, int lines) const;

    /// Tracks that are looked at together, ascending, two at least; empty: all are.
    const std::vector<int>& together() const { return lookedAt; }
    void extendTogether(int track); ///< From the track it began with to this one, which is chosen.
    void toggleTogether(int track); ///< To or from the others; the first time, to the chosen one.
    void leaveTogether();

private:
    struct Snapshot {
        std::vector<TrackAdjustment> adjustments;
        std::vector<bool> held;
        bool linked = true;
        std::optional<VersionKind> heard = VersionKind::asRecorded;
        std::optional<Version> mine;
        std::array<std::optional<Version>, keptCount> kept;
        std::vector<TrackAdjustment> home; ///< While something kept is heard: the setting before it, with its balance.
        TrackList list;
        std::string words; ///< What led here, a step of undo.

        /// Whose balance is that of the versions which are not kept.
        const std::vector<TrackAdjustment>& balance() const { return home.empty() ? adjustments : home; }
    };
    using SnapshotPtr = std::shared_ptr<const Snapshot>;

    /// A measurement and what follows from it under the present balance.
    struct Reading {
        std::shared_ptr<const Measurement> of;
        std::vector<int> readingOf;          ///< [second * tracks + first]: place in of->pairs, -1 for none.
        std::vector<int> positionOf;         ///< Place of a track among the usable ones, -1 for none.
        std::optional<SummationModel> model; ///< Of the balance in `balance`.
        std::vector<TrackAdjustment> balance;
        PairGains pairGains;

        Reading() = default;
        explicit Reading(std::shared_ptr<const Measurement> measurement);
    };
    const Reading& read() const { return focus.of ? focus : loop.of ? loop : whole; }
    Reading& read() { return const_cast<Reading&>(std::as_const(*this).read()); }
    /// What proposals are asked for.
    struct Asked {
        ProposeOptions options; ///< But for what the cards differ in.
        SnapshotPtr start;
        Terms terms;
        std::shared_ptr<const Measurement> source;
        std::optional<ReadSpan> moments;
        std::optional<std::string> sourceAlone;
    };
    SnapshotPtr startOfProposals() const;
    void proposeRung(std::size_t rung, std::shared_ptr<const Asked> asked);
    static Version versionOf(const Proposals& proposals, const Asked& asked);
    void startReadingLoop();
    void startHearing();
    void hearAsListed(SourceList list);
    void becomeHeard(std::shared_ptr<const Measurement> withSources);
    std::optional<std::string> focusName() const;
    std::optional<std::string> focusToKeep() const; ///< Or the one that is on its way, or waited for.
    std::filesystem::path choicesFile() const;      ///< Of this folder; empty: nothing is kept.
    void leaveFocus();                              ///< Or what is on its way to it.
    void startLoudness();
    double loudnessToBe(const std::vector<TrackAdjustment>& setting, const std::vector<bool>& solo) const;
    std::optional<double> turned(const std::vector<TrackAdjustment>& setting) const;
    void soloSpill();
    std::string freeGroupName(const std::string& name) const;
    void readFrom(Reading moments);

    void notify(Notice notice);
    void begin(Task task, Background::Work work);
    void fail(const Fault& fault);
    /// A session on its way to being heard.
    struct Opening {
        Session session;
        std::filesystem::path file;
        bool moved = false;    ///< The user said where the recording is.
        bool ownState = false; ///< Kept for a restart by the program itself.
    };
    void taken(std::shared_ptr<const Recording> recording, const Opening* opening = nullptr);
    void resume(const Opening& opening);
    Setting named(const std::vector<TrackAdjustment>& setting, const Setting* asOpened) const;
    std::vector<TrackAdjustment> ofTracks(const Setting& setting) const;
    SessionTerms named(const Terms& terms) const;
    Terms ofTracks(const SessionTerms& terms) const;
    std::vector<Session::Listed> named(const TrackList& list) const;
    TrackList ofTracks(const std::vector<Session::Listed>& list, const std::vector<std::string>& folded) const;
    SessionVersion named(VersionKind kind, const Version& version) const;
    Version ofTracks(const SessionVersion& version, VersionKind kind) const;
    double highestCorner() const; ///< Of a high-pass, Hz.
    bool writeSession(const std::filesystem::path& path);
    void startMeasuring();
    void chooseTellingPair();
    void lookAt(std::vector<int> tracks, int track);
    void edit(Snapshot next, std::string words, bool gesture = false);
    void editByHand(Snapshot next, std::string words, bool gesture = false);
    void editBalance(Snapshot next, std::string words, bool gesture = false);
    void beginHistory(Snapshot first);
    void become(SnapshotPtr snapshot);
    std::string names(int track, bool withPartner = false) const; ///< As a step of undo calls it.
    template <class Edit>
    void changeTracks(int track, bool gesture, const std::string& words, Edit&& change);
    void refreshModel();
    void refreshNow();
    void refreshVersionGains();
    double keptGainDb(std::size_t place, const Version& version);
    double gainOf(const SummationModel& model, const std::vector<bool>& flips,
                  const std::vector<Seconds>& nudges) const;
    void startPeaks();
    void tell(unsigned changed);

    Workers workers, loopWorkers, sourceWorkers, aloneWorkers, loudWorkers; ///< The others work while the first do.
    std::filesystem::path demoFolder, choicesFolder;
    SpectraCache spectraCache;
    std::vector<std::function<void(unsigned)>> listeners;
    Task currentTask = Task::none;
    MeasureOptions measureWith;
    Units shownIn;
    std::chrono::steady_clock::time_point taskBegan;

    std::shared_ptr<const Recording> openRecording;
    Reading whole, loop, focus; ///< The last two hold nothing while the whole is read; one of them at most does.
    std::shared_ptr<const Measurement> wholeHeard; ///< The whole with its sources.
    std::optional<SourceList> listed;              ///< What the user says of the sources; none: guessed.
    int hearing = 0, hearings = 0;  ///< The sources themselves, anew: which time, 0: not now. No focus meanwhile.
    std::optional<int> focusWanted; ///< As asked for; the readings may be on their way.
    std::optional<std::string> focusResumed; ///< Of the session that was opened, while the sources are not heard yet.
    int chosenColumn = -1;
    int alones = 0; ///< Counts what is wanted alone, so that the newest is known.
    std::shared_ptr<const TrackSound> aloneSound;
    std::vector<Moments> leadingOfChosen; ///< Asked for at every frame that is drawn.
    bool loopWanted = false;
    Seconds loopFrom, loopTo;
    std::optional<Notice> currentNotice;

    SnapshotPtr now;                  ///< history[step]
    std::vector<SnapshotPtr> history; ///< Never empty.
    int step = 0;
    std::vector<bool> soloed;
    std::optional<std::vector<bool>> soloBeforeSpill;
    bool gestureOpen = false;

    bool matching = true;
    std::shared_ptr<const LoudnessModel> loudness; ///< Of the loop.
    struct Loud {
        std::vector<TrackAdjustment> setting;
        std::optional<double> lufs;
    };
    static constexpr std::size_t mostLoudOnes = 6;
    mutable std::vector<Loud> loudOnes; ///< Those asked for last, the newest first.
    int loudnessReadings = 0;           ///< Counts the models.
    std::optional<double> meteredLufs;
    bool guessedGiven = false;                           ///< What is heard is a difference, or a source alone ...
    std::chrono::steady_clock::time_point guessedLast{}; ///< ... or was until then.
    std::optional<double> momentDb;
    Listening listenedTo;
    std::optional<VersionKind> heardBefore; ///< The last other version.
    std::optional<VersionKind> less;

    std::array<std::optional<Version>, versionCount> versions;
    struct KeptGain {
        std::weak_ptr<const Measurement> of;
        std::vector<TrackAdjustment> whole;
        double gainDb = 0.0;
    };
    std::array<KeptGain, keptCount> keptGains;
    Terms proposalTerms;
    std::vector<TrackAdjustment> proposedFor; ///< The balance the bounds hold for.
    std::optional<VersionKind> hearWhenProposed;

    std::filesystem::path sessionFile, openedFile, wantedFor, saidIn;
    std::optional<Session> saved;   ///< What is not changed; none: all of it is.
    std::optional<Session> resumed; ///< As it was opened: what tracks have that are not there now is kept for them.
    std::vector<Session::File> recordingFiles;
    std::string changedSince; ///< What is missing or new against the session.

    std::vector<double> pairGainsNow;
    std::optional<double> sumGainDb;

    std::optional<SumPeaks> peaks;

    int chosen = -1, partner = -1;
    std::vector<int> lookedAt;
    int lookedAtFrom = -1;

    Background keepWork, peakWork, loopWork, sourceWork, aloneWork, loudWork,
        momentWork; // last: they stop before what they use goes
    Background background;
};

} // namespace spillwright::desk
