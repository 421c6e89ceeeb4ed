#include "Audition/Loader.h"
#include "Rig.h"
#include "Support/RandomUser.h"

#include <algorithm>
#include <atomic>
#include <complex>
#include <mutex>
#include <numbers>
#include <random>

using namespace spillwright;
using namespace spillwright::test;

namespace {

using Tracks = std::vector<std::vector<float>>;

constexpr double rate = 48000.0;
constexpr int quiet = 8192; ///< Silent samples at either end of the noise tracks.

/// Noise that ends smoothly at 0.85 of the Nyquist frequency, within what the kernel of a nudge promises.
std::vector<float> bandNoise(int length, std::uint64_t seed) {
    auto samples = whiteNoise(static_cast<std::size_t>(length), seed, 0.1);
    for (int n = 0; n < length; ++n) {
        const double in = std::clamp((std::min(n, length - 1 - n) - quiet) / 2000.0, 0.0, 1.0);
        samples[static_cast<std::size_t>(n)] *= static_cast<float>(0.5 - 0.5 * std::cos(std::numbers::pi * in));
    }
    return filtered(samples, 2.0, [](double nyquists) {
        const double out = std::clamp((nyquists - 0.7) / 0.15, 0.0, 1.0);
        return std::complex<double>(0.5 + 0.5 * std::cos(std::numbers::pi * out));
    });
}

Tracks noiseTracks(int count, int length) {
    Tracks tracks;
    for (int track = 0; track < count; ++track)
        tracks.push_back(bandNoise(length, static_cast<std::uint64_t>(100 + track)));
    return tracks;
}

struct StereoSum {
    std::vector<double> left, right;
};

/// The definition of the sum, written out in double precision by a transform of the whole length: s g H(f)
/// e^{-j 2 pi f nudge} a track, constant-power pan, -3 dB in the centre.
StereoSum definedSum(const Tracks& tracks, const std::vector<TrackAdjustment>& adjustments,
                     const std::vector<double>& pans) {
    StereoSum sum{std::vector<double>(tracks[0].size()), std::vector<double>(tracks[0].size())};
    for (std::size_t track = 0; track < tracks.size(); ++track) {
        const TrackAdjustment& adjustment = adjustments[track];
        if (adjustment.muted) continue;
        const auto adjusted = filtered(tracks[track], rate, [&](double hertz) {
            std::complex<double> weight = std::polar(std::pow(10.0, adjustment.gain.value / 20.0),
                                                     -2.0 * std::numbers::pi * hertz * adjustment.nudge.value);
            if (adjustment.flip) weight = -weight;
            if (adjustment
                    .highPass) { // Butterworth, frequency warped so that the corner stays; the poles left of the axis
                const std::complex<double> s(0.0, std::tan(std::numbers::pi * hertz / rate) /
                                                      std::tan(std::numbers::pi * adjustment.highPass->value / rate));
                const int order = inDecibelsPerOctave(adjustment.highPassSlope) / 6;
                for (int pole = 0; pole < order && hertz < rate / 2; ++pole)
                    weight *= s / (s - std::polar(1.0, std::numbers::pi * (0.5 + (pole + 0.5) / order)));
            }
            return weight;
        });
        const double angle = (pans[track] + 1.0) * std::numbers::pi / 4.0;
        for (std::size_t n = 0; n < adjusted.size(); ++n) {
            sum.left[n] += std::cos(angle) * static_cast<double>(adjusted[n]);
            sum.right[n] += std::sin(angle) * static_cast<double>(adjusted[n]);
        }
    }
    return sum;
}

TrackAdjustment adjusted(bool flip, double nudgeMs, double gainDb = 0.0, double highPassHz = 0.0) {
    TrackAdjustment adjustment;
    adjustment.flip = flip;
    adjustment.nudge = milliseconds(nudgeMs);
    adjustment.gain = Decibels(gainDb);
    if (highPassHz > 0.0) adjustment.highPass = Hertz(highPassHz);
    return adjustment;
}

/// A source whose disk can be held up, and whose files can vanish.
class UnreliableSource : public MemorySource {
public:
    using MemorySource::MemorySource;

    std::atomic<bool> held{false}, vanished{false};

    Result<std::unique_ptr<GroupReader>> openGroup(int group) const override {
        auto reader = MemorySource::openGroup(group);
        return std::unique_ptr<GroupReader>(new Reader(*this, std::move(*reader)));
    }

private:
    struct Reader : GroupReader {
        Reader(const UnreliableSource& source, std::unique_ptr<GroupReader> reader)
            : of(source), inner(std::move(reader)) {}
        Outcome read(std::int64_t start, int count, std::span<float* const> tracks) override {
            while (of.held && !of.vanished)
                std::this_thread::sleep_for(std::chrono::milliseconds(1));
            if (of.vanished) return Fault{"snare.wav", "can no longer be read", "put it back and play again"};
            return inner->read(start, count, tracks);
        }
        const UnreliableSource& of;
        std::unique_ptr<GroupReader> inner;
    };
};

} // namespace

TEST_CASE("what is played is the sum by its definition: flips, nudges, gains, pans, high-passes, mute") {
    const int length = 1 << 17;
    const auto tracks = noiseTracks(7, length);
    std::vector<TrackAdjustment> adjustments{adjusted(false, 0.0),
                                             adjusted(true, 0.0),
                                             adjusted(false, 2.3137, -3.0),
                                             adjusted(true, -7.777, 2.0, 80.0),
                                             adjusted(false, 11.0, 0.0, 150.0),
                                             adjusted(false, 0.49, 1.0),
                                             adjusted(false, 0.0)};
    adjustments[2].pan = -0.4;
    adjustments[2].highPass = Hertz(60.0);
    adjustments[2].highPassSlope = Slope::dB18;
    adjustments[4].highPassSlope = Slope::dB24;
    adjustments[6].muted = true;
    auto infos = plainTracks(7);
    infos[4].linkedTo = 5;
    infos[5].linkedTo = 4;
    infos[5].isRight = true;
    const auto defined = definedSum(tracks, adjustments, {0.0, 0.0, -0.4, 0.0, -1.0, 1.0, 0.0});

    Rig rig(std::make_shared<MemorySource>(tracks), infos);
    rig.player.setAdjustments(adjustments);
    rig.player.play();
    rig.run(length, 128);
    CHECK(rig.player.meters().dropouts == 0);
    CHECK_FALSE(rig.player.meters().guardActive);
    // -90 dB is the promise of the nudge's kernel.
    CHECK(differenceDb(rig.left, defined.left, fadeSamples, length - guardDelay(), guardDelay()) < -90.0);
    CHECK(differenceDb(rig.right, defined.right, fadeSamples, length - guardDelay(), guardDelay()) < -90.0);
}

