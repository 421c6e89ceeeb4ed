#include "Session/SessionFile.h"

#include "Session/Document.h"
#include "Session/JsonNumbers.h"
#include "Session/ProposalNames.h"
#include "Session/TextFile.h"

#include <algorithm>
#include <limits>
#include <map>

namespace spillwright {

namespace {

namespace fs = std::filesystem;
using nlohmann::json;
using nlohmann::ordered_json;

constexpr auto formatName = "spillwright/session";
constexpr int formatVersion = 1;
constexpr auto mend = "give a session as the window saves it";
constexpr double any = std::numeric_limits<double>::max();
constexpr int mostOfGroups = 99;

// ---- what other programs wrote beside what is ours

/// What tells one object of a list from the others; empty: nothing does.
template <class Json>
std::string identityOf(const Json& object) {
    for (const char* key : {"track", "name"})
        if (const auto it = object.find(key); it != object.end() && it->is_string())
            return std::string(key) + " " + it->template get<std::string>();
    return {};
}

/// The objects of a list by what tells them apart; of two that are alike the first.
template <class Json>
std::map<std::string, Json*> byIdentity(Json& list) {
    std::map<std::string, Json*> found;
    for (auto& each : list)
        if (each.is_object())
            if (auto identity = identityOf(each); !identity.empty()) found.emplace(std::move(identity), &each);
    return found;
}

/// The members of `document` that `ours` has not; objects of a list are told by what they name.
json leftOver(const json& document, const json& ours) {
    if (document.is_object() && ours.is_object()) {
        json rest = json::object();
        for (const auto& [key, value] : document.items()) {
            const auto known = ours.find(key);
            if (known == ours.end())
                rest[key] = value;
            else if (auto within = leftOver(value, *known); !within.empty())
                rest[key] = std::move(within);
        }
        return rest;
    }
    if (!document.is_array() || !ours.is_array()) return {};
    json rest = json::array();
    const auto known = byIdentity(ours);
    for (const auto& each : document) {
        if (!each.is_object()) continue;
        const auto identity = identityOf(each);
        const auto same = known.find(identity);
        if (same == known.end()) continue;
        auto within = leftOver(each, *same->second);
        if (within.empty()) continue;
        const auto key = identity.substr(0, identity.find(' '));
        within[key] = each[key];
        rest.push_back(std::move(within));
    }
    return rest;
}

void add(ordered_json& ours, const json& rest) {
    if (ours.is_object() && rest.is_object()) {
        for (const auto& [key, value] : rest.items()) {
            if (!ours.contains(key))
                ours[key] = ordered_json(value);
            else
                add(ours[key], value);
        }
    } else if (ours.is_array() && rest.is_array()) {
        const auto known = byIdentity(ours);
        for (const auto& each : rest)
            if (const auto same = known.find(identityOf(each)); same != known.end()) add(*same->second, each);
    }
}

// ---- writing

ordered_json textOrNull(const std::optional<std::string>& text) {
    return text ? ordered_json(*text) : ordered_json();
}

ordered_json settingOrNull(const std::optional<Setting>& setting) {
    return setting ? settingToJson(*setting) : ordered_json();
}

ordered_json termsToJson(const SessionTerms& terms) {
    ordered_json tracks = ordered_json::array();
    for (const auto& track : terms.tracks)
        tracks.push_back({{"track", track.track},
                          {"group", track.group},
                          {"largestNudge_ms", track.largest ? jsonNumbers::rounded(inMilliseconds(*track.largest),
                                                                                   jsonNumbers::typedDigits)
                                                            : ordered_json()}});
    return {{"stereo", terms.stereo}, {"aim", nameInFile(terms.aim)}, {"tracks", std::move(tracks)}};
}

ordered_json versionToJson(const SessionVersion& version) {
    ordered_json why = ordered_json::array();
    for (const auto& change : version.why)
        why.push_back({{"track", change.track}, {"change", nameInFile(change.kind)}, {"effect_dB", change.effectDb}});
    return {{"name", version.name},
            {"shown", textOrNull(version.shown)},
            {"summationGain_dB", version.gainDb},
            {"gap_dB", version.gapDb ? ordered_json(*version.gapDb) : ordered_json()},
            {"cutShort", version.cutShort},
            {"onMine", version.onMine},
            {"lows_dB", version.lowsDb ? ordered_json(*version.lowsDb) : ordered_json()},
            {"words", version.words},
            {"why", std::move(why)},
            {"terms", termsToJson(version.terms)},
            {"madeFrom_s", version.readFrom ? ordered_json({version.readFrom->from.value, version.readFrom->to.value})
                                            : ordered_json()},
            {"source", textOrNull(version.source)},
            {"setting", settingToJson(version.setting)}};
}

ordered_json bandOrNull(const std::optional<Band>& band) {
    return band ? ordered_json({band->low.value, band->high.value}) : ordered_json();
}

ordered_json oursToJson(const Session& session) {
    ordered_json files = ordered_json::array(), versions = ordered_json::array();
    for (const auto& file : session.files)
        files.push_back({{"name", file.name}, {"bytes", file.bytes}});
    for (const auto& version : session.versions)
        versions.push_back(versionToJson(version));
    ordered_json root;
    root["format"] = formatName;
    root["version"] = formatVersion;
    root["recording"] = {
        {"folder", session.folderRelative}, {"absoluteFolder", session.folderAbsolute}, {"files", std::move(files)}};
    root["setting"] = settingToJson(session.heard);
    root["holds"] = session.held;
    root["linked"] = session.linked;
    root["heard"] = textOrNull(session.heardVersion);
    root["home"] = settingOrNull(session.home);
    root["versions"] = std::move(versions);
    root["band_Hz"] = bandOrNull(session.measuredBand);
    root["proposedFor"] = settingOrNull(session.proposedBalance);
    root["terms"] = termsToJson(session.terms);
    root["loop_s"] = session.loop ? ordered_json({session.loop->from.value, session.loop->to.value}) : ordered_json();
    root["readsLoop"] = session.readsLoop;
    root["listening"] = {{"sides", Session::sideNames[static_cast<std::size_t>(session.sides)]},
                         {"band_Hz", bandOrNull(session.band)},
                         {"matchesLoudness", session.matchesLoudness}};
    root["sources"] = session.sources ? sourcesToJson(*session.sources) : ordered_json();
    root["focus"] = textOrNull(session.focus);
    root["selection"] = {{"track", textOrNull(session.selected)},
                         {"partner", textOrNull(session.partner)},
                         {"together", session.together}};
    auto list = ordered_json::array();
    for (const auto& one : session.list)
        list.push_back({{"track", one.track},
                        {"shown", textOrNull(one.shown)},
                        {"label", one.label},
                        {"group", textOrNull(one.group)}});
    root["list"] = std::move(list);
    root["folded"] = session.folded;
    if (session.unsavedOf) root["unsavedOf"] = *session.unsavedOf;
    return root;
}

// ---- reading

/// Reads the parts of one text, and remembers the first thing that is wrong.
class Reader {
public:
    explicit Reader(std::string w) : where(std::move(w)) {}

