// The controller's part that has to do with session files.

#include "Desk/Controller.h"

#include "Media/Batch.h"
#include "Session/Document.h"
#include "Session/TextFile.h"

#include <algorithm>

namespace spillwright::desk {

namespace {

/// The order of the names is that of VersionKind.
static_assert(versionNames.size() == static_cast<std::size_t>(versionCount));

std::size_t at(int index) {
    return static_cast<std::size_t>(index);
}

std::optional<VersionKind> versionCalled(const std::optional<std::string>& name) {
    const auto found = std::find_if(versionNames.begin(), versionNames.end(),
                                    [&](const VersionName& each) { return each.inFile == name.value_or(""); });
    if (found == versionNames.end()) return std::nullopt;
    return static_cast<VersionKind>(found - versionNames.begin());
}

bool hasTrack(const std::vector<TrackInfo>& tracks, const std::string& name) {
    return std::any_of(tracks.begin(), tracks.end(), [&](const auto& track) { return track.name == name; });
}

/// What counts as a change: neither the selection nor what follows from the rest.
Session whatCounts(Session session) {
    session.selected = session.partner = std::nullopt;
    session.together.clear();
    for (auto& version : session.versions)
        version.gainDb = 0.0;
    return session;
}

std::string quotedList(const std::vector<std::string>& names) {
    constexpr std::size_t most = 4;
    std::string text;
    for (std::size_t k = 0; k < std::min(most, names.size()); ++k)
        text += (k > 0 ? ", '" : "'") + names[k] + "'";
    return names.size() > most ? text + " and " + std::to_string(names.size() - most) + " more" : text;
}

/// Whether a session's recording is opened without asking.
bool mayOpen(const std::filesystem::path& folder, const std::filesystem::path& session, const KnownPlaces& known) {
    const auto isThat = [&](const std::filesystem::path& before) {
        return samePath(before, session) || sameFolder(before, folder);
    };
    return known.ownState || liesWithin(folder, session) ||
           std::any_of(known.before.begin(), known.before.end(), isThat);
}

/// Without the tracks that are not there, and the sources that nobody stands close to then.
SourceList ofThese(SourceList list, const std::vector<TrackInfo>& tracks) {
    for (auto& source : list.sources)
        std::erase_if(source.closeTracks, [&](const auto& name) { return !hasTrack(tracks, name); });
    std::erase_if(list.sources, [](const auto& source) { return source.closeTracks.empty(); });
    return list;
}

} // namespace

// ---- between tracks and their names

/// What it was opened with stays for tracks that are not there now.
Setting Controller::named(const std::vector<TrackAdjustment>& setting, const Setting* asOpened) const {
    Setting result{sessionName(), {}};
    for (std::size_t track = 0; track < setting.size(); ++track)
        result.tracks.push_back({tracks()[track].name, setting[track]});
    if (asOpened)
        for (const auto& one : asOpened->tracks)
            if (!hasTrack(tracks(), one.track)) result.tracks.push_back(one);
    return result;
}

std::vector<TrackAdjustment> Controller::ofTracks(const Setting& setting) const {
    std::vector<TrackAdjustment> result(tracks().size());
    for (const auto& one : setting.tracks)
        for (std::size_t track = 0; track < result.size(); ++track)
            if (tracks()[track].name == one.track) result[track] = one.adjustment;
    for (auto& adjustment : result)
        if (adjustment.highPass) adjustment.highPass = Hertz(std::min(adjustment.highPass->value, highestCorner()));
    return result;
}

SessionTerms Controller::named(const Terms& terms) const {
    SessionTerms result{terms.stereo, terms.aim, {}};
    for (std::size_t track = 0; track < terms.group.size(); ++track)
        result.tracks.push_back({tracks()[track].name, terms.group[track], terms.largest[track]});
    return result;
}

Terms Controller::ofTracks(const SessionTerms& terms) const {
    Terms result{terms.stereo, terms.aim, std::vector<int>(tracks().size(), 0),
                 std::vector<std::optional<Seconds>>(tracks().size())};
    for (const auto& one : terms.tracks)
        for (std::size_t track = 0; track < tracks().size(); ++track)
            if (tracks()[track].name == one.track) {
                result.group[track] = one.group <= mostGroups ? one.group : 0;
                result.largest[track] = one.largest;
            }
    return result;
}

std::vector<Session::Listed> Controller::named(const TrackList& list) const {
    std::vector<Session::Listed> result;
    if (list == TrackList(trackCount())) return result;
    for (int track : list.order) {
        Session::Listed one{tracks()[at(track)].name, std::nullopt, list.labels[at(track)], std::nullopt};
        if (!list.names[at(track)].empty()) one.shown = list.names[at(track)];
        if (const int group = list.groupOf(track); group >= 0) one.group = list.groups[at(group)].name;
        result.push_back(std::move(one));
    }
    return result;
}

/// Tracks that are not listed come last.
TrackList Controller::ofTracks(const std::vector<Session::Listed>& list, const std::vector<std::string>& folded) const {
    TrackList result(trackCount());
    std::vector<int> order;
    std::vector<std::pair<std::string, std::vector<int>>> groups;
    for (const auto& one : list)
        for (int track = 0; track < trackCount(); ++track) {
            if (tracks()[at(track)].name != one.track || std::find(order.begin(), order.end(), track) != order.end())
                continue;
            order.push_back(track);
            result.names[at(track)] = one.shown.value_or("");
            result.labels[at(track)] = one.label <= TrackList::labelCount ? one.label : 0;
            if (!one.group) continue;
            if (groups.empty() || groups.back().first != *one.group)
                groups.emplace_back(*one.group, std::vector<int>{});
            groups.back().second.push_back(track);
        }
    for (int track = 0; track < trackCount(); ++track)
        if (std::find(order.begin(), order.end(), track) == order.end()) order.push_back(track);
    result.order = std::move(order);
    for (auto& [name, members] : groups)
        result.group(std::move(members), name);
    for (auto& group : result.groups)
        group.folded = std::find(folded.begin(), folded.end(), group.name) != folded.end();
    return result;
}

SessionVersion Controller::named(VersionKind kind, const Version& version) const {
    SessionVersion result;
    result.name = versionNames[indexOf(kind)].inFile;
    if (!version.called.empty()) result.shown = version.called;
    const Setting* asOpened = nullptr;
    if (resumed)
        for (const auto& opened : resumed->versions)
            if (opened.name == result.name) asOpened = &opened.setting;
    std::vector<TrackAdjustment> setting = version.whole.value_or(std::vector<TrackAdjustment>(tracks().size()));
    if (!version.whole)
        for (std::size_t track = 0; track < setting.size(); ++track) {
            setting[track].flip = version.flips[track];
            setting[track].nudge = version.nudges[track];
        }
    result.setting = named(setting, asOpened);
    result.gainDb = version.gainDb;
    result.gapDb = version.gapDb;
    result.cutShort = version.cutShort;
    result.words = version.words;
    result.onMine = version.onMine;
    result.lowsDb = version.lowsDb;
    for (const auto& change : version.why)
        result.why.push_back({tracks()[at(change.track)].name, change.kind, change.effectDb});
    if (isProposal(kind)) result.terms = named(version.terms);
    result.readFrom = version.proposedFrom;
    result.source = version.proposedFor;
    return result;
}

Version Controller::ofTracks(const SessionVersion& version, VersionKind kind) const {
    Version result;
    const auto setting = ofTracks(version.setting);
    for (const auto& adjustment : setting) {
        result.flips.push_back(adjustment.flip);
        result.nudges.push_back(adjustment.nudge);
    }
    if (isKept(kind)) {
        result.whole = setting;
        result.called = version.shown.value_or("");
    }
    result.gainDb = version.gainDb;
    result.gapDb = version.gapDb;
    result.cutShort = version.cutShort;
    result.words = version.words;
    result.onMine = version.onMine;
    result.lowsDb = version.lowsDb;
    for (const auto& change : version.why)
        for (int track = 0; track < trackCount(); ++track)
            if (tracks()[at(track)].name == change.track) result.why.push_back({track, change.kind, change.effectDb});
    if (isProposal(kind)) result.terms = ofTracks(version.terms);
    result.proposedFrom = version.readFrom;
    result.proposedFor = version.source;
    return result;
}

// ---- saving

bool Controller::loopsWhole() const {
    return !openRecording || (loopFrom.value <= 0.0 && loopTo.value * openRecording->sampleRate() >=
                                                           static_cast<double>(openRecording->length()) - 0.5);
}

Session Controller::session() const {
    Session result;
    if (!openRecording) return result;
    result.folderAbsolute = openRecording->folder().string();
    result.files = recordingFiles;
    result.heard = named(now->adjustments, resumed ? &resumed->heard : nullptr);
    for (int track = 0; track < trackCount(); ++track)
        if (held(track)) result.held.push_back(tracks()[at(track)].name);
    result.linked = now->linked;
    if (now->heard) result.heardVersion = versionNames[indexOf(*now->heard)].inFile;
    if (!now->home.empty()) result.home = named(now->home, resumed && resumed->home ? &*resumed->home : nullptr);
    for (std::size_t kind = indexOf(VersionKind::flips); kind < versions.size(); ++kind)
        if (versions[kind]) result.versions.push_back(named(static_cast<VersionKind>(kind), *versions[kind]));
    result.measuredBand = measureWith.band;
    if (!proposedFor.empty()) result.proposedBalance = named(proposedFor, nullptr);
    result.terms = named(proposalTerms);
    if (resumed) {
        for (const auto& name : resumed->held)
            if (!hasTrack(tracks(), name)) result.held.push_back(name);
        for (const auto& one : resumed->terms.tracks)
            if (!hasTrack(tracks(), one.track)) result.terms.tracks.push_back(one);
        result.unknown = resumed->unknown;
    }
    if (!loopsWhole()) result.loop = Moments{loopFrom, loopTo};
    result.readsLoop = loopWanted;
    result.sides = static_cast<int>(listenedTo.sides);
    result.band = listenedTo.band;
    result.matchesLoudness = matching;
    result.sources = listed;
    result.list = named(now->list);
    for (const auto& group : now->list.groups)
        if (group.folded) result.folded.push_back(group.name);
    result.focus = focusToKeep();
    for (int track : lookedAt)
        result.together.push_back(tracks()[at(track)].name);
    if (chosen >= 0) result.selected = tracks()[at(chosen)].name;
    if (partner >= 0) result.partner = tracks()[at(partner)].name;
    return result;
}

bool Controller::sessionChanged() const {
    return openRecording && (!saved || whatCounts(session()) != whatCounts(*saved));
}

bool Controller::writeSession(const std::filesystem::path& path) {
    auto written = session();
    placeSession(written, openRecording->folder(), path);
    if (const auto done = writeTextFile(path, documentText(sessionToJson(written))); !done) {
        say(done.fault().line(), true);
        return false;
    }
    sessionFile = path;
    saved = session();
    return true;
}

bool Controller::saveSession(std::filesystem::path path) {
    if (!openRecording) return false;
    if (path.extension() != sessionEnding) path += sessionEnding;
    if (!writeSession(path)) return false;
    say("Saved as " + path.string());
    tell(sessionFileChanged);
    return true;
}

// ---- opening

void Controller::openSession(const std::filesystem::path& path, std::optional<std::filesystem::path> folder,
                             const KnownPlaces& known) {
    dismissNotice();
    wantedFor.clear();
    saidIn.clear();
    begin(Task::opening, [this, path, folder, known](const Watch& watch) -> Background::Finish {
        auto read = readSessionFile(path);
        if (!read) return [this, fault = read.fault()] { fail(fault); };
        const auto opening =
            std::make_shared<Opening>(Opening{std::move(read).value(), path, folder.has_value(), known.ownState});
        const auto& session = opening->session;
        if (folder && !filesFound(session, *folder).any)
            return [this, fault = Fault{folder->string(), "none of the session's files is here",
                                        "choose the folder that holds '" + session.files.front().name + "'"}] {
                fail(fault);
            };
        const auto found = folder ? folder : findRecording(session, path);
        if (!found || (!folder && !mayOpen(*found, path, known)))
            return [this, opening, found] {
                wantedFor = opening->file;
                saidIn = found.value_or("");
                say(opening->file.string() +
                        (found ? ": its recording lies elsewhere, in " + found->string() +
                                     "; choose that folder if it is the one you mean"
                               : ": its recording is no longer in " + opening->session.folderAbsolute +
                                     "; choose the folder where it is now"),
                    true);
                tell(sessionFileChanged);
            };
        auto recording = Recording::open(*found, watch);
        if (!recording) return [this, fault = recording.fault()] { fail(fault); };
        return [this, opening, opened = std::move(recording).value()] {
            taken(opened, opening.get());
            if (!changedSince.empty()) say(changedSince);
            if (opening->moved && sessionFile == opening->file && writeSession(sessionFile)) tell(sessionFileChanged);
        };
    });
}

/// What the session says, of the tracks that are there.
void Controller::resume(const Opening& opening) {
    const auto& from = opening.session;
    resumed = from;
    Snapshot snapshot;
    snapshot.adjustments = ofTracks(from.heard);
    for (const auto& track : tracks())
        snapshot.held.push_back(std::find(from.held.begin(), from.held.end(), track.name) != from.held.end());
    snapshot.linked = from.linked;
    snapshot.list = ofTracks(from.list, from.folded);
    snapshot.heard = versionCalled(from.heardVersion);
    if (from.home) snapshot.home = ofTracks(*from.home);
    bool ofAnotherBand = false;
    for (const auto& version : from.versions) {
        const auto kind = versionCalled(version.name);
        if (!kind || *kind == VersionKind::asRecorded) continue;
        if (isProposal(*kind) && from.measuredBand && *from.measuredBand != measureWith.band) {
            ofAnotherBand = true;
            continue;
        }
        versions[indexOf(*kind)] = ofTracks(version, *kind);
        if (*kind == VersionKind::mine) snapshot.mine = versions[indexOf(*kind)];
        if (isKept(*kind)) snapshot.kept[keptIndex(*kind)] = versions[indexOf(*kind)];
    }
    beginHistory(std::move(snapshot));
    proposedFor.clear();
    if (from.proposedBalance) proposedFor = ofTracks(*from.proposedBalance);
    proposalTerms = ofTracks(from.terms);
    if (from.loop && from.loop->from < loopTo) {
        loopFrom = from.loop->from;
        loopTo = std::min(from.loop->to, loopTo);
    }
    loopWanted = from.readsLoop;
    listenedTo = {static_cast<Listening::Sides>(from.sides), from.band};
    matching = from.matchesLoudness;
    if (from.sources) listed = ofThese(*from.sources, tracks());
    const auto placeOf = [&](const std::optional<std::string>& name, int otherwise) {
        for (int track = 0; track < trackCount(); ++track)
            if (name && tracks()[at(track)].name == *name) return track;
        return otherwise;
    };
    chosen = placeOf(from.selected, chosen);
    partner = placeOf(from.partner, -1);
    if (partner == chosen) partner = -1;
    for (int track = 0; track < trackCount(); ++track)
        if (std::find(from.together.begin(), from.together.end(), tracks()[at(track)].name) != from.together.end())
            lookedAt.push_back(track);
    if (lookedAt.size() < 2) lookedAt.clear();
    focusResumed = from.focus;

    std::vector<std::string> missing, added;
    for (const auto& one : from.heard.tracks)
        if (!hasTrack(tracks(), one.track)) missing.push_back(one.track);
    for (const auto& track : tracks())
        if (std::none_of(from.heard.tracks.begin(), from.heard.tracks.end(),
                         [&](const auto& one) { return one.track == track.name; }))
            added.push_back(track.name);
    const auto others = filesFound(from, openRecording->folder()).changed;
    for (const auto& [names, words] : {std::pair(missing, "missing "), {added, "new "}, {others, "of another size "}})
        if (!names.empty()) changedSince += (changedSince.empty() ? "" : "; ") + (words + quotedList(names));
    if (!changedSince.empty()) changedSince = "The recording has changed since it was saved: " + changedSince + ".";

    if (ofAnotherBand)
        changedSince += (changedSince.empty() ? "" : " ") +
                        std::string("The session's proposals are of another band and were left out.");

    const bool unsaved =
        opening.ownState && from.unsavedOf; // of another's file the word is not taken: it is saved over
    sessionFile = unsaved ? std::filesystem::path(*from.unsavedOf) : opening.file;
    if (unsaved)
        saved.reset();
    else
        saved = session();
}

} // namespace spillwright::desk
