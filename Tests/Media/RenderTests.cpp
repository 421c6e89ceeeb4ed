#include "Media/Render.h"

#include "Core/Signal/FractionalDelay.h"
#include "Core/Signal/HighPass.h"
#include "Media/AudioBytes.h"
#include "Media/BroadcastExtension.h"
#include "Media/Checksum.h"
#include "Media/FolderContent.h"
#include "Support/TestWav.h"

#include <catch2/catch.hpp>

#include <map>
#include <sstream>

#ifndef _WIN32
#include <csignal>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>
#endif

using namespace spillwright;
using namespace spillwright::test;

namespace {

struct Rig {
    TemporaryFolder from, place;
    std::filesystem::path to = place / "out";
    std::shared_ptr<const Recording> recording;
    std::vector<TrackAdjustment> adjustments;
    RenderOptions options;

    void put(const std::string& name, const std::string& content) { putContent(from / name, content); }

    void open() {
        auto result = Recording::open(from.path());
        REQUIRE(result);
        recording = *result;
        adjustments.assign(recording->tracks().size(), {});
        options.to = to;
    }

    TrackAdjustment& of(const std::string& track) {
        for (std::size_t i = 0; i < adjustments.size(); ++i)
            if (recording->tracks()[i].name == track) return adjustments[i];
        FAIL("no track " << track);
        return adjustments[0];
    }

    Result<RenderReport> attempt(const Watch& watch = {}) { return render(*recording, adjustments, options, watch); }

    RenderReport rendered() {
        auto report = attempt();
        INFO((report ? std::string() : report.fault().line()));
        REQUIRE(report);
        return *report;
    }

    std::map<std::string, std::string> originals() const {
        std::map<std::string, std::string> contents;
        for (const auto& name : namesIn(from.path()))
            if (!std::filesystem::is_directory(from / name)) contents[name] = contentOf(from / name);
        return contents;
    }
};

std::vector<std::vector<float>> samplesIn(const std::filesystem::path& file) {
    auto reader = AudioFileReader::open(file);
    REQUIRE(reader);
    const auto& info = (*reader)->info();
    std::vector<std::vector<float>> samples(static_cast<std::size_t>(info.channels),
                                            std::vector<float>(static_cast<std::size_t>(info.frames)));
    std::vector<float*> into;
    for (auto& channel : samples)
        into.push_back(channel.data());
    REQUIRE((*reader)->read(0, static_cast<int>(info.frames), into));
    return samples;
}

AudioFileInfo infoOf(const std::filesystem::path& file) {
    auto reader = AudioFileReader::open(file);
    REQUIRE(reader);
    return (*reader)->info();
}

/// The integers of a 24-bit mono file, straight from its bytes.
std::vector<std::int64_t> integersIn(const std::filesystem::path& file) {
    const std::string bytes = contentOf(file);
    const auto data = bytes.find("data");
    REQUIRE(data != std::string::npos);
    std::vector<std::int64_t> values;
    for (std::size_t i = data + 8; i + 2 < bytes.size(); i += 3) {
        const auto byte = [&](std::size_t k) {
            return static_cast<std::int64_t>(static_cast<unsigned char>(bytes[k]));
        };
        const std::int64_t value = byte(i) | byte(i + 1) << 8 | byte(i + 2) << 16;
        values.push_back(value >= 1 << 23 ? value - (1 << 24) : value);
    }
    return values;
}

std::vector<std::int64_t> shifted(const std::vector<std::int64_t>& samples, int later, std::int64_t factor) {
    std::vector<std::int64_t> result(samples.size());
    for (std::size_t n = 0; n < samples.size(); ++n) {
        const auto from = static_cast<std::int64_t>(n) - later;
        if (from >= 0 && from < static_cast<std::int64_t>(samples.size()))
            result[n] = factor * samples[static_cast<std::size_t>(from)];
    }
    return result;
}

double largestDifference(const std::vector<float>& a, const std::vector<float>& b) {
    REQUIRE(a.size() == b.size());
    double largest = 0.0;
    for (std::size_t n = 0; n < a.size(); ++n)
        largest = std::max(largest, std::abs(static_cast<double>(a[n]) - static_cast<double>(b[n])));
    return largest;
}

} // namespace

