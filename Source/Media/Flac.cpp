#include "Media/Flac.h"

#include <FLAC/stream_decoder.h>
#include <FLAC/stream_encoder.h>

#include <algorithm>
#include <cassert>
#include <cmath>
#include <utility>

namespace spillwright {

namespace {

class FlacReader final : public AudioFileReader {
public:
    FlacReader(InputFile file, std::filesystem::path path)
        : input(std::move(file)), name(std::move(path)), decoder(FLAC__stream_decoder_new()) {}

    Outcome begin() {
        auto begun = readHead();
        if (const auto& failed = input.diskFault()) return *failed; // whatever the rest of it seems to be
        return begun;
    }

    Outcome read(std::int64_t start, int count, std::span<float* const> channels) override {
        const float scale = std::ldexp(1.0f, 1 - description.bits);
        for (int done = 0; done < count;) {
            const std::int64_t frame = start + done;
            if (!reaches(frame)) {
                if (const auto& failed = input.diskFault()) return *failed;
                return Fault{shownPath(name), "was cut short, taken away or is damaged at " + timeOf(frame),
                             "restore it and open again"};
            }
            const int frames = static_cast<int>(std::min<std::int64_t>(count - done, blockEnd() - frame));
            for (std::size_t c = 0; c < channels.size(); ++c) {
                const FLAC__int32* in = block[c].data() + (frame - blockStart);
                std::transform(in, in + frames, channels[c] + done,
                               [scale](FLAC__int32 sample) { return static_cast<float>(sample) * scale; });
            }
            done += frames;
        }
        return spillwright::done();
    }

private:
    struct Delete {
        void operator()(FLAC__StreamDecoder* d) const { FLAC__stream_decoder_delete(d); }
    };

    Outcome readHead() {
        const auto noFlac = [&] {
            return Fault{shownPath(name), "is not a FLAC file that can be read", "save it as 24-bit WAV"};
        };
        if (FLAC__stream_decoder_init_stream(decoder.get(), onRead, onSeek, onTell, onLength, onEnd, onFrame,
                                             onMetadata, onError, this) != FLAC__STREAM_DECODER_INIT_STATUS_OK ||
            !FLAC__stream_decoder_process_until_end_of_metadata(decoder.get()) || description.channels == 0)
            return noFlac();
        description.container = Container::flac;
        if (auto fault = faultOf(description)) return Fault{shownPath(name), fault->what, fault->mend};
        if (description.promisedFrames > 0 && reaches(description.promisedFrames - 1)) {
            description.frames = description.promisedFrames;
        } else {
            description.frames = countFrames();
            if (description.promisedFrames == 0) description.promisedFrames = description.frames; // a stream, no total
        }
        if (description.frames == 0)
            return Fault{shownPath(name), "holds no samples that can be read", "record or copy it again"};
        return done();
    }

    std::int64_t blockEnd() const { return blockStart + blockFrames; }

    std::string timeOf(std::int64_t frame) const {
        return std::to_string(frame / static_cast<std::int64_t>(description.sampleRate)) + " s";
    }

    /// Makes the block hold the frame: by decoding on, or by a search.
    bool reaches(std::int64_t frame) {
        if (frame >= blockStart && frame < blockEnd()) return true;
        damaged = false;
        const bool next = blockFrames > 0 && frame == blockEnd();
        if (next) {
            if (decodeBlock() && frame >= blockStart && frame < blockEnd()) return true;
            if (damaged) return false;
        }
        blockFrames = 0;
        if (!FLAC__stream_decoder_seek_absolute(decoder.get(), static_cast<FLAC__uint64>(frame))) {
            FLAC__stream_decoder_flush(decoder.get()); // else the decoder answers no further call
            blockFrames = 0;
            return false;
        }
        if (damaged) blockFrames = 0;
        return frame >= blockStart && frame < blockEnd();
    }

    /// The next frame of the stream; false at its end or where it is damaged.
    bool decodeBlock() {
        blockFrames = 0;
        while (blockFrames == 0) {
            if (!FLAC__stream_decoder_process_single(decoder.get()) || damaged) {
                blockFrames = 0; // what a damaged frame decodes to is not sound
                return false;
            }
            if (FLAC__stream_decoder_get_state(decoder.get()) == FLAC__STREAM_DECODER_END_OF_STREAM)
                return blockFrames > 0;
        }
        return true;
    }

