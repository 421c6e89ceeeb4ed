#pragma once

#include "Core/Measure/CrossSpectra.h"
#include "Media/Recording.h"

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace spillwright {

/// The folder of this user for what can be computed again: $XDG_CACHE_HOME or ~/.cache, ~/Library/Caches on macOS,
/// %LOCALAPPDATA% on Windows; below it `spillwright`. Empty where the system names none.
std::filesystem::path usualCacheFolder();

/// Spectra of recordings that were measured before, so that an unchanged folder is not read again. A recording is known
/// by what its files hold: names, sizes, times of change, and a hash of both ends of each (64 KiB). Every file of the
/// cache carries these facts and a checksum of its own, and is left aside when either is off: the folder may be deleted
/// at any time, and a damaged file does no harm. Bounded: the longest unused go first.
class SpectraCache {
public:
    static constexpr std::uintmax_t usualBound = std::uintmax_t(2) << 30; ///< Bytes.

    /// An empty folder: nothing is kept and nothing found.
    explicit SpectraCache(std::filesystem::path folder, std::uintmax_t mostBytes = usualBound);

    /// Those of the stretch from..to-1 (samples) of the recording, if they are there and whole.
    std::shared_ptr<const CrossSpectra> find(const Recording& recording, std::int64_t from, std::int64_t to) const;

    /// Best effort: what cannot be written is not kept, and no trace of it is left. What would fill more than half the
    /// bound is not kept either.
    void keep(const Recording& recording, const CrossSpectra& spectra) const;

    const std::filesystem::path& where() const { return folder; }
    std::uintmax_t bytes() const; ///< Of what is kept.
    void clear() const;           ///< Best effort.

private:
    std::filesystem::path folder;
    std::uintmax_t bound;

    struct Kept {
        std::filesystem::path path;
        std::uintmax_t bytes = 0;
        std::filesystem::file_time_type used;
    };
    std::vector<Kept> files() const;
    std::filesystem::path place(const std::string& facts) const;
    void makeRoom() const;
};

} // namespace spillwright
