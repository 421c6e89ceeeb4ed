#include "Audition/PracticeSum.h"

#include "Audition/Player.h"
#include "Core/Scene/PracticeSounds.h"
#include "Rig.h"

#include <algorithm>
#include <atomic>
#include <numbers>

using namespace spillwright;
using namespace spillwright::test;

namespace {

constexpr double rate = 48000.0;

/// Two microphones in a small room: the second one further away.
PracticeRoom duo(double absorption = 0.3) {
    PracticeRoom room;
    room.size = {6.0, 5.0, 3.0};
    room.absorption.fill(absorption);
    room.decay = Seconds(0.2);
    room.source = {1.5, 2.5, 1.3};
    room.microphones = {{"near", {2.5, 2.5, 1.3}, {}, {}}, {"far", {3.2, 2.9, 1.1}, {}, {}}};
    return room;
}

std::shared_ptr<const std::vector<float>> loopOf(std::vector<float> samples) {
    return std::make_shared<const std::vector<float>>(std::move(samples));
}

/// The practice room alone, asked for blocks of a size that suits nobody.
struct Heard {
    explicit Heard(const PracticeRoom& room, std::vector<float> loop) : sum(rate), acoustics(rate) {
        sum.setSound(loopOf(std::move(loop)));
        sum.hear(acoustics.follow(room, Detail::resting));
        sum.play();
    }
    void run(int count, int block = 100) {
        while (count > 0) {
            const int now = std::min(block, count);
            const std::size_t start = left.size();
            left.resize(start + static_cast<std::size_t>(now));
            right.resize(left.size());
            const RealTimeTrap trap;
            sum.render(left.data() + start, right.data() + start, now);
            count -= now;
        }
    }
    PracticeSum sum;
    PracticeAcoustics acoustics;
    std::vector<float> left, right;
};

/// What a loop that has always been going sounds like through a response: exact, in double.
std::vector<float> through(const std::vector<float>& loop, const std::vector<float>& response) {
    std::vector<std::complex<double>> a(loop.size()), b(loop.size());
    for (std::size_t n = 0; n < loop.size(); ++n)
        a[n] = static_cast<double>(loop[n]);
    for (std::size_t n = 0; n < response.size(); ++n)
        b[n % b.size()] += static_cast<double>(response[n]);
    transformByHalves(a, -1.0);
    transformByHalves(b, -1.0);
    for (std::size_t k = 0; k < a.size(); ++k)
        a[k] *= b[k];
    transformByHalves(a, 1.0);
    std::vector<float> result(loop.size());
    for (std::size_t n = 0; n < result.size(); ++n)
        result[n] = static_cast<float>(a[n].real() / static_cast<double>(a.size()));
    return result;
}

constexpr int loopLength = 1 << 16;

} // namespace

TEST_CASE("what is heard of a practice room is its loop through the responses, to the rounding of a float") {
    PracticeRoom room = duo();
    room.microphones[0].adjustment.pan = -0.5;
    room.microphones[1].adjustment.pan = 0.7;
    room.microphones[1].adjustment.highPass = Hertz(100.0);
    const auto loop = whiteNoise(loopLength, 1);
    Heard heard(room, loop);
    heard.run(3 * loopLength); // the first round begins in silence
    const auto& responses = heard.acoustics.follow(room, Detail::resting);
    for (const auto& [side, response] :
         {std::pair(&heard.left, &responses.left), std::pair(&heard.right, &responses.right)}) {
        auto expected = through(loop, *response);
        CHECK(differenceDb(*side, expected, 0, loopLength, 2 * loopLength) < -110.0);
    }
}

