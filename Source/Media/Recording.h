#pragma once

#include "Core/SampleSource.h"
#include "Core/Workers.h"
#include "Session/TrackInfo.h"

#include <filesystem>
#include <memory>
#include <string>
#include <vector>

namespace spillwright {

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

    int trackCount() const override;
    double sampleRate() const override;
    std::int64_t length() const override;
    const std::vector<std::vector<int>>& groups() const override;
    Result<std::unique_ptr<GroupReader>> openGroup(int group) const override;

private:
    Recording();
    struct Contents;
    std::unique_ptr<Contents> contents;
};

} // namespace spillwright
