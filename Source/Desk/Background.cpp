#include "Desk/Background.h"

#include <utility>

namespace spillwright::desk {

Background::~Background() {
    cancel();
}

void Background::start(Work work) {
    if (!running) {
        launch(std::move(work));
        return;
    }
    next = std::move(work);
    thread.request_stop();
}

void Background::cancel() {
    next = nullptr;
    if (running) thread.request_stop();
}

void Background::launch(Work work) {
    running = true;
    done = 0.0;
    ended = false;
    thread = std::jthread([this, work = std::move(work)](std::stop_token stop) {
        Watch watch;
        watch.stop = std::move(stop);
        watch.progress = [this](double fraction) { done.store(fraction, std::memory_order_relaxed); };
        finish = work(watch);
        ended.store(true, std::memory_order_release);
    });
}

bool Background::poll() {
    if (!running || !ended.load(std::memory_order_acquire)) return false;
    thread.join();
    running = false;
    const Finish taken = std::exchange(finish, nullptr);
    if (next) {
        launch(std::exchange(next, nullptr)); // what it replaced is no longer wanted
    } else if (taken) {
        taken();
    }
    return true;
}

} // namespace spillwright::desk
