#include "Demo/LessonRecording.h"

#include "Core/Scene/PracticeRecording.h"
#include "Media/NewFolder.h"
#include "Media/WriteAudio.h"
#include "Session/Document.h"
#include "Session/TextFile.h"

#include <algorithm>
#include <array>
#include <span>
#include <string>

namespace spillwright {

namespace fs = std::filesystem;

namespace {

/// A microphone's name may hold what no file's name may.
std::string asFileName(std::string name) {
    for (char& c : name)
        if (static_cast<unsigned char>(c) < 0x20 || std::string_view("/\\:*?\"<>|").find(c) != std::string_view::npos)
            c = '_';
    return name;
}

Outcome writeTracks(const fs::path& file, std::span<const std::span<const float>> channels) {
    bool clips = false;
    for (const auto& channel : channels)
        clips =
            clips || !std::all_of(channel.begin(), channel.end(), [](float s) { return fits(SampleFormat::int24, s); });
    return writeWav(file, lessonSampleRate, clips ? SampleFormat::float32 : SampleFormat::int24, channels);
}

} // namespace

Outcome writeLesson(const Lesson& lesson, const std::optional<std::vector<float>>& sound, const fs::path& to,
                    Workers& workers, const Watch& watch) {
    auto folder = NewFolder::beside(to);
    if (!folder) return folder.fault();
    const auto played = sound ? *sound : practiceSound(lesson.sound, lessonSampleRate);
    for (std::size_t place = 0; place < lesson.steps.size(); ++place) {
        watch.tell(static_cast<double>(place) / static_cast<double>(lesson.steps.size()));
        if (watch.stopped()) return Fault{to.string(), "stopped", "", Fault::Kind::cancelled};
        const LessonStep& step = lesson.steps[place];
        const auto recording = recordPractice(step.room, played, lessonSampleRate, workers);
        const std::string number = (place < 9 ? "0" : "") + std::to_string(place + 1);
        const std::array<std::span<const float>, 2> sum{recording.left, recording.right};
        if (auto written = writeTracks(folder->path() / (number + " sum.wav"), sum); !written) return written.fault();
        for (std::size_t index = 0; index < recording.microphones.size(); ++index) {
            const std::array<std::span<const float>, 1> track{recording.microphones[index]};
            // Numbered: two names may differ in what no file's name may hold.
            const std::string name = number + " microphone " + std::to_string(index + 1) + " " +
                                     asFileName(step.room.microphones[index].name) + ".wav";
            if (auto written = writeTracks(folder->path() / name, track); !written) return written.fault();
        }
    }
    if (auto written = writeTextFile(folder->path() / "page.txt", lessonPage(lesson)); !written) return written.fault();
    if (auto written = writeTextFile(folder->path() / "lesson.json", documentText(lessonToJson(lesson))); !written)
        return written.fault();
    watch.tell(1.0);
    return folder->keep();
}

} // namespace spillwright
