#pragma once

#include "Core/Workers.h"

#include <atomic>
#include <functional>
#include <thread>

namespace spillwright::desk {

/// One piece of work at a time on a thread of its own. What it found is taken over by poll(), on the thread that owns
/// this object, so that whatever the work hands back needs no lock. All calls [owner's thread].
class Background {
public:
    using Finish = std::function<void()>;             ///< Runs in poll(), on the owner's thread.
    using Work = std::function<Finish(const Watch&)>; ///< Runs in the background.

    ~Background();

    bool busy() const { return running; }
    double progress() const { return done.load(std::memory_order_relaxed); }

    /// Stops what runs; the new work begins when that has ended (the newest one wins).
    void start(Work work);
    /// Asks to stop; the work still finishes in a later poll().
    void cancel();
    /// True when something finished.
    bool poll();

private:
    void launch(Work work);

    bool running = false;
    Work next;
    std::atomic<double> done{0.0};
    std::atomic<bool> ended{false};
    Finish finish;
    std::jthread thread;
};

} // namespace spillwright::desk
