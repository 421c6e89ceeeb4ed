#pragma once

#include "Media/AudioFile.h"
#include "Session/Files.h"

namespace spillwright {

/// How one sample lies in the file: little- or big-endian, integer or IEEE 754.
enum class SampleKind {
    unsigned8,
    signed8,
    little16,
    little24,
    little32,
    big16,
    big24,
    big32,
    littleFloat32,
    bigFloat32,
    littleFloat64,
    bigFloat64
};

constexpr int bytesOf(SampleKind kind) {
    switch (kind) {
    case SampleKind::unsigned8:
    case SampleKind::signed8:
        return 1;
    case SampleKind::little16:
    case SampleKind::big16:
        return 2;
    case SampleKind::little24:
    case SampleKind::big24:
        return 3;
    case SampleKind::littleFloat64:
    case SampleKind::bigFloat64:
        return 8;
    default:
        return 4;
    }
}

constexpr bool isFloatKind(SampleKind kind) {
    return kind >= SampleKind::littleFloat32;
}

/// Where the samples of a WAV, RF64, BW64, AIFF or AIFF-C file lie, and how.
struct PcmLayout {
    AudioFileInfo info;
    SampleKind kind = SampleKind::little16;
    std::uint64_t dataStart = 0; ///< Byte of the first sample.
};

/// Walks the chunks. JUCE's readers keep the place of the samples to themselves, so that a file cut short cannot be
/// told from one that ends in silence; they drop part of the bext chunk, and refuse 64-bit float and unfinished
/// headers. Faults carry `what` and `mend` only.
Result<PcmLayout> readPcmLayout(InputFile& file);

} // namespace spillwright
