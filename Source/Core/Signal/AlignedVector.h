#pragma once

#include <cstddef>
#include <new>
#include <vector>

namespace spillwright {

template <class T>
struct CacheLineAllocator {
    using value_type = T;
    static constexpr std::align_val_t alignment{64};

    CacheLineAllocator() = default;
    template <class U>
    CacheLineAllocator(const CacheLineAllocator<U>&) {}

    T* allocate(std::size_t count) { return static_cast<T*>(::operator new(count * sizeof(T), alignment)); }
    void deallocate(T* memory, std::size_t) { ::operator delete(memory, alignment); }
    bool operator==(const CacheLineAllocator&) const { return true; }
};

/// A vector that begins at a cache line: what transforms and vector kernels ask for.
template <class T>
using AlignedVector = std::vector<T, CacheLineAllocator<T>>;

} // namespace spillwright
