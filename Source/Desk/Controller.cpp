#include "Desk/Controller.h"

#include "Core/Loudness.h"
#include "Core/Propose/MomentGain.h"
#include "Core/Sources/SourceSound.h"
#include "Demo/DemoRecording.h"
#include "Desk/Commands.h"
#include "Desk/Fingerprint.h"
#include "Desk/StepWords.h"
#include "Desk/Words.h"
#include "Media/Sums.h"
#include "Report/Report.h"
#include "Session/Document.h"
#include "Session/Files.h"
#include "Session/PairWords.h"
#include "Session/ProposalWords.h"
#include "Session/Setting.h"
#include "Session/SpillFindings.h"
#include "Session/TextFile.h"
#include "Session/Words.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace spillwright::desk {

namespace {

/// "A line (and 2 more remarks)"
std::string withMore(const std::string& line, std::size_t more) {
    return line + (more > 0 ? " (and " + std::to_string(more) + " more remark" + (more > 1 ? "s)" : ")") : "");
}

constexpr double largestGainDb = 60.0;
constexpr double quietestPairDb = -60.0;
const Seconds timeOfProof(2.0);
const Seconds timeOfCard(6.0); // the search of up to some 40 tracks is through by then
constexpr int waveformColumns = 2400;
const std::vector<TrackInfo> noTracks;

std::size_t at(int index) {
    return static_cast<std::size_t>(index);
}

std::vector<std::vector<std::string>> groupsOf(const Terms& terms, const std::vector<TrackInfo>& tracks) {
    std::vector<std::vector<std::string>> groups(mostGroups);
    for (std::size_t track = 0; track < terms.group.size(); ++track)
        if (const int group = terms.group[track]; group > 0 && group <= mostGroups)
            groups[static_cast<std::size_t>(group - 1)].push_back(tracks[track].name);
    std::erase_if(groups, [](const auto& group) { return group.size() < 2; });
    return groups;
}

/// The balance alone.
std::vector<TrackAdjustment> balanceOf(std::vector<TrackAdjustment> adjustments) {
    for (auto& adjustment : adjustments) {
        adjustment.flip = false;
        adjustment.nudge = Seconds(0.0);
        adjustment.pan.reset(); // the summation gain is that of the mono sum
    }
    return adjustments;
}

/// Names a computed demo by what it was computed from, so that a changed scene is computed anew.
std::string fingerprintOf(const std::filesystem::path& file) {
    const auto text = readTextFile(file, "scene file");
    return fingerprint(text ? *text : "");
}

} // namespace

Controller::Controller(int threads, std::filesystem::path cache, std::filesystem::path choices)
    : workers(threads), loopWorkers(threads), sourceWorkers(threads), aloneWorkers(threads), loudWorkers(threads),
      demoFolder(cache.empty() ? temporaryBeside(std::filesystem::temp_directory_path() / "demo") : cache / "demo"),
      choicesFolder(std::move(choices)), spectraCache(cache.empty() ? cache : cache / "spectra") {
    beginHistory({});
}

Controller::~Controller() = default;

std::unique_ptr<Controller> Controller::another() const {
    auto made = std::make_unique<Controller>(workers.count(), spectraCache.where().parent_path(), choicesFolder);
    made->measureWith = measureWith;
    made->shownIn = shownIn;
    return made;
}

void Controller::addListener(std::function<void(unsigned)> listener) {
    listeners.push_back(std::move(listener));
}

void Controller::tell(unsigned changed) {
    for (const auto& listener : listeners)
        listener(changed);
}

// ---- work in the background

void Controller::begin(Task task, Background::Work work) {
    currentTask = task;
    taskBegan = std::chrono::steady_clock::now();
    background.start(std::move(work));
    tell(taskChanged);
}

void Controller::fail(const Fault& fault) {
    hearWhenProposed.reset();
    if (fault.kind == Fault::Kind::cancelled)
        say("Stopped.");
    else
        say(fault.line(), true);
}

void Controller::notify(Notice notice) {
    currentNotice = std::move(notice);
    tell(noticeChanged);
}

void Controller::caution(std::string text) {
    notify({.text = std::move(text), .stays = true});
}

void Controller::say(std::string text, bool fault) {
    notify({.text = std::move(text), .fault = fault});
}

void Controller::dismissNotice() {
    currentNotice.reset();
    tell(noticeChanged);
}

void Controller::cancel() {
    background.cancel();
}

void Controller::poll() {
    if (background.poll() && !background.busy() && currentTask != Task::none) {
        currentTask = Task::none;
        tell(taskChanged);
    }
    keepWork.poll();
    loopWork.poll();
    if (sourceWork.poll() && !sourceWork.busy()) tell(sourcesChanged);
    aloneWork.poll();
    if (loudWork.poll() && !loudWork.busy()) tell(listeningChanged);
    momentWork.poll();
    if (peakWork.poll() && !peakWork.busy()) tell(waveformChanged);
}

std::optional<Seconds> Controller::timeLeft() const {
    constexpr double soonest = 2.0, leastDone = 0.03; // before that it would be a guess
    const double taken = std::chrono::duration<double>(std::chrono::steady_clock::now() - taskBegan).count();
    const double done = progress();
    if (!busy() || taken < soonest || done < leastDone) return std::nullopt;
    return Seconds(taken * (1.0 - done) / done);
}

void Controller::setUnits(const Units& units) {
    if (units == shownIn) return;
    shownIn = units;
    tell(readingsChanged | settingChanged | sourcesChanged);
}

Measures Controller::measures() const {
    return {shownIn, openRecording ? openRecording->sampleRate() : Measures{}.sampleRate, measureWith.temperature};
}

void Controller::setMeasureOptions(Band band, Celsius temperature) {
    if (band == measureWith.band && temperature == measureWith.temperature) return;
    measureWith.band = band;
    measureWith.temperature = temperature;
    if (listenedTo.band) listenedTo.band = band;
    if (!openRecording) return;
    loopWork.cancel();
    leaveFocus();
    loop = Reading();
    startMeasuring();
}

void Controller::openFolder(const std::filesystem::path& folder) {
    dismissNotice();
    begin(Task::opening, [this, folder](const Watch& watch) -> Background::Finish {
        auto opened = Recording::open(folder, watch);
        if (!opened) return [this, fault = opened.fault()] { fail(fault); };
        return [this, recording = std::move(opened).value()] { taken(recording); };
    });
}

