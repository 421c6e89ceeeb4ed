#include "Core/Scene/PracticeRecording.h"

#include "Core/Pan.h"
#include "Core/Scene/Acoustics.h"
#include "Core/Scene/SceneSound.h"
#include "Core/Signal/TrackChain.h"

#include <algorithm>
#include <span>

namespace spillwright {

PracticeRecording recordPractice(const PracticeRoom& room, std::vector<float> sound, double sampleRate,
                                 Workers& workers) {
    const Scene scene = sceneOf(room, sampleRate, Detail::resting);
    int tail = 0;
    for (const auto& microphone : room.microphones)
        tail = std::max(tail, treatmentTail(microphone.adjustment, sampleRate));
    tail += responseLength(scene.rooms[0], sampleRate) - ImpulseResponse::lead;
    sound.resize(sound.size() + static_cast<std::size_t>(tail));
    const SceneSound heard(scene, std::span(&sound, 1), workers);
    PracticeRecording recording;
    for (std::size_t index = 0; index < room.microphones.size(); ++index) {
        const auto& adjustment = room.microphones[index].adjustment;
        const auto track = heard.track(static_cast<int>(index));
        recording.microphones.push_back(treatedTrack(track, adjustment, sampleRate, track.size()));
        recording.left.resize(track.size());
        recording.right.resize(track.size());
        if (adjustment.muted) continue;
        const PanGains pan = panGains(adjustment.pan.value_or(0.0));
        for (std::size_t n = 0; n < track.size(); ++n) {
            recording.left[n] += static_cast<float>(pan.left) * recording.microphones.back()[n];
            recording.right[n] += static_cast<float>(pan.right) * recording.microphones.back()[n];
        }
    }
    return recording;
}

} // namespace spillwright
