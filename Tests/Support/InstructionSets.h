#pragma once

#include <catch2/catch.hpp>
#include <hwy/targets.h>

#include <cstdint>

namespace spillwright::test {

/// Runs the check under each instruction set that was compiled and that this machine has, the narrow ones of older
/// machines included.
template <class Check>
void onEveryInstructionSet(Check&& check) {
    const auto targets = hwy::SupportedAndGeneratedTargets();
    REQUIRE_FALSE(targets.empty());
    for (const std::int64_t target : targets) {
        hwy::SetSupportedTargetsForTest(target);
        hwy::GetChosenTarget().Update(hwy::SupportedTargets());
        INFO(hwy::TargetName(target));
        check();
    }
    hwy::SetSupportedTargetsForTest(0); // back to what the machine has
    hwy::GetChosenTarget().Update(hwy::SupportedTargets());
}

} // namespace spillwright::test