void Controller::openDemo() {
    dismissNotice();
    begin(Task::computingDemo, [this](const Watch& watch) -> Background::Finish {
        const auto sessions = demoSessions();
        if (sessions.empty())
            return [this] { fail({"demo", "no demo session came with the program", "install it completely"}); };
        const auto& session = sessions.front();
        const auto folder = demoFolder / fingerprintOf(session.sceneFile) / session.name;
        std::error_code ignored;
        if (!std::filesystem::is_directory(folder, ignored)) {
            if (const auto computed = computeDemo(session.sceneFile, folder, workers, watch); !computed)
                return [this, fault = computed.fault()] { fail(fault); };
        }
        auto opened = Recording::open(folder, Watch{{}, watch.stop});
        if (!opened) return [this, fault = opened.fault()] { fail(fault); };
        return [this, recording = std::move(opened).value()] { taken(recording); };
    });
}

void Controller::taken(std::shared_ptr<const Recording> recording, const Opening* opening) {
    peakWork.cancel();
    loopWork.cancel();
    sourceWork.cancel();
    loudWork.cancel();
    leaveAlone();
    loudness.reset();
    loudOnes.clear();
    guessedGiven = false;
    meteredLufs.reset();
    momentDb.reset();
    openRecording = std::move(recording);
    whole = loop = focus = Reading();
    wholeHeard.reset();
    listed.reset();
    hearing = 0;
    focusWanted.reset();
    focusResumed.reset();
    chosenColumn = -1;
    leadingOfChosen.clear();
    loopWanted = false;
    loopFrom = Seconds(0.0);
    loopTo = Seconds(static_cast<double>(openRecording->length()) / openRecording->sampleRate());
    pairGainsNow.clear();
    sumGainDb.reset();
    peaks.reset();
    const auto count = tracks().size();
    Snapshot fresh;
    fresh.adjustments.resize(count);
    fresh.held.assign(count, false);
    fresh.list = TrackList(static_cast<int>(count));
    beginHistory(std::move(fresh));
    soloed.assign(count, false);
    soloBeforeSpill.reset();
    heardBefore.reset();
    less.reset();
    versions = {};
    proposedFor.clear();
    proposalTerms = {};
    proposalTerms.group.assign(count, 0);
    proposalTerms.largest.assign(count, std::nullopt);
    hearWhenProposed.reset();
    chosen = count > 0 ? 0 : -1;
    partner = -1;
    lookedAt.clear();
    sessionFile.clear();
    openedFile = opening ? opening->file : std::filesystem::path();
    wantedFor.clear();
    saidIn.clear();
    resumed.reset();
    changedSince.clear();
    recordingFiles.clear();
    for (const auto& file : openRecording->files()) {
        std::error_code ignored;
        recordingFiles.push_back({file.path.filename().string(), std::filesystem::file_size(file.path, ignored)});
    }
    if (opening)
        resume(*opening);
    else
        saved = session();
    tell(sessionFileChanged | recordingChanged | measurementChanged | readingsChanged | settingChanged |
         versionsChanged | selectionChanged | waveformChanged | sourcesChanged | listeningChanged);
    startMeasuring();
    startPeaks();
}

void Controller::startMeasuring() {
    const auto source = openRecording;
    const auto before = whole.of ? whole.of->spectra : nullptr;
    begin(Task::measuring, [this, source, before, with = measureWith](const Watch& watch) -> Background::Finish {
        const auto known = before ? before : spectraCache.find(*source, 0, source->length());
        auto found = measure(source->folder().string(), source->tracks(), *source, source->warnings(), with, workers,
                             watch, known);
        if (!found) return [this, fault = found.fault()] { fail(fault); };
        return [this, source, isNew = !known, again = before != nullptr,
                measurement = std::make_shared<const Measurement>(std::move(*found))] {
            currentTask = Task::none;
            whole = Reading(measurement);
            if (isNew)
                keepWork.start([this, source, spectra = measurement->spectra](const Watch&) -> Background::Finish {
                    spectraCache.keep(*source, *spectra);
                    return [] {};
                });
            if (again)
                for (const auto kind : {VersionKind::flips, VersionKind::nudgesTo1ms, VersionKind::nudgesTo10ms})
                    versions[indexOf(kind)].reset(); // of another band
            if (less && !versions[indexOf(*less)]) less.reset();
            if (heardBefore && !versions[indexOf(*heardBefore)]) heardBefore.reset();
            Version asRecorded;
            asRecorded.flips.assign(tracks().size(), false);
            asRecorded.nudges.assign(tracks().size(), Seconds(0.0));
            versions[indexOf(VersionKind::asRecorded)] = asRecorded;
            refreshNow();
            if (again || !resumed || !resumed->selected) chooseTellingPair();
            if (const auto& lines = whole.of->warnings; !lines.empty()) {
                const auto more = lines.size() - 1;
                notify({.text = changedSince + (changedSince.empty() ? "" : "\n") + withMore(lines.front(), more),
                        .remarks = true});
            }
            changedSince.clear();
            tell(taskChanged | measurementChanged | readingsChanged | versionsChanged | selectionChanged |
                 listeningChanged);
            if (loopWanted) startReadingLoop();
            startLoudness();
            if (const auto file = choicesFile(); !listed && !file.empty() && std::filesystem::exists(file)) {
                auto kept = readSourcesFile(file.string());
                if (kept) {
                    listed = std::move(kept).value();
                    if (saved) saved->sources = listed;
                } else
                    say(kept.fault().line(), true);
            }
            startHearing();
        };
    });
}

void Controller::chooseTellingPair() {
    // The pair that loses most as recorded says at a glance what this is about.
    const PairReading* telling = nullptr;
    const auto& pairs = whole.of->pairs;
    for (const auto& pair : pairs)
        if (pair.related && (!telling || pair.summationGain < telling->summationGain)) telling = &pair;
    if (!telling && !pairs.empty()) telling = &pairs.front();
    if (telling) {
        chosen = telling->second;
        partner = telling->first;
    }
}

void Controller::propose() {
    if (!measurement() || busy()) return;
    dismissNotice();
    ProposeOptions options;
    const auto start = startOfProposals();
    options.setting = settingFrom("start", tracks(), start->adjustments);
    options.unlink = !now->linked;
    options.proofTime = timeOfProof;
    options.time = timeOfCard;
    for (int track = 0; track < trackCount(); ++track)
        if (held(track)) options.hold.push_back(tracks()[at(track)].name);
    options.stereo = proposalTerms.stereo;
    options.aim.at = proposalTerms.aim;
    options.groups = groupsOf(proposalTerms, tracks());
    const bool all = !loop.of && !focus.of; // the whole is read: its sources tell what each of them gains
    proposeRung(0, std::make_shared<const Asked>(Asked{std::move(options), start, proposalTerms,
                                                       all && wholeHeard ? wholeHeard : measurement(), readMoments(),
                                                       focusName()}));
}