TEST_CASE("a flip and a whole nudge are exact to the bit, and the recording stays as it was") {
    Rig rig;
    const auto samples = noise24(200001, 1); // several blocks, and an odd number of bytes
    for (const char* name : {"a.wav", "b.wav", "c.wav", "d.wav"})
        rig.put(name, wav24(48000, samples));
    const auto before = rig.originals();
    rig.open();
    rig.of("b").flip = true;
    rig.of("c").nudge = Seconds(7.00009 / 48000.0); // within 0.0001 of a sample
    rig.of("d").flip = true;
    rig.of("d").nudge = Seconds(-70000.0 / 48000.0);
    const auto report = rig.rendered();
    CHECK(report.remarks.empty());
    CHECK(namesIn(rig.to) == std::vector<std::string>{"a.wav", "b.wav", "c.wav", "d.wav"});
    CHECK(report.written.size() == 4);
    CHECK(integersIn(rig.to / "a.wav") == samples);
    CHECK(integersIn(rig.to / "b.wav") == shifted(samples, 0, -1));
    CHECK(integersIn(rig.to / "c.wav") == shifted(samples, 7, 1));
    CHECK(integersIn(rig.to / "d.wav") == shifted(samples, -70000, -1));
    CHECK(rig.originals() == before);
}

TEST_CASE("rendering the rendered the other way round gives the recording back") {
    Rig rig;
    const auto samples = noise24(50000, 2);
    rig.put("a.wav", wav24(48000, samples));
    rig.open();
    rig.of("a").flip = true;
    rig.of("a").nudge = Seconds(480.0 / 48000.0);
    rig.rendered();

    auto again = Recording::open(rig.to);
    REQUIRE(again);
    std::vector<TrackAdjustment> back(1);
    back[0].flip = true;
    back[0].nudge = Seconds(-480.0 / 48000.0);
    RenderOptions options;
    options.to = rig.place / "back";
    REQUIRE(render(**again, back, options, {}));
    auto expected = samples;
    std::fill(expected.end() - 480, expected.end(), 0); // what was nudged past the end is gone
    CHECK(integersIn(options.to / "a.wav") == expected);
}

TEST_CASE("a nudge counts in seconds at the file's own rate") {
    Rig rig;
    const auto slow = noise24(44100, 3), fast = noise24(48000, 4);
    rig.put("a.wav", wav24(44100, slow));
    rig.put("b.wav", wav24(48000, fast));
    rig.put("c.wav", wav24(48000, fast));
    rig.open();
    for (auto& adjustment : rig.adjustments)
        adjustment.nudge = milliseconds(10.0);
    rig.rendered();
    CHECK(infoOf(rig.to / "a.wav").sampleRate == 44100.0);
    CHECK(integersIn(rig.to / "a.wav") == shifted(slow, 441, 1));
    CHECK(integersIn(rig.to / "b.wav") == shifted(fast, 480, 1));
}

TEST_CASE("a nudge between samples is that of the one kernel") {
    Rig rig;
    rig.options.format = SampleFormat::float32;
    const double nudgeSamples = GENERATE(0.5, -3.25, 1000.75);
    CAPTURE(nudgeSamples);
    rig.put("a.wav", wav24(48000, noise24(70000, 5)));
    rig.open();
    rig.of("a").nudge = Seconds(nudgeSamples / 48000.0);
    rig.rendered();
    const auto original = samplesIn(rig.from / "a.wav")[0];
    std::vector<float> padded(5000 + original.size() + 5000), expected(original.size());
    std::copy(original.begin(), original.end(), padded.begin() + 5000);
    FractionalDelay(nudgeSamples).apply(padded.data() + 5000, expected.data(), static_cast<int>(expected.size()));
    CHECK(largestDifference(samplesIn(rig.to / "a.wav")[0], expected) == 0.0);
}

TEST_CASE("a nudge between samples delays a sine by itself") {
    Rig rig;
    rig.options.format = SampleFormat::float32;
    const double delay = 12.34;
    REQUIRE(writeWav(rig.from / "a.wav", 48000.0, SampleFormat::float32, sine(5000.0, 48000.0, 48000)));
    rig.open();
    rig.of("a").nudge = Seconds(delay / 48000.0);
    rig.rendered();
    const auto late = sine(5000.0, 48000.0, 48000, 0.5, -2.0 * std::numbers::pi * 5000.0 * delay / 48000.0);
    const auto read = samplesIn(rig.to / "a.wav")[0];
    double largest = 0.0;
    for (std::size_t n = 100; n < 47900; ++n)
        largest = std::max(largest, std::abs(static_cast<double>(read[n]) - static_cast<double>(late[n])));
    CHECK(20.0 * std::log10(largest / 0.5) < FractionalDelay::errorDb);
}

