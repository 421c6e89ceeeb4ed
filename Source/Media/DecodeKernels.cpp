#include "Media/DecodeKernels.h"

#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "Media/DecodeKernels.cpp"
#include <hwy/foreach_target.h> // first: includes this file once for each instruction set
#include <hwy/highway.h>

HWY_BEFORE_NAMESPACE();
namespace spillwright::kernels {
namespace HWY_NAMESPACE {

namespace hn = hwy::HWY_NAMESPACE;

#if HWY_TARGET == HWY_SCALAR

std::size_t DecodeLittle16(const std::byte*, std::size_t, float*) {
    return 0;
}

std::size_t DecodeLittle24(const std::byte*, std::size_t, float*) {
    return 0;
}

#else

std::size_t DecodeLittle16(const std::byte* in, std::size_t count, float* out) {
    const hn::FixedTag<float, 4> d;
    const hn::RebindToSigned<decltype(d)> whole;
    const hn::FixedTag<std::uint8_t, 8> bytes;
    const hn::FixedTag<std::int16_t, 4> small;
    const auto* from = reinterpret_cast<const std::uint8_t*>(in);
    std::size_t n = 0;
    for (; n + 4 <= count; n += 4) {
        const auto samples = hn::PromoteTo(whole, hn::BitCast(small, hn::LoadU(bytes, from + 2 * n)));
        hn::StoreU(hn::Mul(hn::ConvertTo(d, samples), hn::Set(d, 0x1p-15f)), d, out + n);
    }
    return n;
}

std::size_t DecodeLittle24(const std::byte* in, std::size_t count, float* out) {
    const hn::FixedTag<float, 4> d;
    const hn::RebindToSigned<decltype(d)> whole;
    const hn::FixedTag<std::uint8_t, 16> bytes;
    // Each sample to the top three bytes of four, whose sign then falls into place.
    HWY_ALIGN static constexpr std::uint8_t places[16] = {128, 0, 1, 2, 128, 3, 4, 5, 128, 6, 7, 8, 128, 9, 10, 11};
    const auto order = hn::Load(bytes, places);
    const auto* from = reinterpret_cast<const std::uint8_t*>(in);
    std::size_t n = 0;
    for (; n + 6 <= count; n += 4) { // 16 bytes are read: those of the next sample too
        const auto samples = hn::BitCast(whole, hn::TableLookupBytesOr0(hn::LoadU(bytes, from + 3 * n), order));
        hn::StoreU(hn::Mul(hn::ConvertTo(d, samples), hn::Set(d, 0x1p-31f)), d, out + n);
    }
    return n;
}

#endif

} // namespace HWY_NAMESPACE
} // namespace spillwright::kernels
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace spillwright::kernels {

HWY_EXPORT(DecodeLittle16);
HWY_EXPORT(DecodeLittle24);

std::size_t decodeLittle16(const std::byte* in, std::size_t count, float* out) {
    return HWY_DYNAMIC_DISPATCH(DecodeLittle16)(in, count, out);
}

std::size_t decodeLittle24(const std::byte* in, std::size_t count, float* out) {
    return HWY_DYNAMIC_DISPATCH(DecodeLittle24)(in, count, out);
}

} // namespace spillwright::kernels
#endif