/// What was set by hand is built on; what was proposed before is not: the recording, but for what is held.
Controller::SnapshotPtr Controller::startOfProposals() const {
    if (!now->heard || !isProposal(*now->heard)) return now;
    auto start = std::make_shared<Snapshot>(*now);
    for (int track = 0; track < trackCount(); ++track) {
        if (held(track)) continue;
        start->adjustments[at(track)].flip = false;
        start->adjustments[at(track)].nudge = Seconds(0.0);
    }
    return start;
}

/// One card after the other, so that the first is there while the rest are looked for.
void Controller::proposeRung(std::size_t rung, std::shared_ptr<const Asked> asked) {
    struct Rung {
        VersionKind kind;
        Allow allow;
        Seconds largest;
    };
    static const std::array rungs{Rung{VersionKind::flips, Allow::flips, milliseconds(10.0)},
                                  Rung{VersionKind::nudgesTo1ms, Allow::nudges, milliseconds(1.0)},
                                  Rung{VersionKind::nudgesTo10ms, Allow::nudges, milliseconds(10.0)}};
    begin(Task::proposing, [this, rung, asked](const Watch& watch) -> Background::Finish {
        const auto& measured = *asked->source;
        auto options = asked->options;
        options.rungs = {rungs[rung].allow};
        options.largestNudge = rungs[rung].largest;
        for (std::size_t track = 0; track < asked->terms.largest.size(); ++track)
            if (const auto own = asked->terms.largest[track]; own && own->value < rungs[rung].largest.value)
                options.ownLargest.emplace_back(measured.tracks[track].name, *own);
        const auto rungCount = static_cast<double>(rungs.size());
        const Watch share{[&](double done) { watch.tell((static_cast<double>(rung) + done) / rungCount); }, watch.stop};
        const auto proposals = makeProposals(measured, options, workers, share);
        if (!proposals) return [this, fault = proposals.fault()] { fail(fault); };
        return [this, rung, asked, version = versionOf(*proposals, *asked)] {
            versions[indexOf(rungs[rung].kind)] = version;
            proposedFor = balanceOf(asked->start->adjustments);
            refreshVersionGains();
            if (hearWhenProposed == rungs[rung].kind) hear(*std::exchange(hearWhenProposed, std::nullopt));
            tell(versionsChanged);
            if (rung + 1 < rungs.size()) proposeRung(rung + 1, asked);
        };
    });
}

Version Controller::versionOf(const Proposals& proposals, const Asked& asked) {
    const auto& best = proposals.proposals.front();
    const auto& usable = asked.source->usable;
    Version version;
    for (const auto& adjustment : asked.start->adjustments) { // what is silent in these moments stays as it is
        version.flips.push_back(adjustment.flip);
        version.nudges.push_back(adjustment.nudge);
    }
    for (std::size_t p = 0; p < usable.size(); ++p) {
        version.flips[at(usable[p])] = best.proposal.flips[p];
        version.nudges[at(usable[p])] = Seconds(best.proposal.nudges[p]);
    }
    version.gapDb = best.gapDb();
    version.terms = asked.terms;
    version.cutShort = best.proposal.cutShort;
    const auto& begun = asked.start->adjustments;
    version.onMine =
        std::any_of(begun.begin(), begun.end(), [](const auto& one) { return one.flip || one.nudge.value != 0.0; });
    version.words = proposalInWords(proposals, best);
    if (best.lows) version.lowsDb = best.lows->winsDb;
    version.proposedFrom = asked.moments;
    version.proposedFor = asked.sourceAlone;
    for (const auto& change : best.proposal.why)
        version.why.push_back({usable[at(change.track)], change.kind, change.effectDb});
    return version;
}

void Controller::render(const RenderOptions& wanted, const std::optional<std::filesystem::path>& sums,
                        std::function<bool(const Fault&)> refused) {
    if (!openRecording || busy()) return;
    dismissNotice();
    auto options = wanted;
    options.settingName = now->heard ? words::versionName(*this, *now->heard) : "as heard";
    std::vector<SumVersion> versionsToSum;
    if (sums)
        for (std::size_t k = 0; k < versions.size(); ++k)
            if (const auto setting = settingOf(static_cast<VersionKind>(k)))
                versionsToSum.push_back({words::versionName(*this, static_cast<VersionKind>(k)), *setting});
    begin(Task::rendering,
          [this, options, sums, versionsToSum = std::move(versionsToSum), refused = std::move(refused),
           source = openRecording, setting = now](const Watch& watch) -> Background::Finish {
              const double share = sums ? 0.5 : 1.0;
              const auto failed = [this, refused](const Fault& fault) -> Background::Finish {
                  return [this, refused, fault] {
                      const bool taken = fault.kind != Fault::Kind::cancelled && refused && refused(fault);
                      if (!taken) fail(fault);
                  };
              };
              const Watch first{[&](double done) { watch.tell(share * done); }, watch.stop};
              Batch together; // all of it appears, or nothing
              auto report = prepareRender(*source, setting->adjustments, options, together, first);
              if (!report) return failed(report.fault());
              std::string words = "Rendered " + std::to_string(report->written.size() - (options.sum ? 1 : 0)) +
                                  " files into " + options.to.string();
              if (options.sum) words += ", the sum beside it: " + options.sum->filename().string();
              if (options.notes) words += ", what was done: " + options.notes->filename().string();
              if (sums) {
                  const Watch second{[&](double done) { watch.tell(share + (1.0 - share) * done); }, watch.stop};
                  const auto summed =
                      prepareSums(*source, versionsToSum, {*sums, std::nullopt, options.replace}, together, second);
                  if (!summed) return failed(summed.fault());
                  words += "; " + std::to_string(summed->sums.size()) + " sums, equally loud, into " + sums->string();
              }
              if (auto kept = together.keepAll(); !kept) return failed(kept.fault());
              for (const auto& remark : report->remarks)
                  words += "\n" + remark;
              return [this, words] { say(words); };
          });
}