TEST_CASE("the heard sum's comb is the one that is shown") {
    // Without walls: nulls where the reading says, as deep as a second of noise in a loop tells exactly.
    PracticeRoom room = duo(1.0);
    const auto loop = whiteNoise(loopLength, 2);
    Heard heard(room, loop);
    heard.run(3 * loopLength);
    std::vector<std::complex<double>> in(loopLength), out(loopLength);
    for (std::size_t n = 0; n < loopLength; ++n) {
        in[n] = static_cast<double>(loop[n]);
        out[n] = static_cast<double>(heard.left[2 * loopLength + n]);
    }
    transformByHalves(in, -1.0);
    transformByHalves(out, -1.0);
    const auto reading = readingOf(room, heard.acoustics.follow(room, Detail::resting));
    REQUIRE(reading.notches.size() > 5);
    const double binHz = rate / loopLength;
    const auto gainDb = [&](double hertz) { // against one microphone; the pan's centre takes 3.01 dB
        const auto bin = static_cast<std::size_t>(std::lround(hertz / binHz));
        return 20.0 * std::log10(std::abs(out[bin] / in[bin])) + 3.0103 - reading.paths[0].level.value;
    };
    for (std::size_t index = 0; index < 5; ++index) {
        const auto& notch = reading.notches[index];
        const double away = 0.5 * binHz * 2.0 * std::numbers::pi * std::abs(reading.pairs[0].arrival.value);
        // Half a bin beside the bottom the sum is longer by at most that turn of the softer sound.
        const double filled = 20.0 * std::log10(1.0 + away / std::pow(10.0, notch.levelDb / 20.0));
        CAPTURE(index, notch.frequency.value);
        CHECK(gainDb(notch.frequency.value) == Approx(notch.levelDb).margin(0.05 + filled));
    }
    for (const double order : {1.0, 2.0, 3.0})
        CHECK(gainDb(order / std::abs(reading.pairs[0].arrival.value)) ==
              Approx(reading.pairs[0].peak.value).margin(0.05));
}

TEST_CASE("a change in the practice room is heard within 50 ms, and no later change is lost") {
    PracticeRoom room = duo(1.0);
    const auto loop = whiteNoise(loopLength, 3);
    Heard heard(room, loop);
    heard.run(2 * loopLength);
    // A rush of changes: the last one counts, in the end.
    for (int step = 0; step < 7; ++step) {
        room.microphones[1].position.x += 0.03;
        heard.sum.hear(heard.acoustics.follow(room, Detail::moving));
        heard.run(37);
    }
    const std::size_t changed = heard.left.size();
    constexpr int within = static_cast<int>(0.055 * rate); // the fade under way may have to end first
    heard.run(2 * loopLength);
    const auto expected = through(loop, heard.acoustics.follow(room, Detail::moving).left);
    const auto now = static_cast<std::int64_t>(changed) + within;
    std::vector<float> later;
    for (std::int64_t n = now; n < now + loopLength; ++n)
        later.push_back(expected[static_cast<std::size_t>(n % loopLength)]);
    CHECK(differenceDb(heard.left, later, 0, loopLength, now) < -100.0);
    static_assert(2 * PracticeSum::fade + 2 * PracticeSum::block <= within);
}

TEST_CASE("dragging makes no click and no zipper") {
    PracticeRoom room = duo();
    Heard heard(room, tone(48000, 100.0)); // 100 whole periods: its loop has no seam
    heard.run(65536);
    const std::size_t from = heard.left.size();
    for (int step = 0; step < 60; ++step) { // two seconds at 30 a second, from 0.7 m/s to standing
        room.microphones[1].position.x = 3.2 + 0.5 * std::sin(0.1 * step);
        heard.sum.hear(heard.acoustics.follow(room, Detail::moving));
        heard.run(1600);
    }
    // A step of the level by 1 % would leave -63 dB above 5 kHz.
    for (std::size_t at = from; at + 32768 < heard.left.size(); at += 16384) {
        CHECK(shareAboveDb(heard.left, at, 5000.0) < -85.0);
        CHECK(shareAboveDb(heard.right, at, 5000.0) < -85.0);
    }
}

TEST_CASE("another sound takes over without a click, and silence too") {
    Heard heard(duo(), tone(48000, 100.0));
    heard.run(65536);
    heard.sum.setSound(loopOf(tone(48000, 150.0, rate, 0.4)));
    heard.run(32768);
    CHECK(shareAboveDb(heard.left, 65536 - 16384, 5000.0) < -80.0);
    heard.sum.setSound(nullptr);
    heard.run(65536);
    CHECK(shareAboveDb(heard.left, 65536 + 32768 - 16384, 5000.0) < -60.0); // the 10 ms at which it ends
    CHECK(peakOf(heard.left, heard.left.size() - 10000, heard.left.size()) < 1e-6f);
    heard.sum.setSound(loopOf({}));
    heard.run(65536);
    CHECK(peakOf(heard.left, heard.left.size() - 10000, heard.left.size()) < 1e-6f);
}

