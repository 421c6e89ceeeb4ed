#include "Media/Render.h"

#include "Media/AdjustedTracks.h"
#include "Media/BroadcastExtension.h"
#include "Media/SumOfTracks.h"
#include "Session/Files.h"
#include "Session/Setting.h"
#include "Session/Words.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <functional>

namespace spillwright {

namespace fs = std::filesystem;

namespace {

constexpr int blockFrames = 65536;
constexpr double silenceDb = -90.0; ///< A channel whose peak stays below is silent.

bool isFloatContainer(Container container) {
    return container == Container::wav || container == Container::rf64;
}

int bitsOf(SampleFormat format) {
    return format == SampleFormat::int16 ? 16 : format == SampleFormat::int24 ? 24 : 32;
}

/// "flipped, 0.63 ms later"; of several channels that differ each with its number.
std::string historyOf(std::span<const TrackAdjustment> channels) {
    const auto words = [](TrackAdjustment adjustment) {
        adjustment.pan.reset(); // of the sum alone
        return adjustmentInWords(adjustment);
    };
    const bool alike = std::all_of(channels.begin(), channels.end(),
                                   [&](const auto& one) { return words(one) == words(channels.front()); });
    if (alike) return words(channels.front());
    std::string text;
    for (std::size_t c = 0; c < channels.size(); ++c)
        text += (c == 0 ? "" : "; ") + ("channel " + std::to_string(c + 1) + " " + words(channels[c]));
    return text;
}

Fault stopped(const fs::path& folder) {
    return {shownPath(folder), "was not rendered: stopped", "", Fault::Kind::cancelled};
}

/// Blocks of samples for so many tracks.
class Block {
public:
    explicit Block(std::size_t tracks) : samples(tracks, std::vector<float>(blockFrames)) {
        for (auto& track : samples)
            pointers.push_back(track.data());
    }
    std::span<float* const> tracks() { return pointers; }
    std::vector<const float*> content() const { return {pointers.begin(), pointers.end()}; }

    bool fits(SampleFormat format, int frames) const {
        for (const float* track : pointers) {
            const auto [least, most] = std::minmax_element(track, track + frames);
            if (!spillwright::fits(format, *least) || !spillwright::fits(format, *most)) return false;
        }
        return true;
    }

private:
    std::vector<std::vector<float>> samples;
    std::vector<float*> pointers;
};

class Renderer {
public:
    Renderer(const Recording& wholeRecording, std::span<const TrackAdjustment> trackAdjustments,
             const RenderOptions& renderOptions, const Watch& progressWatch)
        : recording(wholeRecording), adjustments(trackAdjustments), options(renderOptions), watch(progressWatch) {
        for (const RecordingFile& file : recording.files())
            work += static_cast<double>(file.info.frames) * file.info.channels;
        if (options.sum) work += static_cast<double>(recording.length()) * recording.trackCount();
    }

    Result<RenderReport> prepare(Batch& together) {
        if (auto allowed = checkTargets(); !allowed) return allowed.fault();
        if (auto made = batch.makeFolder(options.to); !made) return made.fault();
        for (const TrackInfo& track : recording.tracks())
            if (track.state == TrackState::unreadable)
                report.remarks.push_back(track.file + ": " + track.why + "; it is not rendered");
        for (std::size_t f = 0; f < recording.files().size(); ++f)
            if (auto rendered = renderFile(static_cast<int>(f)); !rendered) return rendered.fault();
        if (options.sum)
            if (auto rendered = renderSum(); !rendered) return rendered.fault();
        if (options.notes)
            if (auto written = writeNotes(); !written) return written.fault();
        if (watch.stopped()) return stopped(options.to);
        together.takeOver(batch);
        return report;
    }

private:
    Outcome checkTargets() const {
        if (sameFolder(options.to, recording.folder()))
            return Fault{shownPath(options.to), "is the recording itself, which is never written to",
                         "choose another folder"};
        for (const RecordingFile& file : recording.files()) // before any work is done
            if (auto free = checkTarget(options.to / file.path.filename()); !free) return free;
        for (const auto& beside : {options.sum, options.notes})
            if (beside)
                if (auto free = checkBeside(*beside); !free) return free;
        if (options.sum && options.notes && samePath(*options.sum, *options.notes))
            return Fault{shownPath(*options.notes), "is the file of the sum too", "choose another name"};
        return done();
    }

    Outcome checkBeside(const fs::path& target) const {
        if (sameFolder(fs::absolute(target).parent_path(), recording.folder()))
            return Fault{shownPath(target), "lies in the recording, which is never written to",
                         "choose another folder"};
        for (const RecordingFile& file : recording.files())
            if (samePath(target, options.to / file.path.filename()))
                return Fault{shownPath(target), "is the file of a track too", "choose another name"};
        return checkTarget(target);
    }

