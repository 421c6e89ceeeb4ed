#include "Audition/LoudnessMeter.h"

#include "Audition/RealTimeTrap.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <atomic>
#include <cmath>
#include <limits>
#include <numbers>
#include <thread>
#include <vector>

using namespace spillwright;
using namespace spillwright::test;

namespace {

struct Stereo {
    std::vector<float> left, right;
};

struct Part {
    double levelDb; ///< Peak, dBFS.
    double seconds;
};

/// A sine on both sides, its level by parts, its phase running on.
Stereo sine(const std::vector<Part>& parts, double rate, double hertz = 1000.0) {
    Stereo sound;
    for (const auto& [levelDb, seconds] : parts)
        for (auto end = sound.left.size() + static_cast<std::size_t>(std::lround(seconds * rate));
             sound.left.size() < end;)
            sound.left.push_back(
                static_cast<float>(amplitudeOfDecibels(levelDb) * std::sin(2.0 * std::numbers::pi * hertz / rate *
                                                                           static_cast<double>(sound.left.size()))));
    sound.right = sound.left;
    return sound;
}

/// A short sine, both sides alike: amplitude of full scale, phase in degrees.
Stereo tone(double hertz, double amplitude, double degrees, double rate) {
    Stereo sound;
    for (int n = 0; n < static_cast<int>(rate); ++n)
        sound.left.push_back(
            static_cast<float>(amplitude * std::sin(2.0 * std::numbers::pi * (hertz / rate * n + degrees / 360.0))));
    sound.right = sound.left;
    return sound;
}

/// In odd blocks, read now and then as a window does; `each` sees every reading with the seconds that were heard.
template <class Each>
LoudnessMeter::Readings hear(LoudnessMeter& meter, const Stereo& sound, double rate, Each&& each) {
    const std::size_t blocks[] = {61, 1, 127, 256, 480, 7};
    LoudnessMeter::Readings readings;
    std::size_t unread = 0;
    for (std::size_t done = 0, turn = 0; done < sound.left.size(); ++turn) {
        const auto now = std::min(blocks[turn % std::size(blocks)], sound.left.size() - done);
        meter.push(sound.left.data() + done, sound.right.data() + done, static_cast<int>(now));
        done += now;
        unread += now;
        if (unread > static_cast<std::size_t>(rate / 30.0) || done == sound.left.size()) {
            unread = 0;
            readings = meter.read();
            each(static_cast<double>(done) / rate, readings);
        }
    }
    return readings;
}

LoudnessMeter::Readings heard(const Stereo& sound, double rate) {
    LoudnessMeter meter(rate);
    return hear(meter, sound, rate, [](double, const LoudnessMeter::Readings&) {});
}

/// EBU Tech 3341, table 1: loudness within 0.1 LU, true peaks within +0.2 and -0.4 dB.
void checkLufs(const std::optional<double>& lufs, double expected) {
    REQUIRE(lufs);
    CHECK(*lufs == Approx(expected).margin(0.1));
}
void checkTruePeak(const std::optional<double>& peakDb, double expected) {
    REQUIRE(peakDb);
    CHECK(*peakDb < expected + 0.2);
    CHECK(*peakDb > expected - 0.4);
}

} // namespace

TEST_CASE("997 Hz at full scale on one side reads -3.01 LUFS at every rate") {
    // ITU-R BS.1770-4, annex 1: "-3.01 LKFS" for a 0 dB FS, 997 Hz sine on one front channel.
    for (double rate : {44100.0, 48000.0, 96000.0, 192000.0}) {
        auto sound = sine({{0.0, 4.0}}, rate, 997.0);
        std::fill(sound.right.begin(), sound.right.end(), 0.0f);
        const auto readings = heard(sound, rate);
        INFO(rate << " Hz");
        checkLufs(readings.momentaryLufs, -3.01);
        checkLufs(readings.shortTermLufs, -3.01);
        checkLufs(readings.integratedLufs, -3.01);
        CHECK(*readings.left.rmsDb == Approx(-3.01).margin(0.01));
        CHECK_FALSE(readings.right.rmsDb);
        CHECK_FALSE(readings.right.truePeakDb);
        CHECK_FALSE(readings.correlation);
        CHECK(readings.lost == 0);
    }
}