    const std::optional<Fault>& fault() const { return first; }

    /// A member that is an object, given to `read`; absent or null: not.
    template <class Read>
    void object(const json& parent, const char* key, const Read& read) {
        const auto it = parent.find(key);
        if (it == parent.end() || it->is_null()) return;
        if (!it->is_object()) return complain("\"" + std::string(key) + "\" is not an object");
        read(*it);
    }

    template <class Read>
    void objects(const json& parent, const char* key, const Read& read) {
        const auto it = parent.find(key);
        if (it == parent.end() || it->is_null()) return;
        if (!it->is_array()) return complain("\"" + std::string(key) + "\" is not a list");
        for (std::size_t k = 0; k < it->size(); ++k) {
            const auto place = std::string(key) + " " + std::to_string(k + 1) + ": ";
            if (!(*it)[k].is_object()) return complain(place + "is not an object");
            read((*it)[k], place);
        }
    }

    void check(const Members& members) {
        if (!members.problem().empty()) complain(members.problem());
    }

    template <class Value>
    void take(Result<Value> read, Value& into) {
        if (read)
            into = std::move(read).value();
        else if (!first)
            first = read.fault();
    }

    void setting(const json& parent, const char* key, const std::string& place, std::optional<Setting>& into) {
        object(parent, key, [&](const json& found) {
            Setting setting;
            take(settingFromDocument(found, where + ": " + place + "\"" + key + "\"", mend), setting);
            into = std::move(setting);
        });
    }

    void complain(std::string what) {
        if (!first) first = Fault{where, std::move(what), mend};
    }

