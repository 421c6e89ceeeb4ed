#include "Fuzz/Targets.h"

#include "Demo/SceneFile.h"
#include "Report/Report.h"
#include "Session/Document.h"
#include "Session/Lesson.h"
#include "Session/SessionFile.h"
#include "Session/Setting.h"
#include "Session/Sources.h"

#include <cmath>

namespace spillwright::fuzz {

namespace {

std::vector<TrackInfo> threeTracks() {
    std::vector<TrackInfo> tracks(3);
    for (std::size_t k = 0; k < tracks.size(); ++k) {
        tracks[k].name = std::string(1, static_cast<char>('a' + k));
        tracks[k].file = tracks[k].name + ".wav";
    }
    return tracks;
}

/// What is read, written and read again is the same.
template <class Read, class Write>
auto comesBack(Bytes bytes, Read read, Write toJson) {
    auto first = read(textOf(bytes), "text");
    if (!first) {
        require(!first.fault().what.empty() && !first.fault().mend.empty(), "a fault says what to do");
        return first;
    }
    const auto text = documentText(toJson(*first));
    const auto again = read(text, "again");
    require(again.ok(), "what is written can be read");
    require(documentText(toJson(*again)) == text, "what is written is written again");
    return first;
}

} // namespace

void setting(Bytes bytes) {
    if (const auto read = comesBack(bytes, settingFromJson, settingToJson))
        static_cast<void>(adjustmentsFor(*read, threeTracks()));
    static_cast<void>(comesBack(bytes, sourcesFromJson, sourcesToJson));
}

void session(Bytes bytes) {
    const auto read = comesBack(bytes, sessionFromJson, sessionToJson);
    if (!read) return;
    static_cast<void>(versionsOf(*read, threeTracks()));
    static_cast<void>(findRecording(*read, sandbox() / "a.spillwright"));
}

void lesson(Bytes bytes) {
    static_cast<void>(comesBack(bytes, lessonFromJson, lessonToJson));
}

void scene(Bytes bytes) {
    const auto read = readScene(textOf(bytes), "text");
    if (!read) {
        require(!read.fault().what.empty() && !read.fault().mend.empty(), "a fault says what to do");
        return;
    }
    for (const auto& file : read->files)
        require(std::filesystem::path(file.name).filename() == file.name, "a scene names no file elsewhere");
    require(std::filesystem::path(read->soundBank).filename() == read->soundBank, "a scene names no bank elsewhere");
}

} // namespace spillwright::fuzz