TEST_CASE("the steady sines of EBU Tech 3341, cases 1 and 2, read what they are") {
    for (double expected : {-23.0, -33.0}) {
        const auto readings = heard(sine({{expected, 20.0}}, 48000.0), 48000.0);
        checkLufs(readings.momentaryLufs, expected);
        checkLufs(readings.shortTermLufs, expected);
        checkLufs(readings.integratedLufs, expected);
    }
}

TEST_CASE("the gated sines of EBU Tech 3341, cases 3 to 5, read -23 LUFS integrated", "[long]") {
    // As remembered; the levels of cases 3 and 4 are confirmed in print.
    checkLufs(heard(sine({{-36.0, 10.0}, {-23.0, 60.0}, {-36.0, 10.0}}, 48000.0), 48000.0).integratedLufs, -23.0);
    checkLufs(heard(sine({{-72.0, 10.0}, {-36.0, 10.0}, {-23.0, 60.0}, {-36.0, 10.0}, {-72.0, 10.0}}, 48000.0), 48000.0)
                  .integratedLufs,
              -23.0);
    checkLufs(heard(sine({{-26.0, 20.0}, {-20.0, 20.1}, {-26.0, 20.0}}, 48000.0), 48000.0).integratedLufs, -23.0);
}

TEST_CASE("short-term loudness stays at -23 LUFS through the steps of EBU Tech 3341, case 9") {
    std::vector<Part> parts; // as remembered
    for (int i = 0; i < 5; ++i)
        parts.insert(parts.end(), {{-20.0, 1.34}, {-30.0, 1.66}});
    LoudnessMeter meter(48000.0);
    int readings = 0;
    hear(meter, sine(parts, 48000.0), 48000.0, [&](double seconds, const LoudnessMeter::Readings& now) {
        if (seconds < 3.0) return;
        ++readings;
        checkLufs(now.shortTermLufs, -23.0);
    });
    CHECK(readings > 300);
}

TEST_CASE("momentary loudness stays at -23 LUFS through the steps of EBU Tech 3341, case 12") {
    std::vector<Part> parts; // as remembered
    for (int i = 0; i < 25; ++i)
        parts.insert(parts.end(), {{-20.0, 0.18}, {-30.0, 0.22}});
    LoudnessMeter meter(48000.0);
    int readings = 0;
    hear(meter, sine(parts, 48000.0), 48000.0, [&](double seconds, const LoudnessMeter::Readings& now) {
        if (seconds < 1.0) return;
        ++readings;
        checkLufs(now.momentaryLufs, -23.0);
    });
    CHECK(readings > 200);
}

TEST_CASE("sines whose samples miss their crests read the true peaks of EBU Tech 3341, cases 15 to 19") {
    const struct {
        double part, amplitude, degrees, expected;
    } cases[] = {{4.0, 0.5, 0.0, -6.0},
                 {4.0, 0.5, 45.0, -6.0},
                 {6.0, 0.5, 60.0, -6.0},
                 {8.0, 0.5, 67.5, -6.0},
                 {4.0, 1.41, 45.0, 3.0}};
    for (const auto& one : cases)
        for (double rate : {44100.0, 48000.0}) {
            // Of the rate; faded in, as the start of a sine at another phase than 0 is a step with peaks of its own.
            auto sound = tone(rate / one.part, one.amplitude, one.degrees, rate);
            for (std::size_t n = 0; n < 480; ++n)
                sound.left[n] = sound.right[n] = sound.left[n] * static_cast<float>(n) / 480.0f;
            const auto readings = heard(sound, rate);
            INFO("a sine of rate/" << one.part << " at " << one.degrees << " degrees");
            checkTruePeak(readings.left.highestTruePeakDb, one.expected);
            checkTruePeak(readings.right.highestTruePeakDb, one.expected);
        }
}