TEST_CASE("gain and high-pass are those of the setting, and a mute concerns the sum alone") {
    Rig rig;
    rig.options.format = SampleFormat::float32;
    rig.put("a.wav", wav24(48000, noise24(70000, 6)));
    rig.put("b.wav", wav24(48000, noise24(70000, 7)));
    rig.open();
    rig.of("a").gain = Decibels(-6.0);
    rig.of("a").highPass = Hertz(80.0);
    rig.of("a").highPassSlope = Slope::dB24;
    rig.of("b").muted = true;
    rig.options.sum = rig.place / "sum.wav";
    rig.rendered();

    auto expected = samplesIn(rig.from / "a.wav")[0];
    HighPass(Hertz(80.0), 48000.0, Slope::dB24).process(expected.data(), static_cast<int>(expected.size()));
    for (float& sample : expected)
        sample *= static_cast<float>(std::pow(10.0, -6.0 / 20.0));
    CHECK(largestDifference(samplesIn(rig.to / "a.wav")[0], expected) == 0.0);
    CHECK(samplesIn(rig.to / "b.wav")[0] == samplesIn(rig.from / "b.wav")[0]);
    const auto sum = samplesIn(rig.place / "sum.wav");
    for (float& sample : expected)
        sample = static_cast<float>(std::sqrt(0.5) * static_cast<double>(sample));
    CHECK(largestDifference(sum[0], expected) <= 0x1p-24);
}

TEST_CASE("what would clip is written as 32-bit float and said so") {
    Rig rig;
    rig.put("a.wav", wav24(48000, {0, 4194304, -8388608, 100})); // flipped, the most negative integer has no twin
    rig.put("b.wav", wav24(48000, {0, 4194304, -8388607, 100})); // this one has
    rig.put("c.wav", wav24(48000, {0, 4194304, -4194304, 100}));
    rig.open();
    rig.of("a").flip = rig.of("b").flip = true;
    rig.of("c").gain = Decibels(6.1); // times 2.018
    const auto report = rig.rendered();
    CHECK(infoOf(rig.to / "a.wav").isFloat);
    CHECK(samplesIn(rig.to / "a.wav")[0] == std::vector<float>{-0.0f, -0.5f, 1.0f, -100.0f / 8388608.0f});
    CHECK_FALSE(infoOf(rig.to / "b.wav").isFloat);
    CHECK(infoOf(rig.to / "c.wav").isFloat);
    CHECK(samplesIn(rig.to / "c.wav")[0][1] > 1.0f);
    REQUIRE(report.remarks.size() == 2);
    CHECK(report.remarks[0] == "a.wav: would pass full scale; it is written as 32-bit float");
    CHECK(report.written.size() == 3);
}

namespace {

void writeAs(const std::filesystem::path& file, Container container, const std::vector<float>& samples) {
    AudioFileFormat format;
    format.container = container;
    auto writer = AudioFileWriter::create(file, format);
    REQUIRE(writer);
    const float* channel = samples.data();
    REQUIRE((*writer)->write({&channel, 1}, static_cast<int>(samples.size())));
    REQUIRE((*writer)->finish());
    REQUIRE((*writer)->keep());
}

} // namespace

TEST_CASE("every container comes back as itself") {
    Rig rig;
    const auto samples = sine(440.0, 48000.0, 10001);
    const std::vector<std::pair<std::string, Container>> kinds{{"a.wav", Container::wav},
                                                               {"b.rf64", Container::rf64},
                                                               {"c.aif", Container::aiff},
                                                               {"d.aifc", Container::aifc},
                                                               {"e.flac", Container::flac}};
    for (const auto& [name, container] : kinds)
        writeAs(rig.from / name, container, samples);
    rig.options.format = GENERATE(SampleFormat::int16, SampleFormat::int24);
    rig.open();
    for (auto& adjustment : rig.adjustments)
        adjustment.flip = true;
    rig.rendered();
    const double step = rig.options.format == SampleFormat::int16 ? 0x1p-15 : 0x1p-23;
    for (const auto& [name, container] : kinds) {
        CAPTURE(name);
        const auto info = infoOf(rig.to / name);
        CHECK(info.container == container);
        CHECK(info.bits == (rig.options.format == SampleFormat::int16 ? 16 : 24));
        auto flipped = samplesIn(rig.from / name)[0];
        for (float& sample : flipped)
            sample = -sample;
        CHECK(largestDifference(samplesIn(rig.to / name)[0], flipped) <= (step == 0x1p-15 ? step / 2 : 0.0));
    }
}

