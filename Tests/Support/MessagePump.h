#pragma once

#include <juce_events/juce_events.h>

#include <chrono>
#include <functional>
#include <thread>

#if JUCE_LINUX
namespace juce {
bool dispatchNextMessageOnSystemQueue(bool returnIfNoPendingMessages); // not declared in any header
}

namespace spillwright::test {

/// Runs timers and messages until the condition holds; false after that many seconds.
inline bool pumpUntil(const std::function<bool()>& come, double seconds = 30.0) {
    const auto deadline = std::chrono::steady_clock::now() + std::chrono::duration<double>(seconds);
    while (!come()) {
        if (std::chrono::steady_clock::now() > deadline) return false;
        if (!juce::dispatchNextMessageOnSystemQueue(true)) std::this_thread::sleep_for(std::chrono::milliseconds(1));
    }
    return true;
}

} // namespace spillwright::test
#endif
