#include "Core/Propose/Deadline.h"

#include <catch2/catch.hpp>

using namespace spillwright;

TEST_CASE("a deadline passes when its time has, a share of it sooner, and none never") {
    const Deadline never, now(Seconds(0.0)), late(Seconds(1e6)), beyondTheClock(Seconds(1e300));
    CHECK_FALSE(never.passed());
    CHECK_FALSE(never.share(0.0).passed());
    CHECK(now.passed());
    CHECK(now.share(0.5).passed());
    CHECK(Deadline(Seconds(-1.0)).passed());
    CHECK_FALSE(late.passed());
    CHECK_FALSE(late.share(0.5).passed());
    CHECK(late.share(0.0).passed());
    CHECK_FALSE(beyondTheClock.passed());
    CHECK(earlier(now, late).passed());
    CHECK(earlier(late, now).passed());
    CHECK(earlier(never, now).passed());
    CHECK(earlier(now, never).passed());
    CHECK_FALSE(earlier(never, late).passed());
}