TEST_CASE("solo leaves only the tracks that are soloed, and a muted one stays muted") {
    const int length = 1 << 16;
    const auto tracks = noiseTracks(3, length);
    std::vector<TrackAdjustment> adjustments(3);
    adjustments[2].muted = true;
    auto alone = adjustments;
    alone[0].muted = true;
    const auto defined = definedSum(tracks, alone, {0.0, 0.0, 0.0});
    Rig rig(std::make_shared<MemorySource>(tracks));
    rig.player.setAdjustments(adjustments, {false, true, true});
    rig.player.play();
    rig.run(length);
    CHECK(differenceDb(rig.left, defined.left, fadeSamples, length - guardDelay(), guardDelay()) < -90.0);
}

TEST_CASE("the size of the device's blocks does not change what is heard") {
    const int length = 3 << 16;
    const auto source = std::make_shared<MemorySource>(noiseTracks(4, length));
    // Every command, at the same samples; `blocks` says how the time between is cut.
    const auto play = [&](const std::function<int()>& blocks) {
        auto rig = std::make_unique<Rig>(source);
        const auto run = [&](int count) {
            while (count > 0) {
                const int now = std::min(count, blocks());
                rig->run(now, now);
                count -= now;
            }
        };
        std::vector<TrackAdjustment> adjustments(4);
        rig->player.setLoop(20000, 90000);
        rig->player.play();
        run(8000);
        adjustments[1] = adjusted(true, 3.21, -2.0, 90.0);
        rig->player.setAdjustments(adjustments);
        run(7001);
        adjustments[2] = adjusted(false, -0.73, 0.0, 40.0);
        rig->player.setAdjustments(adjustments, {true, false, true, false});
        run(100); // the next one comes while that one fades
        adjustments[3].gain = Decibels(-7.0);
        rig->player.setAdjustments(adjustments);
        run(9000);
        rig->player.seek(88000); // and soon over the loop's seam
        run(12000);
        rig->player.setOutputLevel(Decibels(-12.0));
        rig->player.stop();
        run(3000);
        rig->player.play();
        run(10000);
        return rig;
    };
    const auto reference = play([] { return 12000; });
    std::mt19937 random(7);
    for (int round = 0; round < 2; ++round) {
        const auto other = play([&] {
            const int sizes[] = {1, 17, 64, 1000, 4096};
            return sizes[random() % 5];
        });
        REQUIRE(other->left.size() == reference->left.size());
        double worst = 0.0;
        for (std::size_t n = 0; n < reference->left.size(); ++n)
            worst = std::max({worst, std::abs(static_cast<double>(other->left[n] - reference->left[n])),
                              std::abs(static_cast<double>(other->right[n] - reference->right[n]))});
        CHECK(worst < 1e-6); // rounding of single precision of sums near 1
        CHECK(other->player.position() == reference->player.position());
    }
}

TEST_CASE("the trap sees an allocation and a lock") {
#if !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)
    const auto allocations = RealTimeTrap::allocations(), locks = RealTimeTrap::locks();
    std::mutex mutex;
    {
        const RealTimeTrap trap;
        ::operator delete(::operator new(16)); // called as functions, so that no compiler may leave them out
        const std::lock_guard lock(mutex);
    }
    CHECK(RealTimeTrap::allocations() == allocations + 2);
    CHECK(RealTimeTrap::locks() == locks + 1);
#endif
}

TEST_CASE("the callback allocates nothing and takes no lock, whatever is asked of the player") {
    for (double deviceRate : {48000.0, 44100.0}) {
        const auto source = std::make_shared<MemorySource>(noiseTracks(6, 1 << 17));
        const auto allocations = RealTimeTrap::allocations(), locks = RealTimeTrap::locks();
        Rig rig(source, {}, deviceRate);
        RandomUser user(rig.player, 6, 1 << 17, 11,
                        std::make_shared<TrackSound>(TrackSound{30000, noiseTracks(6, 1 << 15)}));
        std::mt19937 random(12);
        rig.player.play();
        for (unsigned round = 0; round < 400; ++round) {
            user.perform(round);
            const int sizes[] = {1, 17, 64, 1000, 4096};
            rig.run(sizes[random() % 5], 4096);
        }
        rig.player.open(std::shared_ptr<const SampleSource>(), {});
        rig.run(1000, 100);
        CHECK(RealTimeTrap::allocations() == allocations);
        CHECK(RealTimeTrap::locks() == locks);
        CHECK(peakOf(rig.left, 0, rig.left.size()) > 0.01f);
    }
}

TEST_CASE("five minutes of random commands in buffers of 64 samples: no dropout, no sound that is none", "[long]") {
    // The second half of each track is digital silence: filters that die away in it must not end in denormals.
    const int length = 10 * 48000;
    auto tracks = noiseTracks(8, length);
    for (auto& track : tracks)
        std::fill(track.begin() + length / 2, track.end(), 0.0f);
    Rig rig(std::make_shared<MemorySource>(tracks));
    RandomUser user(rig.player, 8, length, 5, std::make_shared<TrackSound>(TrackSound{0, noiseTracks(8, 1 << 15)}));
    std::mt19937 random(6);
    rig.player.play();
    std::int64_t denormal = 0, notFinite = 0;
    float peak = 0.0f;
    for (int second = 0; second < 300; ++second) {
        rig.left.clear();
        rig.right.clear();
        for (int done = 0; done < 48000; done += 64) {
            if (random() % 100 == 0) user.performAny();
            if (random() % 700 == 0) rig.player.play();
            rig.run(64, 64);
        }
        for (const auto* side : {&rig.left, &rig.right})
            for (const float sample : *side) {
                notFinite += !std::isfinite(sample);
                denormal += std::fpclassify(sample) == FP_SUBNORMAL;
                peak = std::max(peak, std::abs(sample));
            }
    }
    CHECK(notFinite == 0);
    CHECK(denormal == 0);
    CHECK(peak > 0.01f);
    CHECK(peak <= 1.0f);
    CHECK(rig.player.meters().dropouts == 0);
    CHECK(rig.player.trouble().empty());
}