TEST_CASE("float makes WAV of FLAC and AIFF, under a name that is nobody else's") {
    Rig rig;
    const auto samples = sine(440.0, 48000.0, 1000);
    writeAs(rig.from / "a.flac", Container::flac, samples);
    writeAs(rig.from / "b.aif", Container::aiff, samples);
    writeAs(rig.from / "b.wav", Container::wav, samples);
    rig.options.format = SampleFormat::float32;
    rig.open();
    const auto report = rig.rendered();
    CHECK(namesIn(rig.to) == std::vector<std::string>{"a.wav", "b.aif.wav", "b.wav"});
    REQUIRE(report.remarks.size() == 2);
    CHECK(report.remarks[0] == "a.flac: is to be float; it is written as 32-bit float WAV, a.wav");
    CHECK(samplesIn(rig.to / "a.wav")[0] == samplesIn(rig.from / "a.flac")[0]);
}

TEST_CASE("a float original stays float whatever bits are asked for") {
    Rig rig;
    const std::vector<float> samples{0.1f, -2.5f, 1e-12f};
    REQUIRE(writeWav(rig.from / "a.wav", 48000.0, SampleFormat::float32, samples));
    rig.open();
    const auto report = rig.rendered();
    CHECK(samplesIn(rig.to / "a.wav")[0] == samples);
    CHECK(report.remarks == std::vector<std::string>{"a.wav: is float; it is written as 32-bit float"});
}

TEST_CASE("of the bext chunk all stays, and description and coding history gain a line that says what was done") {
    Rig rig;
    const std::string history = GENERATE("A=PCM,F=48000,W=24,M=mono\r\n", "A=PCM,F=48000,W=24,M=mono", "");
    const std::string body = broadcastExtension("Kick, inside", 0x123456789ull, history);
    rig.put("a.wav", riff(chunk("bext", body + std::string(history.empty() ? 3 : 0, '\0')) +
                          chunk("fmt ", formatBody(1, 1, 48000, 24)) + chunk("data", integers(noise24(100, 8), 3))));
    rig.open();
    rig.of("a").flip = true;
    rig.of("a").nudge = milliseconds(1.0);
    rig.of("a").pan = -1.0; // of the sum alone
    rig.rendered();
    const std::string bytes = contentOf(rig.to / "a.wav");
    const auto at = bytes.find("bext");
    REQUIRE(at != std::string::npos);
    const std::string lines = (history.empty() ? "" : "A=PCM,F=48000,W=24,M=mono\r\n") +
                              std::string("A=PCM,F=48000,W=24,M=mono,T=Spillwright: flipped; 1 ms later\r\n");
    const std::string told = "Kick, inside\r\nSpillwright: flipped, 1 ms later";
    CHECK(bytes.substr(at, 8 + 602 + lines.size()) == "bext" + little(602 + lines.size(), 4) + told +
                                                          std::string(256 - told.size(), '\0') +
                                                          body.substr(256, 602 - 256) + lines);
    CHECK(infoOf(rig.to / "a.wav").timeReference == 0x123456789);
    const auto fields = BroadcastExtension::of(infoOf(rig.to / "a.wav").broadcastExtension);
    CHECK(fields.description == told);
    CHECK(fields.originator == "Field recorder");
    CHECK(fields.date == "2026-03-01");
    CHECK(fields.time == "12:30:05");
}

