#include "Demo/DemoRecording.h"

#include "Core/Scene/SceneSound.h"
#include "Demo/Players.h"
#include "Demo/SceneFile.h"
#include "Media/NewFolder.h"
#include "Media/WriteAudio.h"
#include "Session/SharedData.h"

#include <algorithm>
#include <atomic>
#include <cmath>
#include <mutex>

namespace spillwright {

namespace fs = std::filesystem;

namespace {

constexpr double playingShare = 0.4; // of the time that a demo takes

Fault stoppedFault(const fs::path& where) {
    return {where.string(), "stopped", "", Fault::Kind::cancelled};
}

Outcome writeFile(const SceneFile& file, const SceneSound& sound, const SceneOutputFile& output, const fs::path& to) {
    std::vector<std::vector<float>> channels;
    for (int microphone : output.microphones) {
        channels.push_back(sound.track(microphone));
        for (float sample : channels.back())
            if (!fits(SampleFormat::int24, sample))
                return Fault{file.title,
                             "track '" + file.scene.microphones[static_cast<std::size_t>(microphone)].name +
                                 "' passes full scale",
                             "lower its gain_dB in the scene"};
    }
    const std::vector<std::span<const float>> views(channels.begin(), channels.end());
    return writeWav(to / (output.name + ".wav"), file.scene.sampleRate, SampleFormat::int24, views);
}

} // namespace

std::vector<DemoSession> demoSessions() {
    std::vector<DemoSession> sessions;
    std::error_code error;
    for (fs::directory_iterator entry(sharedData("DemoSessions"), error), end; !error && entry != end;
         entry.increment(error)) {
        if (entry->path().extension() != ".json") continue;
        const auto title = readSceneTitle(entry->path());
        sessions.push_back({entry->path().stem().string(), title ? *title : title.fault().what, entry->path()});
    }
    std::sort(sessions.begin(), sessions.end(), [](const auto& a, const auto& b) { return a.name < b.name; });
    return sessions;
}

Outcome computeDemo(const fs::path& sceneFile, const fs::path& to, Workers& workers, const Watch& watch) {
    const auto file = readSceneFile(sceneFile);
    if (!file) return file.fault();
    auto folder = NewFolder::beside(to);
    if (!folder) return folder.fault();

    Watch playing = watch;
    playing.progress = [&](double fraction) { watch.tell(playingShare * fraction); };
    const auto parts = playParts(*file, workers, playing);
    if (!parts) return parts.fault();

    const SceneSound sound(file->scene, *parts, workers);
    std::vector<Outcome> written(file->files.size(), done());
    std::atomic<std::size_t> finished{0};
    workers.forEach(file->files.size(), [&](std::size_t item, int worker) {
        if (watch.stopped()) return;
        written[item] = writeFile(*file, sound, file->files[item], folder->path());
        const auto share = static_cast<double>(++finished) / static_cast<double>(file->files.size());
        if (worker == 0) watch.tell(playingShare + (1.0 - playingShare) * share);
    });
    if (watch.stopped()) return stoppedFault(to);
    for (const auto& outcome : written)
        if (!outcome) return outcome.fault();
    return folder->keep();
}

} // namespace spillwright