TEST_CASE("one loud period reads the same true peak wherever the samples meet it: EBU Tech 3341, cases 20 to 23") {
    // As remembered: a sine of a quarter of the rate at -6 dBFS with one period at full scale, made at four times the
    // rate, low-passed and thinned out from each of four places. What it peaks at is known before thinning.
    constexpr double rate = 48000.0;
    constexpr int length = 48000, half = 400;
    std::vector<double> dense(length);
    for (int n = 0; n < length; ++n) {
        const bool loud = n >= length / 2 && n < length / 2 + 16;
        dense[static_cast<std::size_t>(n)] = (loud ? 1.0 : 0.5) * std::sin(2.0 * std::numbers::pi * n / 16.0);
    }
    std::vector<double> taps;
    for (int k = -half; k <= half; ++k) { // a Hann-windowed sinc that ends at 0.45 of the rate
        const double x = std::numbers::pi * k * 0.45 / 2.0;
        taps.push_back((k == 0 ? 1.0 : std::sin(x) / x) * 0.45 / 2.0 *
                       (0.5 + 0.5 * std::cos(std::numbers::pi * k / (half + 1))));
    }
    std::vector<double> smooth;
    double crest = 0.0;
    for (int n = half; n < length - half; ++n) {
        double sum = 0.0;
        for (int k = -half; k <= half; ++k)
            sum += taps[static_cast<std::size_t>(k + half)] * dense[static_cast<std::size_t>(n + k)];
        smooth.push_back(sum);
        crest = std::max(crest, std::abs(sum));
    }
    for (std::size_t offset = 0; offset < 4; ++offset) {
        Stereo sound;
        for (std::size_t n = offset; n < smooth.size(); n += 4) {
            const auto place = static_cast<double>(std::min(n, smooth.size() - n)) / 1600.0;
            sound.left.push_back(static_cast<float>(smooth[n] * std::min(place, 1.0))); // faded in and out
        }
        sound.right = sound.left;
        const auto readings = heard(sound, rate);
        INFO("thinned out from place " << offset);
        checkTruePeak(readings.left.highestTruePeakDb, decibelsOfAmplitude(crest));
        checkTruePeak(readings.left.highestTruePeakDb, 0.0);
    }
}

TEST_CASE("true peaks since the last reading come and go, the highest stays until it is reset") {
    const double rate = 48000.0;
    LoudnessMeter meter(rate);
    const auto quiet = sine({{-40.0, 0.2}}, rate), loud = sine({{-3.0, 0.2}}, rate);
    const auto after = [&](const Stereo& sound) {
        meter.push(sound.left.data(), sound.right.data(), static_cast<int>(sound.left.size()));
        return meter.read();
    };
    CHECK(*after(quiet).left.truePeakDb == Approx(-40.0).margin(0.1));
    CHECK(*after(loud).left.truePeakDb == Approx(-3.0).margin(0.1));
    after(quiet); // the end of the loud part is still in the interpolator
    auto last = after(quiet);
    CHECK(*last.left.truePeakDb == Approx(-40.0).margin(0.1));
    CHECK(*last.left.highestTruePeakDb == Approx(-3.0).margin(0.1));
    CHECK(*last.right.highestTruePeakDb == Approx(-3.0).margin(0.1));
    CHECK_FALSE(meter.read().left.truePeakDb); // nothing came
    meter.push(loud.left.data(), loud.right.data(), 4800);
    meter.reset();
    const auto none = meter.read();
    CHECK_FALSE(none.left.highestTruePeakDb);
    CHECK_FALSE(none.momentaryLufs);
    CHECK_FALSE(none.shortTermLufs);
    CHECK_FALSE(none.integratedLufs);
    CHECK_FALSE(none.left.rmsDb);
    CHECK(*after(quiet).left.highestTruePeakDb == Approx(-40.0).margin(0.1));
}

