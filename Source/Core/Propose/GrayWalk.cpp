#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "Core/Propose/GrayWalk.cpp"
#include <hwy/foreach_target.h>

#include "Core/Propose/GrayWalk.h"

#include <hwy/highway.h>

#include <bit>

HWY_BEFORE_NAMESPACE();
namespace spillwright::HWY_NAMESPACE {
namespace hn = hwy::HWY_NAMESPACE;

std::int32_t largestEnergyHere(const GrayWalk& walk) {
    const hn::CappedTag<std::int32_t, GrayWalk::lanes> d;
    const int width = static_cast<int>(hn::Lanes(d));
    HWY_ALIGN GrayWalk::Row energies = walk.start;
    auto best = hn::LoadU(d, energies.data());
    for (int lane = width; lane < GrayWalk::lanes; lane += width)
        best = hn::Max(best, hn::LoadU(d, energies.data() + lane));
    GrayStepper stepper(walk);
    const auto steps = stepper.steps();
    for (std::uint32_t step = 1; step <= steps; ++step) {
        const auto flip = stepper.next(step);
        const auto common = hn::Set(d, flip.common);
        const auto* own = walk.twiceLaneField[flip.sign].data();
        if (flip.wasPositive) {
            for (int lane = 0; lane < GrayWalk::lanes; lane += width) {
                const auto energy =
                    hn::Add(hn::LoadU(d, energies.data() + lane), hn::Sub(common, hn::LoadU(d, own + lane)));
                hn::StoreU(energy, d, energies.data() + lane);
                best = hn::Max(best, energy);
            }
        } else {
            for (int lane = 0; lane < GrayWalk::lanes; lane += width) {
                const auto energy =
                    hn::Add(hn::LoadU(d, energies.data() + lane), hn::Add(common, hn::LoadU(d, own + lane)));
                hn::StoreU(energy, d, energies.data() + lane);
                best = hn::Max(best, energy);
            }
        }
    }
    return hn::GetLane(hn::MaxOfLanes(d, best));
}

} // namespace spillwright::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace spillwright {

HWY_EXPORT(largestEnergyHere);

std::int32_t largestEnergy(const GrayWalk& walk) {
    return HWY_DYNAMIC_DISPATCH(largestEnergyHere)(walk);
}

GrayStepper::GrayStepper(const GrayWalk& w) : walk(w), fields(w.field) {
    for (int k = 0; k < walk.walking; ++k)
        for (int j = 0; j < walk.walking; ++j)
            fields[k] += walk.coupling[k * walk.walking + j];
}

GrayStepper::Step GrayStepper::next(std::uint32_t step) {
    const int k = std::countr_zero(step);
    const bool wasPositive = (negativeSigns >> k & 1) == 0;
    const std::int32_t sign = wasPositive ? 1 : -1;
    const Step flip{k, wasPositive, -2 * sign * fields[k]};
    negativeSigns ^= std::uint32_t(1) << k;
    const auto* row = walk.coupling.data() + k * walk.walking;
    for (int j = 0; j < walk.walking; ++j)
        fields[j] -= 2 * sign * row[j];
    return flip;
}

} // namespace spillwright
#endif
