#include "Core/Signal/FractionalDelay.h"

#include "Core/Types.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <complex>
#include <numbers>
#include <random>
#include <vector>

using namespace spillwright;

namespace {

constexpr int reach = 400; ///< Samples kept on either side of what is read.

std::vector<float> noise(int count, unsigned seed) {
    std::mt19937 random(seed);
    std::uniform_real_distribution<float> even(-1.0f, 1.0f);
    std::vector<float> samples(static_cast<std::size_t>(count));
    for (auto& sample : samples)
        sample = even(random);
    return samples;
}

/// The complex response at omega (radians a sample), read from what comes out for a single 1 at sample 0.
std::complex<double> response(const FractionalDelay& delay, double omega) {
    std::vector<float> impulse(4 * reach + 1, 0.0f);
    impulse[2 * reach] = 1.0f;
    std::vector<float> out(2 * reach + 1);
    delay.apply(impulse.data() + reach, out.data(), 2 * reach + 1);
    std::complex<double> sum;
    for (int n = 0; n <= 2 * reach; ++n)
        sum += static_cast<double>(out[static_cast<std::size_t>(n)]) * std::polar(1.0, -omega * (n - reach));
    return sum;
}

} // namespace

TEST_CASE("a fractional delay is e^{-j omega d} within -90 dB up to 0.9 of the Nyquist frequency") {
    for (double delay : {0.5, 0.001, 0.1, 0.25, 1.0 / 3.0, 0.75, 0.999, 17.3, -0.5, -48.2, 123.456}) {
        const FractionalDelay kernel(delay);
        CHECK_FALSE(kernel.isWhole());
        double worst = 0.0;
        for (int step = 0; step <= 400; ++step) {
            const double omega = FractionalDelay::errorReach * std::numbers::pi * step / 400.0;
            worst = std::max(worst, std::abs(response(kernel, omega) - std::polar(1.0, -omega * delay)));
        }
        INFO("delay " << delay << " samples");
        CHECK(decibelsOfAmplitude(worst) < FractionalDelay::errorDb);
    }
}

TEST_CASE("a whole delay gives the very same samples, later or earlier") {
    const auto samples = noise(2 * reach + 1, 1);
    for (double delay : {0.0, 1.0, -1.0, 250.0, -250.0, 7.00009, 6.99991}) {
        const FractionalDelay kernel(delay);
        CHECK(kernel.isWhole());
        CHECK(kernel.wholeSamples() == std::llround(delay));
        std::vector<float> out(100);
        kernel.apply(samples.data() + reach, out.data(), 100);
        for (int n = 0; n < 100; ++n)
            REQUIRE(out[static_cast<std::size_t>(n)] ==
                    samples[static_cast<std::size_t>(reach + n - std::llround(delay))]);
    }
    CHECK_FALSE(FractionalDelay(7.00011).isWhole());
    CHECK_FALSE(FractionalDelay(6.99989).isWhole());
}

TEST_CASE("a fractional delay equals the sum written out in double precision, and reads no further than it says") {
    for (double delay : {0.37, -20.62}) {
        const FractionalDelay kernel(delay);
        const int count = 133; // no multiple of any vector length
        // Exactly the samples that may be read and not one more: an address sanitizer sees the rest.
        const auto samples = noise(FractionalDelay::taps - 1 + count, 2);
        const float* zero = samples.data() + FractionalDelay::after + kernel.wholeSamples();
        std::vector<float> out(count);
        kernel.apply(zero, out.data(), count);
        double worst = 0.0;
        for (int n = 0; n < count; ++n) {
            double sum = 0.0;
            for (int k = 0; k < FractionalDelay::taps; ++k)
                sum += static_cast<double>(kernel.coefficients()[static_cast<std::size_t>(k)]) *
                       static_cast<double>(samples[static_cast<std::size_t>(n + k)]);
            worst = std::max(worst, std::abs(sum - static_cast<double>(out[static_cast<std::size_t>(n)])));
        }
        // 64 products below 1 in single precision, each rounding below 2^-24 of a partial sum below 2.
        CHECK(worst < 64 * 2.0 / (1 << 24));
    }
}

TEST_CASE("a fractional delay gives the same bits however the stretch is cut") {
    const auto samples = noise(5000, 3);
    const FractionalDelay kernel(1.618);
    std::vector<float> whole(4000), cut(4000);
    kernel.apply(samples.data() + 500, whole.data(), 4000);
    int done = 0;
    for (int size = 1; done < 4000; size = size * 3 % 257 + 1) {
        const int now = std::min(size, 4000 - done);
        kernel.apply(samples.data() + 500 + done, cut.data() + done, now);
        done += now;
    }
    CHECK(whole == cut);
    CHECK(kernel.at(samples.data() + 500 + 77) == whole[77]);
}
