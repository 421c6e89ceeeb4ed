#include "Demo/LessonRecording.h"

#include "Core/Measure/CrossSpectra.h"
#include "Core/Scene/PracticeAcoustics.h"
#include "Core/Scene/PracticeRecording.h"
#include "Media/Recording.h"
#include "Support/TemporaryFolder.h"
#include "Support/TestSignals.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <complex>
#include <fstream>
#include <set>
#include <string>
#include <vector>

using namespace spillwright;
using namespace spillwright::test;

namespace {

using Spectrum = std::vector<std::complex<double>>;

constexpr double rate = lessonSampleRate;
constexpr double centreDb = 3.0103; ///< What the pan's centre takes.

Spectrum spectrumOf(const std::vector<float>& samples, std::size_t length) {
    REQUIRE(samples.size() <= length);
    Spectrum spectrum(length);
    for (std::size_t n = 0; n < samples.size(); ++n)
        spectrum[n] = static_cast<double>(samples[n]);
    transformByHalves(spectrum, -1.0);
    return spectrum;
}

/// What a sound has become of another: the quotient of the two spectra, each of the whole sound.
class Transfer {
public:
    Transfer(const std::vector<float>& out, const std::vector<float>& in, std::size_t length)
        : top(spectrumOf(out, length)), bottom(spectrumOf(in, length)), binHz(rate / static_cast<double>(length)) {}

    double dbAt(double hertz) const { return dbOf(static_cast<std::size_t>(std::lround(hertz / binHz))); }
    /// The lowest place between two frequencies, Hz.
    double nullWithin(double low, double high) const {
        std::size_t lowest = static_cast<std::size_t>(std::ceil(low / binHz));
        for (std::size_t bin = lowest; static_cast<double>(bin) * binHz <= high; ++bin)
            if (dbOf(bin) < dbOf(lowest)) lowest = bin;
        return static_cast<double>(lowest) * binHz;
    }
    double lowestDb(double low, double high) const { return dbAt(nullWithin(low, high)); }
    double bin() const { return binHz; }

private:
    double dbOf(std::size_t index) const { return 20.0 * std::log10(std::abs(top[index] / bottom[index]) + 1e-12); }
    Spectrum top, bottom;
    double binHz;
};

Lesson lessonNamed(const std::string& name) {
    for (const auto& entry : lessons())
        if (entry.name == name) {
            auto lesson = readLessonFile(entry.file);
            REQUIRE(lesson);
            return std::move(lesson).value();
        }
    FAIL("no lesson " << name);
    return {};
}

/// The filter at dcCorner begins to ring before the sound does: what a recording would cut off, silence holds.
std::vector<float> afterSilence(std::vector<float> sound) {
    sound.insert(sound.begin(), ImpulseResponse::lead, 0.0f);
    return sound;
}

/// The steps of a lesson, played: noise through its rooms.
class Played {
public:
    explicit Played(const std::string& name) : lesson(lessonNamed(name)), workers(1) {
        for (const auto& step : lesson.steps)
            recordings.push_back(recordPractice(step.room, noise, rate, workers));
    }
    /// Of the stereo sum's left side, against one microphone of the step or the noise itself.
    Transfer sumAgainst(std::size_t step, std::size_t microphone) const {
        return {recordings.at(step).left, recordings[step].microphones.at(microphone), length};
    }
    Transfer sum(std::size_t step) const { return {recordings.at(step).left, noise, length}; }

    static constexpr std::size_t length = 1 << 17;
    const std::vector<float> noise = afterSilence(whiteNoise(1 << 15, 1));
    Lesson lesson;
    Workers workers;
    std::vector<PracticeRecording> recordings;
};

double power(const std::vector<float>& samples) {
    double sum = 0.0;
    for (const float sample : samples)
        sum += static_cast<double>(sample) * static_cast<double>(sample);
    return sum;
}

std::vector<std::vector<float>> readTracks(const std::filesystem::path& folder, std::vector<std::string>& names) {
    auto recording = Recording::open(folder, {});
    REQUIRE(recording);
    std::vector<std::vector<float>> tracks((*recording)->tracks().size());
    for (std::size_t group = 0; group < (*recording)->groups().size(); ++group) {
        const auto& members = (*recording)->groups()[group];
        auto reader = (*recording)->openGroup(static_cast<int>(group));
        REQUIRE(reader);
        std::vector<float*> into;
        for (const int member : members) {
            auto& track = tracks[static_cast<std::size_t>(member)];
            track.resize(static_cast<std::size_t>((*recording)->length()));
            into.push_back(track.data());
        }
        REQUIRE((*reader)->read(0, static_cast<int>((*recording)->length()), into));
    }
    for (const auto& track : (*recording)->tracks())
        names.push_back(track.file + " " + std::to_string(track.channel));
    return tracks;
}

} // namespace