void Controller::saveReport(const std::filesystem::path& page, bool replace) {
    if (!whole.of || busy()) return;
    dismissNotice();
    auto found = versionsOf(session(), tracks());
    const auto date = juce::Time::getCurrentTime().formatted("%d %B %Y").toStdString();
    begin(Task::reporting,
          [this, page, replace, date, found = std::move(found), source = openRecording,
           m = wholeHeard ? wholeHeard : whole.of](const Watch& watch) -> Background::Finish {
              auto sheet = page;
              sheet.replace_extension(".csv");
              const ReportContents contents{*source, *m, found.versions, found.taken, date};
              const auto written = spillwright::saveReport(contents, {page, sheet, replace}, workers, watch);
              if (!written) return [this, fault = written.fault()] { fail(fault); };
              return [this, page, sheet] {
                  say("The report is " + page.string() + ", its recall sheet " + sheet.filename().string() + ".");
              };
          });
}

// ---- what is known

std::string Controller::sessionName() const {
    if (!openRecording) return {};
    const auto folder = openRecording->folder();
    return (folder.has_filename() ? folder.filename() : folder.parent_path().filename()).string();
}

const std::vector<TrackInfo>& Controller::tracks() const {
    if (whole.of) return whole.of->tracks;
    return openRecording ? openRecording->tracks() : noTracks;
}

std::optional<double> Controller::levelDbfs(int track) const {
    const auto& of = focus.of ? whole.of : measurement(); // a source alone has no level of its own
    if (!of || of->tracks[at(track)].state != TrackState::ok) return std::nullopt;
    return decibelsOfAmplitude(of->spectra->statistics(track).rms());
}

const PairReading* Controller::reading(int first, int second) const {
    if (!measurement() || first < 0 || second < 0 || first == second) return nullptr;
    const int found = read().readingOf[at(std::max(first, second)) * at(trackCount()) + at(std::min(first, second))];
    return found < 0 ? nullptr : &measurement()->pairs[at(found)];
}

std::optional<PairNow> Controller::pairNow(int first, int second) const {
    if (!reading(first, second) || pairGainsNow.empty()) return std::nullopt;
    const auto audible = [&](int track) { return isHeard(now->adjustments[at(track)], soloed, at(track)); };
    const auto& places = read().positionOf;
    const int a = places[at(std::min(first, second))], b = places[at(std::max(first, second))];
    const double gain = pairGainsNow[PairGains::pairIndex(a, b)];
    return PairNow{std::max(quietestPairDb, decibelsOfPower(gain)), audible(first) && audible(second)};
}

std::optional<double> Controller::gainNowDb() const {
    return sumGainDb;
}

Remarks Controller::remarks() const {
    Remarks remarks;
    if (whole.of) remarks.recording = wholeHeard ? wholeHeard->warnings : whole.of->warnings;
    if (loop.of) remarks.loop = loop.of->warnings;
    if (focus.of) remarks.focus = focus.of->warnings;
    return remarks;
}

// ---- which moments are read

Controller::Reading::Reading(std::shared_ptr<const Measurement> measurement) : of(std::move(measurement)) {
    const auto count = of->tracks.size();
    readingOf.assign(count * count, -1);
    for (std::size_t p = 0; p < of->pairs.size(); ++p)
        readingOf[at(of->pairs[p].second) * count + at(of->pairs[p].first)] = static_cast<int>(p);
    positionOf.assign(count, -1);
    for (std::size_t p = 0; p < of->usable.size(); ++p)
        positionOf[at(of->usable[p])] = static_cast<int>(p);
}

std::optional<ReadSpan> Controller::readMoments() const {
    if (focus.of || !loop.of || loop.of->spectra == whole.of->spectra) return std::nullopt;
    return spanOf(*loop.of);
}

void Controller::setLoop(Seconds from, Seconds to) {
    if (from == loopFrom && to == loopTo) return;
    loopFrom = from;
    loopTo = to;
    if (loopWanted) startReadingLoop();
    startLoudness();
}

void Controller::toggleReadLoop() {
    if (!openRecording) return;
    loopWanted = !loopWanted;
    if (loopWanted) {
        leaveFocus();
        startReadingLoop();
        tell(readingsChanged);
    } else {
        loopWork.cancel();
        readFrom({});
    }
}

void Controller::startReadingLoop() {
    if (!whole.of) return; // when it is measured
    loopWork.start([this, source = whole.of, from = loopFrom, to = loopTo](const Watch& watch) -> Background::Finish {
        auto found = readStretches(*source, from, to, loopWorkers, watch);
        const auto wanted = [this, source, from, to] {
            return loopWanted && whole.of == source && from == loopFrom && to == loopTo;
        };
        if (!found)
            return [this, wanted, fault = found.fault()] {
                if (!wanted() || fault.kind == Fault::Kind::cancelled) return;
                readFrom({});
                say(fault.line(), true);
            };
        return [this, wanted, measurement = std::make_shared<const Measurement>(std::move(*found))] {
            if (wanted()) readFrom(Reading(measurement));
        };
    });
}

void Controller::readFrom(Reading moments) {
    loop = std::move(moments);
    refreshNow();
    refreshVersionGains();
    tell(readingsChanged | versionsChanged);
}

// ---- which instrument is heard where

int Controller::sourceCount() const {
    return withSources() ? static_cast<int>(withSources()->sources->names.size()) : 0;
}

const std::string& Controller::sourceName(int source) const {
    return withSources()->sources->names[at(source)];
}

std::string Controller::shownSourceName(int source) const {
    const int first = withSources()->sources->map.plan.sources[at(source)].closeTracks.front();
    const auto& name = sourceName(source);
    return name == tracks()[at(first)].name ? shownName(first) : name;
}

const SpillReading* Controller::spill(int source, int track) const {
    return withSources() ? withSources()->sources->map.reading(source, track) : nullptr;
}

std::optional<double> Controller::spillShare(int track) const {
    return withSources() ? spillShareOf(*withSources(), track) : std::nullopt;
}

bool Controller::spillShareUnsure(int track) const {
    return withSources() && spillwright::spillShareUnsure(*withSources(), track);
}

int Controller::clippedSamples(int track) const {
    if (!whole.of) return 0;
    return static_cast<int>(whole.of->spectra->statistics(track).clippedSamples);
}

std::filesystem::path Controller::besideRecording() const {
    if (!openRecording) return {};
    const auto folder = openRecording->folder();
    const auto beside = folder.has_filename() ? folder.parent_path() : folder.parent_path().parent_path();
    const auto within = folder.lexically_relative(demoFolder);
    const bool isDemo = !within.empty() && *within.begin() != "..";
    if (!isDemo) return beside;
    return std::filesystem::path(
        juce::File::getSpecialLocation(juce::File::userHomeDirectory).getFullPathName().toStdString());
}