    std::int64_t countFrames() {
        damaged = false;
        if (!FLAC__stream_decoder_reset(decoder.get()) ||
            !FLAC__stream_decoder_process_until_end_of_metadata(decoder.get()))
            return 0;
        std::int64_t frames = 0;
        while (decodeBlock() && blockStart == frames)
            frames = blockEnd();
        blockFrames = 0;
        FLAC__stream_decoder_flush(decoder.get());
        return frames;
    }

    static FlacReader& self(void* data) { return *static_cast<FlacReader*>(data); }

    static FLAC__StreamDecoderReadStatus onRead(const FLAC__StreamDecoder*, FLAC__byte buffer[], std::size_t* bytes,
                                                void* data) {
        FlacReader& reader = self(data);
        *bytes = reader.input.readAt(reader.place, {reinterpret_cast<std::byte*>(buffer), *bytes});
        reader.place += *bytes;
        return *bytes == 0 ? FLAC__STREAM_DECODER_READ_STATUS_END_OF_STREAM : FLAC__STREAM_DECODER_READ_STATUS_CONTINUE;
    }
    static FLAC__StreamDecoderSeekStatus onSeek(const FLAC__StreamDecoder*, FLAC__uint64 offset, void* data) {
        self(data).place = offset;
        return FLAC__STREAM_DECODER_SEEK_STATUS_OK;
    }
    static FLAC__StreamDecoderTellStatus onTell(const FLAC__StreamDecoder*, FLAC__uint64* offset, void* data) {
        *offset = self(data).place;
        return FLAC__STREAM_DECODER_TELL_STATUS_OK;
    }
    static FLAC__StreamDecoderLengthStatus onLength(const FLAC__StreamDecoder*, FLAC__uint64* length, void* data) {
        *length = self(data).input.size();
        return FLAC__STREAM_DECODER_LENGTH_STATUS_OK;
    }
    static FLAC__bool onEnd(const FLAC__StreamDecoder*, void* data) {
        return self(data).place >= self(data).input.size();
    }
    static FLAC__StreamDecoderWriteStatus onFrame(const FLAC__StreamDecoder*, const FLAC__Frame* frame,
                                                  const FLAC__int32* const buffer[], void* data) {
        FlacReader& reader = self(data);
        if (static_cast<int>(frame->header.channels) != reader.description.channels ||
            static_cast<int>(frame->header.bits_per_sample) != reader.description.bits) {
            reader.damaged = true;
            return FLAC__STREAM_DECODER_WRITE_STATUS_ABORT;
        }
        const std::size_t frames = frame->header.blocksize;
        for (std::size_t c = 0; c < reader.block.size(); ++c)
            reader.block[c].assign(buffer[c], buffer[c] + frames);
        reader.blockStart = static_cast<std::int64_t>(frame->header.number.sample_number);
        reader.blockFrames = static_cast<std::int64_t>(frames);
        return FLAC__STREAM_DECODER_WRITE_STATUS_CONTINUE;
    }
    static void onMetadata(const FLAC__StreamDecoder*, const FLAC__StreamMetadata* metadata, void* data) {
        if (metadata->type != FLAC__METADATA_TYPE_STREAMINFO) return;
        AudioFileInfo& info = self(data).description;
        const auto& stream = metadata->data.stream_info;
        info.sampleRate = stream.sample_rate;
        info.channels = static_cast<int>(stream.channels);
        info.bits = static_cast<int>(stream.bits_per_sample);
        info.promisedFrames = static_cast<std::int64_t>(stream.total_samples);
        self(data).block.resize(stream.channels);
    }
    static void onError(const FLAC__StreamDecoder*, FLAC__StreamDecoderErrorStatus, void* data) {
        self(data).damaged = true;
    }

    InputFile input;
    std::filesystem::path name;
    std::unique_ptr<FLAC__StreamDecoder, Delete> decoder;
    std::uint64_t place = 0;
    bool damaged = false; ///< Since last cleared. (Before 1.4 the library gives a damaged frame out as silence.)
    std::vector<std::vector<FLAC__int32>> block;
    std::int64_t blockStart = 0;
    std::int64_t blockFrames = 0;
};

class FlacWriter final : public AudioFileWriter {
public:
    FlacWriter(OutputFile output, const AudioFileFormat& audioFormat)
        : file(std::move(output)), format(audioFormat), encoder(FLAC__stream_encoder_new()) {}

