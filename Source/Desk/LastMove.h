#pragma once

#include <juce_events/juce_events.h>

#include <functional>
#include <utility>

namespace spillwright::desk {

/// A hand moves faster than a setting of many tracks is read anew: of the moves that come in one go the last one is
/// followed.
class LastMove : private juce::AsyncUpdater {
public:
    ~LastMove() override { cancelPendingUpdate(); }
    /// `move` is done when all that has come is heard of, unless another one takes its place.
    void follow(std::function<void()> move) {
        wanted = std::move(move);
        triggerAsyncUpdate();
    }
    /// Whatever is left is done at once: the hand has let go.
    void finish() { handleUpdateNowIfNeeded(); }

private:
    void handleAsyncUpdate() override { wanted(); }
    std::function<void()> wanted;
};

} // namespace spillwright::desk