TEST_CASE("playing starts and stops with a fade, and goes on where it stopped") {
    Heard heard(duo(1.0), tone(48000, 100.0));
    heard.run(30000);
    heard.sum.stop();
    CHECK_FALSE(heard.sum.playing());
    heard.run(10000);
    CHECK_FALSE(heard.sum.sounding());
    CHECK(peakOf(heard.left, 30000 + fadeSamples, 40000) == 0.0f);
    CHECK(peakOf(heard.left, 29000, 30000) > 0.1f);
    heard.sum.play();
    heard.run(40000);
    CHECK(heard.sum.sounding());
    CHECK(shareAboveDb(heard.left, 15000, 5000.0) < -60.0);
    CHECK(shareAboveDb(heard.left, 35000, 5000.0) < -60.0);
}

TEST_CASE("what gets louder by more than 3 dB rises, what gets softer does so at once") {
    PracticeRoom room = duo(1.0);
    room.microphones.resize(1);
    Heard heard(room, whiteNoise(loopLength, 4));
    heard.run(20000);
    const auto levelDb = [&](std::size_t from, std::size_t to) {
        double power = 0.0;
        for (std::size_t n = from; n < to; ++n)
            power += static_cast<double>(heard.left[n]) * static_cast<double>(heard.left[n]);
        return 10.0 * std::log10(power / static_cast<double>(to - from));
    };
    const double before = levelDb(10000, 20000);
    room.microphones[0].adjustment.gain = Decibels(15.0);
    heard.sum.hear(heard.acoustics.follow(room, Detail::resting), PracticeSum::Change::beginning);
    heard.run(60000);
    // 27 ms after the change, 2 dB later than it began at 20 dB a second; a tenth of a second of noise tells 0.3 dB.
    CHECK(levelDb(21400, 23800) - before == Approx(LiveSum::mostLouderDb + 20.0 * (2600.0 / rate)).margin(0.6));
    CHECK(levelDb(20000 + 24000, 20000 + 26400) - before == Approx(3.0 + 20.0 * 0.525).margin(0.6));
    CHECK(levelDb(65000, 80000) - before == Approx(15.0).margin(0.3));
    room.microphones[0].adjustment.gain = Decibels(-10.0);
    heard.sum.hear(heard.acoustics.follow(room, Detail::resting));
    heard.run(20000);
    CHECK(levelDb(85000, 100000) - before == Approx(-10.0).margin(0.3));

    // From silence (muted) too, and all the way.
    room.microphones[0].adjustment.muted = true;
    heard.sum.hear(heard.acoustics.follow(room, Detail::resting));
    heard.run(20000);
    CHECK(peakOf(heard.left, 110000, 120000) < 1e-6f);
    room.microphones[0].adjustment.muted = false;
    heard.sum.hear(heard.acoustics.follow(room, Detail::resting));
    heard.run(80000);
    CHECK(levelDb(121400, 123800) - before < -40.0);
    CHECK(levelDb(185000, 200000) - before == Approx(-10.0).margin(0.3));
}