    SessionTerms terms(const json& parent, const std::string& place) {
        SessionTerms terms;
        object(parent, "terms", [&](const json& found) {
            Members members(found, place + "terms: ");
            members.flag("stereo", terms.stereo);
            int aim = 0;
            members.word("aim", aimNames, aim);
            terms.aim = static_cast<Aim>(aim);
            check(members);
            objects(found, "tracks", [&](const json& object, const std::string& trackPlace) {
                SessionTerms::Track track;
                Members of(object, place + "terms: " + trackPlace);
                double group = 0.0;
                std::optional<double> largestMs;
                of.text("track", track.track);
                of.number("group", 0.0, mostOfGroups, group);
                of.optionalNumber("largestNudge_ms", 0.0, 1000.0, largestMs);
                check(of);
                track.group = static_cast<int>(group);
                if (largestMs) track.largest = milliseconds(*largestMs);
                terms.tracks.push_back(std::move(track));
            });
        });
        return terms;
    }

    SessionVersion version(const json& object, const std::string& place) {
        SessionVersion version;
        Members members(object, place);
        members.text("name", version.name);
        members.optionalText("shown", version.shown);
        std::optional<double> gain; // null where it is no number
        members.optionalNumber("summationGain_dB", -any, any, gain);
        members.optionalNumber("gap_dB", -any, any, version.gapDb);
        members.flag("cutShort", version.cutShort);
        members.flag("onMine", version.onMine);
        members.optionalNumber("lows_dB", -any, any, version.lowsDb);
        members.text("words", version.words);
        std::optional<std::pair<double, double>> madeFrom;
        members.span("madeFrom_s", madeFrom);
        members.optionalText("source", version.source);
        check(members);
        version.gainDb = gain.value_or(0.0);
        if (madeFrom) version.readFrom = ReadSpan{Seconds(madeFrom->first), Seconds(madeFrom->second)};
        objects(object, "why", [&](const json& one, const std::string& changePlace) {
            SessionVersion::Change change;
            Members of(one, place + changePlace);
            of.text("track", change.track);
            int kind = 0;
            of.word("change", changeNames, kind);
            of.number("effect_dB", -any, any, change.effectDb);
            check(of);
            change.kind = static_cast<Proposal::Change::Kind>(kind);
            version.why.push_back(std::move(change));
        });
        version.terms = terms(object, place);
        std::optional<Setting> found;
        setting(object, "setting", place, found);
        if (!found) complain(place + "\"setting\" is missing");
        version.setting = found.value_or(Setting());
        return version;
    }

private:
    std::string where;
    std::optional<Fault> first;
};

} // namespace

std::string shownName(const SessionVersion& version) {
    if (version.shown && !version.shown->empty()) return *version.shown;
    const auto known = std::find_if(versionNames.begin(), versionNames.end(),
                                    [&](const VersionName& name) { return version.name == name.inFile; });
    return known == versionNames.end() ? version.name : known->shown;
}

Result<Session> sessionFromJson(std::string_view text, const std::string& where) {
    const auto document = parseDocument(text, where, {formatName, formatVersion, "session", mend});
    if (!document) return document.fault();
    const json& root = *document;
    Session session;
    Reader reader(where);

    reader.object(root, "recording", [&](const json& recording) {
        Members members(recording, "recording: ");
        members.text("folder", session.folderRelative);
        members.text("absoluteFolder", session.folderAbsolute);
        reader.check(members);
        reader.objects(recording, "files", [&](const json& object, const std::string& place) {
            Session::File file;
            double bytes = 0.0; // exact up to 9 petabytes
            Members of(object, "recording: " + place);
            of.text("name", file.name);
            of.number("bytes", 0.0, 1e15, bytes);
            reader.check(of);
            file.bytes = static_cast<std::uintmax_t>(bytes);
            session.files.push_back(std::move(file));
        });
    });
    std::optional<Setting> heard;
    reader.setting(root, "setting", "", heard);
    if (!heard) reader.complain("\"setting\" is missing");
    session.heard = heard.value_or(Setting());
    Members top(root, "");
    top.texts("holds", session.held);
    top.texts("folded", session.folded);
    top.flag("linked", session.linked);
    top.optionalText("heard", session.heardVersion);
    top.optionalText("focus", session.focus);
    std::optional<std::pair<double, double>> loop, measuredBand;
    top.span("loop_s", loop);
    top.span("band_Hz", measuredBand);
    top.flag("readsLoop", session.readsLoop);
    top.optionalText("unsavedOf", session.unsavedOf);
    reader.check(top);
    if (loop) session.loop = Moments{Seconds(loop->first), Seconds(loop->second)};
    if (measuredBand) session.measuredBand = Band{Hertz(measuredBand->first), Hertz(measuredBand->second)};
    reader.setting(root, "home", "", session.home);
    reader.objects(root, "versions", [&](const json& object, const std::string& place) {
        session.versions.push_back(reader.version(object, place));
    });
    reader.setting(root, "proposedFor", "", session.proposedBalance);
    session.terms = reader.terms(root, "");
    reader.object(root, "listening", [&](const json& listening) {
        Members members(listening, "listening: ");
        members.word("sides", Session::sideNames, session.sides);
        std::optional<std::pair<double, double>> band;
        members.span("band_Hz", band);
        members.flag("matchesLoudness", session.matchesLoudness);
        reader.check(members);
        if (band) session.band = Band{Hertz(band->first), Hertz(band->second)};
    });
    reader.object(root, "sources", [&](const json& sources) {
        SourceList list;
        reader.take(sourcesFromDocument(sources, where, mend), list);
        session.sources = std::move(list);
    });
    reader.object(root, "selection", [&](const json& selection) {
        Members members(selection, "selection: ");
        members.optionalText("track", session.selected);
        members.optionalText("partner", session.partner);
        members.texts("together", session.together);
        reader.check(members);
    });
    reader.objects(root, "list", [&](const json& object, const std::string& place) {
        Members members(object, place);
        Session::Listed one;
        double label = 0.0;
        members.text("track", one.track);
        members.optionalText("shown", one.shown);
        members.number("label", 0.0, mostOfGroups, label);
        members.optionalText("group", one.group);
        reader.check(members);
        one.label = static_cast<int>(label);
        session.list.push_back(std::move(one));
    });
    if (reader.fault()) return *reader.fault();
    session.unknown = leftOver(root, json(oursToJson(session)));
    return session;
}

ordered_json sessionToJson(const Session& session) {
    auto root = oursToJson(session);
    add(root, session.unknown);
    return root;
}

Result<Session> readSessionFile(const fs::path& path) {
    const auto text = readTextFile(path, "session");
    if (!text) return text.fault();
    return sessionFromJson(*text, path.string());
}

void placeSession(Session& session, const fs::path& folder, const fs::path& sessionFile) {
    std::error_code ignored;
    const auto there = fs::weakly_canonical(folder, ignored);
    const auto here = fs::weakly_canonical(sessionFile.parent_path(), ignored);
    session.folderAbsolute = there.generic_string();
    session.folderRelative = there.lexically_relative(here).generic_string();
}

FilesFound filesFound(const Session& session, const fs::path& folder) {
    FilesFound found;
    found.any = session.files.empty();
    for (const auto& file : session.files) {
        std::error_code error;
        const fs::path name(file.name);
        const auto bytes = fs::file_size(folder / name, error);
        if (error || name != name.filename()) { // the recording's files lie in its folder itself
            found.missing.push_back(file.name);
            continue;
        }
        found.any = true;
        if (bytes != file.bytes) found.changed.push_back(file.name);
    }
    return found;
}

bool liesWithin(const fs::path& folder, const fs::path& sessionFile) {
    std::error_code error;
    const auto there = fs::weakly_canonical(folder, error);
    const auto here = fs::weakly_canonical(fs::absolute(sessionFile, error), error).parent_path();
    const auto way = there.lexically_relative(here);
    return !error && !way.empty() && *way.begin() != "..";
}

std::optional<fs::path> findRecording(const Session& session, const fs::path& sessionFile) {
    std::error_code ignored;
    const auto holds = [&](const fs::path& folder) {
        return fs::is_directory(folder, ignored) && filesFound(session, folder).any;
    };
    if (!session.folderRelative.empty()) {
        const auto beside = (sessionFile.parent_path() / fs::path(session.folderRelative)).lexically_normal();
        if (holds(beside)) return beside;
    }
    const fs::path absolute(session.folderAbsolute);
    if (absolute.is_absolute() && holds(absolute)) return absolute;
    return std::nullopt;
}

} // namespace spillwright
