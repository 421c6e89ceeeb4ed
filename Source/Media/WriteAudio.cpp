#include "Media/WriteAudio.h"

#include "Media/Flac.h"
#include "Session/Files.h"

#include <algorithm>
#include <bit>
#include <cassert>
#include <cmath>
#include <cstring>
#include <limits>
#include <string_view>

namespace spillwright {

namespace {

int bytesPerSample(SampleFormat format) {
    return format == SampleFormat::int16 ? 2 : format == SampleFormat::int24 ? 3 : 4;
}

double fullScale(SampleFormat format) {
    return format == SampleFormat::int16 ? 32768.0 : 8388608.0;
}

double rounded(SampleFormat format, float sample) {
    return std::nearbyint(static_cast<double>(sample) * fullScale(format));
}

/// Bytes of a header in the order of the file.
class Header {
public:
    explicit Header(std::endian byteOrder) : order(byteOrder) {}

    void name(std::string_view fourCharacters) { text(fourCharacters); }
    void text(std::string_view characters) {
        for (char c : characters)
            bytes.push_back(static_cast<std::byte>(c));
    }
    template <class Integer>
    void number(Integer value) {
        for (std::size_t i = 0; i < sizeof(Integer); ++i) {
            const std::size_t place = order == std::endian::little ? i : sizeof(Integer) - 1 - i;
            bytes.push_back(static_cast<std::byte>((static_cast<std::uint64_t>(value) >> (8 * place)) & 0xFF));
        }
    }
    void zeros(std::size_t count) { bytes.resize(bytes.size() + count); }
    void raw(std::span<const std::byte> content) { bytes.insert(bytes.end(), content.begin(), content.end()); }

