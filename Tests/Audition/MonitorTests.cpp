#include "Audition/Monitor.h"

#include "Rig.h"

using namespace spillwright;
using namespace spillwright::test;

namespace {

constexpr std::size_t second = 48000;

struct Stereo {
    std::vector<float> left, right;
};

Stereo listened(Monitor& monitor, Stereo sound, const Listening& how, int block = 61) {
    for (std::size_t n = 0; n < sound.left.size(); n += static_cast<std::size_t>(block)) {
        const RealTimeTrap trap;
        monitor.process(&sound.left[n], &sound.right[n],
                        static_cast<int>(std::min<std::size_t>(static_cast<std::size_t>(block), sound.left.size() - n)),
                        how);
    }
    return sound;
}

/// Level of a tone after the filters have settled, against itself, dB.
double passesDb(double hertz, double rate, const Band& band) {
    Monitor monitor(rate);
    const auto samples = tone(static_cast<std::size_t>(2.0 * rate), hertz, rate);
    const auto out = listened(monitor, {samples, samples}, {Listening::Sides::stereo, band}).left;
    double before = 0.0, after = 0.0;
    for (std::size_t n = samples.size() / 2; n < samples.size(); ++n) {
        before += static_cast<double>(samples[n] * samples[n]);
        after += static_cast<double>(out[n] * out[n]);
    }
    return 10.0 * std::log10(after / before);
}

} // namespace

TEST_CASE("the sum as it is passes bit for bit") {
    Monitor monitor(48000.0);
    const Stereo sound{whiteNoise(second, 1), whiteNoise(second, 2)};
    const auto out = listened(monitor, sound, {});
    CHECK(out.left == sound.left);
    CHECK(out.right == sound.right);
}

TEST_CASE("mono is half of left and right, the side half of left less right, both on both sides") {
    const Stereo sound{whiteNoise(second, 3), whiteNoise(second, 4)};
    for (const auto sides : {Listening::Sides::mono, Listening::Sides::side}) {
        Monitor monitor(48000.0);
        const auto out = listened(monitor, sound, {sides, std::nullopt});
        const float sign = sides == Listening::Sides::mono ? 1.0f : -1.0f;
        for (std::size_t n = 480; n < second; ++n) {
            REQUIRE(out.left[n] == 0.5f * (sound.left[n] + sign * sound.right[n]));
            REQUIRE(out.right[n] == out.left[n]);
        }
    }
}

TEST_CASE("the band alone is -3 dB at its edges and falls by 24 dB an octave beyond, as Butterworth says") {
    // |H|^2 = 1/(1 + (f/fc)^8), the frequencies warped as tan(pi f/rate) does (the bilinear transform).
    for (const double rate : {44100.0, 48000.0, 96000.0, 192000.0})
        for (const double hertz : {44.5, 89.1, 177.8279, 250.0, 316.0, 400.0, 562.3413, 1124.7, 2249.0}) {
            const auto warped = [&](double f) { return std::tan(std::numbers::pi * f / rate); };
            const double low = warped(lowMidBand.low.value) / warped(hertz);
            const double high = warped(hertz) / warped(lowMidBand.high.value);
            const double expected = -10.0 * std::log10((1.0 + std::pow(low, 8.0)) * (1.0 + std::pow(high, 8.0)));
            INFO(hertz << " Hz at " << rate);
            CHECK(passesDb(hertz, rate, lowMidBand) == Approx(expected).margin(0.02));
        }
}

TEST_CASE("a change of listening does not click, and a newer wish waits for the fade") {
    Monitor monitor(48000.0);
    auto sound = tone(4 * second, 100.0);
    Stereo all{sound, tone(4 * second, 100.0, 48000.0, 0.2)};
    std::vector<float> out;
    const std::vector<Listening> wishes{{},
                                        {Listening::Sides::mono, std::nullopt},
                                        {Listening::Sides::side, std::nullopt},
                                        {Listening::Sides::stereo, lowMidBand},
                                        {Listening::Sides::mono, Band{Hertz(60.0), Hertz(200.0)}},
                                        {}};
    for (std::size_t n = 0; n < 4 * second; n += 64) {
        // Two wishes within one fade now and then.
        const auto& how = wishes[(n / 4096 + (n % 8192 < 128 ? 1 : 0)) % wishes.size()];
        monitor.process(&all.left[n], &all.right[n], 64, how);
    }
    for (std::size_t from = 0; from + 32768 < all.left.size(); from += 32768)
        CHECK(shareAboveDb(all.left, from, 5000.0) < -60.0);
}
