#include "ScarceMemory.h"

#include <atomic>
#include <limits>

namespace {

constexpr auto none = std::numeric_limits<std::size_t>::max();
std::atomic<std::size_t> leastBytes{none};
std::atomic<int> left{0}; ///< How many more pass; below zero: one has failed.

} // namespace

namespace spillwright::test {

ScarceMemory::ScarceMemory(std::size_t least, int passed) {
    left = passed;
    leastBytes = least;
}
ScarceMemory::~ScarceMemory() {
    leastBytes = none;
}
bool ScarceMemory::met() const {
    return left < 0;
}

} // namespace spillwright::test

#if defined(__GLIBC__) && !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)

#include <cerrno>
#include <sys/mman.h>
#include <sys/syscall.h>
#include <unistd.h>

namespace {

bool refused(std::size_t bytes) {
    if (bytes < leastBytes || left.fetch_sub(1) != 0) return false;
    errno = ENOMEM;
    return true;
}

} // namespace

// The C library's own function under its second name; operator new ends here, and large arrays in mmap.
extern "C" {
void* __libc_malloc(std::size_t);

void* malloc(std::size_t size) {
    return refused(size) ? nullptr : __libc_malloc(size);
}
void* mmap(void* at, std::size_t bytes, int protection, int flags, int file, off_t from) noexcept {
    if (refused(bytes)) return MAP_FAILED;
    return reinterpret_cast<void*>(syscall(SYS_mmap, at, bytes, protection, flags, file, from));
}
}

#endif