    Outcome begin() {
        FLAC__stream_encoder_set_channels(encoder.get(), static_cast<std::uint32_t>(format.channels));
        FLAC__stream_encoder_set_bits_per_sample(encoder.get(), format.samples == SampleFormat::int16 ? 16 : 24);
        FLAC__stream_encoder_set_sample_rate(encoder.get(), static_cast<std::uint32_t>(std::lround(format.sampleRate)));
        FLAC__stream_encoder_set_compression_level(encoder.get(), 5);
        FLAC__stream_encoder_set_streamable_subset(encoder.get(), false); // else some rates are refused
        const bool begun = FLAC__stream_encoder_init_stream(encoder.get(), onWrite, onSeek, onTell, nullptr, this) ==
                           FLAC__STREAM_ENCODER_INIT_STATUS_OK;
        return begun ? done() : fault();
    }

    Outcome write(std::span<const float* const> channels, int frames) override {
        assert(channels.size() == static_cast<std::size_t>(format.channels));
        interleaved.resize(channels.size() * static_cast<std::size_t>(frames));
        for (std::size_t c = 0; c < channels.size(); ++c)
            for (std::size_t n = 0; n < static_cast<std::size_t>(frames); ++n)
                interleaved[n * channels.size() + c] = integerOf(format.samples, channels[c][n]);
        if (!FLAC__stream_encoder_process_interleaved(encoder.get(), interleaved.data(),
                                                      static_cast<std::uint32_t>(frames)))
            return fault();
        return done();
    }

    Outcome finish() override {
        if (!FLAC__stream_encoder_finish(encoder.get())) return fault();
        return file.finish();
    }

    Outcome keep() override { return file.keep(); }
    const std::filesystem::path& place() const override { return file.place(); }

private:
    struct Delete {
        void operator()(FLAC__StreamEncoder* e) const { FLAC__stream_encoder_delete(e); }
    };

    Outcome fault() const {
        if (trouble) return *trouble;
        return Fault{shownPath(file.target()), "cannot be written as FLAC", "choose WAV"};
    }

    static FlacWriter& self(void* data) { return *static_cast<FlacWriter*>(data); }

    static FLAC__StreamEncoderWriteStatus onWrite(const FLAC__StreamEncoder*, const FLAC__byte buffer[],
                                                  std::size_t bytes, std::uint32_t, std::uint32_t, void* data) {
        const auto written = self(data).file.write({reinterpret_cast<const std::byte*>(buffer), bytes});
        if (written) return FLAC__STREAM_ENCODER_WRITE_STATUS_OK;
        self(data).trouble = written.fault();
        return FLAC__STREAM_ENCODER_WRITE_STATUS_FATAL_ERROR;
    }
    static FLAC__StreamEncoderSeekStatus onSeek(const FLAC__StreamEncoder*, FLAC__uint64 offset, void* data) {
        return self(data).file.seek(offset) ? FLAC__STREAM_ENCODER_SEEK_STATUS_OK
                                            : FLAC__STREAM_ENCODER_SEEK_STATUS_ERROR;
    }
    static FLAC__StreamEncoderTellStatus onTell(const FLAC__StreamEncoder*, FLAC__uint64* offset, void* data) {
        *offset = self(data).file.position();
        return FLAC__STREAM_ENCODER_TELL_STATUS_OK;
    }

    OutputFile file;
    AudioFileFormat format;
    std::optional<Fault> trouble;
    std::vector<FLAC__int32> interleaved;
    std::unique_ptr<FLAC__StreamEncoder, Delete> encoder; // last: its end still calls onWrite
};

} // namespace

Result<std::unique_ptr<AudioFileReader>> openFlac(InputFile file, const std::filesystem::path& path) {
    auto reader = std::make_unique<FlacReader>(std::move(file), path);
    if (auto begun = reader->begin(); !begun) return begun.fault();
    return std::unique_ptr<AudioFileReader>(std::move(reader));
}

Result<std::unique_ptr<AudioFileWriter>> createFlac(OutputFile file, const AudioFileFormat& format) {
    auto writer = std::make_unique<FlacWriter>(std::move(file), format);
    if (auto begun = writer->begin(); !begun) return begun.fault();
    return std::unique_ptr<AudioFileWriter>(std::move(writer));
}

} // namespace spillwright
