#include "Core/Measure/Coherence.h"

#include "Core/Measure/CrossSpectra.h"
#include "Support/MemorySource.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

using namespace spillwright;
using namespace spillwright::test;

namespace {

std::complex<double> complexNormal(Noise& noise) {
    return {noise.normal() * std::numbers::sqrt2 / 2.0, noise.normal() * std::numbers::sqrt2 / 2.0};
}

/// |S12|^2/(S11 S22) of n independent pairs of complex Gaussian numbers of coherence C: added up one by one.
double estimateOf(Noise& noise, int n, double coherence) {
    const double shared = std::sqrt(coherence), own = std::sqrt(1.0 - coherence);
    std::complex<double> cross;
    double first = 0.0, second = 0.0;
    for (int k = 0; k < n; ++k) {
        const auto a = complexNormal(noise), b = shared * a + own * complexNormal(noise);
        cross += a * std::conj(b);
        first += std::norm(a);
        second += std::norm(b);
    }
    return std::norm(cross) / first / second;
}

/// Gamma distributed, shape >= 1 (Marsaglia & Tsang 2000).
double gammaOf(Noise& noise, double shape) {
    const double d = shape - 1.0 / 3.0, c = 1.0 / std::sqrt(9.0 * d);
    for (;;) {
        const double x = noise.normal(), v = std::pow(1.0 + c * x, 3);
        if (v > 0.0 && std::log(noise.uniform()) < 0.5 * x * x + d - d * v + d * std::log(v)) return d * v;
    }
}

/// The same from Bartlett's decomposition of a complex Wishart matrix: as quick for any n.
double quickEstimateOf(Noise& noise, int n, double coherence) {
    const double first = std::sqrt(gammaOf(noise, n)), second = std::sqrt(gammaOf(noise, n - 1));
    const auto across = std::sqrt(coherence) * first + std::sqrt(1.0 - coherence) * complexNormal(noise);
    return std::norm(across) / (std::norm(across) + (1.0 - coherence) * second * second);
}

struct Moments {
    double mean = 0.0, variance = 0.0;
};
template <class Draw>
Moments momentsOf(int trials, Draw&& draw) {
    double sum = 0.0, squares = 0.0;
    for (int trial = 0; trial < trials; ++trial) {
        const double value = draw();
        sum += value;
        squares += value * value;
    }
    return {sum / trials, squares / trials - sum * sum / trials / trials};
}

} // namespace

TEST_CASE("the coherence that chance stays below is that of the tables") {
    // 1 - alpha^(1/(n-1)), alpha = 0.01 (Carter 1977/87, from memory; computed).
    const std::pair<double, double> table[] = {{8, .4821},   {16, .2644},  {32, .1380},  {64, .0705},
                                               {128, .0356}, {256, .0179}, {512, .0090}, {1024, .0045}};
    for (const auto& [n, limit] : table)
        CHECK(chanceCoherence(n) == Approx(limit).margin(0.00005));
    CHECK(chanceCoherence(1.0) == 1.0);
    CHECK(chanceCoherence(0.0) == 1.0);

    // As many of unrelated estimates lie above it, too: 200 of 20000, scattering by 14.
    Noise noise(3);
    for (const int n : {8, 64, 512}) {
        int above = 0;
        for (int trial = 0; trial < 20000; ++trial)
            above += quickEstimateOf(noise, n, 0.0) > chanceCoherence(n);
        CHECK(above == Approx(200).margin(3 * 14));
    }
}

TEST_CASE("the trials' estimates have the bias and variance that are known of them") {
    // Bias (1-C)^2/n (1+2C/n), 1/n at C = 0; variance (Carter et al. 1973 and 1987, from memory; here the values of a
    // Monte Carlo of 20000 trials, computed elsewhere). The mean of 20000 scatters by 1/141 of a deviation, and so did
    // theirs; a variance by 1 to 1.4 %, and so did theirs.
    struct Row {
        double coherence;
        int n;
        double mean, variance;
    };
    Noise noise(1), quick(2);
    for (const auto& row : {Row{0.0, 32, 0.0311, 9.02e-4}, Row{0.3, 32, 0.3161, 8.86e-3}, Row{0.7, 32, 0.7032, 3.98e-3},
                            Row{0.3, 128, 0.30387, 2.27e-3}}) {
        CAPTURE(row.coherence, row.n);
        const int trials = row.n > 64 ? 5000 : 20000;
        const auto direct = momentsOf(trials, [&] { return estimateOf(noise, row.n, row.coherence); });
        const auto bartlett = momentsOf(20000, [&] { return quickEstimateOf(quick, row.n, row.coherence); });
        for (const auto& moments : {direct, bartlett}) {
            CHECK(moments.mean == Approx(row.mean).margin(4.0 * std::sqrt(row.variance / trials) + 5e-5));
            CHECK(moments.variance == Approx(row.variance).epsilon(0.08));
        }
    }
}

TEST_CASE("the bias is taken out, of few averages and many, of none in common and nearly all") {
    Noise noise(4);
    constexpr int trials = 40000;
    for (const int n : {4, 8, 16, 64, 512})
        for (const double coherence : {0.0, 0.05, 0.3, 0.7, 0.95}) {
            CAPTURE(n, coherence);
            const auto raw = momentsOf(trials, [&] { return quickEstimateOf(noise, n, coherence); });
            const auto corrected =
                momentsOf(trials, [&] { return unbiasedCoherence(quickEstimateOf(noise, n, coherence), n); });
            const double scatter = 4.0 * std::sqrt(corrected.variance / trials);
            CHECK(corrected.mean == Approx(coherence).margin(scatter + 24.0 / std::pow(n, 4)));
            if (n <= 16 && coherence <= 0.3) // and there was one: (1-C)^2/n
                CHECK(raw.mean - coherence > 0.5 * (1.0 - coherence) * (1.0 - coherence) / n);
        }
    CHECK(unbiasedCoherence(1.0, 16) == 1.0);
}

TEST_CASE("the interval of one bin holds the true coherence in 95 of 100 cases", "[long]") {
    // 4000 trials: the share scatters by 0.35 %, so 94 to 96 % would be seen as 93 to 97 %.
    constexpr int trials = 4000;
    const CoherenceMean one(0, {1.0});
    Noise noise(5);
    for (const int n : {16, 32, 64, 128, 256, 512})
        for (const double coherence : {0.0, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.3, 0.5, 0.7, 0.9, 0.99}) {
            int below = 0, above = 0;
            for (int trial = 0; trial < trials; ++trial) {
                const auto estimate = static_cast<float>(quickEstimateOf(noise, n, coherence));
                const auto interval = one.of({&estimate, 1}, n, 1.0);
                below += interval.high < coherence;
                above += interval.low > coherence;
            }
            const double held = 100.0 - 100.0 * (below + above) / trials;
            CAPTURE(n, coherence, below, above);
            CHECK(held > 93.0);
            CHECK(held < 97.0);
        }
}