    Outcome checkTarget(const fs::path& target) const { return batch.checkTarget(target, options.replace); }

    Outcome renderFile(int index) {
        const RecordingFile& file = recording.files()[static_cast<std::size_t>(index)];
        const std::string shownName = shownPath(file.path.filename());
        auto heard = soundingChannels(index);
        if (!heard) return heard.fault();
        if (std::none_of(heard->begin(), heard->end(), [](bool sounds) { return sounds; })) {
            report.remarks.push_back(shownName + ": is silent; it is copied as it is");
            return copy(file);
        }
        std::vector<TrackAdjustment> channels;
        for (std::size_t c = 0; c < file.tracks.size(); ++c) {
            TrackAdjustment adjustment; // a silent channel stays as it is
            if ((*heard)[c]) adjustment = adjustments[static_cast<std::size_t>(file.tracks[c])];
            adjustment.muted = false;
            channels.push_back(adjustment);
        }

        AudioFileFormat format;
        format.container = file.info.container;
        format.samples = options.format;
        format.sampleRate = file.info.sampleRate;
        format.channels = file.info.channels;
        format.channelMask = file.info.channelMask;
        std::string reason;
        if (options.format != SampleFormat::float32 && file.info.isFloat) {
            format.samples = SampleFormat::float32;
            reason = "is float";
        }
        const auto attempt = [&]() -> Result<bool> {
            if (format.samples == SampleFormat::float32 && !isFloatContainer(format.container))
                format.container = Container::wav;
            const auto what = "Spillwright: " + historyOf(channels);
            format.broadcastExtension =
                withCodingHistory(withDescriptionLine(file.info.broadcastExtension, what),
                                  codingHistoryLine(format.sampleRate, bitsOf(format.samples),
                                                    format.samples == SampleFormat::float32, format.channels, what));
            auto reader = recording.openFile(index);
            if (!reader) return reader.fault();
            AdjustedTracks tracks(std::move(*reader), channels, file.info.sampleRate);
            return write(targetOf(file, format), format, file.info.frames,
                         [&](int frames, std::span<float* const> into) { return tracks.next(frames, into); });
        };
        auto written = attempt();
        if (written && !*written) {
            reason = "would pass full scale";
            format.samples = SampleFormat::float32;
            written = attempt();
        }
        if (!written) return written.fault();
        const bool moved = format.container != file.info.container && !isFloatContainer(file.info.container);
        if (reason.empty() && moved) reason = "is to be float";
        if (!reason.empty())
            report.remarks.push_back(shownName + ": " + reason + "; it is written as 32-bit float" +
                                     (moved ? " WAV, " + shownPath(targetOf(file, format).filename()) : ""));
        return done();
    }

    /// Writes blocks from `next` to the target. False, and nothing left behind, where a sample would clip.
    Result<bool> write(const fs::path& target, const AudioFileFormat& format, std::int64_t length,
                       const std::function<Outcome(int frames, std::span<float* const> into)>& next) {
        if (auto free = checkTarget(target); !free) return free.fault();
        auto created = AudioFileWriter::create(target, format);
        if (!created) return created.fault();
        std::shared_ptr<AudioFileWriter> writer(std::move(*created));
        Block block(static_cast<std::size_t>(format.channels));
        const double workBefore = workDone;
        for (std::int64_t start = 0; start < length; start += blockFrames) {
            if (watch.stopped()) return stopped(options.to);
            const auto frames = static_cast<int>(std::min<std::int64_t>(blockFrames, length - start));
            if (auto made = next(frames, block.tracks()); !made) return made.fault();
            if (!block.fits(format.samples, frames)) {
                workDone = workBefore;
                return false;
            }
            if (auto put = writer->write(block.content(), frames); !put) return put.fault();
            workDone += static_cast<double>(frames) * format.channels;
            watch.tell(std::min(1.0, workDone / work));
        }
        if (auto finished = writer->finish(); !finished) return finished.fault();
        batch.add(target, writer->place(), [writer] { return writer->keep(); });
        report.written.push_back(target);
        return true;
    }

