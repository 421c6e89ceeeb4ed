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

TEST_CASE("what a change would make louder by more than 3 dB begins 3 dB louder and rises by 20 dB a second") {
    // A tone far above the band, and the side 40 dB below the sum.
    const auto loud = tone(4 * second, 2000.0);
    auto right = loud;
    for (std::size_t n = 0; n < right.size(); ++n)
        right[n] *= 0.98f;
    const auto levelDb = [](const std::vector<float>& samples, double at) {
        const auto from = static_cast<std::size_t>(at * 48000.0);
        double power = 0.0;
        for (std::size_t n = from; n < from + 480; ++n)
            power += static_cast<double>(samples[n] * samples[n]) / 480.0;
        return 10.0 * std::log10(power);
    };
    Monitor monitor(48000.0);
    const auto side = listened(monitor, {loud, right}, {Listening::Sides::side, std::nullopt});
    const auto back = listened(monitor, {loud, right}, {});
    const double before = levelDb(side.left, 3.9), full = levelDb(loud, 1.0);
    CHECK(before == Approx(full - 40.0).margin(0.1));
    CHECK(levelDb(back.left, 0.015) == Approx(full - 24.0 + 0.3).margin(0.2)); // no lower than -24 dB
    CHECK(levelDb(back.left, 0.5) == Approx(full - 24.0 + 10.1).margin(0.2));
    CHECK(std::equal(back.left.begin() + 60000, back.left.end(), loud.begin() + 60000));

    // Mono of the like is no louder than stereo: it begins as it is.
    Monitor other(48000.0);
    listened(other, {loud, loud}, {});
    const auto mono = listened(other, {loud, loud}, {Listening::Sides::mono, std::nullopt});
    CHECK(levelDb(mono.left, 0.02) == Approx(full).margin(0.01));
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
