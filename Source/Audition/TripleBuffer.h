#pragma once

#include <array>
#include <atomic>

namespace spillwright {

/// Hands values of one kind from one thread to another, newest wins. Three of them change places, so neither side
/// waits, allocates or frees, and neither touches what the other one holds.
template <class T>
class TripleBuffer {
public:
    explicit TripleBuffer(const T& initial = T()) : values{initial, initial, initial} {}

    /// [writing thread] What the next publish() hands over; what it holds before is of no meaning.
    T& draft() { return values[drafted]; }
    void publish() { drafted = middle.exchange(drafted | fresh, std::memory_order_acq_rel) & ~fresh; }

    /// [reading thread] Takes what was published last; false when nothing new was.
    bool take() {
        if ((middle.load(std::memory_order_relaxed) & fresh) == 0) return false;
        taken = middle.exchange(taken, std::memory_order_acq_rel) & ~fresh;
        return true;
    }
    const T& held() const { return values[taken]; } ///< [reading thread]

private:
    static constexpr unsigned fresh = 4;
    static_assert(std::atomic<unsigned>::is_always_lock_free);

    std::array<T, 3> values;
    unsigned drafted = 0;
    std::atomic<unsigned> middle{1};
    unsigned taken = 2;
};

} // namespace spillwright
