#pragma once

#include "Desk/MainComponent.h"

#include <juce_events/juce_events.h>

#include <chrono>
#include <filesystem>
#include <string>
#include <vector>

namespace spillwright::desk {

/// For checks that drive the window from outside: where everything is that can be seen, what has the keyboard, what is
/// told, and how long the steps of the message thread take. A check makes the file "ask" in the folder; a moment later
/// "ask" has gone and "answer.json" is there. [message thread]
class Trace : private juce::AsyncUpdater, private juce::HighResolutionTimer {
public:
    /// `folder` is made where it is absent.
    Trace(MainComponent& main, Controller& controller, Player& player, std::filesystem::path folder);
    ~Trace() override;

private:
    /// From one turn of the message loop to the next that this had; at most a millisecond of waiting is in it.
    struct Step {
        double processorMs = 0.0; ///< Time of the message thread on a processor: other programs are not in it.
        double clockMs = 0.0;     ///< By the clock on the wall.
        std::string task;         ///< What was at work in the background when it ended.
    };
    static constexpr std::size_t mostSteps = 8; ///< The longest since the last answer.

    void hiResTimerCallback() override { triggerAsyncUpdate(); }
    void handleAsyncUpdate() override;
    std::string answer() const;

    MainComponent& main;
    Controller& controller;
    Player& player;
    const std::filesystem::path folder;
    std::vector<Step> longest;
    double processorBefore = 0.0;
    std::chrono::steady_clock::time_point clockBefore, looked;
};

} // namespace spillwright::desk
