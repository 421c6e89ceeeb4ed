#pragma once

#include "Core/Scene/PracticeRoom.h"
#include "Core/Workers.h"

#include <vector>

namespace spillwright {

/// A practice room, recorded: the sound played once, from silence until its reverberation has ended.
struct PracticeRecording {
    std::vector<std::vector<float>> microphones; ///< As treated by their adjustments; a muted one as if it were not.
    std::vector<float> left, right;              ///< The sum of those that are not muted, by their pans.
};

/// The microphones of SceneSound through TrackChain, as a recording is rendered. No fault in the room.
PracticeRecording recordPractice(const PracticeRoom& room, std::vector<float> sound, double sampleRate,
                                 Workers& workers);

} // namespace spillwright