TEST_CASE("the files of the first lesson have their nulls where the table of delays says", "[long]") {
    // Everest & Pohlmann, Master Handbook of Acoustics, ch. 10 (published): nulls (2k+1)/(2t), crests k/t.
    const double table[] = {5000.0, 2000.0, 1000.0, 500.0, 250.0, 166.667, 100.0, 62.5, 50.0, 25.0};
    TemporaryFolder folder;
    Workers workers(2);
    const auto lesson = lessonNamed("one delay, one comb");
    REQUIRE(lesson.steps.size() == std::size(table));
    REQUIRE(lesson.sound == PracticeSound::pinkNoise);
    REQUIRE(writeLesson(lesson, std::nullopt, folder / "out", workers, {}));
    std::vector<std::string> names;
    const auto tracks = readTracks(folder / "out", names);
    const auto track = [&](const std::string& name) -> const std::vector<float>& {
        const auto found = std::find(names.begin(), names.end(), name);
        INFO(name);
        REQUIRE(found != names.end());
        return tracks[static_cast<std::size_t>(found - names.begin())];
    };
    for (std::size_t step = 0; step < std::size(table); ++step) {
        const std::string number = (step < 9 ? "0" : "") + std::to_string(step + 1);
        const double first = table[step];
        CAPTURE(step, first);
        CHECK(lesson.steps[step].title.find(std::to_string(static_cast<int>(first))) != std::string::npos);
        const Transfer sum(track(number + " sum.wav 0"), track(number + " microphone 1 here.wav 0"), 1 << 19);
        // A bin is 0.09 Hz wide; the table is rounded to six digits; 24 bits leave noise that moves no null by a bin.
        CHECK(sum.nullWithin(0.6 * first, 1.4 * first) == Approx(first).margin(1.5 * sum.bin() + 1e-5 * first));
        CHECK(sum.nullWithin(2.6 * first, 3.4 * first) == Approx(3.0 * first).margin(1.5 * sum.bin() + 1e-5 * first));
        CHECK(sum.lowestDb(0.9 * first, 1.1 * first) < -35.0);
        CHECK(sum.dbAt(2.0 * first) + centreDb == Approx(6.02).margin(0.02));
    }
}

TEST_CASE("the heard level differences leave the ripple of the table") {
    const Played played("a level difference fills the notch");
    // Computed, 20 lg(1 +- g), g = 10^(-difference/20). The first has no bottom.
    const double table[][2] = {{6.02, -60.0}, {5.53, -19.27}, {4.65, -10.69}, {3.53, -6.04},
                               {2.50, -3.52}, {1.95, -2.51},  {0.83, -0.92},  {0.27, -0.28}};
    REQUIRE(played.lesson.steps.size() == std::size(table));
    for (std::size_t step = 0; step < std::size(table); ++step) {
        CAPTURE(step);
        const auto sum = played.sumAgainst(step, 0);
        CHECK(sum.dbAt(1000.0) + centreDb == Approx(table[step][0]).margin(0.01));
        if (step == 0)
            CHECK(sum.dbAt(500.0) + centreDb < table[step][1]);
        else
            CHECK(sum.dbAt(500.0) + centreDb == Approx(table[step][1]).margin(0.015)); // 0.1 Hz beside; rounding
    }
}

TEST_CASE("three times the distance is heard as 6 dB from crest to notch") {
    const Played played("three to one");
    const auto ripple = [&](std::size_t step) {
        const auto& room = played.lesson.steps[step].room;
        const double late = (distanceBetween(room.microphones[1].position, room.source) -
                             distanceBetween(room.microphones[0].position, room.source)) /
                            343.2; // ISO 9613-1 at 20 degrees
        const auto sum = played.sumAgainst(step, 0);
        return sum.dbAt(2.0 / late) - sum.lowestDb(1.3 / late, 1.7 / late);
    };
    // Computed: 9.54 dB leave 2.50 + 3.52; square on, the root of 10 is 10.0 dB and leaves 2.39 + 3.30.
    CHECK(ripple(3) == Approx(6.02).margin(0.02));
    CHECK(ripple(6) == Approx(5.69).margin(0.02));
    CHECK(ripple(7) > 30.0); // the gain takes the distance back
    for (std::size_t step = 2; step < 6; ++step)
        CHECK(ripple(step) < ripple(step - 1) + 1e-9);
}

