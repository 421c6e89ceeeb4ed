#pragma once

#include "Core/Result.h"

#include <cstdint>
#include <filesystem>
#include <memory>
#include <span>
#include <vector>

namespace spillwright {

enum class SampleFormat { int16, int24, float32 };

/// rf64: the form that holds more than 4 GiB; a WAV file that grows beyond becomes one by itself.
enum class Container { wav, rf64, aiff, aifc, flac };

struct AudioFileFormat {
    Container container = Container::wav;
    SampleFormat samples = SampleFormat::int24; ///< float32 in WAV and RF64 only.
    double sampleRate = 48000.0;                ///< Hz; whole numbers, except in AIFF.
    int channels = 1;
    std::uint32_t channelMask = 0;             ///< Loudspeaker positions of WAVE_FORMAT_EXTENSIBLE; 0: not said.
    std::vector<std::byte> broadcastExtension; ///< Body of the bext chunk (EBU Tech 3285), WAV and RF64; empty: none.
};

/// Writes one audio file, block by block, under a temporary name; it appears whole or not at all.
class AudioFileWriter {
public:
    /// Faults: no such folder, not allowed, disk full.
    static Result<std::unique_ptr<AudioFileWriter>> create(const std::filesystem::path& target,
                                                           const AudioFileFormat& format);
    virtual ~AudioFileWriter() = default;

    /// One pointer a channel, full scale = 1 = 2^(bits-1). Integers are rounded to the nearest and held at the largest
    /// value; whoever must not clip asks fits() first.
    virtual Outcome write(std::span<const float* const> channels, int frames) = 0;

    virtual Outcome finish() = 0; ///< Header completed, all bytes on the disk; still under the temporary name.
    virtual Outcome keep() = 0;   ///< After finish(): takes the target's name; a file of that name is replaced.
    virtual const std::filesystem::path& place() const = 0; ///< Where the bytes are.
};

/// The integer that stands for a sample, rounded to the nearest and held at the largest. int16 and int24 only.
std::int32_t integerOf(SampleFormat format, float sample);
/// Whether a sample is held without clipping: between -1 and the largest integer, both rounded to.
bool fits(SampleFormat format, float sample);

/// A whole WAV file at once, made durable and renamed into place. All channels of one length.
Outcome writeWav(const std::filesystem::path& target, double sampleRate, SampleFormat format,
                 std::span<const std::span<const float>> channels);
/// One channel.
Outcome writeWav(const std::filesystem::path& target, double sampleRate, SampleFormat format,
                 std::span<const float> samples);

} // namespace spillwright
