#include "Core/Loudness.h"

#include <catch2/catch.hpp>

#include <cmath>

using namespace spillwright;

TEST_CASE("K-weighting has the gains that the standard's calibration tone and its curves ask for") {
    // A full-scale sine of 997 Hz reads -3.01 LKFS: -0.691 + 10 lg(|K|^2 / 2) (ITU-R BS.1770-4, annex 1).
    CHECK(decibelsOfPower(kWeighting(Hertz(997.0))) == Approx(0.691).margin(0.005));
    // The shelf rises by 4 dB towards high frequencies, the high-pass falls by 12 dB an octave (figures 2 and 4).
    CHECK(decibelsOfPower(kWeighting(Hertz(10000.0))) == Approx(4.0).margin(0.1));
    CHECK(decibelsOfPower(kWeighting(Hertz(10.0)) / kWeighting(Hertz(5.0))) == Approx(12.0).margin(0.6));
    CHECK(kWeighting(Hertz(0.0)) == 0.0);
}
