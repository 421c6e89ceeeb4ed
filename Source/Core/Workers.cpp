#include "Core/Workers.h"

#include <algorithm>
#include <atomic>
#include <condition_variable>
#include <exception>
#include <mutex>
#include <thread>
#include <utility>
#include <vector>

namespace spillwright {

struct Workers::Pool {
    std::mutex mutex;
    std::condition_variable wake;
    std::condition_variable finished;
    const std::function<void(std::size_t, int)>* work = nullptr;
    std::size_t items = 0;
    std::atomic<std::size_t> next{0};
    std::size_t round = 0;
    int busy = 0;
    bool closing = false;
    std::exception_ptr thrown; // by the lowest item that did
    std::size_t thrownBy = 0;
    std::vector<std::thread> threads;

    void takeItems(int worker) {
        for (std::size_t item = next.fetch_add(1); item < items; item = next.fetch_add(1))
            try {
                (*work)(item, worker);
            } catch (...) {
                std::lock_guard lock(mutex);
                if (thrown && thrownBy < item) continue;
                thrown = std::current_exception();
                thrownBy = item;
            }
    }

    void run(int worker) {
        std::size_t seen = 0;
        std::unique_lock lock(mutex);
        for (;;) {
            wake.wait(lock, [&] { return closing || round != seen; });
            if (closing) return;
            seen = round;
            lock.unlock();
            takeItems(worker);
            lock.lock();
            if (--busy == 0) finished.notify_one();
        }
    }
};

Workers::Workers(int count) : pool(std::make_unique<Pool>()) {
    if (count <= 0) count = std::max(1, static_cast<int>(std::thread::hardware_concurrency()));
    for (int worker = 1; worker < count; ++worker)
        pool->threads.emplace_back([this, worker] { pool->run(worker); });
}

Workers::~Workers() {
    {
        std::lock_guard lock(pool->mutex);
        pool->closing = true;
    }
    pool->wake.notify_all();
    for (auto& thread : pool->threads)
        thread.join();
}

int Workers::count() const {
    return static_cast<int>(pool->threads.size()) + 1;
}

void Workers::forEach(std::size_t items, const std::function<void(std::size_t, int)>& work) {
    if (items == 0) return;
    {
        std::lock_guard lock(pool->mutex);
        pool->work = &work;
        pool->items = items;
        pool->next = 0;
        pool->busy = static_cast<int>(pool->threads.size());
        ++pool->round;
    }
    pool->wake.notify_all();
    pool->takeItems(0);
    std::unique_lock lock(pool->mutex);
    pool->finished.wait(lock, [&] { return pool->busy == 0; });
    if (const auto thrown = std::exchange(pool->thrown, nullptr)) std::rethrow_exception(thrown);
}

} // namespace spillwright
