#pragma once

#include <cstddef>
#include <cstring>
#include <new>
#include <utility>

#if defined(__linux__)
#include <sys/mman.h>
#endif

namespace spillwright {

/// Zeroed numbers by the hundred megabyte, aligned to cache lines. On Linux in huge pages where the system grants them:
/// the arrays are walked in strides longer than a small page.
template <class Number>
class LargeArray {
public:
    LargeArray() = default;
    /// Throws std::bad_alloc.
    explicit LargeArray(std::size_t numbers) : bytes(numbers * sizeof(Number)) {
        if (bytes == 0) return;
#if defined(__linux__)
        void* pages = mmap(nullptr, bytes, PROT_READ | PROT_WRITE, MAP_PRIVATE | MAP_ANONYMOUS, -1, 0);
        if (pages == MAP_FAILED) throw std::bad_alloc();
        madvise(pages, bytes, MADV_HUGEPAGE); // a refusal costs speed, nothing else
        memory = static_cast<Number*>(pages);
#else
        memory = static_cast<Number*>(::operator new(bytes, std::align_val_t(64)));
        std::memset(memory, 0, bytes);
#endif
    }
    ~LargeArray() {
        release();
    }
    LargeArray(LargeArray&& other) noexcept {
        swap(other);
    }
    LargeArray& operator=(LargeArray&& other) noexcept {
        swap(other);
        return *this;
    }

    Number* data() {
        return memory;
    }
    const Number* data() const {
        return memory;
    }
    std::size_t size() const {
        return bytes / sizeof(Number);
    }

private:
    Number* memory = nullptr;
    std::size_t bytes = 0;

    void swap(LargeArray& other) {
        std::swap(memory, other.memory);
        std::swap(bytes, other.bytes);
    }
    void release() {
        if (!memory) return;
#if defined(__linux__)
        munmap(memory, bytes);
#else
        ::operator delete(memory, std::align_val_t(64));
#endif
    }
};

} // namespace spillwright