TEST_CASE("the notes say what was done, with a checksum of each file as sha256sum reads it") {
    Rig rig;
    rig.put("a.wav", wav24(48000, noise24(1000, 16)));
    rig.put("b\\c.wav", wav24(48000, noise24(1000, 17)));
    rig.put("d silent.wav", wav24(48000, std::vector<std::int64_t>(1000)));
    rig.open();
    rig.of("a").flip = true;
    rig.options.sum = rig.place / "sum.wav";
    rig.options.notes = rig.to / "notes.txt";
    rig.options.settingName = "mine";
    rig.rendered();
    const auto notes = contentOf(rig.to / "notes.txt");
    CHECK(notes.find("# Setting: mine. ") != std::string::npos);
    CHECK(notes.find("# a: flipped\n") != std::string::npos);
    CHECK(notes.find("# d silent.wav: is silent; it is copied as it is\n") != std::string::npos);
    for (const auto& [shown, file] : {std::pair<std::string, std::filesystem::path>{"a.wav", rig.to / "a.wav"},
                                      {"d silent.wav", rig.to / "d silent.wav"},
                                      {"../sum.wav", rig.place / "sum.wav"}}) {
        const auto sum = sha256Of(file, {});
        REQUIRE(sum);
        CHECK(notes.find("\n" + *sum + "  " + shown + "\n") != std::string::npos);
    }
    CHECK(notes.find("\n\\" + *sha256Of(rig.to / "b\\c.wav", {}) + "  b\\\\c.wav\n") != std::string::npos);
    // Every line is a remark or a checksum.
    std::istringstream lines(notes);
    int sums = 0;
    for (std::string line; std::getline(lines, line);)
        if (!line.starts_with("#")) ++sums;
    CHECK(sums == 4);

    // Refused where they would be in the way, and then nothing is made.
    std::filesystem::remove_all(rig.to);
    for (const auto& [notesFile, words] :
         {std::pair<std::filesystem::path, std::string>{rig.to / "a.wav", "is the file of a track too"},
          {rig.place / "sum.wav", "is the file of the sum too"},
          {rig.from / "notes.txt", "lies in the recording"},
          {rig.place.path(), "is a folder"}}) {
        rig.options.replace = true;
        rig.options.notes = notesFile;
        const auto refused = rig.attempt();
        CAPTURE(notesFile);
        REQUIRE_FALSE(refused);
        CHECK(refused.fault().line().find(words) != std::string::npos);
        CHECK_FALSE(std::filesystem::exists(rig.to));
    }
    rig.options.notes = rig.place / "absent" / "notes.txt";
    REQUIRE_FALSE(rig.attempt());
    CHECK_FALSE(std::filesystem::exists(rig.to));
}

TEST_CASE("a stereo file stays one, and each side has its own adjustment") {
    Rig rig;
    const auto interleaved = noise24(2000, 9);
    rig.put("a.wav", wav24(48000, interleaved, 2));
    rig.open();
    rig.of("a R").flip = true;
    rig.of("a R").nudge = Seconds(-5.0 / 48000.0);
    rig.rendered();
    const auto original = samplesIn(rig.from / "a.wav"), now = samplesIn(rig.to / "a.wav");
    REQUIRE(now.size() == 2);
    CHECK(now[0] == original[0]);
    for (std::size_t n = 0; n < 1000; ++n)
        REQUIRE(now[1][n] == (n + 5 < 1000 ? -original[1][n + 5] : 0.0f));
}

TEST_CASE("silent files are copied, silent channels left alone, unreadable files left out") {
    Rig rig;
    const std::vector<std::int64_t> quiet(5000, 200); // -92 dBFS
    rig.put("a.wav", wav(1, 1, 48000, 16, integers({0, 1, -1, 0}, 2)) + chunk("LIST", "kept"));
    rig.put("b.wav", wav24(48000, quiet));
    std::vector<std::int64_t> half(2000);
    for (std::size_t n = 0; n < half.size(); ++n)
        half[n] = n % 2 ? 100 : 1000000;
    rig.put("c.wav", wav24(48000, half, 2));
    rig.put("d.wav", "no sound");
    rig.open();
    for (auto& adjustment : rig.adjustments)
        adjustment.flip = true;
    const auto report = rig.rendered();
    CHECK(contentOf(rig.to / "b.wav") == contentOf(rig.from / "b.wav"));
    CHECK(samplesIn(rig.to / "c.wav")[0][0] == -1000000.0f / 8388608.0f);
    CHECK(samplesIn(rig.to / "c.wav")[1][0] == 100.0f / 8388608.0f);
    CHECK(contentOf(rig.to / "a.wav") == contentOf(rig.from / "a.wav")); // 16 bit: its least step is -90.3 dBFS
    CHECK(namesIn(rig.to) == std::vector<std::string>{"a.wav", "b.wav", "c.wav"});
    CHECK(report.remarks.size() == 3);
    CHECK(report.remarks[0] == "d.wav: is not a WAV, AIFF or FLAC file; it is not rendered");
}