TEST_CASE("a microphone that is dragged onto the source gets 6 dB louder than the step, and no more") {
    PracticeRoom room = duo(1.0);
    room.microphones.resize(1);
    const auto loop = whiteNoise(loopLength, 5);
    Heard heard(room, loop);
    heard.run(2 * loopLength);
    const auto levelDb = [&] { // of the last round of the loop
        double power = 0.0;
        for (std::size_t n = heard.left.size() - loopLength; n < heard.left.size(); ++n)
            power += static_cast<double>(heard.left[n]) * static_cast<double>(heard.left[n]);
        return 10.0 * std::log10(power / loopLength);
    };
    const double before = levelDb();
    const auto moveTo = [&](double metres) {
        room.microphones[0].position.x = room.source.x + metres;
        heard.sum.hear(heard.acoustics.follow(room, Detail::moving));
    };
    CHECK(heard.sum.turnedDown() == Decibels(0.0));
    for (const double metres : {0.8, 0.5, 0.3, 0.1, 0.03}) {
        moveTo(metres);
        heard.run(3000);
    }
    moveTo(0.01); // 40 dB louder than at 1 m
    heard.run(4 * loopLength);
    CHECK(levelDb() - before == Approx(PracticeSum::mostLouderDb).margin(0.1));
    // What the engine's filters take of white noise at both ends is 0.15 dB.
    CHECK(heard.sum.turnedDown().value == Approx(40.0 - PracticeSum::mostLouderDb).margin(0.2));
    // Another sound is held alike.
    heard.sum.setSound(loopOf(whiteNoise(loopLength, 6)));
    heard.run(3 * loopLength);
    CHECK(levelDb() - before == Approx(PracticeSum::mostLouderDb).margin(0.3));
    // 5.2 dB are all heard: 20 lg (1/0.55); away again nothing is taken.
    moveTo(0.55);
    heard.run(3 * loopLength);
    CHECK(heard.sum.turnedDown() == Decibels(0.0));
    CHECK(levelDb() - before == Approx(5.19).margin(0.3));
    // A step that is loud by itself may be 12 dB louder than one microphone at 1 m.
    moveTo(0.01);
    heard.sum.hear(heard.acoustics.follow(room, Detail::resting), PracticeSum::Change::beginning);
    CHECK(heard.sum.turnedDown().value ==
          Approx(40.0 - PracticeSum::mostLouderDb - PracticeSum::loudestBeginningDb).margin(0.2));
}

TEST_CASE("the practice room's callback allocates nothing and takes no lock, whatever is changed", "[long]") {
    const auto allocations = RealTimeTrap::allocations(), locks = RealTimeTrap::locks();
    PracticeRoom room = duo();
    Player player;
    NamedRate device(44100.0); // resampled
    player.callback().audioDeviceAboutToStart(&device);
    const auto practice = std::make_shared<PracticeSum>(rate);
    PracticeAcoustics acoustics(rate);
    practice->setSound(loopOf(practiceSound(PracticeSound::drums, rate)));
    practice->hear(acoustics.follow(room, Detail::resting));
    player.practise(practice);
    player.setOutputLevel(Decibels(0.0));
    player.play();
    std::vector<float> left(333), right(333);
    float* outputs[] = {left.data(), right.data()};
    for (int step = 0; step < 300; ++step) {
        room.microphones[1].position.y = 2.0 + 0.003 * step;
        room.microphones[0].adjustment.flip = step % 20 < 10;
        room.microphones[1].adjustment.highPass.reset();
        if (step % 30 < 15) room.microphones[1].adjustment.highPass = Hertz(80.0);
        room.microphones[0].adjustment.muted = step % 50 > 45;
        practice->hear(acoustics.follow(room, step % 10 == 9 ? Detail::resting : Detail::moving));
        if (step == 150) practice->setSound(loopOf(practiceSound(PracticeSound::voice, rate)));
        if (step % 100 == 80) player.stop();
        if (step % 100 == 90) player.play();
        player.setListening({step % 40 < 20 ? Listening::Sides::mono : Listening::Sides::stereo, {}});
        const RealTimeTrap trap;
        player.callback().audioDeviceIOCallbackWithContext(nullptr, 0, outputs, 2, 333, {});
    }
    CHECK(RealTimeTrap::allocations() == allocations);
    CHECK(RealTimeTrap::locks() == locks);
}

