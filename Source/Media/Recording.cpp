#include "Media/Recording.h"

#include "Media/Naming.h"
#include "Media/Resampler.h"
#include "Session/Files.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>

namespace spillwright {

namespace fs = std::filesystem;

struct Recording::Contents {
    fs::path folder;
    std::vector<TrackInfo> tracks;
    std::vector<std::string> warnings;
    std::vector<RecordingFile> files;
    std::vector<std::vector<int>> groups;
    double sampleRate = 0.0;
    std::int64_t length = 0;
};

namespace {

constexpr double largestNonFiniteShare = 0.01; ///< Above that a file is unreadable.
constexpr double dayInSeconds = 24.0 * 3600.0; ///< A time reference counts from midnight.

std::string fixed(double value, int decimals) {
    std::array<char, 64> text{};
    std::snprintf(text.data(), text.size(), "%.*f", decimals, value);
    return text.data();
}

std::string hertz(double rate) {
    return fixed(rate, 0) + " Hz";
}

/// A file of the folder while it is being opened.
struct Candidate {
    fs::path path;
    std::string shownName;
    std::string shownStem;
    AudioFileInfo info;
    std::string why; ///< Set: it cannot be read.
    std::int64_t startsAt = 0;

    bool readable() const { return why.empty(); }
    int trackCount() const { return readable() ? info.channels : 1; }
};

Fault stopped(const fs::path& folder) {
    return {shownPath(folder), "was not opened: stopped", "", Fault::Kind::cancelled};
}

/// Reads a float file once for samples that are no numbers. nullopt: a stop was asked for.
std::optional<Result<std::int64_t>> countNonFinite(AudioFileReader& reader, const Watch& watch) {
    constexpr int block = 65536;
    const AudioFileInfo& info = reader.info();
    std::vector<std::vector<float>> buffers(static_cast<std::size_t>(info.channels), std::vector<float>(block));
    std::vector<float*> channels;
    for (auto& buffer : buffers)
        channels.push_back(buffer.data());
    for (std::int64_t start = 0; start < info.frames; start += block) {
        if (watch.stopped()) return std::nullopt;
        const auto count = static_cast<int>(std::min<std::int64_t>(block, info.frames - start));
        if (auto got = reader.read(start, count, channels); !got) return Result<std::int64_t>(got.fault());
    }
    return Result<std::int64_t>(reader.nonFiniteSamples());
}

/// Opens one file, sets `why` or `info`, and warns. False: a stop was asked for.
bool examine(Candidate& file, std::vector<std::string>& warnings, const Watch& watch) {
    auto reader = AudioFileReader::open(file.path);
    if (!reader) {
        file.why = reader.fault().what;
        return true;
    }
    file.info = (*reader)->info();
    const AudioFileInfo& info = file.info;
    const auto warn = [&](const std::string& text) { warnings.push_back(file.shownName + ": " + text); };
    if (info.headerUnfinished)
        warn("its header was never finished; it is read to its end, " +
             fixed(static_cast<double>(info.frames) / info.sampleRate, 3) + " s");
    else if (info.frames < info.promisedFrames)
        warn("ends after " + fixed(static_cast<double>(info.frames) / info.sampleRate, 3) + " s of the " +
             fixed(static_cast<double>(info.promisedFrames) / info.sampleRate, 3) +
             " s that its header speaks of; copy it again if the rest is needed");
    if (!info.isFloat) return true;

    const auto counted = countNonFinite(**reader, watch);
    if (!counted) return false;
    if (!*counted) {
        file.why = counted->fault().what;
        return true;
    }
    const std::int64_t nonFinite = counted->value();
    const double share = static_cast<double>(nonFinite) / (static_cast<double>(info.frames) * info.channels);
    const std::string percent = fixed(100.0 * share, share < 0.001 ? 4 : 1) + " %";
    if (share > largestNonFiniteShare)
        file.why = std::to_string(nonFinite) + " samples (" + percent + ") are not numbers";
    else if (nonFinite > 0)
        warn(std::to_string(nonFinite) + (nonFinite == 1 ? " sample is" : " samples are") + " not finite (" + percent +
             ") and count" + (nonFinite == 1 ? "s" : "") + " as 0; export it again if that is audible");
    return true;
}

/// The commonest of the readable files' rates; of equally common ones the higher.
double commonestRate(const std::vector<Candidate>& files) {
    std::map<double, int> counts;
    for (const Candidate& file : files)
        if (file.readable()) ++counts[file.info.sampleRate];
    double rate = 0.0;
    int most = 0;
    for (const auto& [candidate, count] : counts) {
        if (count >= most) rate = candidate;
        most = std::max(most, count);
    }
    return rate;
}

/// Where all readable files bear a time reference, the earliest begins at 0 and the others as much later. A reference
/// is in samples of its own file; to the nearest sample of the recording it is as true as it was written.
void placeByTimeReference(std::vector<Candidate>& files, double sampleRate, const std::string& folder,
                          std::vector<std::string>& warnings) {
    std::vector<Candidate*> readable;
    for (Candidate& file : files)
        if (file.readable()) readable.push_back(&file);
    if (!std::all_of(readable.begin(), readable.end(), [](auto* f) { return f->info.timeReference.has_value(); }))
        return;
    const auto seconds = [](const Candidate* f) {
        return static_cast<double>(*f->info.timeReference) / f->info.sampleRate;
    };
    const auto [earliest, latest] = std::minmax_element(readable.begin(), readable.end(),
                                                        [&](auto* a, auto* b) { return seconds(a) < seconds(b); });
    const double spread = seconds(*latest) - seconds(*earliest);
    if (spread == 0.0) return;
    if (spread >= dayInSeconds) {
        warnings.push_back(folder + ": the BWF time references of " + (*earliest)->shownName + " and " +
                           (*latest)->shownName +
                           " lie a day or more apart and are ignored; correct them if the files do not start together");
        return;
    }
    for (Candidate* file : readable) {
        const bool sameRate = file->info.sampleRate == sampleRate && (*earliest)->info.sampleRate == sampleRate;
        file->startsAt = sameRate ? *file->info.timeReference - *(*earliest)->info.timeReference
                                  : std::llround((seconds(file) - seconds(*earliest)) * sampleRate);
    }
    warnings.push_back(folder + ": the files start up to " + fixed(spread, 3) +
                       " s apart by their BWF time references and are placed so; remove the references if they do not");
}

std::vector<std::string> suffixesOf(const Candidate& file) {
    if (file.trackCount() == 1) return {""};
    if (file.trackCount() == 2) return {" L", " R"};
    std::vector<std::string> suffixes;
    for (int channel = 1; channel <= file.trackCount(); ++channel)
        suffixes.push_back(" " + std::to_string(channel));
    return suffixes;
}

void link(std::vector<TrackInfo>& tracks, int left, int right) {
    tracks[static_cast<std::size_t>(left)].linkedTo = right;
    tracks[static_cast<std::size_t>(right)].linkedTo = left;
    tracks[static_cast<std::size_t>(right)].isRight = true;
}

/// Links mono files that are the two sides of a pair by their names. Three of one name are no pair.
void linkMonoPairs(std::vector<TrackInfo>& tracks, const std::vector<Candidate>& files,
                   const std::vector<int>& firstTracks) {
    std::map<std::string, std::array<std::vector<int>, 2>> sides;
    for (std::size_t f = 0; f < files.size(); ++f)
        if (files[f].readable() && files[f].info.channels == 1)
            if (const auto side = sideOfPair(files[f].shownStem))
                sides[side->common][side->right ? 1 : 0].push_back(firstTracks[f]);
    for (const auto& [common, tracksOfSide] : sides)
        if (tracksOfSide[0].size() == 1 && tracksOfSide[1].size() == 1)
            link(tracks, tracksOfSide[0][0], tracksOfSide[1][0]);
}

/// One file's tracks at their place in the recording.
class FileGroupReader final : public GroupReader {
public:
    FileGroupReader(std::unique_ptr<AudioFileReader> fileReader, std::int64_t start, double recordingRate)
        : file(std::move(fileReader)), startsAt(start) {
        const AudioFileInfo& info = file->info();
        length = info.frames;
        if (info.sampleRate == recordingRate) return;
        length = resampledLength(info.frames, info.sampleRate, recordingRate);
        resampler.emplace(info.sampleRate, recordingRate, info.channels,
                          [this](std::int64_t first, int count, std::span<float* const> channels) {
                              return padded(first, count, file->info().frames, channels,
                                            [this](std::int64_t s, int n, std::span<float* const> out) {
                                                return file->read(s, n, out);
                                            });
                          });
    }

