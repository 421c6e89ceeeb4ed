#include "Session/Words.h"

#include <catch2/catch.hpp>

using namespace spillwright;

TEST_CASE("a time is read as on a clock, what is left cut off") {
    CHECK(clockText(67.42, true) == "1:07.42");
    CHECK(clockText(39.999, false) == "0:39");
}