TEST_CASE("a practice room is heard in the place of the recording, which stays where it is") {
    const auto source = std::make_shared<MemorySource>(std::vector<std::vector<float>>{tone(1 << 18, 200.0)});
    Rig rig(source, {}, rate, Decibels(-6.0));
    rig.player.play();
    rig.run(20000);
    const auto position = rig.player.position();
    PracticeRoom room = duo(1.0);
    room.microphones.resize(1);
    const auto practice = std::make_shared<PracticeSum>(rate);
    PracticeAcoustics acoustics(rate);
    practice->setSound(loopOf(tone(48000, 100.0, rate, 0.25)));
    practice->hear(acoustics.follow(room, Detail::resting));
    std::atomic<bool> end{false};
    std::thread device([&] { // practise() waits for the fade
        while (!end) {
            rig.callBack(256);
            std::this_thread::sleep_for(std::chrono::microseconds(500));
        }
    });
    rig.player.practise(practice);
    end = true;
    device.join();
    CHECK_FALSE(rig.player.playing());
    const auto stopped = rig.player.position();
    CHECK(stopped >= position + fadeSamples);
    std::size_t from = rig.left.size();
    rig.run(10000, 256, false);
    CHECK(peakOf(rig.left, from + 2000, rig.left.size()) == 0.0f); // it does not play by itself
    rig.player.play();
    CHECK(rig.player.playing());
    CHECK(rig.player.ready());
    from = rig.left.size();
    rig.run(48000, 256, false);
    // 1 m from the source, the pan's centre, and the output level; the filter at 25 Hz leaves 0.996 of 100 Hz.
    CHECK(peakOf(rig.left, from + 30000, rig.left.size()) ==
          Approx(0.25 * std::sqrt(0.5) * amplitudeOfDecibels(-6.0)).epsilon(0.01));
    CHECK(rig.player.position() == stopped);
    CHECK(rig.player.meters().sum.left.rmsDb); // they read the practice room
    rig.player.stop();
    rig.run(10000, 256, false);
    rig.player.practise(nullptr);
    rig.player.play();
    rig.run(20000);
    CHECK(rig.player.position() == stopped + 20000);
}

TEST_CASE("a loud practice room is held by the guard, and starts at the level that was left") {
    Player player;
    NamedRate device(rate);
    player.callback().audioDeviceAboutToStart(&device);
    CHECK(player.outputLevel() == Player::startLevel);
    PracticeRoom room = duo(1.0);
    room.microphones[0].position = {1.55, 2.5, 1.3}; // 26 dB louder than at 1 m
    const auto practice = std::make_shared<PracticeSum>(rate);
    PracticeAcoustics acoustics(rate);
    practice->setSound(loopOf(tone(48000, 1000.0, rate, 0.9)));
    practice->hear(acoustics.follow(room, Detail::resting));
    player.practise(practice);
    player.setOutputLevel(Decibels(0.0));
    player.play();
    std::vector<float> left(48000), right(48000);
    float* outputs[] = {left.data(), right.data()};
    player.callback().audioDeviceIOCallbackWithContext(nullptr, 0, outputs, 2, 48000, {});
    CHECK(peakOf(left, 0, left.size()) <= static_cast<float>(amplitudeOfDecibels(Guard::ceiling.value)));
    CHECK(peakOf(left, 0, left.size()) > 0.8f);
    CHECK(player.meters().guardActive);
}

TEST_CASE("a device thread and a hand that drags never meet in the same memory") {
    // What it shows, it shows to the thread sanitizer; without it, only that nothing crashes or hangs.
    Player player;
    NamedRate device(rate);
    player.callback().audioDeviceAboutToStart(&device);
    std::atomic<bool> end{false};
    std::thread asking([&] {
        std::vector<float> left(256), right(256);
        float* outputs[] = {left.data(), right.data()};
        while (!end) {
            player.callback().audioDeviceIOCallbackWithContext(nullptr, 0, outputs, 2, 256, {});
            std::this_thread::sleep_for(std::chrono::microseconds(200));
        }
    });
    for (int round = 0; round < 3; ++round) {
        const auto practice = std::make_shared<PracticeSum>(rate);
        PracticeAcoustics acoustics(rate);
        PracticeRoom room = duo();
        practice->setSound(loopOf(whiteNoise(20000, 5, 0.02)));
        practice->hear(acoustics.follow(room, Detail::moving));
        player.practise(practice);
        player.play();
        for (int step = 0; step < 20; ++step) {
            room.microphones[1].position.x += 0.01;
            practice->hear(acoustics.follow(room, Detail::moving));
            if (step == 10) practice->setSound(loopOf(whiteNoise(10000, 6, 0.02)));
            player.meters();
        }
        player.practise(round == 1 ? nullptr : practice);
    }
    player.practise(nullptr);
    end = true;
    asking.join();
    CHECK_FALSE(player.playing());
}