TEST_CASE("other sound is played in the tracks' place under the same setting, looped, until it is taken back") {
    const int length = 1 << 17, from = 40000, loop = 30000;
    const auto tracks = noiseTracks(3, length);
    const auto other = noiseTracks(5, length);
    // Cut out of sound of the whole length, so that the definition may be asked for what is heard.
    auto instead = std::make_shared<TrackSound>();
    instead->from = from - 4000;
    for (int track = 0; track < 3; ++track) {
        const auto& whole = other[static_cast<std::size_t>(track + 2)];
        instead->tracks.emplace_back(whole.begin() + instead->from, whole.begin() + from + loop + 4000);
    }
    const std::vector<TrackAdjustment> adjustments{adjusted(true, 0.0), adjusted(false, 2.3137, -3.0),
                                                   adjusted(false, -5.0)};
    const auto definedOther = definedSum({other[2], other[3], other[4]}, adjustments, {0.0, 0.0, 0.0});
    const auto definedOwn = definedSum(tracks, adjustments, {0.0, 0.0, 0.0});

    const auto allocations = RealTimeTrap::allocations(), locks = RealTimeTrap::locks();
    Rig rig(std::make_shared<MemorySource>(tracks));
    rig.player.setAdjustments(adjustments);
    rig.player.setLoop(from, from + loop);
    rig.player.play();
    rig.run(10000, 100);
    rig.player.playInstead(instead);
    rig.run(45000, 100); // over the seam, to sample 55000, which is from + 25000
    rig.player.playInstead(nullptr);
    rig.run(20000, 100);
    const auto differs = [&](const StereoSum& defined, int first, int last, int heardAt) {
        return differenceDb(rig.left, defined.left, first, last, heardAt - first + guardDelay());
    };
    CHECK(differs(definedOwn, from + fadeSamples, from + 10000 - guardDelay(), fadeSamples) < -90.0);
    // 256: a change is heard within one step.
    CHECK(differs(definedOther, from + 10256 + fadeSamples, from + loop, 10256 + fadeSamples) < -90.0);
    CHECK(differs(definedOther, from + fadeSamples, from + 25000 - guardDelay(), loop + fadeSamples) < -90.0);
    CHECK(differs(definedOwn, from + 25256 + fadeSamples, from + loop, 55256 + fadeSamples) < -90.0);
    CHECK(differs(definedOwn, from + fadeSamples, from + 15000 - guardDelay(), 2 * loop + fadeSamples) < -90.0);
    CHECK(differs(definedOwn, from + 10256 + fadeSamples, from + loop, 10256 + fadeSamples) > -3.0); // it would tell
    CHECK(rig.player.position() == from + 15000);
    CHECK(RealTimeTrap::allocations() == allocations);
    CHECK(RealTimeTrap::locks() == locks);
}

TEST_CASE("sound in the tracks' place comes and goes without a click, and is freed when it has gone") {
    Rig rig(std::make_shared<MemorySource>(Tracks{tone(1 << 17, 100.0)}));
    std::weak_ptr<const TrackSound> kept;
    {
        auto instead = std::make_shared<TrackSound>();
        instead->tracks.push_back(tone(1 << 17, 150.0));
        kept = instead;
        rig.player.play();
        rig.run(20000);
        rig.player.playInstead(instead);
    }
    rig.run(20000, 100);
    rig.player.meters();
    CHECK_FALSE(kept.expired());
    rig.player.playInstead(nullptr);
    CHECK_FALSE(kept.expired());
    rig.run(20000, 100);
    rig.player.meters();
    CHECK(kept.expired());
    CHECK(shareAboveDb(rig.left, 4000, 5000.0) < -60.0); // as of a flip
    CHECK(shareAboveDb(rig.left, 24000, 5000.0) < -60.0);

    // What nobody heard is freed too: replaced before it was taken, and taken while nothing sounds.
    rig.player.stop();
    rig.run(2000);
    for (int round = 0; round < 2; ++round) {
        auto unheard = std::make_shared<TrackSound>();
        unheard->tracks.emplace_back(1000);
        kept = unheard;
        rig.player.playInstead(std::move(unheard));
        if (round == 1) rig.run(100);
        rig.player.playInstead(nullptr);
        rig.run(100);
        rig.player.meters();
        CHECK(kept.expired());
    }
}

TEST_CASE("the difference between two settings is heard, and silence where they do not differ") {
    const int length = 1 << 16;
    const auto tracks = noiseTracks(3, length);
    const std::vector<TrackAdjustment> one{adjusted(false, 0.0), adjusted(true, 0.0), adjusted(false, 2.3137, -3.0)};
    const std::vector<TrackAdjustment> other{adjusted(false, 0.0), adjusted(false, 0.0),
                                             adjusted(false, -1.01, 0.0, 90.0)};
    const double gain = -2.5, otherGain = 1.5;
    auto defined = definedSum(tracks, one, {0.0, 0.0, 0.0});
    const auto less = definedSum(tracks, other, {0.0, 0.0, 0.0});
    for (std::size_t n = 0; n < defined.left.size(); ++n)
        defined.left[n] =
            std::pow(10.0, gain / 20.0) * defined.left[n] - std::pow(10.0, otherGain / 20.0) * less.left[n];
    Rig rig(std::make_shared<MemorySource>(tracks));
    HeardMix mix;
    mix.adjustments = one;
    mix.gain = Decibels(gain);
    mix.less = HeardMix::Other{other, Decibels(otherGain)};
    rig.player.hear(mix);
    rig.player.play();
    rig.run(length, 128);
    CHECK(differenceDb(rig.left, defined.left, fadeSamples, length - guardDelay(), guardDelay()) < -90.0);

    Rig same(std::make_shared<MemorySource>(tracks));
    mix.less = HeardMix::Other{one, mix.gain};
    same.player.hear(mix);
    same.player.play();
    same.run(length, 128);
    CHECK(peakOf(same.left, 0, same.left.size()) == 0.0f);
    CHECK(peakOf(same.right, 0, same.right.size()) == 0.0f);
}

TEST_CASE("versions change places in step to the sample, each at its gain") {
    const int length = 1 << 17;
    const auto tracks = noiseTracks(3, length);
    const std::vector<std::vector<TrackAdjustment>> versions{
        {adjusted(false, 0.0), adjusted(false, 0.0), adjusted(false, 0.0)},
        {adjusted(false, 0.0), adjusted(true, 0.31), adjusted(false, -4.4, 0.0, 100.0)}};
    const double gains[] = {0.0, -4.75};
    std::vector<StereoSum> defined;
    for (const auto& version : versions)
        defined.push_back(definedSum(tracks, version, {0.0, 0.0, 0.0}));
    Rig rig(std::make_shared<MemorySource>(tracks));
    const auto hear = [&](std::size_t version) {
        HeardMix mix;
        mix.adjustments = versions[version];
        mix.gain = Decibels(gains[version]);
        rig.player.hear(mix);
    };
    hear(0);
    rig.player.play();
    const int each = 10000;
    for (int turn = 0; turn < 10; ++turn) {
        if (turn > 0) hear(static_cast<std::size_t>(turn % 2));
        rig.run(each, 64);
        // The guard's delay apart a switch is heard from the next sample that is asked for.
        const auto version = static_cast<std::size_t>(turn % 2);
        auto expected = defined[version].left;
        for (double& sample : expected)
            sample *= std::pow(10.0, gains[version] / 20.0);
        const int from = turn * each + fadeSamples, to = (turn + 1) * each - guardDelay();
        INFO("turn " << turn);
        CHECK(differenceDb(rig.left, expected, from, to, guardDelay()) < -90.0);
    }
}