std::filesystem::path Controller::choicesFile() const {
    if (choicesFolder.empty() || !openRecording) return {};
    return choicesFolder / (nameForFolder(openRecording->folder()) + ".json");
}

void Controller::startHearing() {
    if (!whole.of) return;
    hearing = ++hearings;
    sourceWork.start(
        [this, time = hearing, source = whole.of, list = listed](const Watch& watch) -> Background::Finish {
            auto heard = hearSources(*source, list, sourceWorkers, watch);
            const auto wanted = [this, source, time] {
                if (hearing == time) hearing = 0;
                return whole.of == source;
            };
            if (!heard)
                return [this, wanted, fault = heard.fault()] {
                    if (wanted() && fault.kind != Fault::Kind::cancelled) say(fault.line(), true);
                };
            return [this, wanted, measurement = std::make_shared<const Measurement>(std::move(*heard))] {
                if (wanted()) becomeHeard(measurement);
            };
        });
    tell(sourcesChanged);
}

void Controller::becomeHeard(std::shared_ptr<const Measurement> withSources) {
    auto before = focusName();
    if (focusResumed) before = std::exchange(focusResumed, std::nullopt);
    const auto chosenBefore = chosenColumn >= 0 && chosenColumn < sourceCount() ? sourceName(chosenColumn) : "";
    leaveAlone(); // of the sources as they were
    if (soloBeforeSpill) toggleSpillSolo();
    wholeHeard = std::move(withSources);
    const auto& names = wholeHeard->sources->names;
    const auto placeOf = [&](const std::string& name) {
        const auto place = std::find(names.begin(), names.end(), name);
        return place == names.end() ? -1 : static_cast<int>(place - names.begin());
    };
    if (const auto known = whole.of->warnings.size(), all = wholeHeard->warnings.size(); all > known)
        notify({.text = withMore(wholeHeard->warnings[known], all - 1), .remarks = true});
    chosenColumn = names.empty() ? -1 : std::max(0, placeOf(chosenBefore));
    leadingOfChosen = leadingMoments(wholeHeard->sources->map, chosenColumn);
    if (before) {
        leaveFocus();
        if (const int again = placeOf(*before); again >= 0) setFocus(again);
    }
    tell(sourcesChanged);
}

std::optional<int> Controller::focused() const {
    return focus.of ? focus.of->focus : std::nullopt;
}

std::optional<std::string> Controller::focusName() const {
    if (!focus.of) return std::nullopt;
    return focus.of->sources->names[at(*focus.of->focus)];
}

std::optional<std::string> Controller::focusToKeep() const {
    return focusWanted ? std::optional(sourceName(*focusWanted)) : focusResumed;
}

void Controller::leaveFocus() {
    focusResumed.reset();
    if (focusWanted && !hearing) sourceWork.cancel();
    focusWanted.reset();
    if (!focus.of) return;
    focus = Reading();
    refreshNow();
    refreshVersionGains();
    tell(readingsChanged | versionsChanged | sourcesChanged);
}

void Controller::setFocus(std::optional<int> source) {
    if (!source) return leaveFocus();
    if (*source < 0 || *source >= sourceCount()) return;
    if (hearing) return say("The sources are still being heard.");
    if (loopWanted) toggleReadLoop();
    chooseSource(*source);
    focusWanted = source;
    sourceWork.start([this, of = wholeHeard, wanted = *source](const Watch& watch) -> Background::Finish {
        auto found = focusOn(*of, wanted, sourceWorkers, watch);
        if (!found)
            return [this, fault = found.fault()] {
                if (fault.kind != Fault::Kind::cancelled) say(fault.line(), true);
            };
        return [this, of, measurement = std::make_shared<const Measurement>(std::move(*found))] {
            if (wholeHeard != of || focusWanted != measurement->focus) return;
            focus = Reading(measurement);
            refreshNow();
            refreshVersionGains();
            tell(readingsChanged | versionsChanged | sourcesChanged);
        };
    });
    tell(sourcesChanged);
}

std::vector<int> Controller::tracksThatTell(int source, std::optional<int> track) const {
    std::vector<int> tellers;
    for (int one = 0; one < trackCount(); ++one)
        if (const auto* reading = spill(source, one); reading && reading->level && (!track || one == *track))
            tellers.push_back(one);
    return tellers;
}

void Controller::computeAlone(int source, std::vector<int> heardIn, StretchSpan stretch) {
    if (source < 0 || source >= sourceCount() || heardIn.empty()) return;
    aloneWork.start([this, time = ++alones, of = wholeHeard, recording = openRecording, source,
                     heardIn = std::move(heardIn), stretch](const Watch& watch) -> Background::Finish {
        auto found = soundOfSource(*recording, of->sources->map, source, heardIn, stretch, aloneWorkers, watch);
        if (!found)
            return [this, time, fault = found.fault()] {
                if (time != alones || fault.kind == Fault::Kind::cancelled) return;
                say(fault.line(), true);
                leaveAlone();
            };
        auto sound = std::make_shared<TrackSound>();
        sound->from = stretch.from;
        sound->tracks.resize(static_cast<std::size_t>(recording->trackCount()));
        for (std::size_t place = 0; place < heardIn.size(); ++place)
            sound->tracks[at(heardIn[place])] = std::move((*found)[place]);
        return [this, time, sound = std::move(sound)] {
            if (time != alones) return;
            aloneSound = sound;
            tell(aloneChanged);
        };
    });
}

void Controller::leaveAlone() {
    ++alones;
    aloneWork.cancel();
    aloneSound.reset();
    tell(aloneChanged);
}

void Controller::focusNext() {
    const int next = focusWanted ? *focusWanted + 1 : 0;
    setFocus(next < sourceCount() ? std::optional(next) : std::nullopt);
}

void Controller::chooseSource(int source) {
    if (source < 0 || source >= sourceCount() || source == chosenColumn) return;
    chosenColumn = source;
    leadingOfChosen = leadingMoments(withSources()->sources->map, chosenColumn);
    tell(sourcesChanged);
    if (soloBeforeSpill) soloSpill();
}

void Controller::hearAsListed(SourceList list) {
    if (list == listOf(*withSources())) return; // nothing moved
    listed = std::move(list);
    if (const auto file = choicesFile(); !file.empty()) {
        makeOwnFolder(choicesFolder);
        if (const auto kept = writeTextFile(file, documentText(sourcesToJson(*listed))); !kept)
            say(kept.fault().line(), true);
    }
    startHearing();
}

