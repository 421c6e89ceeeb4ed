#include "Audition/SumResampler.h"

#include "RealTimeTrap.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

using namespace spillwright;
using namespace spillwright::test;

TEST_CASE("the resampled sum keeps a tone's frequency, level and purity, left and right apart") {
    for (const auto& [from, to] :
         {std::pair(44100.0, 48000.0), std::pair(48000.0, 44100.0), std::pair(96000.0, 48000.0),
          std::pair(48000.0, 192000.0), std::pair(44100.0, 47999.0)}) {
        SumResampler resampler(from, to);
        std::int64_t fed = 0;
        const auto feed = [&, rate = from](float* left, float* right) {
            for (int n = 0; n < SumResampler::step; ++n, ++fed) {
                const double time = static_cast<double>(fed) / rate;
                left[n] = static_cast<float>(0.5 * std::sin(2.0 * std::numbers::pi * 1000.0 * time));
                right[n] = static_cast<float>(0.25 * std::sin(2.0 * std::numbers::pi * 15000.0 * time));
            }
        };
        const int length = 40000, settled = 8000;
        std::vector<float> left(length), right(length);
        for (int done = 0; done < length; done += 100)
            resampler.pull(feed, left.data() + done, right.data() + done, 100);
        const auto misfitDb = [&, rate = to](const std::vector<float>& heard, double hertz, double amplitude) {
            // Least squares of a sine of free phase and amplitude; both parts of the answer are checked.
            double ss = 0, sc = 0, cc = 0, xs = 0, xc = 0, xx = 0;
            for (int n = settled; n < length; ++n) {
                const double phase = 2.0 * std::numbers::pi * hertz * n / rate;
                const double s = std::sin(phase), c = std::cos(phase),
                             x = static_cast<double>(heard[static_cast<std::size_t>(n)]);
                ss += s * s, sc += s * c, cc += c * c, xs += x * s, xc += x * c, xx += x * x;
            }
            const double det = ss * cc - sc * sc, a = (xs * cc - xc * sc) / det, b = (xc * ss - xs * sc) / det;
            CHECK(std::hypot(a, b) == Approx(amplitude).epsilon(1e-3)); // 0.01 dB
            double rest = 0.0;
            for (int n = settled; n < length; ++n) {
                const double phase = 2.0 * std::numbers::pi * hertz * n / rate;
                const double misfit =
                    static_cast<double>(heard[static_cast<std::size_t>(n)]) - a * std::sin(phase) - b * std::cos(phase);
                rest += misfit * misfit;
            }
            return 10.0 * std::log10(rest / xx);
        };
        INFO(from << " Hz to " << to << " Hz");
        // libsoxr's high quality is 20 bits, 120 dB; 100 leaves room for the single precision of input and output.
        CHECK(misfitDb(left, 1000.0, 0.5) < -100.0);
        CHECK(misfitDb(right, 15000.0, 0.25) < -100.0);
    }
}

TEST_CASE("resampling the sum allocates nothing, whatever is asked for") {
    for (const auto& [from, to] : {std::pair(44100.0, 48000.0), std::pair(192000.0, 44100.0),
                                   std::pair(44100.0, 192000.0), std::pair(48000.0, 44099.7)}) {
        SumResampler resampler(from, to);
        std::vector<float> left(4096), right(4096);
        const auto before = RealTimeTrap::allocations();
        {
            const RealTimeTrap trap;
            for (int round = 0; round < 300; ++round)
                for (int count : {1, 17, 64, 1000, 4096})
                    resampler.pull(
                        [](float* l, float* r) {
                            std::fill_n(l, SumResampler::step, 0.1f), std::fill_n(r, SumResampler::step, 0.1f);
                        },
                        left.data(), right.data(), count);
        }
        CHECK(RealTimeTrap::allocations() == before);
    }
}
