#pragma once

#include "Core/Scene/Scene.h"
#include "Core/Workers.h"

#include <cstdint>
#include <memory>
#include <span>
#include <vector>

namespace spillwright {

/// A scene that is played: what each microphone records of the dry parts. Impulse responses are reckoned and convolved
/// on demand; nothing of a track is kept. The const functions may be called from several threads.
class SceneSound {
public:
    /// One dry part a source, full scale = 1. The recording is as long as the longest of them.
    SceneSound(const Scene& scene, std::span<const std::vector<float>> dryParts, Workers& workers);
    ~SceneSound();

    /// All sources of the microphone's room, its own noise, its faults.
    std::vector<float> track(int microphone) const;

    /// One source alone in a track, faults included, without the microphone's own noise; silence where the source
    /// stands in another room. The parts of all sources and selfNoise() add up to track().
    std::vector<float> part(int source, int microphone) const;
    std::vector<float> selfNoise(int microphone) const;

private:
    struct Contents;
    std::unique_ptr<const Contents> contents;
};

} // namespace spillwright
