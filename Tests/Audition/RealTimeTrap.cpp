#include "RealTimeTrap.h"

#include <atomic>
#include <cstddef>
#include <dlfcn.h>
#include <pthread.h>

namespace {

std::atomic<std::int64_t> allocationCount{0}, lockCount{0};
thread_local int trapsOfThisThread = 0;

} // namespace

namespace spillwright::test {

RealTimeTrap::RealTimeTrap() {
    ++trapsOfThisThread;
}
RealTimeTrap::~RealTimeTrap() {
    --trapsOfThisThread;
}
std::int64_t RealTimeTrap::allocations() {
    return allocationCount;
}
std::int64_t RealTimeTrap::locks() {
    return lockCount;
}

} // namespace spillwright::test

#if defined(__GLIBC__) && !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)

// The C library's own functions under their second names; operator new and delete end here too.
extern "C" {
void* __libc_malloc(std::size_t);
void* __libc_calloc(std::size_t, std::size_t);
void* __libc_realloc(void*, std::size_t);
void __libc_free(void*);

void* malloc(std::size_t size) {
    if (trapsOfThisThread > 0) ++allocationCount;
    return __libc_malloc(size);
}
void* calloc(std::size_t count, std::size_t size) {
    if (trapsOfThisThread > 0) ++allocationCount;
    return __libc_calloc(count, size);
}
void* realloc(void* old, std::size_t size) {
    if (trapsOfThisThread > 0) ++allocationCount;
    return __libc_realloc(old, size);
}
void free(void* memory) {
    if (trapsOfThisThread > 0 && memory) ++allocationCount;
    __libc_free(memory);
}
int pthread_mutex_lock(pthread_mutex_t* mutex) {
    if (trapsOfThisThread > 0) ++lockCount;
    // The next definition in line is the C library's.
    static const auto real = reinterpret_cast<int (*)(pthread_mutex_t*)>(dlsym(RTLD_NEXT, "pthread_mutex_lock"));
    return real(mutex);
}
}

#endif
