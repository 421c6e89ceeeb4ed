#pragma once

#include "Core/SampleSource.h"
#include "Core/Workers.h"
#include "Media/AudioFile.h"
#include "Session/TrackInfo.h"

#include <filesystem>
#include <memory>
#include <string>
#include <vector>

namespace spillwright {

/// One readable file of a recording, and where its tracks stand.
struct RecordingFile {
    std::filesystem::path path;
    AudioFileInfo info;
    std::vector<int> tracks;   ///< One a channel, in order.
    std::int64_t startsAt = 0; ///< Sample of the recording at which the file begins (BWF time reference).
};

/// Whether its name says that a file holds sound: .wav, .wave, .bwf, .rf64, .aiff, .aif, .aifc or .flac in any case.
bool hasAudioEnding(const std::filesystem::path& path);

/// A folder of audio files that start together, opened and listed in natural order. Nothing of it is ever written
/// to. Audio is streamed from disk: memory does not grow with the length. Immutable after opening; safe to share
/// between threads.
class Recording : public SampleSource {
public:
    /// Faults: not a folder, nothing usable in it. Unreadable files are listed as tracks, the rest opens.
    static Result<std::shared_ptr<const Recording>> open(const std::filesystem::path& folder, const Watch& watch = {});
    ~Recording() override;

    const std::filesystem::path& folder() const;
    const std::vector<TrackInfo>& tracks() const; ///< In natural order of file name; index = track number everywhere.
    const std::vector<std::string>&
    warnings() const; ///< One line each: resampled, cut short, not finite, time references.

    const std::vector<RecordingFile>& files() const; ///< The readable ones; group g is the tracks of files()[g].

    int trackCount() const override;
    double sampleRate() const override;
    std::int64_t length() const override;
    const std::vector<std::vector<int>>& groups() const override;
    Result<std::unique_ptr<GroupReader>> openGroup(int group) const override;
    /// The same file at its own rate and from its own beginning, as a render needs it.
    Result<std::unique_ptr<GroupReader>> openFile(int file) const;

private:
    Recording();
    struct Contents;
    std::unique_ptr<Contents> contents;
};

/// Fault: the path is a file of the recording, by whatever name; nothing may be written over one.
Outcome notOfRecording(const std::filesystem::path& path, const Recording& recording);

} // namespace spillwright
