#include "Core/Pan.h"
#include "Session/Setting.h"

#include <catch2/catch.hpp>

using namespace spillwright;

TEST_CASE("pan keeps the power, is 3.01 dB down in the centre and silent on the far side") {
    for (int step = -20; step <= 20; ++step) {
        const PanGains gains = panGains(step / 20.0);
        CHECK(gains.left * gains.left + gains.right * gains.right == Approx(1.0).epsilon(1e-14)); // double rounding
    }
    CHECK(decibelsOfAmplitude(panGains(0.0).left) == Approx(-3.0103).margin(1e-4)); // half the power
    CHECK(decibelsOfAmplitude(panGains(0.0).right) == Approx(-3.0103).margin(1e-4));
    CHECK(panGains(-1.0).left == 1.0);
    CHECK(panGains(-1.0).right == 0.0);
    CHECK(panGains(1.0).left == 0.0);
    CHECK(panGains(1.0).right == 1.0);
    CHECK(panGains(0.5).right > panGains(0.5).left);
}

TEST_CASE("without a pan of their own linked tracks are fully left and right, others in the centre") {
    TrackInfo alone, left, right;
    left.linkedTo = 2;
    right.linkedTo = 1;
    right.isRight = true;
    CHECK(effectivePan(alone, {}) == 0.0);
    CHECK(effectivePan(left, {}) == -1.0);
    CHECK(effectivePan(right, {}) == 1.0);
    TrackAdjustment own;
    own.pan = 0.25;
    CHECK(effectivePan(alone, own) == 0.25);
    CHECK(effectivePan(right, own) == 0.25);
}