void Controller::standCloseTo(int track, int source) {
    if (!withSources() || source < 0 || source >= sourceCount()) return;
    hearAsListed(movedTo(listOf(*withSources()), tracks()[at(track)].name, at(source)));
}

void Controller::standAlone(int track) {
    if (withSources()) hearAsListed(movedAlone(listOf(*withSources()), tracks()[at(track)].name));
}

void Controller::standFar(int track) {
    if (withSources()) hearAsListed(movedTo(listOf(*withSources()), tracks()[at(track)].name, std::nullopt));
}

void Controller::renameSource(int source, const std::string& name) {
    if (source < 0 || source >= sourceCount() || name == sourceName(source)) return;
    auto list = listOf(*withSources());
    const bool taken =
        std::any_of(list.sources.begin(), list.sources.end(), [&](const auto& other) { return other.name == name; });
    if (name.empty() || taken)
        return say(name.empty() ? "A source needs a name."
                                : "'" + name + "' is another source's name; choose a new one",
                   true);
    list.sources[at(source)].name = name;
    hearAsListed(std::move(list));
}

void Controller::guessSources() {
    if (!whole.of) return;
    listed.reset();
    std::error_code ignored;
    if (const auto file = choicesFile(); !file.empty()) std::filesystem::remove(file, ignored);
    startHearing();
}

// ---- the setting that is heard

std::vector<TrackAdjustment> Controller::heardAdjustments() const {
    return withSolo(now->adjustments, soloed);
}

void Controller::become(SnapshotPtr snapshot) {
    const bool balanceMoved = balanceOf(snapshot->adjustments) != balanceOf(now->adjustments);
    if (snapshot->heard != now->heard) heardBefore = now->heard;
    now = std::move(snapshot);
    versions[indexOf(VersionKind::mine)] = now->mine;
    for (std::size_t place = 0; place < now->kept.size(); ++place)
        versions[indexOf(VersionKind::keptFirst) + place] = now->kept[place];
    if (less && (!versions[indexOf(*less)] || less == now->heard)) less.reset(); // a difference from itself is none
    refreshNow();
    const bool anyKept = std::any_of(now->kept.begin(), now->kept.end(), [](const auto& kept) { return !!kept; });
    if (balanceMoved || now->mine || anyKept) refreshVersionGains();
    tell(settingChanged | versionsChanged);
    startPeaks();
}

void Controller::beginHistory(Snapshot first) {
    first.words = stepWords::opened;
    now = std::make_shared<const Snapshot>(std::move(first));
    history = {now};
    step = 0;
    gestureOpen = false;
}

/// A gesture is one step, which tells its end.
void Controller::edit(Snapshot next, std::string words, bool gesture) {
    if (!(gesture && gestureOpen)) ++step;
    gestureOpen = gesture;
    next.words = std::move(words);
    history.resize(at(step));
    history.push_back(std::make_shared<const Snapshot>(std::move(next)));
    if (currentNotice && !currentNotice->remarks && !currentNotice->stays) dismissNotice(); // it was of the step before
    become(history.back());
}

void Controller::editByHand(Snapshot next, std::string words, bool gesture) {
    Version mine;
    for (const auto& adjustment : next.adjustments) {
        mine.flips.push_back(adjustment.flip);
        mine.nudges.push_back(adjustment.nudge);
    }
    const auto& before = now->mine;
    const bool replaced = now->heard != VersionKind::mine && before &&
                          (before->flips != mine.flips || before->nudges != mine.nudges) &&
                          (!now->heard || settingOf(*now->heard) != settingOf(VersionKind::mine));
    next.mine = std::move(mine);
    next.heard = VersionKind::mine;
    next.home.clear();
    edit(std::move(next), std::move(words), gesture);
    if (replaced) say("Version 5 is now this one; undo brings back what it was.");
}

/// What is kept is not what is heard any more, once its balance is changed.
void Controller::editBalance(Snapshot next, std::string words, bool gesture) {
    if (next.heard && isKept(*next.heard))
        editByHand(std::move(next), std::move(words), gesture);
    else
        edit(std::move(next), std::move(words), gesture);
}

std::string Controller::names(int track, bool withPartner) const {
    return stepWords::namesOf(tracks(), track, withPartner && now->linked);
}

template <class Edit>
void Controller::changeTracks(int track, bool gesture, const std::string& words, Edit&& change) {
    Snapshot next = *now;
    change(next.adjustments[at(track)]);
    if (const auto other = tracks()[at(track)].linkedTo; other && next.linked) change(next.adjustments[at(*other)]);
    if (next.adjustments != now->adjustments) editByHand(std::move(next), words, gesture);
}

void Controller::flip(int track) {
    if (track < 0 || track >= trackCount()) return;
    const bool flipped = !now->adjustments[at(track)].flip;
    changeTracks(track, false, stepWords::flip(names(track, true), flipped),
                 [flipped](TrackAdjustment& a) { a.flip = flipped; });
}

void Controller::setNudge(int track, Seconds nudge, bool gesture) {
    if (track < 0 || track >= trackCount()) return;
    const Seconds kept(std::clamp(nudge.value, -largestNudge.value, largestNudge.value));
    changeTracks(track, gesture, stepWords::nudge(names(track, true), kept),
                 [kept](TrackAdjustment& a) { a.nudge = kept; });
}

void Controller::nudgeBy(int track, Seconds by) {
    if (track < 0 || track >= trackCount()) return;
    // Steps there and back end at 0 exactly, not at a rounding error that would be shown with a sign.
    const double nudge = now->adjustments[at(track)].nudge.value + by.value;
    setNudge(track, Seconds(std::abs(nudge) < 1e-9 ? 0.0 : nudge));
}

void Controller::alignPair() {
    const auto* pair = reading(chosen, partner);
    if (!pair || !pair->arrival) return;
    const Seconds lateness = chosen > partner ? pair->arrival->delay : -pair->arrival->delay;
    setNudge(chosen, now->adjustments[at(partner)].nudge - lateness);
    if (!isSure(pair->arrival->confidence))
        say("Lined up by an arrival that is not sure (" +
            std::to_string(static_cast<int>(100.0 * pair->arrival->confidence)) + " %): let the ear decide.");
}

void Controller::setGain(int track, Decibels gain, bool gesture) {
    if (track < 0 || track >= trackCount()) return;
    Snapshot next = *now;
    next.adjustments[at(track)].gain = Decibels(std::clamp(gain.value, -largestGainDb, largestGainDb));
    auto words = stepWords::gain(names(track), next.adjustments[at(track)].gain);
    if (next.adjustments != now->adjustments) editBalance(std::move(next), std::move(words), gesture);
}