TEST_CASE("a flip is heard as crests for notches, a delay leaves the bass") {
    const Played played("polarity against delay");
    CHECK(played.sumAgainst(0, 0).dbAt(300.0) + centreDb == Approx(6.02).margin(0.01));
    const auto late = played.sumAgainst(1, 0), both = played.sumAgainst(3, 0);
    CHECK(late.nullWithin(300.0, 700.0) == Approx(500.0).margin(late.bin()));
    CHECK(both.nullWithin(700.0, 1300.0) == Approx(1000.0).margin(late.bin()));
    CHECK(late.dbAt(30.0) + centreDb == Approx(6.02).margin(0.05)); // cos(pi 30 Hz 1 ms)
    CHECK(both.dbAt(30.0) + centreDb == Approx(20.0 * std::log10(2.0 * std::sin(0.0942))).margin(0.2));
    CHECK(both.dbAt(500.0) + centreDb == Approx(6.02).margin(0.01));
    CHECK(power(played.recordings[2].left) < 1e-10 * power(played.recordings[2].microphones[0]));
}

TEST_CASE("a small delay is heard as the loss of the table") {
    const Played played("how late is too late");
    // Computed, 20 lg |cos(pi f t)|: step, hertz, dB.
    const double table[][3] = {{2, 200, -0.017}, {2, 500, -0.108}, {2, 1000, -0.436}, {3, 200, -0.108},
                               {3, 500, -0.688}, {3, 1000, -3.01}, {4, 200, -0.436},  {4, 500, -3.01}};
    for (const auto& [step, hertz, loss] : table) {
        CAPTURE(step, hertz);
        // Half a bin, 0.2 Hz, where the loss grows by 0.01 dB a hertz at most.
        CHECK(played.sumAgainst(static_cast<std::size_t>(step), 0).dbAt(hertz) + centreDb - 6.0206 ==
              Approx(loss).margin(0.004));
    }
    // What the page says: nothing is left at 5 kHz of 100 microseconds.
    CHECK(played.sumAgainst(2, 0).lowestDb(4990.0, 5010.0) < -50.0);
}

TEST_CASE("N microphones in one place are heard with N times the power of their powers' sum") {
    const Played played("more microphones, more combs");
    const auto& last = played.recordings.back();
    REQUIRE(last.microphones.size() == 8);
    double apart = 0.0;
    for (const auto& microphone : last.microphones)
        apart += power(microphone);
    // Identity: 10 lg 8 = 9.03 dB.
    CHECK(10.0 * std::log10(power(last.left) / apart) + centreDb == Approx(9.03).margin(0.01));
    // Spread out, the power of white noise adds as powers do, but for the bass.
    const auto& spread = played.recordings[3];
    apart = 0.0;
    for (const auto& microphone : spread.microphones)
        apart += power(microphone);
    CHECK(10.0 * std::log10(power(spread.left) / apart) + centreDb == Approx(0.0).margin(0.6));
    CHECK(played.recordings[1].microphones.size() == 8); // the muted ones are there to be heard alone
    const auto alone = played.sumAgainst(0, 0);
    CHECK(alone.dbAt(500.0) + centreDb == Approx(0.0).margin(0.001));
}

TEST_CASE("warm air is heard as a comb that has moved up") {
    const Played played("temperature moves the comb");
    const auto firstNull = [&](std::size_t step) { return played.sumAgainst(step, 0).nullWithin(30.0, 70.0); };
    const auto bin = played.sumAgainst(0, 0).bin();
    // 3.43 m further: 1/(2t), t by ISO 9613-1.
    for (std::size_t step = 0; step < 3; ++step) {
        const double speed = 343.2 * std::sqrt((played.lesson.steps[step].room.temperature.value + 273.15) / 293.15);
        CHECK(firstNull(step) == Approx(speed / (2.0 * 3.43)).margin(bin));
    }
    CHECK(firstNull(0) < firstNull(1));
    CHECK(firstNull(1) < firstNull(2));
}