TEST_CASE("the sum is every track by the pan law, placed, resampled and adjusted") {
    Rig rig;
    const auto mono = noise24(30000, 10), pair = noise24(60000, 11), soft = noise24(30000, 12);
    rig.put("a mono.wav", wav24(48000, mono));
    rig.put("b pair.wav", wav24(48000, pair, 2));
    rig.put("c soft.wav", wav24(44100, soft));
    rig.options.format = SampleFormat::float32;
    rig.options.sum = rig.place / "the sum.wav";
    rig.open();
    rig.of("a mono").flip = true;
    rig.of("a mono").nudge = Seconds(20.5 / 48000.0);
    rig.of("b pair L").gain = Decibels(-3.0);
    rig.of("c soft").pan = 0.4;
    rig.of("c soft").nudge = Seconds(-100.0 / 48000.0);
    rig.rendered();
    const auto sum = samplesIn(rig.place / "the sum.wav");
    REQUIRE(sum.size() == 2);
    REQUIRE(static_cast<std::int64_t>(sum[0].size()) == rig.recording->length());

    // The slow way: each track read whole, adjusted sample by sample, panned by cos and sin.
    const auto length = sum[0].size();
    constexpr std::size_t margin = 2000;
    std::vector<std::vector<float>> tracks;
    for (int group = 0; group < 3; ++group) {
        auto reader = rig.recording->openGroup(group);
        REQUIRE(reader);
        std::vector<float*> into;
        const auto first = tracks.size();
        for (std::size_t i = 0; i < rig.recording->groups()[std::size_t(group)].size(); ++i)
            tracks.emplace_back(length + 2 * margin);
        for (auto i = first; i < tracks.size(); ++i)
            into.push_back(tracks[i].data());
        REQUIRE((*reader)->read(-std::int64_t(margin), static_cast<int>(length + 2 * margin), into));
    }
    const FractionalDelay late(20.5);
    const double half = std::sqrt(0.5), quarter = std::numbers::pi / 4.0, minus3 = std::pow(10.0, -3.0 / 20.0);
    double largest = 0.0;
    for (std::size_t n = 0; n < length; ++n) {
        const double m = -static_cast<double>(late.at(tracks[0].data() + margin + n));
        const double s = static_cast<double>(tracks[3][margin + n + 100]);
        const double l = half * m + minus3 * static_cast<double>(tracks[1][margin + n]) + std::cos(1.4 * quarter) * s;
        const double r = half * m + static_cast<double>(tracks[2][margin + n]) + std::sin(1.4 * quarter) * s;
        largest = std::max(
            {largest, std::abs(l - static_cast<double>(sum[0][n])), std::abs(r - static_cast<double>(sum[1][n]))});
    }
    CHECK(largest < 4 * 0x1p-24); // roundings of values up to 2 to floats
}

TEST_CASE("a sum that would clip is written as 32-bit float and said so") {
    Rig rig;
    rig.put("a.wav", wav24(48000, std::vector<std::int64_t>(100, 8000000)));
    rig.put("b.wav", wav24(48000, std::vector<std::int64_t>(100, 8000000)));
    rig.options.sum = rig.place / "sum.wav";
    rig.open();
    const auto report = rig.rendered();
    CHECK(report.remarks == std::vector<std::string>{"sum.wav: would pass full scale; it is written as 32-bit float"});
    CHECK(samplesIn(rig.place / "sum.wav")[0][50] == Approx(2 * 8000000.0 / 8388608.0 * std::sqrt(0.5)));
    CHECK(report.written.back() == rig.place / "sum.wav");

    for (auto& adjustment : rig.adjustments)
        adjustment.gain = Decibels(-6.0);
    rig.options.replace = true;
    CHECK(rig.rendered().remarks.empty());
    CHECK(infoOf(rig.place / "sum.wav").bits == 24);
}

TEST_CASE("the recording is never a target, by whatever path it is named") {
    Rig rig;
    rig.put("a.wav", wav24(48000, noise24(100, 13)));
    rig.open();
    rig.options.replace = true;
    const auto before = rig.originals();
    std::filesystem::create_directory(rig.from / "sub");
    std::filesystem::create_directory_symlink(rig.from.path(), rig.place / "link");
    for (const auto& target : {rig.from.path(), rig.place / "link", rig.from.path() / "sub" / ".."}) {
        rig.options.to = target;
        const auto report = rig.attempt();
        REQUIRE_FALSE(report);
        CHECK(report.fault().kind == Fault::Kind::input);
        CHECK(report.fault().what.find("recording") != std::string::npos);
        CHECK(rig.originals() == before);
    }
    rig.options.to = rig.to;
    for (const auto& sum : {rig.from / "a.wav", rig.from / "new.wav", rig.place / "link/a.wav"}) {
        rig.options.sum = sum;
        const auto report = rig.attempt();
        REQUIRE_FALSE(report);
        CHECK(report.fault().what == "lies in the recording, which is never written to");
        CHECK(rig.originals() == before);
    }
    CHECK_FALSE(std::filesystem::exists(rig.to));
}

