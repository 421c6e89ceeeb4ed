#include "Core/Propose/BandCompression.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <complex>
#include <numbers>

using namespace spillwright;

TEST_CASE("a few frequencies stand for all of the band, at every lag within reach") {
    std::vector<double> angular;
    for (double f = 178.0; f < 562.0; f += 2.93)
        angular.push_back(2.0 * std::numbers::pi * f);
    for (const double reach : {0.0, 0.0006, 0.002, 0.02, 0.06}) {
        const auto band = compressBand(angular, reach);
        CHECK(band.nodes.size() <= angular.size());
        if (reach <= 0.02) CHECK(band.nodes.size() < angular.size() / 3);
        double worst = 0.0;
        for (int step = -337; step <= 337; ++step) { // between the lags of the fit
            const double lag = reach * step / 337.0;
            for (std::size_t f = 0; f < angular.size(); ++f) {
                std::complex<double> stood = 0.0;
                for (std::size_t k = 0; k < band.nodes.size(); ++k)
                    stood +=
                        band.weights(static_cast<int>(f), static_cast<int>(k)) * std::polar(1.0, -band.nodes[k] * lag);
                worst = std::max(worst, std::abs(stood - std::polar(1.0, -angular[f] * lag)));
            }
        }
        INFO("reach " << reach << " s, " << band.nodes.size() << " nodes");
        CHECK(worst < 2.0 * compressionError); // between its lags the fit may miss a little more than at them
    }
}