    const std::vector<std::byte>& content() const { return bytes; }

private:
    std::endian order;
    std::vector<std::byte> bytes;
};

/// The header of a WAV file that holds so many frames: of the same length for every number, so that it can be written
/// again when the number is known. Microsoft/IBM Multimedia Programming Interface 1.0 (1991), WAVE_FORMAT_EXTENSIBLE,
/// EBU Tech 3285 (bext), EBU Tech 3306 (RF64: a JUNK chunk keeps the place of ds64).
std::vector<std::byte> waveHeader(const AudioFileFormat& format, std::uint64_t frames) {
    constexpr std::uint32_t largest = std::numeric_limits<std::uint32_t>::max();
    const bool isFloat = format.samples == SampleFormat::float32;
    const bool extensible = format.channels > 2 || format.channelMask != 0;
    const auto sampleBytes = static_cast<std::uint16_t>(bytesPerSample(format.samples));
    const auto frameBytes = static_cast<std::uint16_t>(sampleBytes * format.channels);
    const auto rate = static_cast<std::uint32_t>(std::lround(format.sampleRate));
    const std::uint64_t dataBytes = frames * frameBytes;

    Header chunks(std::endian::little);
    if (!format.broadcastExtension.empty()) {
        chunks.name("bext");
        chunks.number(static_cast<std::uint32_t>(format.broadcastExtension.size()));
        chunks.raw(format.broadcastExtension);
        chunks.zeros(format.broadcastExtension.size() % 2);
    }
    chunks.name("fmt ");
    chunks.number(std::uint32_t(extensible ? 40 : isFloat ? 18 : 16));
    chunks.number(std::uint16_t(extensible ? 0xFFFE : isFloat ? 3 : 1));
    chunks.number(static_cast<std::uint16_t>(format.channels));
    chunks.number(rate);
    chunks.number(rate * frameBytes);
    chunks.number(frameBytes);
    chunks.number(static_cast<std::uint16_t>(8 * sampleBytes));
    if (extensible) {
        chunks.number(std::uint16_t(22));
        chunks.number(static_cast<std::uint16_t>(8 * sampleBytes));
        chunks.number(format.channelMask);
        chunks.number(std::uint32_t(isFloat ? 3 : 1)); // KSDATAFORMAT_SUBTYPE_IEEE_FLOAT or _PCM
        chunks.number(std::uint16_t(0));
        chunks.number(std::uint16_t(0x0010));
        chunks.text({"\x80\x00\x00\xAA\x00\x38\x9B\x71", 8});
    } else if (isFloat) {
        chunks.number(std::uint16_t(0));
    }
    if (isFloat) {
        chunks.name("fact");
        chunks.number(std::uint32_t(4));
        chunks.number(static_cast<std::uint32_t>(std::min<std::uint64_t>(frames, largest)));
    }

    constexpr std::size_t sizesChunk = 8 + 28;
    const std::uint64_t riffBytes = 4 + sizesChunk + chunks.content().size() + 8 + dataBytes + dataBytes % 2;
    const bool large = format.container == Container::rf64 || riffBytes > largest;
    Header header(std::endian::little);
    header.name(large ? "RF64" : "RIFF");
    header.number(large ? largest : static_cast<std::uint32_t>(riffBytes));
    header.name("WAVE");
    header.name(large ? "ds64" : "JUNK");
    header.number(std::uint32_t(28));
    if (large) {
        header.number(riffBytes);
        header.number(dataBytes);
        header.number(frames);
        header.number(std::uint32_t(0)); // no table of further sizes
    } else {
        header.zeros(28);
    }
    header.raw(chunks.content());
    header.name("data");
    header.number(large ? largest : static_cast<std::uint32_t>(dataBytes));
    return header.content();
}

/// The 80-bit number in which AIFF gives its rate.
void extendedNumber(Header& header, double value) {
    int exponent = 0;
    const double mantissa = std::frexp(value, &exponent); // value = mantissa * 2^exponent, 0.5 <= mantissa < 1
    header.number(static_cast<std::uint16_t>(16382 + exponent));
    header.number(static_cast<std::uint64_t>(std::ldexp(mantissa, 64)));
}

/// Audio Interchange File Format 1.3 (1989) and AIFF-C draft (1991).
std::vector<std::byte> aiffHeader(const AudioFileFormat& format, std::uint64_t frames) {
    const bool compressed = format.container == Container::aifc;
    const std::uint64_t dataBytes =
        frames * static_cast<std::uint64_t>(bytesPerSample(format.samples) * format.channels);
    Header chunks(std::endian::big);
    if (compressed) {
        chunks.name("FVER");
        chunks.number(std::uint32_t(4));
        chunks.number(std::uint32_t(0xA2805140));
    }
    chunks.name("COMM");
    constexpr std::string_view compressionName("\x0E"
                                               "not compressed\0",
                                               16);
    chunks.number(std::uint32_t(18 + (compressed ? 4 + compressionName.size() : 0)));
    chunks.number(static_cast<std::uint16_t>(format.channels));
    chunks.number(static_cast<std::uint32_t>(frames));
    chunks.number(static_cast<std::uint16_t>(8 * bytesPerSample(format.samples)));
    extendedNumber(chunks, format.sampleRate);
    if (compressed) {
        chunks.name("NONE");
        chunks.text(compressionName);
    }
    Header header(std::endian::big);
    header.name("FORM");
    header.number(static_cast<std::uint32_t>(4 + chunks.content().size() + 16 + dataBytes + dataBytes % 2));
    header.name(compressed ? "AIFC" : "AIFF");
    header.raw(chunks.content());
    header.name("SSND");
    header.number(static_cast<std::uint32_t>(8 + dataBytes));
    header.zeros(8);
    return header.content();
}

/// WAV, RF64 and AIFF: a header, and samples as they are.
class PcmWriter final : public AudioFileWriter {
public:
    PcmWriter(OutputFile output, const AudioFileFormat& audioFormat)
        : file(std::move(output)), format(audioFormat),
          order(isAiff(format.container) ? std::endian::big : std::endian::little) {}

    static bool isAiff(Container container) { return container == Container::aiff || container == Container::aifc; }

    Outcome begin() { return file.write(header()); }