TEST_CASE("a hard floor is heard as a comb, a carpet hardly, and a microphone on the floor not at all") {
    const Played played("the floor and the music stand");
    const auto stone = played.sum(1);
    // 1 m apart, 1.2 m high: 2.6 m by the floor, 1.6 m more; what comes back is sqrt(0.97)/2.6 of it.
    CHECK(stone.nullWithin(70.0, 150.0) == Approx(343.2 / 3.2).margin(stone.bin()));
    CHECK(stone.lowestDb(70.0, 150.0) + centreDb ==
          Approx(20.0 * std::log10((1.0 - std::sqrt(0.97) / 2.6) * dcGain(Hertz(107.25)))).margin(0.005));
    const auto depth = [&](std::size_t step, double low, double high) {
        const auto sum = played.sum(step);
        return -sum.lowestDb(low, high) + sum.dbAt(std::sqrt(low * high));
    };
    CHECK(std::abs(depth(0, 100.0, 16000.0)) < 0.05);
    CHECK(played.sum(2).lowestDb(70.0, 150.0) > stone.lowestDb(70.0, 150.0) + 1.0);
    CHECK(played.sum(5).nullWithin(500.0, 1500.0) ==
          Approx(343.2 / (2.0 * (std::sqrt(0.36 + 0.25) - 0.6))).margin(stone.bin()));
    const auto onFloor = played.sum(6);
    CHECK(onFloor.dbAt(1000.0) - onFloor.lowestDb(100.0, 10000.0) < 3.0);
}

TEST_CASE("a spaced pair is whole in stereo and combed in mono, a coincident one is whole in both") {
    const Played played("a spaced pair in mono");
    const auto flatness = [](const Transfer& transfer) {
        return transfer.dbAt(1000.0) - transfer.lowestDb(100.0, 10000.0);
    };
    CHECK(flatness(played.sum(0)) < 0.05);
    CHECK(flatness(played.sum(1)) > 15.0);
    CHECK(flatness(played.sum(2)) < 0.05);
    CHECK(flatness(played.sum(3)) < 0.05);
    const auto reading = [&](std::size_t step) {
        PracticeAcoustics acoustics(rate);
        return readingOf(played.lesson.steps[step].room,
                         acoustics.follow(played.lesson.steps[step].room, Detail::moving));
    };
    const auto sum = played.sum(1);
    const double first = reading(1).pairs[0].firstNull->value;
    CHECK(sum.nullWithin(0.7 * first, 1.3 * first) == Approx(first).margin(sum.bin()));
}

TEST_CASE("flipping the microphone below the drum gives it its body, and turning all over changes nothing") {
    const Played played("a kit with one inverted microphone");
    // 100 to 500 Hz, by the bins of the whole sound.
    const auto body = [&](std::size_t step) {
        const auto spectrum = spectrumOf(played.recordings[step].left, Played::length);
        double sum = 0.0;
        for (double hertz = 100.0; hertz < 500.0; hertz += rate / Played::length)
            sum += std::norm(spectrum[static_cast<std::size_t>(std::lround(hertz / rate * Played::length))]);
        return 10.0 * std::log10(sum);
    };
    CHECK(body(1) < body(0) - 6.0);
    CHECK(body(2) > body(1) + 10.0);
    CHECK(body(4) > body(3) + 1.0);
    float most = 0.0f;
    for (std::size_t n = 0; n < played.recordings[4].left.size(); ++n)
        most = std::max(most, std::abs(played.recordings[4].left[n] + played.recordings[5].left[n]));
    CHECK(most < 1e-6f);
    const auto& room = played.lesson.steps[1].room;
    PracticeAcoustics acoustics(rate);
    const auto reading = readingOf(room, acoustics.follow(room, Detail::moving));
    CHECK(reading.paths[0].polarity == Polarity::same);
    CHECK(reading.paths[1].polarity == Polarity::inverted);
}