TEST_CASE("a link in the target that leads to the recording is replaced, not followed") {
    Rig rig;
    rig.put("a.wav", wav24(48000, noise24(100, 13)));
    rig.open();
    rig.of("a").flip = true;
    rig.options.replace = true;
    const auto before = rig.originals();
    std::filesystem::create_directory(rig.to);
    std::filesystem::create_symlink(rig.from / "a.wav", rig.to / "a.wav");
    rig.rendered();
    CHECK(rig.originals() == before);
    CHECK_FALSE(std::filesystem::is_symlink(rig.to / "a.wav"));
    CHECK(integersIn(rig.to / "a.wav") == shifted(noise24(100, 13), 0, -1));
}

TEST_CASE("files in the target are replaced only where that was asked for") {
    Rig rig;
    rig.put("a.wav", wav24(48000, noise24(100, 14)));
    rig.put("b.wav", wav24(48000, noise24(100, 15)));
    rig.open();
    std::filesystem::create_directory(rig.to);
    putContent(rig.to / "b.wav", "older");
    putContent(rig.to / "other.txt", "other");
    const auto report = rig.attempt();
    REQUIRE_FALSE(report);
    CHECK(report.fault().line() ==
          (rig.to / "b.wav").string() + ": is there already; choose another folder, or allow it to be replaced");
    CHECK(namesIn(rig.to) == std::vector<std::string>{"b.wav", "other.txt"});
    CHECK(contentOf(rig.to / "b.wav") == "older");

    std::filesystem::rename(rig.to / "b.wav", rig.to / "kept");
    std::filesystem::create_symlink(rig.to / "nothing", rig.to / "b.wav"); // a link to nothing is there, too
    CHECK_FALSE(rig.attempt());
    std::filesystem::rename(rig.to / "kept", rig.to / "b.wav");

    rig.options.replace = true;
    rig.rendered();
    CHECK(integersIn(rig.to / "b.wav") == noise24(100, 15));
    CHECK(namesIn(rig.to) == std::vector<std::string>{"a.wav", "b.wav", "other.txt"});
}

TEST_CASE("targets that cannot be are refused, and nothing is left behind") {
    Rig rig;
    rig.put("a.wav", wav24(48000, noise24(100, 14)));
    rig.open();
    putContent(rig.place / "file", "x");
    rig.options.to = rig.place / "file";
    CHECK(rig.attempt().fault().what == "is not a folder");
    rig.options.to = rig.place / "file" / "below";
    CHECK_FALSE(rig.attempt());
    rig.options.to = rig.to;
    rig.options.sum = rig.to / "a.wav";
    CHECK(rig.attempt().fault().what == "is the file of a track too");
    rig.options.sum = rig.place.path();
    CHECK(rig.attempt().fault().what == "is a folder");
    rig.options.sum = rig.place / "none" / "sum.wav";
    const auto report = rig.attempt();
    REQUIRE_FALSE(report);
    CHECK(report.fault().where == (rig.place / "none" / "sum.wav").string());
    CHECK(namesIn(rig.place.path()) == std::vector<std::string>{"file"}); // the folder that was made is gone again
}

TEST_CASE("a stop, or a file that is gone, leaves nothing behind and the old files in place") {
    Rig rig;
    rig.put("a.wav", wav24(48000, noise24(200000, 16)));
    rig.put("b.wav", wav24(48000, noise24(200000, 17)));
    rig.open();
    rig.options.replace = true;
    std::filesystem::create_directory(rig.to);
    putContent(rig.to / "a.wav", "older");
    std::stop_source source;
    Watch watch;
    watch.stop = source.get_token();
    watch.progress = [&](double done) {
        if (done > 0.7) source.request_stop(); // while the second file is written
    };
    const auto stopped = rig.attempt(watch);
    REQUIRE_FALSE(stopped);
    CHECK(stopped.fault().kind == Fault::Kind::cancelled);
    CHECK(namesIn(rig.to) == std::vector<std::string>{"a.wav"});
    CHECK(contentOf(rig.to / "a.wav") == "older");

    std::filesystem::remove(rig.from / "b.wav");
    const auto gone = rig.attempt();
    REQUIRE_FALSE(gone);
    CHECK(gone.fault().where == (rig.from / "b.wav").string());
    CHECK(namesIn(rig.to) == std::vector<std::string>{"a.wav"});
    CHECK(contentOf(rig.to / "a.wav") == "older");
}

