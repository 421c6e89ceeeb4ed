#pragma once

#include "Core/Result.h"
#include "Media/WriteAudio.h"

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <span>
#include <vector>

namespace spillwright {

inline constexpr int mostChannels = 256; ///< Of one file: each is read into memory of its own.

/// What the header of an audio file says, checked against what is there.
struct AudioFileInfo {
    Container container = Container::wav; ///< By the content, whatever the name's ending.
    double sampleRate = 0.0;              ///< Hz, whole.
    int channels = 0;
    int bits = 0; ///< Of one sample.
    bool isFloat = false;
    std::uint32_t channelMask = 0;
    std::int64_t frames = 0;         ///< That can be read.
    std::int64_t promisedFrames = 0; ///< That the header speaks of; more than `frames` where the file was cut short.
    bool headerUnfinished = false;   ///< The recorder never came to write the length: all that follows is taken.
    std::vector<std::byte> broadcastExtension; ///< The bext chunk as it stands; empty: none.
    std::optional<std::int64_t> timeReference; ///< Of the bext chunk: samples since midnight at the file's rate.
};

/// Fault: a number of channels or a sample rate that cannot be; `what` and `mend` only.
std::optional<Fault> faultOf(const AudioFileInfo& info);

/// One audio file, read at any place. WAV (8 to 32-bit integer, 32 and 64-bit float, extensible), RF64, BW64, AIFF,
/// AIFF-C (uncompressed) and FLAC. Belongs to one thread at a time; memory does not grow with the file.
class AudioFileReader {
public:
    /// Faults: cannot be opened, no audio file, an encoding that is not read, no samples.
    static Result<std::unique_ptr<AudioFileReader>> open(const std::filesystem::path& path);
    virtual ~AudioFileReader() = default;

    const AudioFileInfo& info() const { return description; }

    /// Frames start .. start+count-1, all within 0 .. info().frames; one pointer a channel. Integers are divided by
    /// 2^(bits-1), exactly up to 24 bits; NaN and infinite samples read as 0. Faults: the file was cut short or
    /// damaged meanwhile, or its disk is gone.
    virtual Outcome read(std::int64_t start, int count, std::span<float* const> channels) = 0;

    /// NaN and infinite samples met since opening (places that are read twice count twice).
    std::int64_t nonFiniteSamples() const { return nonFinite; }

protected:
    AudioFileInfo description;
    std::int64_t nonFinite = 0;
};

} // namespace spillwright
