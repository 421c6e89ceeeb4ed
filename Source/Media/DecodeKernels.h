#pragma once

#include <cstddef>

/// The commonest samples of files, one channel to a file, compiled for several instruction sets and chosen at run time.
namespace spillwright::kernels {

/// The first of `count` little-endian samples of 16 or 24 bits, scaled to +-1, exactly; returns how many were done.
/// What is left, fewer than 16, is for the caller.
std::size_t decodeLittle16(const std::byte* in, std::size_t count, float* out);
std::size_t decodeLittle24(const std::byte* in, std::size_t count, float* out);

} // namespace spillwright::kernels