TEST_CASE("what starts lower rises evenly to its level, without a click, and is then exactly itself") {
    const std::size_t length = 4 * 48000;
    const auto samples = tone(length, 100.0);
    Rig rig(std::make_shared<MemorySource>(Tracks{samples, samples}));
    std::vector<TrackAdjustment> quietly{adjusted(false, 0.0, -12.0), adjusted(false, 0.0)};
    quietly[1].muted = true;
    HeardMix quiet;
    quiet.adjustments = quietly;
    quiet.loudness = -12.0;
    rig.player.hear(quiet);
    rig.player.play();
    rig.run(48000);
    HeardMix loud;
    loud.adjustments = {adjusted(false, 0.0), adjusted(false, 0.0)};
    loud.adjustments[1].muted = true;
    loud.loudness = 0.0; // by 12 dB louder than what is heard, of which 3 are let through at once
    rig.player.hear(loud);
    rig.run(2 * 48000);
    const auto rmsDb = [&](double second) { // over whole periods, against the tone as it is
        const auto from = static_cast<std::size_t>(std::lround(second * 48000.0)) + guardDelay();
        double power = 0.0;
        for (std::size_t n = from; n < from + 480; ++n)
            power += static_cast<double>(rig.left[n] * rig.left[n]);
        return 10.0 * std::log10(power / 480.0 / (0.5 * 0.5 * 0.5 * 0.5));
    };
    CHECK(rmsDb(0.9) == Approx(-12.0).margin(0.01));
    CHECK(rmsDb(1.01) == Approx(-9.0 + 20.0 * 0.015).margin(0.05));
    CHECK(rmsDb(1.21) == Approx(-9.0 + 20.0 * 0.215).margin(0.05));
    CHECK(rmsDb(1.46) == Approx(0.0).margin(0.001));
    CHECK(shareAboveDb(rig.left, 48000 - 16384 + static_cast<std::size_t>(guardDelay()), 5000.0) < -60.0);

    // A change amid the rise goes on from where the level is.
    HeardMix turned = loud;
    turned.loudness = 9.0; // so it is said
    rig.player.hear(turned);
    rig.run(9600); // to -2 dB
    turned.adjustments[0].flip = true;
    rig.player.hear(turned);
    rig.run(4800);
    CHECK(rmsDb(3.2 + 0.02) == Approx(-2.0 + 20.0 * 0.025).margin(0.05));
}

TEST_CASE(
    "what only is said to be louder, of another passage, does not rise; what was metered counts where it is given") {
    const auto samples = tone(4 * 48000, 100.0);
    Rig rig(std::make_shared<MemorySource>(Tracks{samples}));
    HeardMix mix;
    mix.adjustments = {adjusted(false, 0.0)};
    mix.loudness = -30.0;
    mix.loudnessBasis = 1;
    const auto levelDb = [&](double second) {
        const auto from = static_cast<std::size_t>(std::lround(second * 48000.0)) + guardDelay();
        double power = 0.0;
        for (std::size_t n = from; n < from + 480; ++n)
            power += static_cast<double>(rig.left[n] * rig.left[n]);
        return 10.0 * std::log10(power / 480.0 / (0.5 * 0.5 * 0.5 * 0.5));
    };
    rig.player.hear(mix);
    rig.player.play();
    rig.run(24000);
    mix.loudness = -10.0; // of a louder passage
    mix.loudnessBasis = 2;
    rig.player.hear(mix);
    rig.run(24000);
    CHECK(levelDb(0.52) == Approx(0.0).margin(0.01));
    CHECK(levelDb(0.9) == Approx(0.0).margin(0.01));
    mix.heardBefore = -22.0; // by 12 dB less than was said
    mix.adjustments[0].flip = true;
    rig.player.hear(mix);
    rig.run(48000);
    CHECK(levelDb(1.02) == Approx(-9.0 + 20.0 * 0.025).margin(0.05));
    CHECK(levelDb(1.6) == Approx(0.0).margin(0.01));
}

TEST_CASE("what did not change rises together with what did") {
    const std::size_t length = 2 * 48000;
    Rig rig(std::make_shared<MemorySource>(Tracks{tone(length, 100.0, rate, 0.4), tone(length, 200.0, rate, 0.1)}));
    HeardMix mix;
    mix.adjustments = {adjusted(false, 0.0), adjusted(false, 0.0, -20.0)};
    mix.loudness = 0.0;
    rig.player.hear(mix);
    rig.player.play();
    rig.run(24000);
    mix.adjustments[1] = adjusted(false, 0.0);
    mix.loudness = 12.0;
    rig.player.hear(mix);
    rig.run(48000);
    // Both tones at once, over whole periods of both, against what they are in full.
    const auto levelDb = [&](double second) {
        const auto from = static_cast<std::size_t>(std::lround(second * 48000.0)) + guardDelay();
        double power = 0.0;
        for (std::size_t n = from; n < from + 480; ++n)
            power += static_cast<double>(rig.left[n] * rig.left[n]);
        return 10.0 * std::log10(power / 480.0 / (0.5 * 0.5 * (0.4 * 0.4 + 0.1 * 0.1)));
    };
    for (const double after : {0.012, 0.05, 0.2, 0.4})
        CHECK(levelDb(0.5 + after) == Approx(-9.0 + 20.0 * (after + 0.005)).margin(0.1));
    CHECK(levelDb(1.0) == Approx(0.0).margin(0.001));
}

TEST_CASE("a seek waits until it can go on, and what sounds goes on meanwhile") {
    const int length = 20 * 48000, there = 15 * 48000;
    const auto source = std::make_shared<UnreliableSource>(noiseTracks(2, length));
    Rig rig(source);
    rig.player.play();
    rig.run(48000);
    source->held = true;
    rig.player.seek(there);
    rig.run(24000, 256, false); // 3 s lie ready
    const auto defined = definedSum(noiseTracks(2, length), std::vector<TrackAdjustment>(2), {0.0, 0.0});
    CHECK(differenceDb(rig.left, defined.left, 48000, 72000 - guardDelay(), guardDelay()) < -90.0);
    source->held = false;
    Rig::waitUntil([&] { return rig.player.ready(); });
    rig.run(24000);
    CHECK(rig.player.meters().dropouts == 0);
    CHECK(differenceDb(rig.left, defined.left, there + fadeSamples, there + 24000 - guardDelay(),
                       72000 - there + guardDelay()) < -90.0);
}