void Controller::setPan(int track, std::optional<double> pan, bool gesture) {
    if (track < 0 || track >= trackCount()) return;
    Snapshot next = *now;
    if (pan) pan = std::clamp(*pan, -1.0, 1.0);
    next.adjustments[at(track)].pan = pan;
    auto words = stepWords::pan(names(track), tracks()[at(track)], next.adjustments[at(track)]);
    if (next.adjustments != now->adjustments) editBalance(std::move(next), std::move(words), gesture);
}

void Controller::setAll(std::vector<TrackAdjustment> adjustments) {
    Snapshot next = *now;
    if (adjustments.size() != next.adjustments.size() || adjustments == next.adjustments) return;
    next.adjustments = std::move(adjustments);
    editByHand(std::move(next), stepWords::follow, true);
}

void Controller::makeEquallyLoud() {
    if (!whole.of) return;
    Snapshot next = *now;
    next.adjustments = evenlyBalanced(*whole.of, next.adjustments);
    for (auto& adjustment : next.adjustments)
        adjustment.gain = Decibels(std::clamp(adjustment.gain.value, -largestGainDb, largestGainDb));
    if (next.adjustments != now->adjustments) editBalance(std::move(next), stepWords::equallyLoud);
}

double Controller::highestCorner() const {
    return openRecording->sampleRate() * 0.45;
}

void Controller::setHighPass(int track, std::optional<Hertz> corner, std::optional<Slope> slope) {
    if (track < 0 || track >= trackCount()) return;
    Snapshot next = *now;
    if (corner) corner = Hertz(std::clamp(corner->value, 10.0, highestCorner()));
    auto& adjustment = next.adjustments[at(track)];
    adjustment.highPass = corner;
    adjustment.highPassSlope = corner ? slope.value_or(adjustment.highPassSlope) : Slope::dB12;
    auto words = stepWords::highPass(names(track), adjustment);
    if (next.adjustments != now->adjustments) editBalance(std::move(next), std::move(words));
}

void Controller::toggleMute(int track) {
    if (track < 0 || track >= trackCount()) return;
    Snapshot next = *now;
    const bool muted = next.adjustments[at(track)].muted = !next.adjustments[at(track)].muted;
    editBalance(std::move(next), stepWords::mute(names(track), muted));
}

void Controller::toggleSolo(int track) {
    if (track < 0 || track >= trackCount()) return;
    auto solo = soloed;
    solo[at(track)] = !solo[at(track)];
    setSolo(std::move(solo));
}

void Controller::setSolo(std::vector<bool> solo) {
    if (solo.size() != soloed.size()) return;
    soloBeforeSpill.reset();
    if (solo == soloed) return;
    soloed = std::move(solo);
    tell(settingChanged | listeningChanged);
    startPeaks();
}

void Controller::toggleHold(int track) {
    if (track < 0 || track >= trackCount()) return;
    Snapshot next = *now;
    const bool holds = !next.held[at(track)];
    next.held[at(track)] = holds;
    edit(std::move(next), stepWords::hold(names(track), holds));
}

void Controller::toggleLinks() {
    if (trackCount() == 0) return;
    Snapshot next = *now;
    const bool linked = next.linked = !next.linked;
    edit(std::move(next), stepWords::links(linked));
}

void Controller::undo() {
    if (!canUndo()) return;
    const auto undone = now->words;
    goToHistory(step - 1);
    say("Undone: " + undone);
}

void Controller::redo() {
    if (!canRedo()) return;
    goToHistory(step + 1);
    say("Done again: " + now->words);
}

std::string Controller::undoWords() const {
    return canUndo() ? "Undo " + now->words : std::string();
}

std::string Controller::redoWords() const {
    return canRedo() ? "Redo " + historyWords(step + 1) : std::string();
}

const std::string& Controller::historyWords(int k) const {
    return history[at(k)]->words;
}

void Controller::goToHistory(int k) {
    if (k < 0 || k >= historySize() || k == step) return;
    gestureOpen = false;
    step = k;
    become(history[at(k)]);
}

// ---- the numbers that follow from it

void Controller::refreshModel() {
    const auto balance = balanceOf(now->adjustments);
    auto& reading = read();
    if (reading.model && balance == reading.balance) return;
    reading.model.emplace(summationModel(*reading.of, balance));
    reading.pairGains = PairGains(*reading.model, reading.of->options.band);
    reading.balance = balance;
    refreshVersionGains();
}

double Controller::gainOf(const SummationModel& model, const std::vector<bool>& flips,
                          const std::vector<Seconds>& nudges) const {
    std::vector<int> signs;
    std::vector<double> seconds;
    for (int track : measurement()->usable) {
        signs.push_back(flips[at(track)] ? -1 : 1);
        seconds.push_back(nudges[at(track)].value);
    }
    return decibelsOfPower(model.gain(signs, seconds));
}

void Controller::refreshVersionGains() {
    if (!read().model) return;
    const auto balance = balanceOf(now->balance());
    const bool sameBalance = balance == proposedFor;
    const auto moments = readMoments();
    const auto sourceAlone = focusName();
    std::optional<SummationModel> other; // while something kept is heard, whose balance is its own
    if (balance != read().balance) other.emplace(summationModel(*read().of, balance));
    for (std::size_t place = 0; place < versions.size(); ++place) {
        auto& version = versions[place];
        if (!version) continue;
        if (version->whole)
            version->gainDb = keptGainDb(place - indexOf(VersionKind::keptFirst), *version);
        else
            version->gainDb = gainOf(other ? *other : *read().model, version->flips, version->nudges);
        version->boundHolds = version->gapDb && version->terms == proposalTerms && sameBalance &&
                              version->proposedFrom == moments && version->proposedFor == sourceAlone;
    }
}

/// A model is built only where what is kept, or what is read, has changed: this is asked at every step of a nudge.
double Controller::keptGainDb(std::size_t place, const Version& version) {
    auto& known = keptGains[place];
    if (!known.of.lock() || known.of.lock() != read().of || known.whole != *version.whole)
        known = {read().of, *version.whole,
                 gainOf(summationModel(*read().of, balanceOf(*version.whole)), version.flips, version.nudges)};
    return known.gainDb;
}