    /// Which channels rise above silence; reads no further than that needs.
    Result<std::vector<bool>> soundingChannels(int index) const {
        const float threshold = static_cast<float>(amplitudeOfDecibels(silenceDb));
        const RecordingFile& file = recording.files()[static_cast<std::size_t>(index)];
        auto reader = recording.openFile(index);
        if (!reader) return reader.fault();
        Block block(file.tracks.size());
        std::vector<bool> sounding(file.tracks.size(), false);
        for (std::int64_t start = 0; start < file.info.frames; start += blockFrames) {
            if (watch.stopped()) return stopped(options.to);
            if (auto read = (*reader)->read(start, blockFrames, block.tracks()); !read) return read.fault();
            for (std::size_t c = 0; c < sounding.size(); ++c)
                sounding[c] = sounding[c] || std::any_of(block.tracks()[c], block.tracks()[c] + blockFrames,
                                                         [&](float sample) { return std::abs(sample) >= threshold; });
            if (std::all_of(sounding.begin(), sounding.end(), [](bool sounds) { return sounds; })) break;
        }
        return sounding;
    }

    Outcome copy(const RecordingFile& file) {
        const fs::path target = options.to / file.path.filename();
        if (auto free = checkTarget(target); !free) return free;
        auto input = InputFile::open(file.path);
        if (!input) return input.fault();
        auto created = OutputFile::create(target);
        if (!created) return created.fault();
        auto output = std::make_shared<OutputFile>(std::move(*created));
        std::vector<std::byte> bytes(1 << 20);
        for (std::uint64_t at = 0; at < input->size();) {
            if (watch.stopped()) return stopped(options.to);
            const std::size_t got = input->readAt(at, bytes);
            if (got == 0) return input->shortRead();
            if (auto written = output->write({bytes.data(), got}); !written) return written;
            at += got;
        }
        if (auto finished = output->finish(); !finished) return finished;
        batch.add(target, output->place(), [output] { return output->keep(); });
        report.written.push_back(target);
        workDone += static_cast<double>(file.info.frames) * file.info.channels;
        return done();
    }

    /// The original's name; a FLAC or AIFF file that becomes WAV takes that ending, before which the old one stays
    /// where the name would be another file's.
    fs::path targetOf(const RecordingFile& file, const AudioFileFormat& format) const {
        const fs::path name = file.path.filename();
        if (format.container == file.info.container) return options.to / name;
        fs::path renamed = name;
        renamed.replace_extension(".wav");
        if (renamed == name) return options.to / name; // FLAC or AIFF inside a file that was called .wav
        for (const RecordingFile& other : recording.files())
            if (other.path.filename() == renamed) return options.to / fs::path(name).concat(".wav");
        return options.to / renamed;
    }

    Outcome renderSum() {
        AudioFileFormat format;
        format.samples = options.format;
        format.sampleRate = recording.sampleRate();
        format.channels = 2;
        auto written = writeSum(format);
        if (written && !*written) {
            format.samples = SampleFormat::float32;
            report.remarks.push_back(shownPath(options.sum->filename()) +
                                     ": would pass full scale; it is written as 32-bit float");
            written = writeSum(format);
        }
        return written ? done() : Outcome(written.fault());
    }

    Result<bool> writeSum(const AudioFileFormat& format) {
        auto sum = SumOfTracks::open(recording, adjustments);
        if (!sum) return sum.fault();
        return write(*options.sum, format, recording.length(),
                     [&](int frames, std::span<float* const> into) { return (*sum)->next(frames, into[0], into[1]); });
    }

    /// What was done, as lines that begin with #, and a checksum of each file as sha256sum has it.
    Outcome writeNotes() {
        std::vector<std::string> lines{
            "Rendered by Spillwright from " + shownPath(recording.folder()) + ".",
            "Setting: " + (options.settingName.empty() ? "without a name" : options.settingName) +
                ". Tracks that are not listed are as recorded.",
            ""};
        for (const auto& line : adjustmentsInWords(recording.tracks(), adjustments))
            lines.push_back(line);
        if (!report.remarks.empty()) lines.emplace_back();
        for (const auto& remark : report.remarks)
            lines.push_back(remark);
        return batch.addNotes(*options.notes, lines, watch);
    }

    const Recording& recording;
    std::span<const TrackAdjustment> adjustments;
    const RenderOptions& options;
    const Watch& watch;
    RenderReport report;
    double work = 0.0, workDone = 0.0; ///< Samples.
    Batch batch;
};

} // namespace

Result<RenderReport> render(const Recording& recording, std::span<const TrackAdjustment> adjustments,
                            const RenderOptions& options, const Watch& watch) {
    return keptTogether([&](Batch& batch) { return prepareRender(recording, adjustments, options, batch, watch); });
}

Result<RenderReport> prepareRender(const Recording& recording, std::span<const TrackAdjustment> adjustments,
                                   const RenderOptions& options, Batch& together, const Watch& watch) {
    assert(adjustments.size() == recording.tracks().size());
    return Renderer(recording, adjustments, options, watch).prepare(together);
}

} // namespace spillwright