TEST_CASE(
    "what fades out after a seek or at the seam is heard to the end of its fade, however fast its place is needed") {
    // A tone that goes through all places alike; the loader has thrown the old place out long before the fade has
    // ended.
    const std::size_t length = 60 * 48000;
    Rig rig(std::make_shared<MemorySource>(Tracks(1, tone(length, 100.0))));
    rig.player.play();
    std::mt19937 random(2);
    for (int jump = 0; jump < 40; ++jump) {
        rig.run(4800, 64);
        if (jump % 2 == 0)
            rig.player.seek(480 * static_cast<std::int64_t>(random() % 5900));
        else
            rig.player.setLoop(480 * static_cast<std::int64_t>(random() % 2900),
                               480 * static_cast<std::int64_t>(2950 + random() % 2900));
        for (int n = 0; n < 10; ++n) { // slower than a device, so that the loader runs ahead of the fade
            rig.run(64, 64);
            std::this_thread::sleep_for(std::chrono::milliseconds(2));
        }
    }
    CHECK(rig.player.meters().dropouts == 0);
    for (std::size_t from = 4800; from + 32768 < rig.left.size(); from += 32768) {
        INFO(from);
        CHECK(shareAboveDb(rig.left, from, 5000.0) < -60.0);
    }
}

TEST_CASE("a flip does not click") {
    // 10 ms of raised cosine between two tones of 100 Hz: by its derivatives far below -60 dB above 5 kHz; a bare flip
    // is at about -25 dB.
    auto source = std::make_shared<MemorySource>(Tracks{tone(1 << 17, 100.0), tone(1 << 17, 100.0)});
    Rig rig(source);
    rig.player.play();
    rig.run(20000);
    std::vector<TrackAdjustment> adjustments{adjusted(true, 0.0), adjusted(true, 0.0)};
    rig.player.setAdjustments(adjustments);
    rig.run(20000, 100);
    adjustments[0] = adjusted(false, 0.0);
    adjustments[1] = adjusted(true, 1.234, -6.0, 120.0);
    rig.player.setAdjustments(adjustments);
    rig.run(20000);
    CHECK(shareAboveDb(rig.left, 4000, 5000.0) < -60.0);
    CHECK(shareAboveDb(rig.left, 24000, 5000.0) < -60.0);
    // The tone is there before, between and after.
    CHECK(peakOf(rig.left, 10000, 19000) == Approx(2 * 0.5 * std::sqrt(0.5)).epsilon(1e-3));
    CHECK(peakOf(rig.left, 30000, 39000) == Approx(2 * 0.5 * std::sqrt(0.5)).epsilon(1e-3));
    CHECK(peakOf(rig.left, 45000, 59000) > 0.05f);

    auto bare = rig.left; // the same sound flipped at one blow, to see that the measure would tell
    for (std::size_t n = 15000; n < bare.size(); ++n)
        bare[n] = -bare[n];
    CHECK(shareAboveDb(bare, 0, 5000.0) > -60.0);
}

TEST_CASE("a new nudge is the old sound fading into the new within 10 ms, with no glide of pitch") {
    const double hertz = 997.0;
    const auto source = std::make_shared<MemorySource>(Tracks{tone(1 << 16, hertz)});
    Rig rig(source);
    rig.player.play();
    const int before = 10000;
    rig.run(before);
    const double nudgeMs = 0.3456;
    rig.player.setAdjustments(std::vector{adjusted(false, nudgeMs)});
    rig.run(10000);
    double worst = 0.0;
    for (int n = 2000; n < 19000; ++n) {
        const auto at = [&](double seconds) {
            return 0.5 * std::sqrt(0.5) * std::sin(2.0 * std::numbers::pi * hertz * (n / rate - seconds));
        };
        const double share = std::clamp((n - before) / static_cast<double>(fadeSamples), 0.0, 1.0);
        const double in = 0.5 - 0.5 * std::cos(std::numbers::pi * share);
        const double expected = (1.0 - in) * at(0.0) + in * at(nudgeMs * 1e-3);
        worst = std::max(
            worst, std::abs(static_cast<double>(rig.left[static_cast<std::size_t>(n + guardDelay())]) - expected));
    }
    CHECK(worst < 0.5 * amplitudeOfDecibels(FractionalDelay::errorDb));
}

TEST_CASE("a change is heard from the next sample that is asked for") {
    const auto source = std::make_shared<MemorySource>(Tracks{std::vector<float>(1 << 16, 0.25f)});
    Rig rig(source);
    rig.player.play();
    rig.run(5000);
    rig.player.setAdjustments(std::vector{adjusted(true, 0.0)});
    rig.run(5000);
    const auto changed = static_cast<std::size_t>(5000 + guardDelay());
    CHECK(rig.left[changed - 1] == rig.left[changed - 2000]);
    CHECK(rig.left[changed + 10] < rig.left[changed - 1]);
    CHECK(rig.left[changed + fadeSamples] == -rig.left[changed - 1]);
}

TEST_CASE("the loop is played round and round without a gap, and differs from the sum only for 10 ms at its head") {
    const int length = 1 << 17, from = 30011, to = 75000, size = to - from;
    const auto tracks = noiseTracks(3, length);
    const std::vector<TrackAdjustment> adjustments{adjusted(true, 1.7), adjusted(false, -4.44, 0.0, 30.0),
                                                   adjusted(false, 0.0)};
    const auto defined = definedSum(tracks, adjustments, {0.0, 0.0, 0.0});
    Rig rig(std::make_shared<MemorySource>(tracks));
    rig.player.setAdjustments(adjustments);
    rig.player.setLoop(from, to);
    rig.player.play();
    const int rounds = 5;
    rig.run(rounds * size, 128);
    for (int round = 0; round < rounds; ++round) {
        INFO("round " << round);
        CHECK(differenceDb(rig.left, defined.left, from + fadeSamples, to - guardDelay(),
                           static_cast<std::int64_t>(round) * size - from + guardDelay()) < -90.0);
    }
    CHECK(rig.player.position() == from);
    CHECK(rig.player.meters().dropouts == 0);
}

TEST_CASE("a tone whose periods fit the loop goes on through the seam as if there were none") {
    const auto source = std::make_shared<MemorySource>(Tracks{tone(1 << 16, 100.0)});
    Rig rig(source);
    rig.player.setLoop(480 * 10, 480 * 30);
    rig.player.play();
    rig.run(480 * 20 * 6, 256);
    double worst = 0.0;
    for (int n = fadeSamples; n < 480 * 20 * 6 - guardDelay(); ++n)
        worst = std::max(worst, std::abs(static_cast<double>(rig.left[static_cast<std::size_t>(n + guardDelay())]) -
                                         0.5 * std::sqrt(0.5) * std::sin(2.0 * std::numbers::pi * 100.0 * n / rate)));
    CHECK(worst < 1e-6);
}

