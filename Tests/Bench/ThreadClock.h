#pragma once

#include <algorithm>
#include <chrono>
#include <ctime>
#include <functional>
#include <vector>

namespace spillwright::bench {

/// Of this thread's own processor time, where it can be told: what else runs on the machine does not count.
inline double nowMicroseconds() {
#if defined(CLOCK_THREAD_CPUTIME_ID)
    timespec time{};
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &time);
    return 1e6 * static_cast<double>(time.tv_sec) + 1e-3 * static_cast<double>(time.tv_nsec);
#else
    return std::chrono::duration<double, std::micro>(std::chrono::steady_clock::now().time_since_epoch()).count();
#endif
}

inline double microseconds(const std::function<void()>& work) {
    const double start = nowMicroseconds();
    work();
    return nowMicroseconds() - start;
}

struct Times {
    std::vector<double> each;
    double at(double share) { ///< 0.5: the median.
        std::sort(each.begin(), each.end());
        return each[static_cast<std::size_t>(share * static_cast<double>(each.size() - 1))];
    }
};

} // namespace spillwright::bench
