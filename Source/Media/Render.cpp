#include "Media/Render.h"

#include "Core/Pan.h"
#include "Session/Setting.h"

#include "Media/AdjustedTracks.h"
#include "Media/Files.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <functional>

namespace spillwright {

namespace fs = std::filesystem;

namespace {

constexpr int blockFrames = 65536;
constexpr double silenceDb = -90.0; ///< A channel whose peak stays below is silent.

bool isThere(const fs::path& path) {
    std::error_code ignored;
    return fs::exists(fs::symlink_status(path, ignored));
}

bool isFolder(const fs::path& path) {
    std::error_code ignored;
    return fs::is_directory(path, ignored);
}

bool sameFolder(const fs::path& a, const fs::path& b) {
    std::error_code error; // what is not there is not the same
    return fs::equivalent(a, b, error) && !error;
}

bool isFloatContainer(Container container) {
    return container == Container::wav || container == Container::rf64;
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

/// The files of one render: all are made under temporary names, then all take their own names, or none.
class Batch {
public:
    /// Makes the folder where it is absent.
    Outcome makeFolder(const fs::path& folder) {
        std::vector<fs::path> absent;
        for (fs::path path = fs::absolute(folder).lexically_normal(); !path.empty() && !isThere(path);
             path = path.parent_path())
            absent.push_back(path);
        for (auto path = absent.rbegin(); path != absent.rend(); ++path) {
            std::error_code error;
            if (fs::create_directory(*path, error)) madeFolders.push_back(*path);
            if (error)
                return Fault{shownPath(folder), "cannot be made: " + reasonOf(error),
                             "choose a folder that can be written to"};
        }
        if (!isFolder(folder)) return Fault{shownPath(folder), "is not a folder", "name a folder"};
        return done();
    }

    bool has(const fs::path& target) const {
        const auto plain = [](const fs::path& path) { return fs::absolute(path).lexically_normal(); };
        return std::any_of(files.begin(), files.end(),
                           [&](const File& file) { return plain(file.target) == plain(target); });
    }

    /// A finished file; `keep` gives it its name.
    void add(const fs::path& target, std::function<Outcome()> keep) { files.push_back({target, std::move(keep)}); }

    /// Old files step aside, new ones take their names; where one cannot, all is as before.
    Outcome keepAll() {
        struct Kept {
            fs::path target, old;
        };
        std::vector<Kept> kept;
        const auto undo = [&] {
            std::error_code ignored;
            for (auto file = kept.rbegin(); file != kept.rend(); ++file) {
                if (file->old.empty())
                    fs::remove(file->target, ignored);
                else
                    fs::rename(file->old, file->target, ignored);
            }
        };
        for (const auto& file : files) {
            Kept step{file.target, {}};
            if (isThere(file.target)) {
                step.old = temporaryBeside(file.target);
                std::error_code error;
                fs::rename(file.target, step.old, error);
                if (error) {
                    undo();
                    return Fault{shownPath(file.target), "cannot be replaced: " + reasonOf(error),
                                 "choose another folder"};
                }
            }
            kept.push_back(step);
            if (auto named = file.keep(); !named) {
                undo();
                return named;
            }
        }
        std::error_code ignored;
        for (const Kept& file : kept)
            if (!file.old.empty()) fs::remove(file.old, ignored);
        return done();
    }

    ~Batch() {
        files.clear(); // temporary files first, then the folders that were made and have stayed empty
        std::error_code ignored;
        for (auto folder = madeFolders.rbegin(); folder != madeFolders.rend(); ++folder)
            fs::remove(*folder, ignored);
    }

private:
    struct File {
        fs::path target;
        std::function<Outcome()> keep;
    };
    std::vector<fs::path> madeFolders;
    std::vector<File> files;
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

    Result<RenderReport> run() {
        if (auto allowed = checkTargets(); !allowed) return allowed.fault();
        if (auto made = batch.makeFolder(options.to); !made) return made.fault();
        for (const TrackInfo& track : recording.tracks())
            if (track.state == TrackState::unreadable)
                report.remarks.push_back(track.file + ": " + track.why + "; it is not rendered");
        for (std::size_t f = 0; f < recording.files().size(); ++f)
            if (auto rendered = renderFile(static_cast<int>(f)); !rendered) return rendered.fault();
        if (options.sum)
            if (auto rendered = renderSum(); !rendered) return rendered.fault();
        if (watch.stopped()) return stopped(options.to);
        if (auto kept = batch.keepAll(); !kept) return kept.fault();
        return report;
    }

private:
    Outcome checkTargets() const {
        if (sameFolder(options.to, recording.folder()))
            return Fault{shownPath(options.to), "is the recording itself, which is never written to",
                         "choose another folder"};
        for (const RecordingFile& file : recording.files()) // before any work is done
            if (auto free = checkTarget(options.to / file.path.filename()); !free) return free;
        if (!options.sum) return done();
        if (sameFolder(fs::absolute(*options.sum).parent_path(), recording.folder()))
            return Fault{shownPath(*options.sum), "lies in the recording, which is never written to",
                         "choose another folder"};
        return checkTarget(*options.sum);
    }

    Outcome checkTarget(const fs::path& target) const {
        if (isFolder(target)) return Fault{shownPath(target), "is a folder", "choose another name or folder"};
        if (batch.has(target)) return Fault{shownPath(target), "is the file of a track too", "choose another name"};
        std::error_code ignored;
        const auto status = fs::symlink_status(target, ignored);
        if (fs::exists(status) && !fs::is_regular_file(status) && !fs::is_symlink(status)) // a device, a pipe
            return Fault{shownPath(target), "is not a regular file", "choose another name"};
        if (!options.replace && isThere(target))
            return Fault{shownPath(target), "is there already", "choose another folder, or allow it to be replaced"};
        return done();
    }

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
        format.broadcastExtension = file.info.broadcastExtension;
        std::string reason;
        if (options.format != SampleFormat::float32 && file.info.isFloat) {
            format.samples = SampleFormat::float32;
            reason = "is float";
        }
        const auto attempt = [&]() -> Result<bool> {
            if (format.samples == SampleFormat::float32 && !isFloatContainer(format.container))
                format.container = Container::wav;
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
        batch.add(target, [writer] { return writer->keep(); });
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
            if (got == 0)
                return Fault{shownPath(file.path), "was cut short or taken away while it was copied",
                             "restore it and open the recording again"};
            if (auto written = output->write({bytes.data(), got}); !written) return written;
            at += got;
        }
        if (auto finished = output->finish(); !finished) return finished;
        batch.add(target, [output] { return output->keep(); });
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
        struct Voice {
            AdjustedTracks tracks;
            Block block;
            std::vector<PanGains> pans;
        };
        std::vector<Voice> voices;
        for (std::size_t group = 0; group < recording.groups().size(); ++group) {
            std::vector<TrackAdjustment> chosen;
            std::vector<PanGains> pans;
            for (const int track : recording.groups()[group]) {
                const auto& adjustment = adjustments[static_cast<std::size_t>(track)];
                chosen.push_back(adjustment);
                pans.push_back(panGains(effectivePan(recording.tracks()[static_cast<std::size_t>(track)], adjustment)));
            }
            if (std::all_of(chosen.begin(), chosen.end(), [](const auto& adjustment) { return adjustment.muted; }))
                continue;
            auto reader = recording.openGroup(static_cast<int>(group));
            if (!reader) return reader.fault();
            voices.push_back({AdjustedTracks(std::move(*reader), chosen, recording.sampleRate()), Block(chosen.size()),
                              std::move(pans)});
        }
        std::vector<double> left(blockFrames), right(blockFrames);
        return write(*options.sum, format, recording.length(),
                     [&](int frames, std::span<float* const> into) -> Outcome {
                         std::fill(left.begin(), left.end(), 0.0);
                         std::fill(right.begin(), right.end(), 0.0);
                         for (Voice& voice : voices) {
                             if (auto made = voice.tracks.next(frames, voice.block.tracks()); !made) return made;
                             for (std::size_t i = 0; i < voice.pans.size(); ++i)
                                 for (std::size_t n = 0; n < static_cast<std::size_t>(frames); ++n) {
                                     const auto sample = static_cast<double>(voice.block.tracks()[i][n]);
                                     left[n] += voice.pans[i].left * sample;
                                     right[n] += voice.pans[i].right * sample;
                                 }
                         }
                         const auto toFloat = [](double sample) { return static_cast<float>(sample); };
                         std::transform(left.begin(), left.begin() + frames, into[0], toFloat);
                         std::transform(right.begin(), right.begin() + frames, into[1], toFloat);
                         return done();
                     });
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
    assert(adjustments.size() == recording.tracks().size());
    return Renderer(recording, adjustments, options, watch).run();
}

} // namespace spillwright