TEST_CASE("a change just before the seam of the loop is taken at the seam, without a click") {
    const int from = 480 * 10 + 120, to = 480 * 40 + 120; // the seam at the crest
    Rig rig(std::make_shared<MemorySource>(Tracks{tone(1 << 16, 100.0)}));
    rig.player.setLoop(from, to);
    rig.player.play();
    rig.run(to - from - 100);
    rig.player.setAdjustments(std::vector{adjusted(true, 0.0)});
    rig.run(40000);
    CHECK(shareAboveDb(rig.left, 0, 5000.0) < -60.0);
    // 30 periods a round: the second round is the first upside down, once the fade is over.
    double worst = 0.0;
    for (std::size_t n = 2000; n < 12000; ++n)
        worst = std::max(worst, static_cast<double>(std::abs(rig.left[n] + rig.left[n + to - from])));
    CHECK(worst < 1e-6);
}

TEST_CASE("when the head of the loop is not in memory in time the mix fades before the seam and goes on at the head") {
    // The head lies beyond what is read ahead from the beginning before the seek is heard of.
    const int length = 1 << 20, from = 500000, to = 710000;
    auto source = std::make_shared<UnreliableSource>(Tracks{tone(length, 100.0)});
    Rig rig(source);
    rig.player.seek(to - 10000);
    rig.player.play();
    Rig::waitUntil([&] { return rig.player.ready(); });
    rig.run(5000);
    source->held = true;
    std::this_thread::sleep_for(std::chrono::milliseconds(20)); // what was being read is there
    rig.player.setLoop(from, to);
    rig.run(20000, 256, false);
    CHECK(rig.player.meters().dropouts == 1);
    CHECK(rig.player.position() <= to + fadeSamples);
    CHECK(peakOf(rig.left, rig.left.size() - 5000, rig.left.size()) == 0.0f);
    source->held = false;
    const auto stopped = rig.player.position();
    rig.run(20000);
    CHECK(rig.player.position() == from + 20000 - (to - stopped));
    CHECK(peakOf(rig.left, rig.left.size() - 5000, rig.left.size()) > 0.3f);
    CHECK(rig.player.meters().dropouts == 1);
}

TEST_CASE("the whole recording is looped by default, end to beginning, and past the loop it plays to the end first") {
    const int length = 1 << 16;
    const auto tracks = noiseTracks(1, length);
    Rig rig(std::make_shared<MemorySource>(tracks));
    CHECK(rig.player.loopFrom() == 0);
    CHECK(rig.player.loopTo() == length);
    rig.player.play();
    rig.run(2 * length, 256);
    for (int round = 0; round < 2; ++round)
        CHECK(differenceDb(rig.left, tracks[0], fadeSamples, length - guardDelay(),
                           static_cast<std::int64_t>(round) * length + guardDelay()) ==
              Approx(20.0 * std::log10(1.0 - std::sqrt(0.5))).margin(1e-3)); // of the centre's -3.01 dB, no more
    rig.run(1000);                                                           // past the fade at the seam
    rig.player.setLoop(1000, 20000);
    rig.player.seek(length - 5000);
    rig.run(4000);
    CHECK(rig.player.position() == length - 1000);
    rig.run(2000);
    CHECK(rig.player.position() == 2000);
}

TEST_CASE("a seek lands on its sample, within a fade, wherever it leads") {
    const int length = 1 << 19;
    std::vector<float> ramp(length);
    for (int n = 0; n < length; ++n)
        ramp[static_cast<std::size_t>(n)] = static_cast<float>(n) / length; // each sample tells its place
    Rig rig(std::make_shared<MemorySource>(Tracks{ramp}));
    rig.player.play();
    for (std::int64_t target : {400000, 3, 400100, 250000, 249000}) {
        rig.run(5000);
        rig.player.seek(target);
        CHECK(rig.player.position() == target);
        rig.run(5000);
        CHECK(rig.player.position() == target + 5000);
        const double heard = static_cast<double>(rig.left.back()) / std::sqrt(0.5) * length;
        CHECK(heard == Approx(static_cast<double>(target + 4999 - guardDelay())).margin(0.1)); // 24 bits of 2^19
    }
    CHECK(rig.player.meters().dropouts == 0);
    rig.player.seek(length - 10); // too near to the end for a fade
    rig.run(1000);
    CHECK(rig.player.position() == 1000);
}

TEST_CASE("seeking and looping work while nothing sounds, and without a device") {
    const auto source = std::make_shared<MemorySource>(noiseTracks(2, 1 << 16));
    Player player;
    player.open(source, plainTracks(2));
    player.seek(12345);
    CHECK(player.position() == 12345);
    player.setLoop(20000, 30000);
    CHECK(player.position() == 20000);
    player.setLoop(40000, 40001); // lengthened to 50 ms
    CHECK(player.loopTo() == 42400);
    player.seek(1 << 20);
    CHECK(player.position() == (1 << 16) - 1);
    CHECK_FALSE(player.playing());
    player.open(nullptr);
    CHECK(player.position() == 0);
    player.play();
    CHECK_FALSE(player.playing());
    CHECK_FALSE(player.ready());
}

TEST_CASE("playing starts and stops with a fade of 10 ms and goes on where it stopped") {
    Rig rig(std::make_shared<MemorySource>(Tracks{tone(1 << 16, 100.0)}));
    rig.player.play();
    rig.run(10000);
    rig.player.stop();
    CHECK_FALSE(rig.player.playing());
    rig.run(10000);
    CHECK(rig.player.position() == 10000 + fadeSamples);
    CHECK(peakOf(rig.left, 10000 + static_cast<std::size_t>(0.02 * rate), 20000) == 0.0f);
    rig.player.play();
    rig.run(20000);
    CHECK(rig.player.position() == 30000 + fadeSamples);
    CHECK(shareAboveDb(rig.left, 0, 5000.0) < -60.0);
}