TEST_CASE("correlation is 1 of one signal, -1 of its inverse, the cosine of an angle, and none on silence") {
    const double rate = 48000.0;
    const auto a = whiteNoise(240000, 1), b = whiteNoise(240000, 2);
    const auto of = [&](double share, double other) {
        Stereo sound{a, a};
        for (std::size_t n = 0; n < a.size(); ++n)
            sound.right[n] = static_cast<float>(share) * a[n] + static_cast<float>(other) * b[n];
        return heard(sound, rate).correlation;
    };
    CHECK(*of(0.2, 0.0) == Approx(1.0).margin(1e-9));
    CHECK(*of(-3.0, 0.0) == Approx(-1.0).margin(1e-9));
    // An exponential window of 0.5 s holds 2 * 24000 independent samples: a standard error of 1/sqrt(48000) = 0.005.
    CHECK(*of(0.6, 0.8) == Approx(0.6).margin(0.02));
    CHECK(*of(0.0, 1.0) == Approx(0.0).margin(0.02));
    CHECK_FALSE(of(0.0, 0.0));
    CHECK_FALSE(heard(sine({{-200.0, 1.0}}, rate), rate).correlation);
    auto quadrature = sine({{-6.0, 3.0}}, rate);
    quadrature.right = tone(1000.0, 0.5, 90.0, rate).left;
    quadrature.right.insert(quadrature.right.end(), quadrature.right.begin(), quadrature.right.end());
    quadrature.right.resize(quadrature.left.size());
    quadrature.left.resize(96000);
    quadrature.right.resize(96000);
    CHECK(*heard(quadrature, rate).correlation == Approx(0.0).margin(0.01));
}

TEST_CASE("rms dies away as its window says") {
    const double rate = 48000.0;
    LoudnessMeter meter(rate);
    const auto readings = hear(meter, sine({{-10.0, 5.0}}, rate), rate, [](double, const auto&) {});
    CHECK(*readings.left.rmsDb == Approx(-13.01).margin(0.02));
    const std::vector<float> silence(static_cast<std::size_t>(LoudnessMeter::window.value * rate), 0.0f);
    meter.push(silence.data(), silence.data(), static_cast<int>(silence.size()));
    // 10 log10 of 1/e: -4.34 dB.
    CHECK(*meter.read().left.rmsDb == Approx(-13.01 - 4.343).margin(0.02));
}

TEST_CASE("what does not fit into the ring is lost, counted, and harms nothing that comes after") {
    const double rate = 48000.0;
    LoudnessMeter meter(rate);
    const auto sound = sine({{-20.0, 1.0}}, rate);
    for (int second = 0; second < 5; ++second)
        meter.push(sound.left.data(), sound.right.data(), 48000);
    auto readings = meter.read();
    CHECK(readings.lost == 3 * 48000);
    readings = hear(meter, sine({{-33.0, 6.0}}, rate), rate, [](double, const auto&) {});
    CHECK(readings.lost == 3 * 48000);
    checkLufs(readings.momentaryLufs, -33.0);
    checkLufs(readings.shortTermLufs, -33.0);
    meter.reset();
    CHECK(meter.read().lost == 0);
}

TEST_CASE("what is no number counts as silence and spoils no later reading") {
    const double rate = 48000.0;
    auto sound = sine({{-23.0, 6.0}}, rate);
    sound.left[1000] = std::numeric_limits<float>::quiet_NaN();
    sound.right[2000] = std::numeric_limits<float>::infinity();
    const auto readings = heard(sound, rate);
    checkLufs(readings.shortTermLufs, -23.0);
    CHECK(*readings.correlation == Approx(1.0).margin(1e-6));
    CHECK(*readings.left.highestTruePeakDb < -20.0); // the gap is a click, not full scale
}

TEST_CASE("pushing allocates nothing and takes no lock, while another thread reads and resets") {
    const double rate = 48000.0;
    LoudnessMeter meter(rate);
    const auto sound = sine({{-23.0, 1.0}}, rate);
    std::atomic<bool> done{false};
    std::atomic<int> turns{0};
    std::int64_t allocations = 0, locks = 0;
    std::thread playing([&] {
        const auto allocationsBefore = RealTimeTrap::allocations(), locksBefore = RealTimeTrap::locks();
        {
            const RealTimeTrap trap;
            for (int second = 0; second < 20; ++second) {
                for (int n = 0; n < 48000; n += 480)
                    meter.push(sound.left.data() + n, sound.right.data() + n, 480);
                for (const int seen = turns; turns == seen;) // the reader keeps up, by and by
                    std::this_thread::yield();
            }
        }
        allocations = RealTimeTrap::allocations() - allocationsBefore;
        locks = RealTimeTrap::locks() - locksBefore;
        done = true;
    });
    while (!done) {
        const auto readings = meter.read();
        if (readings.correlation) CHECK(*readings.correlation > 0.99);
        if (++turns % 5 == 0) meter.reset();
    }
    playing.join();
    CHECK(allocations == 0);
    CHECK(locks == 0);
}
