#pragma once

#include "Session/Measurement.h"
#include "Session/Readings.h"
#include "Session/Setting.h"
#include "Session/Sources.h"

#include <nlohmann/json.hpp>

#include <array>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace spillwright {

inline constexpr const char* sessionEnding = ".spillwright"; ///< Of a session file's name.

/// What stands under the keys 1 to 8: its name in a file, and as people read it.
struct VersionName {
    const char* inFile;
    const char* shown;
};
inline constexpr std::array versionNames{VersionName{"asRecorded", "as recorded"},
                                         VersionName{"flips", "flips"},
                                         VersionName{"nudgesTo1ms", "flips, nudges to 1 ms"},
                                         VersionName{"nudgesTo10ms", "flips, nudges to 10 ms"},
                                         VersionName{"mine", "mine"},
                                         VersionName{"kept6", "kept under 6"},
                                         VersionName{"kept7", "kept under 7"},
                                         VersionName{"kept8", "kept under 8"}};

/// What proposals may do, by names.
struct SessionTerms {
    struct Track {
        std::string track;
        int group = 0;                  ///< 0: none; at most 99.
        std::optional<Seconds> largest; ///< Its own largest nudge.
        bool operator==(const Track&) const = default;
    };
    bool stereo = false;
    Aim aim = Aim::sum;
    std::vector<Track> tracks;
    bool operator==(const SessionTerms&) const = default;
};

/// What stands under one key: a proposal, what was set by hand, or what was kept.
struct SessionVersion {
    struct Change {
        std::string track;
        Proposal::Change::Kind kind = Proposal::Change::Kind::flip;
        double effectDb = 0.0;
        bool operator==(const Change&) const = default;
    };
    std::string name;                 ///< Of the key: "flips", "mine", "kept6".
    std::optional<std::string> shown; ///< What the user calls what is kept; none: by its key.
    Setting setting;                  ///< Of what is kept all of it, else flips and nudges alone.
    double gainDb = 0.0;              ///< Summation gain.
    std::optional<double> gapDb;
    bool cutShort = false;
    std::string words;
    bool onMine = false; ///< A proposal that builds on flips and nudges that were there.
    std::optional<double> lowsDb;
    std::vector<Change> why;
    SessionTerms terms;                ///< Those it was made under.
    std::optional<ReadSpan> readFrom;  ///< The moments it was made from; none: the whole.
    std::optional<std::string> source; ///< The source it was made for alone.
    bool operator==(const SessionVersion&) const = default;
};

/// As people read it: what it is called, else by its key.
std::string shownName(const SessionVersion& version);

/// All that the window knows of a recording that is not in the recording: what a session file holds. What another
/// program wrote into the file beside it is kept in `unknown` and written again.
struct Session {
    struct File {
        std::string name;
        std::uintmax_t bytes = 0;
        bool operator==(const File&) const = default;
    };
    std::string folderRelative; ///< Of the recording, from the session file's folder; empty: there is no such way.
    std::string folderAbsolute;
    std::vector<File> files; ///< The recording's, to be recognised by.

    Setting heard;
    std::vector<std::string> held; ///< Tracks.
    bool linked = true;
    std::optional<std::string> heardVersion; ///< Its name.
    std::optional<Setting> home;             ///< While something kept is heard: the setting before it.
    std::vector<SessionVersion> versions;
    std::optional<Band> measuredBand;       ///< The band that the proposals serve.
    std::optional<Setting> proposedBalance; ///< The balance that the bounds of the proposals hold for.
    SessionTerms terms;

    std::optional<Moments> loop; ///< None: the whole.
    bool readsLoop = false;
    static constexpr std::array sideNames{"stereo", "mono", "side"};
    int sides = 0; ///< How the sum is listened to, of sideNames.
    std::optional<Band> band;
    bool matchesLoudness = true;
    std::optional<SourceList> sources; ///< What the user says of them; none: guessed.
    std::optional<std::string> focus;  ///< The source that is read alone.
    std::optional<std::string> selected, partner;
    std::vector<std::string> together; ///< Tracks that are looked at together, two at least; empty: all are.

    /// A track as it is listed, from top to bottom.
    struct Listed {
        std::string track;
        std::optional<std::string> shown; ///< What it is called here; none: as its file.
        int label = 0;                    ///< 0: none, at most 99.
        std::optional<std::string> group; ///< Neighbours of one name are a group.
        bool operator==(const Listed&) const = default;
    };
    std::vector<Listed> list;        ///< Empty: as the files.
    std::vector<std::string> folded; ///< Groups of which only the name is shown.

    /// Only of a state that the program kept by itself: the session file that it belongs to, empty where there is none.
    std::optional<std::string> unsavedOf;
    nlohmann::json unknown = nlohmann::json::object();

    bool operator==(const Session&) const = default;
};

/// `where` names the text in faults. Faults: not JSON, another format, a newer version, a value of a wrong kind or out
/// of range. What is missing has its usual value.
Result<Session> sessionFromJson(std::string_view text, const std::string& where);
nlohmann::ordered_json sessionToJson(const Session& session);
Result<Session> readSessionFile(const std::filesystem::path& path);

/// Says where the recording's folder is, as seen from the session file.
void placeSession(Session& session, const std::filesystem::path& folder, const std::filesystem::path& sessionFile);

/// Which of the session's files a folder has not, and which are of another size there.
struct FilesFound {
    std::vector<std::string> missing, changed;
    bool any = false; ///< One at least is there, or the session names none.
};
FilesFound filesFound(const Session& session, const std::filesystem::path& folder);

/// Whether a folder is that of the session file or lies in it, links followed: a session from elsewhere names no other
/// without the user being asked.
bool liesWithin(const std::filesystem::path& folder, const std::filesystem::path& sessionFile);

/// The first folder that holds any of the session's files: as seen from the session file, then the absolute one.
std::optional<std::filesystem::path> findRecording(const Session& session, const std::filesystem::path& sessionFile);

} // namespace spillwright