TEST_CASE("when the disk is too slow the whole mix fades, is counted once, and goes on where it was") {
    const int length = 1 << 19;
    Tracks tracks{tone(length, 100.0, rate, 0.2), tone(length, 100.0, rate, 0.2)};
    auto source = std::make_shared<UnreliableSource>(tracks);
    Rig rig(source);
    rig.player.setAdjustments(std::vector{adjusted(false, 0.0), adjusted(true, 0.0)}); // silent if in step
    rig.player.play();
    rig.run(30000);
    CHECK(peakOf(rig.left, 0, rig.left.size()) < 1e-6f);
    rig.player.setAdjustments(std::vector{adjusted(false, 0.0), adjusted(false, 0.0)});
    rig.run(30000);
    source->held = true;
    rig.run(300000, 256, false); // more than what is kept ahead
    const auto stopped = rig.player.position();
    CHECK(stopped < 60000 + 256000);
    CHECK(rig.player.meters().dropouts == 1);
    CHECK(peakOf(rig.left, rig.left.size() - 50000, rig.left.size()) == 0.0f);
    CHECK(rig.player.playing());
    // Down with the ramp, not cut off.
    CHECK(shareAboveDb(rig.left, static_cast<std::size_t>(stopped) - 16384, 5000.0) < -60.0);

    source->held = false;
    Rig::waitUntil([&] { return rig.player.ready(); });
    const std::size_t resumed = rig.left.size();
    rig.run(30000);
    CHECK(rig.player.position() == stopped + 30000);
    double worst = 0.0;
    for (int n = fadeSamples; n < 30000 - guardDelay(); ++n)
        worst = std::max(
            worst,
            std::abs(static_cast<double>(rig.left[resumed + static_cast<std::size_t>(n + guardDelay())]) -
                     2.0 * std::sqrt(0.5) * static_cast<double>(tracks[0][static_cast<std::size_t>(stopped + n)])));
    CHECK(worst < 1e-6);
    CHECK(rig.player.meters().dropouts == 1);
}

TEST_CASE("a file that vanishes while it plays fades the mix, stops it and says so; playing again tries again") {
    auto source = std::make_shared<UnreliableSource>(Tracks{tone(1 << 19, 100.0)});
    Rig rig(source);
    rig.player.play();
    rig.run(30000);
    CHECK(rig.player.trouble().empty());
    source->vanished = true;
    while (rig.player.playing() && rig.left.size() < 600000)
        rig.run(256, 256, false), std::this_thread::sleep_for(std::chrono::microseconds(50));
    CHECK_FALSE(rig.player.playing());
    rig.run(40000, 256, false);
    CHECK(rig.player.trouble() == "snare.wav: can no longer be read; put it back and play again");
    CHECK(peakOf(rig.left, rig.left.size() - 30000, rig.left.size()) == 0.0f);
    CHECK(shareAboveDb(rig.left, rig.left.size() - 60000, 5000.0) < -60.0);

    rig.player.play(); // it is still away
    Rig::waitUntil([&] { return !rig.player.playing(); });
    CHECK_FALSE(rig.player.trouble().empty());

    source->vanished = false;
    const auto stopped = rig.player.position();
    rig.player.play();
    rig.run(5000);
    CHECK(rig.player.trouble().empty());
    CHECK(rig.player.position() == stopped + 5000);
}

TEST_CASE("what lies ready of 64 tracks stays below 200 MB at every rate, and is all of it where that fits") {
    for (const double hertz : {44100.0, 48000.0, 88200.0, 96000.0, 176400.0, 192000.0}) {
        const auto reach = Loader::reachFor(64, hertz);
        // Nudges to 100 ms, and what a high-pass listens back to.
        const auto margin = static_cast<std::int64_t>((0.1 + TrackChain::longestSettling.value) * hertz) + 64;
        const double bytes = Loader::slotsFor(reach, hertz, margin, margin) * 64.0 * SongBlocks::blockSamples * 4.0;
        INFO(hertz << " Hz: " << bytes / 1e6 << " MB");
        CHECK(bytes < 200e6);
        CHECK(reach.ahead.value >= 0.75);
        CHECK(reach.start < reach.ahead);
    }
    CHECK(Loader::reachFor(64, 48000.0).ahead.value == 3.0);
    CHECK(Loader::reachFor(2, 192000.0).ahead.value == 3.0);
}

TEST_CASE("a nudge of up to a second either way is played, a larger one as a second, and said so") {
    const int length = 1 << 18;
    const auto tracks = Tracks{bandNoise(length, 1), bandNoise(length, 2)};
    std::vector<TrackAdjustment> adjustments{adjusted(false, 999.9), adjusted(false, -1000.0)};
    const auto expected = [&](std::int64_t n) {
        const auto at = [&](std::size_t track, std::int64_t k) {
            return k >= 0 && k < length ? static_cast<double>(tracks[track][static_cast<std::size_t>(k)]) : 0.0;
        };
        return std::sqrt(0.5) * (at(0, n - 47995) + at(1, n + 48000));
    };
    adjustments[0].nudge = Seconds(47995.0 / rate);
    Rig rig(std::make_shared<MemorySource>(tracks));
    rig.player.setAdjustments(adjustments);
    CHECK(rig.player.trouble().empty());
    rig.player.play();
    rig.run(length);
    double worst = 0.0;
    for (std::int64_t n = fadeSamples; n < length - guardDelay(); ++n)
        worst = std::max(
            worst, std::abs(static_cast<double>(rig.left[static_cast<std::size_t>(n + guardDelay())]) - expected(n)));
    CHECK(worst < 1e-6);
    CHECK(rig.player.meters().dropouts == 0);

    adjustments[1].nudge = Seconds(-1.5);
    rig.player.setAdjustments(adjustments);
    CHECK(rig.player.trouble() == "track 2: nudged by more than can be played; heard nudged by 1 s");
}

TEST_CASE("a device of another rate hears the same sum resampled, in time") {
    // 4800 periods of 1 kHz and the phase at the end: a slip of a sample would show as 0.13 rad.
    for (double deviceRate : {44100.0, 96000.0}) {
        const auto source = std::make_shared<MemorySource>(Tracks{tone(5 * 48000, 1000.0)});
        Rig rig(source, {}, deviceRate);
        rig.player.play();
        const int length = static_cast<int>(4.5 * deviceRate);
        rig.run(length, 441);
        const auto phase = [&](int from) {
            std::complex<double> sum;
            const int periods = static_cast<int>(deviceRate / 10.0); // 100 periods
            for (int n = from; n < from + periods; ++n)
                sum += static_cast<double>(rig.left[static_cast<std::size_t>(n)]) *
                       std::polar(1.0, -2.0 * std::numbers::pi * 1000.0 * n / deviceRate);
            CHECK(2.0 * std::abs(sum) / periods == Approx(0.5 * std::sqrt(0.5)).epsilon(1e-3));
            return std::arg(sum);
        };
        const double early = phase(static_cast<int>(0.2 * deviceRate)),
                     late = phase(static_cast<int>(4.3 * deviceRate));
        CHECK(std::abs(std::remainder(late - early, 2.0 * std::numbers::pi)) < 1e-3);
        CHECK(rig.player.position() == Approx(4.5 * 48000).margin(4096)); // the resampler's own delay and step
    }
}

