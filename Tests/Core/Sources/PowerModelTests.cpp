#include "Core/Sources/PowerModel.h"

#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <cmath>

using namespace spillwright;
using namespace spillwright::test;

namespace {

constexpr Eigen::Index windows = 240;

/// Powers of mean 1 that come and go: some windows of it are still.
Eigen::ArrayXf sounding(Noise& dice, double still) {
    Eigen::ArrayXf powers(windows);
    for (float& power : powers)
        power = dice.uniform() < still ? 1e-6f : static_cast<float>(std::pow(10.0, 2.0 * dice.uniform() - 1.0));
    return powers / powers.mean();
}

} // namespace

TEST_CASE("what others bring to a sound is told by the moments in which it is still") {
    Noise dice(7);
    Eigen::MatrixXf parts(windows, 2);
    parts.col(0) = sounding(dice, 0.2).matrix();
    parts.col(1) = sounding(dice, 0.2).matrix();
    const auto own = sounding(dice, 0.4);
    Eigen::ArrayXf wanted = own;
    const auto expected = GENERATE(0.01f, 0.1f); // wrong either way
    // Of about 90 still windows each is believed within 70 %: 7 % in all, a few of which a bound has to leave.
    SECTION("they bring something") {
        wanted += 0.06f * parts.col(0).array() + 0.02f * parts.col(1).array();
        const double scale = static_cast<double>(wanted.mean());
        wanted /= wanted.mean();
        const auto brought = broughtByParts(parts, wanted, Eigen::ArrayXf::Constant(2, expected),
                                            Eigen::ArrayXf::Constant(2, 0.5f), 100);
        CHECK(static_cast<double>(brought(0)) * scale == Approx(0.06).epsilon(0.3));
        CHECK(static_cast<double>(brought(1)) * scale == Approx(0.02).epsilon(0.3));
    }
    SECTION("they bring nothing") {
        const auto brought = broughtByParts(parts, wanted, Eigen::ArrayXf::Constant(2, expected),
                                            Eigen::ArrayXf::Constant(2, 0.5f), 100);
        CHECK((brought < 0.002f).all());
    }
    SECTION("and never more than may be") {
        wanted = (wanted + 0.5f * parts.col(0).array()) / 1.5f;
        const auto brought = broughtByParts(parts, wanted, Eigen::ArrayXf::Constant(2, expected),
                                            Eigen::ArrayXf::Constant(2, 0.05f), 100);
        CHECK((brought <= 0.05f).all());
    }
}