void Controller::refreshNow() {
    if (!measurement()) return;
    refreshModel();
    std::vector<int> signs;
    std::vector<double> seconds;
    for (int track : measurement()->usable) {
        signs.push_back(now->adjustments[at(track)].flip ? -1 : 1);
        seconds.push_back(now->adjustments[at(track)].nudge.value);
    }
    pairGainsNow = read().pairGains.gains(signs, seconds);
    sumGainDb = decibelsOfPower(read().model->gain(signs, seconds));
}

void Controller::startPeaks() {
    if (!openRecording) return;
    peakWork.start(
        [this, source = openRecording, heard = heardAdjustments()](const Watch& watch) -> Background::Finish {
            auto found = sumPeaks(*source, heard, waveformColumns, watch);
            if (!found) return {}; // what cannot be read is said by the player, at the moment it matters
            return [this, kept = std::move(found).value()] { peaks = kept; };
        });
}

// ---- versions

void Controller::setTerms(Terms terms) {
    terms.group.resize(tracks().size(), 0);
    terms.largest.resize(tracks().size());
    if (terms == proposalTerms) return;
    proposalTerms = std::move(terms);
    refreshVersionGains();
    tell(versionsChanged);
}

std::optional<std::vector<TrackAdjustment>> Controller::settingOf(VersionKind kind) const {
    const auto& version = versions[indexOf(kind)];
    if (!version) return std::nullopt;
    if (version->whole) return version->whole;
    auto setting = now->balance();
    for (std::size_t track = 0; track < setting.size(); ++track) {
        setting[track].flip = version->flips[track];
        setting[track].nudge = version->nudges[track];
    }
    return setting;
}

void Controller::hear(VersionKind kind) {
    if (!measurement()) return;
    auto setting = settingOf(kind);
    if (!setting) {
        if (isKept(kind)) return keep(kind);
        if (kind == VersionKind::mine) {
            say("Nothing of yours yet: flip or nudge a track, and key 5 brings it back.");
            return;
        }
        if (!busy()) propose();
        if (currentTask == Task::proposing) hearWhenProposed = kind;
        return;
    }
    if (*setting == now->adjustments && now->heard == kind) return;
    Snapshot next = *now;
    next.home = isKept(kind) ? now->balance() : std::vector<TrackAdjustment>{};
    next.adjustments = std::move(*setting);
    next.heard = kind;
    edit(std::move(next), stepWords::hear(kind));
}

void Controller::keep(VersionKind kind) {
    if (!measurement() || !isKept(kind)) return;
    Version kept;
    kept.whole = now->adjustments;
    for (const auto& adjustment : now->adjustments) {
        kept.flips.push_back(adjustment.flip);
        kept.nudges.push_back(adjustment.nudge);
    }
    Snapshot next = *now;
    next.kept[keptIndex(kind)] = std::move(kept);
    next.home = now->balance();
    next.heard = kind;
    edit(std::move(next), stepWords::keep(kind));
    say("Kept under " + std::to_string(indexOf(kind) + 1) + "; " + keyOf(CommandId::nameKept) + " names it.");
}

void Controller::renameKept(VersionKind kind, const std::string& name) {
    if (!isKept(kind) || !version(kind)) return say("Nothing is kept there yet: 6, 7 or 8 keeps what is heard.", true);
    const bool asKey = name.empty() || name == words::versionName(kind);
    for (int other = 0; other < versionCount; ++other)
        if (!asKey && other != static_cast<int>(indexOf(kind)) &&
            words::versionName(*this, static_cast<VersionKind>(other)) == name)
            return say("'" + name + "' is another version's name; choose a new one", true);
    if (juce::String::fromUTF8(name.c_str()).length() > mostOfName)
        return say("A name has at most " + std::to_string(mostOfName) + " characters; choose a shorter one", true);
    Snapshot next = *now;
    auto& called = next.kept[keptIndex(kind)]->called;
    if (called == (asKey ? "" : name)) return;
    called = asKey ? "" : name;
    edit(std::move(next), stepWords::nameKept(kind, asKey ? words::versionName(kind) : name));
}

// ---- selection

void Controller::selectTrack(int track) {
    if (trackCount() == 0) return;
    const int next = std::clamp(track, 0, trackCount() - 1);
    if (partner == next) partner = chosen;
    chosen = next;
    if (partner < 0 && trackCount() > 1) partner = chosen == 0 ? 1 : 0;
    tell(selectionChanged);
}

void Controller::selectPair(int track, int other) {
    if (track < 0 || other < 0 || track >= trackCount() || other >= trackCount() || track == other) return;
    chosen = track;
    partner = other;
    tell(selectionChanged);
}

/// The pair stays within them.
void Controller::lookAt(std::vector<int> tracks, int track) {
    lookedAt = std::move(tracks);
    const auto within = [&](int each) { return std::find(lookedAt.begin(), lookedAt.end(), each) != lookedAt.end(); };
    if (lookedAt.size() < 2) lookedAt.clear();
    if (!lookedAt.empty()) {
        chosen = within(track) ? track : lookedAt.front();
        if (!within(partner) || partner == chosen)
            partner = within(lookedAtFrom) && lookedAtFrom != chosen ? lookedAtFrom
                      : lookedAt.front() != chosen                   ? lookedAt.front()
                                                                     : lookedAt.back();
    } else if (track != chosen) {
        return selectTrack(track);
    }
    tell(selectionChanged);
}

void Controller::extendTogether(int track) {
    if (trackCount() < 2) return;
    if (lookedAt.empty()) lookedAtFrom = chosen;
    track = std::clamp(track, 0, trackCount() - 1);
    const auto& order = now->list.order;
    auto from = std::find(order.begin(), order.end(), lookedAtFrom), to = std::find(order.begin(), order.end(), track);
    if (to < from) std::swap(from, to);
    std::vector<int> tracks(from, to + 1);
    std::sort(tracks.begin(), tracks.end());
    lookAt(std::move(tracks), track);
}

void Controller::toggleTogether(int track) {
    if (lookedAt.empty()) lookedAtFrom = chosen;
    auto tracks = lookedAt.empty() ? std::vector<int>{chosen} : lookedAt;
    const auto place = std::lower_bound(tracks.begin(), tracks.end(), track);
    if (place != tracks.end() && *place == track)
        tracks.erase(place);
    else
        tracks.insert(place, track);
    const int next = tracks.size() == 1 ? tracks.front() : track;
    lookAt(std::move(tracks), next);
}

void Controller::leaveTogether() {
    if (lookedAt.empty()) return;
    lookedAt.clear();
    tell(selectionChanged);
}

} // namespace spillwright::desk