TEST_CASE("the output level starts at -18 dB, ramps, and never exceeds 0 dB") {
    const auto source = std::make_shared<MemorySource>(Tracks{std::vector<float>(1 << 17, 0.5f)});
    Player fresh;
    CHECK(fresh.outputLevel() == Decibels(-18.0));
    Rig rig(source, {}, 0.0, fresh.outputLevel());
    rig.player.play();
    rig.run(10000);
    CHECK(decibelsOfAmplitude(static_cast<double>(rig.left.back()) / 0.5 / std::sqrt(0.5)) ==
          Approx(-18.0).margin(1e-3));
    rig.player.setOutputLevel(Decibels(6.0));
    CHECK(rig.player.outputLevel() == Decibels(0.0));
    rig.run(10000);
    CHECK(decibelsOfAmplitude(static_cast<double>(rig.left.back()) / 0.5 / std::sqrt(0.5)) == Approx(0.0).margin(1e-3));
    for (std::size_t n = 10001; n < rig.left.size(); ++n) // the full way in 50 ms
        REQUIRE(std::abs(rig.left[n] - rig.left[n - 1]) < 1.05f * 0.354f / 2400.0f);
}

TEST_CASE("the guard holds the sum of many loud tracks and the meters tell") {
    Tracks tracks(8, tone(1 << 17, 200.0, rate, 0.9));
    Rig rig(std::make_shared<MemorySource>(tracks));
    CHECK_FALSE(rig.player.meters().guardActive);
    rig.player.play();
    rig.run(48000);
    const auto limit = static_cast<float>(amplitudeOfDecibels(Guard::ceiling.value));
    CHECK(peakOf(rig.left, 0, rig.left.size()) <= limit);
    const auto meters = rig.player.meters();
    CHECK(meters.guardActive);
    CHECK(meters.peakLeft == peakOf(rig.left, 0, rig.left.size()));
    CHECK(meters.peakRight == meters.peakLeft);
    rig.player.setOutputLevel(Decibels(-18.0));
    rig.run(48000);
    rig.player.meters();
    rig.run(48000);
    CHECK_FALSE(rig.player.meters().guardActive);
    // The rms of a sine is its peak by the square root of two. What is metered is the sum, whatever the output level.
    const auto settled = rig.player.meters();
    REQUIRE(settled.sum.left.rmsDb);
    CHECK(*settled.sum.left.rmsDb ==
          Approx(decibelsOfAmplitude(8 * 0.9 * std::sqrt(0.5) * std::sqrt(0.5))).margin(0.05));
    CHECK(settled.sum.correlation == Approx(1.0).margin(1e-6));
    CHECK(settled.peakLeft == 0.0f);
}

TEST_CASE("what is in memory around the position can be looked at while it plays") {
    const int length = 1 << 17;
    const auto tracks = noiseTracks(3, length);
    Rig rig(std::make_shared<MemorySource>(tracks));
    rig.player.play();
    rig.run(40000, 64);
    const int count = 16384;
    const auto around = rig.player.samplesAround(count);
    REQUIRE(around.size() == 3);
    const auto from = static_cast<std::size_t>(rig.player.position() - count / 2);
    for (std::size_t track = 0; track < 3; ++track)
        CHECK(std::equal(around[track].begin(), around[track].end(),
                         tracks[track].begin() + static_cast<std::ptrdiff_t>(from)));
    // In a moment all of it is in memory; silence lies around it.
    Rig::waitUntil([&] { return rig.player.samplesAround(10 * length).size() == 3; });
    rig.player.open(nullptr);
    CHECK(rig.player.samplesAround(count).empty());
}

TEST_CASE("a device with one output hears both sides, one with many hears them on the first two") {
    const auto source = std::make_shared<MemorySource>(Tracks{std::vector<float>(1 << 16, 0.5f)});
    Rig rig(source);
    TrackAdjustment toTheLeft;
    toTheLeft.pan = -1.0;
    rig.player.setAdjustments(std::vector{toTheLeft});
    rig.player.play();
    rig.run(5000);
    std::vector<float> a(256, 9.0f), b(256, 9.0f), c(256, 9.0f);
    float* four[] = {a.data(), b.data(), nullptr, c.data()};
    rig.player.callback().audioDeviceIOCallbackWithContext(nullptr, 0, four, 4, 256, {});
    CHECK(a.back() == 0.5f);
    CHECK(b.back() == 0.0f);
    CHECK(c.back() == 0.0f);
    float* one[] = {a.data()};
    rig.player.callback().audioDeviceIOCallbackWithContext(nullptr, 0, one, 1, 256, {});
    CHECK(a.back() == 0.25f);
}

TEST_CASE("a device that announces itself again at the same rate leaves no gap") {
    Rig rig(std::make_shared<MemorySource>(Tracks{std::vector<float>(1 << 16, 0.5f)}));
    rig.player.play();
    rig.run(5000);
    NamedRate again(rate);
    rig.player.callback().audioDeviceAboutToStart(&again);
    rig.run(5000);
    CHECK(std::count(rig.left.begin() + 4000, rig.left.end(), rig.left[4000]) == 6000);
}

TEST_CASE("a recording of one sample, and one with a track that no file holds, play") {
    for (int length : {1, 100, 8192, 8193}) {
        const auto source =
            std::make_shared<MemorySource>(Tracks{std::vector<float>(static_cast<std::size_t>(length), 0.5f), {}}, rate,
                                           std::vector<std::vector<int>>{{0}});
        Rig rig(source);
        rig.player.play();
        rig.run(20000);
        CHECK(rig.player.meters().dropouts == 0);
        CHECK(rig.player.position() < std::max(length, 2400));
    }
}

TEST_CASE("a device thread and a restless user never meet in the same memory") {
    // What it shows, it shows to the thread sanitizer; without it, only that nothing crashes or hangs.
    const auto source = std::make_shared<MemorySource>(noiseTracks(4, 1 << 17));
    Player player;
    std::atomic<bool> end{false};
    NamedRate first(48000.0), second(44100.0);
    player.callback().audioDeviceAboutToStart(&first);
    std::thread device([&] {
        std::vector<float> left(1024), right(1024);
        float* outputs[] = {left.data(), right.data()};
        for (int round = 0; !end; ++round) {
            if (round % 500 == 499) player.callback().audioDeviceAboutToStart(round % 1000 == 499 ? &second : &first);
            player.callback().audioDeviceIOCallbackWithContext(nullptr, 0, outputs, 2, 1 + round * 37 % 1024, {});
            std::this_thread::sleep_for(std::chrono::microseconds(100));
        }
    });
    const auto other = std::make_shared<TrackSound>(TrackSound{0, noiseTracks(4, 1 << 15)});
    for (int round = 0; round < 12; ++round) {
        player.open(source, plainTracks(4));
        player.play();
        RandomUser user(player, 4, 1 << 17, static_cast<unsigned>(round), other);
        for (int step = 0; step < 60; ++step) {
            user.performAny();
            if (step % 5 == 0) player.play();
            std::this_thread::sleep_for(std::chrono::microseconds(300));
        }
        if (round % 3 == 0) player.open(nullptr);
    }
    end = true;
    device.join();
    CHECK(player.trouble().empty());
}