TEST_CASE("a high-pass is heard to turn a track against the other, and the same on both not") {
    const Played played("a high-pass moves phase");
    // Butterworth of fourth order at its corner: 3.01 dB down and half a turn.
    CHECK(played.sumAgainst(2, 0).dbAt(200.0) + centreDb ==
          Approx(20.0 * std::log10(1.0 - std::sqrt(0.5))).margin(0.1));
    CHECK(played.sumAgainst(3, 0).dbAt(200.0) + centreDb ==
          Approx(20.0 * std::log10(1.0 + std::sqrt(0.5))).margin(0.02));
    // Four octaves above, the flipped one works against what the filter hardly turns: by 2.613/16 of a radian there.
    CHECK(played.sumAgainst(3, 0).dbAt(3200.0) + centreDb == Approx(20.0 * std::log10(2.613 / 16.0)).margin(0.2));
    // Second order: a quarter turn, sqrt(1 + 1/2).
    CHECK(played.sumAgainst(1, 0).dbAt(200.0) + centreDb == Approx(10.0 * std::log10(1.5)).margin(0.02));
    CHECK(played.sumAgainst(4, 0).dbAt(200.0) + centreDb == Approx(6.02).margin(0.001));
}

TEST_CASE("what two microphones have in common falls with their distance from the source, as the lesson says") {
    const auto lesson = lessonNamed("coherence falls with distance");
    std::vector<double> coherence;
    for (std::size_t step = 0; step < 3; ++step) {
        PracticeAcoustics acoustics(rate);
        coherence.push_back(pairCoherence(acoustics.follow(lesson.steps[step].room, Detail::resting), 0, 1, lowMidBand,
                                          usualWindow(rate)));
    }
    CAPTURE(coherence);
    CHECK(coherence[0] == Approx(0.7).margin(0.05)); // what the lesson's page says
    CHECK(coherence[1] < 0.5);
    CHECK(coherence[2] < 0.5);
}

TEST_CASE("on a circle about the source a microphone may move and nothing is heard of it") {
    const Played played("moving one microphone moves every notch");
    const auto& straight = played.recordings[2].left;
    const auto& around = played.recordings[4].left;
    REQUIRE(straight.size() == around.size());
    double difference = 0.0;
    for (std::size_t n = 0; n < straight.size(); ++n)
        difference += std::pow(static_cast<double>(straight[n]) - static_cast<double>(around[n]), 2.0);
    CHECK(difference < 1e-8 * power(straight));
    double last = 1e9;
    for (std::size_t step = 0; step < 4; ++step) { // 10, 20, 40, 80 cm further: 1/(2t)
        const double expected = 343.2 / (2.0 * 0.1 * std::pow(2.0, static_cast<double>(step)));
        const auto sum = played.sumAgainst(step, 0);
        const double null = sum.nullWithin(0.6 * expected, 1.4 * expected);
        CHECK(null == Approx(expected).margin(sum.bin()));
        CHECK(null < last);
        last = null;
    }
}

TEST_CASE("a lesson is written whole: page, lesson and the sound of each step, as it is or with a sound of one's own") {
    TemporaryFolder folder;
    Workers workers(1);
    Lesson lesson = lessonNamed("polarity against delay");
    lesson.steps.resize(2);
    lesson.steps[0].room.microphones[0].name = "a/b:c";
    lesson.steps[0].room.microphones[1].adjustment.gain = Decibels(40.0); // clips
    REQUIRE(writeLesson(lesson, whiteNoise(4800, 3), folder / "out", workers, {}));
    std::set<std::string> files;
    for (const auto& entry : std::filesystem::directory_iterator(folder / "out"))
        files.insert(entry.path().filename().string());
    CHECK(files == std::set<std::string>{"01 microphone 1 a_b_c.wav", "01 microphone 2 two.wav", "01 sum.wav",
                                         "02 microphone 1 one.wav", "02 microphone 2 two.wav", "02 sum.wav",
                                         "lesson.json", "page.txt"});
    const auto again = readLessonFile(folder / "out" / "lesson.json");
    REQUIRE(again);
    CHECK(*again == lesson);
    std::ifstream page(folder / "out" / "page.txt");
    const std::string text{std::istreambuf_iterator<char>(page), std::istreambuf_iterator<char>()};
    CHECK(text == lessonPage(lesson));
    CHECK(std::filesystem::file_size(folder / "out" / "02 sum.wav") < 120000); // 0.1 s and its tail, in stereo

    CHECK(writeLesson(lesson, std::nullopt, folder / "out", workers, {}).fault().what == "this folder is not empty");
    std::stop_source stop;
    stop.request_stop();
    CHECK(writeLesson(lesson, std::nullopt, folder / "other", workers, {{}, stop.get_token()}).fault().kind ==
          Fault::Kind::cancelled);
    CHECK_FALSE(std::filesystem::exists(folder / "other"));
}
