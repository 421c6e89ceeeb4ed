#pragma once

#include <cstdint>

namespace spillwright::test {

/// While one is alive on a thread, every allocation, release and mutex lock of that thread is counted. In sanitizer
/// builds, whose own allocator cannot be replaced, nothing is.
class RealTimeTrap {
public:
    RealTimeTrap();
    ~RealTimeTrap();
    RealTimeTrap(const RealTimeTrap&) = delete;
    RealTimeTrap& operator=(const RealTimeTrap&) = delete;

    static std::int64_t allocations(); ///< And releases, of all threads since the program began.
    static std::int64_t locks();
};

} // namespace spillwright::test