TEST_CASE("where one file cannot take its name, those that have give it back") {
    Rig rig;
    for (const char* name : {"a.wav", "b.wav", "c.wav"})
        rig.put(name, wav24(48000, noise24(1000, 16)));
    rig.open();
    rig.options.replace = true;
    std::filesystem::create_directory(rig.to);
    putContent(rig.to / "a.wav", "older a");
    putContent(rig.to / "c.wav", "older c");
    Watch watch;
    watch.progress = [&](double done) {
        if (done < 1.0) return; // of the last file; then its temporary file is taken away
        std::filesystem::path last;
        for (const auto& entry : std::filesystem::directory_iterator(rig.to))
            if (entry.path().extension() == ".part" &&
                (last.empty() || last.string().size() < entry.path().string().size() || last < entry.path()))
                last = entry.path();
        std::filesystem::remove(last);
    };
    const auto report = rig.attempt(watch);
    REQUIRE_FALSE(report);
    CHECK(report.fault().where == (rig.to / "c.wav").string());
    CHECK(namesIn(rig.to) == std::vector<std::string>{"a.wav", "c.wav"});
    CHECK(contentOf(rig.to / "a.wav") == "older a");
    CHECK(contentOf(rig.to / "c.wav") == "older c");
}

#ifndef _WIN32
TEST_CASE("a full disk is one line, and nothing is left behind") {
    Rig rig;
    rig.put("a.wav", wav24(48000, noise24(20000, 18)));
    const std::string second = GENERATE("b.wav", "b.flac", "b silent.wav");
    CAPTURE(second);
    if (second == "b.flac")
        writeAs(rig.from / second, Container::flac, test::noise(200000, 19));
    else
        rig.put(second, wav24(48000, second == "b.wav" ? noise24(200000, 19) : std::vector<std::int64_t>(200000)));
    rig.open();
    rig.options.replace = true;
    std::filesystem::create_directory(rig.to);
    putContent(rig.to / "a.wav", "older");

    // A limit on the size of files stands for the full disk: the second file passes it, the first does not.
    rlimit before{};
    getrlimit(RLIMIT_FSIZE, &before);
    const rlimit small{100000, before.rlim_max};
    const auto handler = std::signal(SIGXFSZ, SIG_IGN);
    setrlimit(RLIMIT_FSIZE, &small);
    const auto report = rig.attempt();
    setrlimit(RLIMIT_FSIZE, &before);
    std::signal(SIGXFSZ, handler);

    REQUIRE_FALSE(report);
    CHECK(report.fault().line() ==
          (rig.to / second).string() + ": cannot be written: file too large; free some space or choose another folder");
    CHECK(namesIn(rig.to) == std::vector<std::string>{"a.wav"});
    CHECK(contentOf(rig.to / "a.wav") == "older");
}

TEST_CASE("a pipe or a device is no target") {
    Rig rig;
    rig.put("a.wav", wav24(48000, noise24(100, 18)));
    rig.open();
    rig.options.replace = true;
    rig.options.sum = rig.place / "pipe";
    REQUIRE(mkfifo(rig.options.sum->c_str(), 0600) == 0);
    const auto report = rig.attempt();
    REQUIRE_FALSE(report);
    CHECK(report.fault().what == "is not a regular file");
    CHECK(namesIn(rig.place.path()) == std::vector<std::string>{"pipe"});
}

TEST_CASE("a folder that may not be written to is one line") {
    Rig rig;
    rig.put("a.wav", wav24(48000, noise24(100, 18)));
    rig.open();
    std::filesystem::create_directory(rig.to);
    std::filesystem::permissions(rig.to, std::filesystem::perms::owner_read | std::filesystem::perms::owner_exec |
                                             std::filesystem::perms::others_read | std::filesystem::perms::others_exec);
    const bool root = geteuid() == 0; // root may write everywhere
    if (root) REQUIRE(seteuid(65534) == 0);
    const auto report = rig.attempt();
    rig.options.to = rig.to / "below";
    const auto below = rig.attempt();
    if (root) REQUIRE(seteuid(0) == 0);
    REQUIRE_FALSE(report);
    CHECK(report.fault().line() ==
          (rig.to / "a.wav").string() +
              ": cannot be written: permission denied; choose a folder that can be written to");
    REQUIRE_FALSE(below);
    CHECK(below.fault().line() ==
          (rig.to / "below").string() + ": cannot be made: permission denied; choose a folder that can be written to");
    CHECK(namesIn(rig.to).empty());
}
#endif