    Outcome write(std::span<const float* const> channels, int frames) override {
        assert(channels.size() == static_cast<std::size_t>(format.channels));
        const auto sampleBytes = static_cast<std::size_t>(bytesPerSample(format.samples));
        const std::size_t frameBytes = sampleBytes * channels.size();
        block.resize(static_cast<std::size_t>(frames) * frameBytes);
        for (std::size_t channel = 0; channel < channels.size(); ++channel) {
            std::byte* out = block.data() + channel * sampleBytes;
            for (int n = 0; n < frames; ++n, out += frameBytes) {
                const float sample = channels[channel][n];
                const auto bits = format.samples == SampleFormat::float32
                                      ? std::bit_cast<std::uint32_t>(sample)
                                      : static_cast<std::uint32_t>(integerOf(format.samples, sample));
                for (std::size_t i = 0; i < sampleBytes; ++i) {
                    const std::size_t place = order == std::endian::little ? i : sampleBytes - 1 - i;
                    out[i] = static_cast<std::byte>((bits >> (8 * place)) & 0xFF);
                }
            }
        }
        frameCount += static_cast<std::uint64_t>(frames);
        return file.write(block);
    }

    Outcome finish() override {
        const std::byte padding{};
        if (file.position() % 2 != 0)
            if (auto padded = file.write({&padding, 1}); !padded) return padded;
        if (isAiff(format.container) && file.position() > std::numeric_limits<std::uint32_t>::max())
            return Fault{shownPath(file.target()), "is longer than an AIFF file can be", "choose WAV"};
        if (auto back = file.seek(0); !back) return back;
        if (auto written = file.write(header()); !written) return written;
        return file.finish();
    }

    Outcome keep() override { return file.keep(); }
    const std::filesystem::path& place() const override { return file.place(); }

private:
    std::vector<std::byte> header() const {
        return isAiff(format.container) ? aiffHeader(format, frameCount) : waveHeader(format, frameCount);
    }

    OutputFile file;
    AudioFileFormat format;
    std::endian order;
    std::uint64_t frameCount = 0;
    std::vector<std::byte> block;
};

} // namespace

Result<std::unique_ptr<AudioFileWriter>> AudioFileWriter::create(const std::filesystem::path& target,
                                                                 const AudioFileFormat& format) {
    assert(format.channels >= 1 && format.sampleRate > 0.0);
    assert(format.samples != SampleFormat::float32 || format.container == Container::wav ||
           format.container == Container::rf64);
    auto file = OutputFile::create(target);
    if (!file) return file.fault();
    if (format.container == Container::flac) return createFlac(std::move(*file), format);
    auto writer = std::make_unique<PcmWriter>(std::move(*file), format);
    if (auto begun = writer->begin(); !begun) return begun.fault();
    return std::unique_ptr<AudioFileWriter>(std::move(writer));
}

std::int32_t integerOf(SampleFormat format, float sample) {
    const double full = fullScale(format);
    return static_cast<std::int32_t>(std::clamp(rounded(format, sample), -full, full - 1.0));
}

bool fits(SampleFormat format, float sample) {
    if (format == SampleFormat::float32) return true;
    const double value = rounded(format, sample);
    return value >= -fullScale(format) && value <= fullScale(format) - 1.0;
}

Outcome writeWav(const std::filesystem::path& target, double sampleRate, SampleFormat format,
                 std::span<const std::span<const float>> channels) {
    AudioFileFormat fileFormat;
    fileFormat.samples = format;
    fileFormat.sampleRate = sampleRate;
    fileFormat.channels = static_cast<int>(channels.size());
    auto writer = AudioFileWriter::create(target, fileFormat);
    if (!writer) return writer.fault();

    constexpr std::size_t blockFrames = 65536;
    std::vector<const float*> pointers(channels.size());
    for (std::size_t start = 0; start < channels[0].size(); start += blockFrames) {
        for (std::size_t c = 0; c < channels.size(); ++c)
            pointers[c] = channels[c].data() + start;
        const auto frames = static_cast<int>(std::min(blockFrames, channels[0].size() - start));
        if (auto written = (*writer)->write(pointers, frames); !written) return written;
    }
    if (auto finished = (*writer)->finish(); !finished) return finished;
    return (*writer)->keep();
}

Outcome writeWav(const std::filesystem::path& target, double sampleRate, SampleFormat format,
                 std::span<const float> samples) {
    return writeWav(target, sampleRate, format, std::span<const std::span<const float>>(&samples, 1));
}

} // namespace spillwright
