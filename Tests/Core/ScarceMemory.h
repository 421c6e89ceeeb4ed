#pragma once

#include <cstddef>

namespace spillwright::test {

/// While it lives, one allocation of `least` bytes or more fails, on whatever thread: the one after `passed` such have
/// passed. One at a time. In sanitizer builds, whose own allocator cannot be replaced, none fails.
class ScarceMemory {
public:
    ScarceMemory(std::size_t least, int passed);
    ~ScarceMemory();
    ScarceMemory(const ScarceMemory&) = delete;
    ScarceMemory& operator=(const ScarceMemory&) = delete;

    bool met() const; ///< Whether it came to the one that fails.
};

} // namespace spillwright::test