    Outcome read(std::int64_t start, int count, std::span<float* const> tracks) override {
        return padded(start - startsAt, count, length, tracks,
                      [this](std::int64_t first, int frames, std::span<float* const> out) {
                          return resampler ? resampler->read(first, frames, out) : file->read(first, frames, out);
                      });
    }

private:
    /// Reads the part that lies within 0 .. length-1, and sets 0 around it.
    template <class Read>
    static Outcome padded(std::int64_t start, int count, std::int64_t length, std::span<float* const> channels,
                          Read readInside) {
        const auto before = static_cast<int>(std::clamp<std::int64_t>(-start, 0, count));
        const auto inside = static_cast<int>(std::clamp<std::int64_t>(length - (start + before), 0, count - before));
        std::vector<float*> places(channels.begin(), channels.end());
        for (float*& place : places) {
            std::fill_n(place, before, 0.0f);
            std::fill_n(place + before + inside, count - before - inside, 0.0f);
            place += before;
        }
        return inside == 0 ? done() : readInside(start + before, inside, places);
    }

    std::unique_ptr<AudioFileReader> file;
    std::int64_t startsAt;
    std::int64_t length = 0; ///< At the recording's rate.
    std::optional<Resampler> resampler;
};

Result<std::unique_ptr<GroupReader>> openReader(const RecordingFile& file, std::int64_t startsAt, double rate) {
    auto reader = AudioFileReader::open(file.path);
    if (!reader) return reader.fault();
    const AudioFileInfo& now = (*reader)->info();
    if (now.frames != file.info.frames || now.channels != file.info.channels || now.sampleRate != file.info.sampleRate)
        return Fault{shownPath(file.path), "was changed since the recording was opened", "open the recording again"};
    return std::unique_ptr<GroupReader>(std::make_unique<FileGroupReader>(std::move(*reader), startsAt, rate));
}

} // namespace

bool hasAudioEnding(const fs::path& path) {
    constexpr std::array<std::string_view, 8> endings{".wav",  ".wave", ".bwf",  ".rf64",
                                                      ".aiff", ".aif",  ".aifc", ".flac"};
    std::string ending = path.extension().string();
    std::transform(ending.begin(), ending.end(), ending.begin(),
                   [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; });
    return std::find(endings.begin(), endings.end(), ending) != endings.end();
}

Result<std::shared_ptr<const Recording>> Recording::open(const fs::path& folder, const Watch& watch) {
    const std::string shownFolder = shownPath(folder);
    std::error_code error;
    const auto status = fs::status(folder, error);
    if (!fs::exists(status)) return Fault{shownFolder, "does not exist", "name a folder of audio files"};
    if (!fs::is_directory(status)) return Fault{shownFolder, "is not a folder", "name the folder that holds the files"};

    std::vector<Candidate> files;
    fs::directory_iterator entries(folder, error);
    for (; !error && entries != fs::directory_iterator(); entries.increment(error)) {
        const fs::path& path = entries->path();
        const fs::path name = path.filename();
        if (name.native()[0] == '.' || !hasAudioEnding(name)) continue;
        Candidate& file = files.emplace_back();
        file.path = path;
        file.shownName = shownPath(name);
        file.shownStem = shownPath(name.stem());
    }
    if (error) return Fault{shownFolder, "cannot be read: " + reasonOf(error), "check its permissions"};
    if (files.empty())
        return Fault{shownFolder, "holds no WAV, AIFF or FLAC file", "name the folder that holds the files itself"};
    std::sort(files.begin(), files.end(), [](const Candidate& a, const Candidate& b) {
        return a.shownName == b.shownName ? a.path < b.path : naturallyBefore(a.shownName, b.shownName);
    });

    auto contents = std::make_unique<Contents>();
    contents->folder = folder;
    for (std::size_t f = 0; f < files.size(); ++f) {
        if (watch.stopped() || !examine(files[f], contents->warnings, watch)) return stopped(folder);
        watch.tell(static_cast<double>(f + 1) / static_cast<double>(files.size()));
    }
    const double rate = contents->sampleRate = commonestRate(files);
    if (rate == 0.0)
        return Fault{shownFolder,
                     files.size() == 1
                         ? "its one audio file cannot be read (" + files[0].shownName + " " + files[0].why + ")"
                         : "none of its " + std::to_string(files.size()) + " audio files can be read (" +
                               files[0].shownName + " " + files[0].why + ")",
                     "name a folder of sound recordings"};
    placeByTimeReference(files, rate, shownFolder, contents->warnings);

    std::vector<NamedFile> toName;
    for (const Candidate& file : files)
        toName.push_back({file.shownName, file.shownStem, suffixesOf(file)});
    const auto names = trackNames(toName);

    std::vector<int> firstTracks;
    for (std::size_t f = 0; f < files.size(); ++f) {
        const Candidate& file = files[f];
        firstTracks.push_back(static_cast<int>(contents->tracks.size()));
        RecordingFile opened{file.path, file.info, {}, file.startsAt};
        for (int channel = 0; channel < file.trackCount(); ++channel) {
            opened.tracks.push_back(static_cast<int>(contents->tracks.size()));
            TrackInfo& track = contents->tracks.emplace_back();
            track.name = names[f][static_cast<std::size_t>(channel)];
            track.file = file.shownName;
            track.channel = channel;
            if (!file.readable()) {
                track.state = TrackState::unreadable;
                track.why = file.why;
                continue;
            }
            track.lengthSamples = resampledLength(file.info.frames, file.info.sampleRate, rate);
            if (file.info.sampleRate != rate) track.resampledFromHz = file.info.sampleRate;
            contents->length = std::max(contents->length, file.startsAt + track.lengthSamples);
        }
        if (!file.readable()) {
            contents->warnings.push_back(file.shownName + ": " + file.why + "; it takes no part");
            continue;
        }
        if (file.info.sampleRate != rate)
            contents->warnings.push_back(file.shownName + ": is at " + hertz(file.info.sampleRate) +
                                         " and is resampled to " + hertz(rate) + "; a render keeps its own rate");
        if (file.info.channels == 2) link(contents->tracks, opened.tracks[0], opened.tracks[1]);
        contents->groups.push_back(opened.tracks);
        contents->files.push_back(std::move(opened));
    }
    linkMonoPairs(contents->tracks, files, firstTracks);

    std::shared_ptr<Recording> recording(new Recording);
    recording->contents = std::move(contents);
    return std::shared_ptr<const Recording>(std::move(recording));
}

Recording::Recording() = default;
Recording::~Recording() = default;

const fs::path& Recording::folder() const {
    return contents->folder;
}
const std::vector<TrackInfo>& Recording::tracks() const {
    return contents->tracks;
}
const std::vector<std::string>& Recording::warnings() const {
    return contents->warnings;
}
const std::vector<RecordingFile>& Recording::files() const {
    return contents->files;
}
int Recording::trackCount() const {
    return static_cast<int>(contents->tracks.size());
}
double Recording::sampleRate() const {
    return contents->sampleRate;
}
std::int64_t Recording::length() const {
    return contents->length;
}
const std::vector<std::vector<int>>& Recording::groups() const {
    return contents->groups;
}

Result<std::unique_ptr<GroupReader>> Recording::openGroup(int group) const {
    const RecordingFile& file = contents->files.at(static_cast<std::size_t>(group));
    return openReader(file, file.startsAt, contents->sampleRate);
}
Result<std::unique_ptr<GroupReader>> Recording::openFile(int index) const {
    const RecordingFile& file = contents->files.at(static_cast<std::size_t>(index));
    return openReader(file, 0, file.info.sampleRate);
}

Outcome notOfRecording(const std::filesystem::path& path, const Recording& recording) {
    for (const auto& track : recording.tracks()) {
        std::error_code ignored;
        if (std::filesystem::equivalent(path, recording.folder() / track.file, ignored))
            return Fault{path.string(), "is a file of the recording, which is never written to", "choose another name"};
    }
    return done();
}

} // namespace spillwright
