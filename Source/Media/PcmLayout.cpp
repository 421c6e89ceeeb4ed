#include "Media/PcmLayout.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <cstring>
#include <limits>
#include <string_view>

namespace spillwright {

namespace {

constexpr std::uint32_t unknownSize = std::numeric_limits<std::uint32_t>::max();

Fault notRead(const char* what, const char* mend = "save it as 24-bit WAV") {
    return {"", what, mend};
}

/// Numbers and names out of bytes; what lies past the end reads as 0.
class Fields {
public:
    Fields(std::span<const std::byte> bytes, std::endian byteOrder) : content(bytes), order(byteOrder) {}

    std::uint64_t number(std::size_t at, std::size_t bytes) const {
        std::uint64_t value = 0;
        for (std::size_t i = 0; i < bytes; ++i) {
            const std::size_t place = order == std::endian::big ? i : bytes - 1 - i;
            value =
                value << 8 | (at + place < content.size() ? std::to_integer<std::uint64_t>(content[at + place]) : 0);
        }
        return value;
    }
    std::uint16_t number16(std::size_t at) const { return static_cast<std::uint16_t>(number(at, 2)); }
    std::uint32_t number32(std::size_t at) const { return static_cast<std::uint32_t>(number(at, 4)); }
    std::uint64_t number64(std::size_t at) const { return number(at, 8); }
    bool named(std::size_t at, std::string_view name) const {
        return at + name.size() <= content.size() && std::memcmp(content.data() + at, name.data(), name.size()) == 0;
    }

private:
    std::span<const std::byte> content;
    std::endian order;
};

struct Chunk {
    std::array<std::byte, 4> name{};
    std::uint64_t start = 0; ///< Of its body.
    std::uint32_t size = 0;  ///< As it says itself.
    bool named(std::string_view wanted) const { return std::memcmp(name.data(), wanted.data(), 4) == 0; }
};

/// The body of a chunk, at most `limit` bytes of it.
std::vector<std::byte> bodyOf(InputFile& file, const Chunk& chunk, std::size_t limit) {
    const std::uint64_t there = file.size() - std::min(file.size(), chunk.start);
    std::vector<std::byte> body(
        static_cast<std::size_t>(std::min<std::uint64_t>({chunk.size, static_cast<std::uint64_t>(limit), there})));
    body.resize(file.readAt(chunk.start, body));
    return body;
}

/// Calls visit(chunk), which returns where the chunk ends, for each chunk from `start` to the end of the file. The size
/// of the whole that the header gives is not asked: a recorder that was switched off never wrote it.
template <class Visit>
void forEachChunk(InputFile& file, std::uint64_t start, std::endian order, Visit visit) {
    constexpr int mostChunks = 10000; // a file made long beforehand and never written goes on in empty ones
    std::array<std::byte, 8> head{};
    for (int count = 0;
         count < mostChunks && start + head.size() <= file.size() && file.readAt(start, head) == head.size(); ++count) {
        Chunk chunk;
        std::copy_n(head.begin(), 4, chunk.name.begin());
        chunk.start = start + head.size();
        chunk.size = Fields(head, order).number32(4);
        const std::uint64_t end = visit(chunk);
        if (end < chunk.start || end >= file.size()) return; // a size that wraps around, too
        start = end + end % 2;
    }
}

/// Checks what both kinds of file have in common, and fills in how many frames are there.
Result<PcmLayout> checked(PcmLayout layout, std::uint64_t promisedBytes, const InputFile& file) {
    AudioFileInfo& info = layout.info;
    if (auto fault = faultOf(info)) return *fault;
    const auto frameBytes = static_cast<std::uint64_t>(bytesOf(layout.kind) * info.channels);
    const std::uint64_t there = file.size() - std::min(file.size(), layout.dataStart);
    promisedBytes = std::min(promisedBytes, std::uint64_t(1) << 62);
    info.promisedFrames = static_cast<std::int64_t>(promisedBytes / frameBytes);
    info.frames = static_cast<std::int64_t>(std::min(promisedBytes, there) / frameBytes);
    info.bits = 8 * bytesOf(layout.kind);
    info.isFloat = isFloatKind(layout.kind);
    if (info.promisedFrames == 0) return notRead("holds no samples", "record or copy it again");
    if (info.frames == 0) return notRead("ends before its first sample", "copy it again");
    return layout;
}

std::optional<SampleKind> waveKind(const Fields& format, std::size_t size) {
    std::uint16_t tag = format.number16(0);
    const int channels = format.number16(2);
    const int frameBytes = format.number16(12);
    if (tag == 0xFFFE) { // WAVE_FORMAT_EXTENSIBLE: the tag is the beginning of a GUID
        if (size < 40) return std::nullopt;
        tag = format.number16(24);
    }
    if (channels == 0 || frameBytes % channels != 0) return std::nullopt;
    const int sampleBytes = frameBytes / channels; // 20 bits lie in 3 bytes, at the top
    if (format.number16(14) > 8 * sampleBytes) return std::nullopt;
    if (tag == 1) {
        switch (sampleBytes) {
        case 1:
            return SampleKind::unsigned8;
        case 2:
            return SampleKind::little16;
        case 3:
            return SampleKind::little24;
        case 4:
            return SampleKind::little32;
        default:
            return std::nullopt;
        }
    }
    if (tag == 3 && sampleBytes == 4) return SampleKind::littleFloat32;
    if (tag == 3 && sampleBytes == 8) return SampleKind::littleFloat64;
    return std::nullopt;
}

Result<PcmLayout> waveLayout(InputFile& file, bool large) {
    constexpr std::size_t largestBroadcastExtension = 16 << 20;   // more is no text but a broken size
    constexpr std::size_t timeReferenceAt = 338, fixedPart = 602; // EBU Tech 3285
    PcmLayout layout;
    layout.info.container = large ? Container::rf64 : Container::wav;
    std::uint64_t longDataSize = 0, dataSize = 0;
    bool formatFound = false, formatKnown = false;

    forEachChunk(file, 12, std::endian::little, [&](const Chunk& chunk) -> std::uint64_t {
        const std::uint64_t end = chunk.start + chunk.size;
        if (chunk.named("ds64")) {
            longDataSize = Fields(bodyOf(file, chunk, 24), std::endian::little).number64(8);
        } else if (chunk.named("fmt ") && !formatFound) {
            const auto body = bodyOf(file, chunk, 40);
            const Fields format(body, std::endian::little);
            formatFound = true;
            layout.info.channels = format.number16(2);
            layout.info.sampleRate = format.number32(4);
            if (format.number16(0) == 0xFFFE) layout.info.channelMask = format.number32(20);
            if (const auto kind = waveKind(format, body.size())) {
                formatKnown = true;
                layout.kind = *kind;
            }
        } else if (chunk.named("bext") && chunk.size >= fixedPart && chunk.size <= largestBroadcastExtension) {
            auto body = bodyOf(file, chunk, chunk.size);
            if (body.size() != chunk.size) return end;
            const auto reference = Fields(body, std::endian::little).number64(timeReferenceAt);
            if (reference <= static_cast<std::uint64_t>(std::numeric_limits<std::int64_t>::max()))
                layout.info.timeReference = static_cast<std::int64_t>(reference);
            layout.info.broadcastExtension = std::move(body);
        } else if (chunk.named("data") && layout.dataStart == 0) {
            layout.dataStart = chunk.start;
            dataSize = large && chunk.size == unknownSize ? longDataSize : chunk.size;
            // A recorder writes the size last. Where it never came to that, all the rest is taken for sound.
            if (dataSize == unknownSize || (dataSize == 0 && chunk.start < file.size())) {
                std::array<std::byte, 4> whole{};
                file.readAt(4, whole);
                const auto wholeSize = Fields(whole, std::endian::little).number32(0);
                if (dataSize != 0 || wholeSize == 0 || wholeSize == unknownSize || wholeSize <= chunk.start - 8) {
                    layout.info.headerUnfinished = true;
                    dataSize = file.size() - chunk.start;
                }
            } else if (!large && chunk.start + dataSize < file.size()) {
                // A size of 32 bits that has run over: no file of this kind has 4 GB behind its sound.
                const std::uint64_t runOver = (file.size() - chunk.start - dataSize) >> 32 << 32;
                dataSize += runOver;
                layout.info.headerUnfinished = runOver > 0;
            }
            return chunk.start + dataSize;
        }
        return end;
    });

    if (!formatFound) return notRead("has no format chunk", "copy it again");
    if (!formatKnown) return notRead("has an encoding that is not read");
    if (layout.dataStart == 0) return notRead("has no data chunk", "copy it again");
    return checked(std::move(layout), dataSize, file);
}

/// The 80-bit number in which AIFF gives its rate, to the nearest whole Hz.
double extendedNumber(const Fields& fields, std::size_t at) {
    const int exponent = (fields.number16(at) & 0x7FFF) - 16383 - 63;
    return std::round(std::ldexp(static_cast<double>(fields.number64(at + 2)), exponent));
}

std::optional<SampleKind> aiffKind(const Fields& common, bool compressed) {
    const int sampleBytes = (common.number16(6) + 7) / 8; // fewer bits lie at the top
    if (compressed && (common.named(18, "fl32") || common.named(18, "FL32"))) return SampleKind::bigFloat32;
    if (compressed && (common.named(18, "fl64") || common.named(18, "FL64"))) return SampleKind::bigFloat64;
    const bool little = compressed && common.named(18, "sowt");
    if (compressed && !little && !common.named(18, "NONE") && !common.named(18, "twos")) return std::nullopt;
    switch (sampleBytes) {
    case 1:
        return SampleKind::signed8;
    case 2:
        return little ? SampleKind::little16 : SampleKind::big16;
    case 3:
        return little ? SampleKind::little24 : SampleKind::big24;
    case 4:
        return little ? SampleKind::little32 : SampleKind::big32;
    default:
        return std::nullopt;
    }
}

Result<PcmLayout> aiffLayout(InputFile& file, bool compressed) {
    PcmLayout layout;
    layout.info.container = compressed ? Container::aifc : Container::aiff;
    std::uint64_t commonFrames = 0, dataSize = 0;
    bool commonFound = false, kindKnown = false;

    forEachChunk(file, 12, std::endian::big, [&](const Chunk& chunk) -> std::uint64_t {
        if (chunk.named("COMM") && !commonFound) {
            const auto body = bodyOf(file, chunk, 22);
            const Fields common(body, std::endian::big);
            commonFound = true;
            layout.info.channels = common.number16(0);
            commonFrames = common.number32(2);
            layout.info.sampleRate = extendedNumber(common, 8);
            if (const auto kind = aiffKind(common, compressed)) {
                kindKnown = true;
                layout.kind = *kind;
            }
        } else if (chunk.named("SSND") && layout.dataStart == 0 && chunk.size >= 8) {
            const auto body = bodyOf(file, chunk, 8);
            const std::uint64_t offset = Fields(body, std::endian::big).number32(0);
            layout.dataStart = chunk.start + 8 + offset;
            dataSize = chunk.size - std::min<std::uint64_t>(chunk.size, 8 + offset);
        }
        return chunk.start + chunk.size;
    });

    if (!commonFound) return notRead("has no format chunk", "copy it again");
    if (!kindKnown) return notRead("has an encoding that is not read");
    if (layout.dataStart == 0) return notRead("holds no samples", "record or copy it again");
    const auto frameBytes = static_cast<std::uint64_t>(bytesOf(layout.kind) * std::max(1, layout.info.channels));
    // Both the format chunk and the sound chunk give the length; the shorter counts, and the longer is what was
    // promised.
    auto result = checked(std::move(layout), std::min(dataSize, commonFrames * frameBytes), file);
    if (result)
        result->info.promisedFrames = std::max(result->info.promisedFrames, static_cast<std::int64_t>(commonFrames));
    return result;
}

} // namespace

Result<PcmLayout> readPcmLayout(InputFile& file) {
    std::array<std::byte, 12> head{};
    const std::size_t got = file.readAt(0, head);
    const Fields fields({head.data(), got}, std::endian::little);
    if (fields.named(8, "WAVE") && fields.named(0, "RIFF")) return waveLayout(file, false);
    if (fields.named(8, "WAVE") && (fields.named(0, "RF64") || fields.named(0, "BW64"))) return waveLayout(file, true);
    if (fields.named(0, "FORM") && fields.named(8, "AIFF")) return aiffLayout(file, false);
    if (fields.named(0, "FORM") && fields.named(8, "AIFC")) return aiffLayout(file, true);
    return notRead("is not a WAV, AIFF or FLAC file", "remove it or give it its own ending");
}

} // namespace spillwright
