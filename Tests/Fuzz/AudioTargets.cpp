#include "Fuzz/Targets.h"

#include "Media/AudioFile.h"
#include "Media/BroadcastExtension.h"
#include "Media/Recording.h"
#include "Media/Render.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace spillwright::fuzz {

namespace {

constexpr int pieceFrames = 1024;

/// The beginning, the middle and the end, each to the last frame that may be asked for.
template <class Reader>
void readAtPlaces(Reader& reader, std::int64_t frames, std::size_t channels) {
    std::vector<std::vector<float>> sound(channels, std::vector<float>(pieceFrames));
    std::vector<float*> places;
    for (auto& channel : sound)
        places.push_back(channel.data());
    const auto count = static_cast<int>(std::min<std::int64_t>(pieceFrames, frames));
    for (const std::int64_t start : {std::int64_t{0}, (frames - count) / 2, frames - count}) {
        if (!reader.read(start, count, places)) continue;
        for (const auto& channel : sound)
            require(std::all_of(channel.begin(), channel.begin() + count, [](float x) { return std::isfinite(x); }),
                    "every sample that is read is finite");
    }
}

void takeApart(std::span<const std::byte> body) {
    const auto fields = BroadcastExtension::of(body);
    require(fields.description.size() <= 256 && fields.originator.size() <= 32 && fields.date.size() <= 10 &&
                fields.time.size() <= 8,
            "a field is no longer than the standard has it");
    const auto line = codingHistoryLine(48000.0, 24, false, 2, fields.description);
    const auto longer = withCodingHistory(body, line);
    if (body.size() >= 602)
        require(BroadcastExtension::of(longer).codingHistory.ends_with(line),
                "a line of history that is added is the last");
    else
        require(std::equal(body.begin(), body.end(), longer.begin(), longer.end()), "what is no bext chunk stays");
    require(withDescriptionLine(body, "flipped").size() == body.size(), "a description keeps its room");
}

} // namespace

void broadcast(Bytes bytes) {
    takeApart(std::as_bytes(bytes));
}

void audioFile(Bytes bytes) {
    const auto file = sandbox() / "one.wav";
    write(file, bytes);
    const auto reader = AudioFileReader::open(file);
    if (!reader) {
        require(!reader.fault().what.empty() && !reader.fault().mend.empty(), "a fault says what to do");
        return;
    }
    const auto& info = (*reader)->info();
    require(info.channels >= 1 && info.channels <= mostChannels, "the channels can be");
    require(info.sampleRate >= 1000.0 && info.sampleRate <= 1e6, "the rate can be");
    require(info.frames >= 1 && info.frames <= info.promisedFrames, "there are frames, as many as promised or fewer");
    takeApart(info.broadcastExtension);
    readAtPlaces(**reader, info.frames, static_cast<std::size_t>(info.channels));
}

void recording(Bytes bytes) {
    if (bytes.size() < 2) return;
    const auto first = std::min<std::size_t>(bytes[0] + 256u * bytes[1], bytes.size() - 2);
    const auto folder = sandbox() / "recording", to = sandbox() / "rendered";
    std::filesystem::create_directories(folder);
    write(folder / "01 a L.wav", bytes.subspan(2, first));
    write(folder / "02 a R.wav", bytes.subspan(2 + first));
    const auto opened = Recording::open(folder);
    if (!opened) return;
    const Recording& all = **opened;
    require(all.length() >= 1 && all.trackCount() >= 1, "what is opened has sound");
    for (std::size_t group = 0; group < all.groups().size(); ++group)
        if (const auto reader = all.openGroup(static_cast<int>(group)))
            readAtPlaces(**reader, all.length(), all.groups()[group].size());

    constexpr std::int64_t mostFrames = 20000; // of a file: a render reads all of it
    for (const auto& file : all.files())
        if (file.info.frames > mostFrames) return;
    RenderOptions options;
    options.to = to;
    options.replace = true;
    std::vector<TrackAdjustment> adjustments(all.tracks().size());
    adjustments[0].flip = true;
    adjustments[0].nudge = Seconds(0.0013);
    const auto rendered = render(all, adjustments, options, {});
    require(!rendered.ok() || !rendered->written.empty(), "a render writes files");
}

} // namespace spillwright::fuzz
