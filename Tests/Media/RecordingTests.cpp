#include "Media/Recording.h"

#include "Media/AudioBytes.h"
#include "Media/FolderContent.h"
#include "Media/WriteAudio.h"

#include <catch2/catch.hpp>

#include <limits>
#include <map>

#ifndef _WIN32
#include <sys/stat.h>
#include <unistd.h>
#endif

using namespace spillwright;
using namespace spillwright::test;

namespace {

std::shared_ptr<const Recording> opened(const std::filesystem::path& folder) {
    auto recording = Recording::open(folder);
    INFO((recording ? std::string() : recording.fault().line()));
    REQUIRE(recording);
    return *recording;
}

std::vector<std::string> namesOf(const Recording& recording) {
    std::vector<std::string> names;
    for (const auto& track : recording.tracks())
        names.push_back(track.name);
    return names;
}

std::vector<std::vector<float>> samplesOf(const Recording& recording, int group, std::int64_t start, int count,
                                          int block = 1 << 30) {
    auto reader = recording.openGroup(group);
    REQUIRE(reader);
    const auto channels = recording.groups()[static_cast<std::size_t>(group)].size();
    std::vector<std::vector<float>> samples(channels, std::vector<float>(static_cast<std::size_t>(count), 99.0f));
    for (int done = 0; done < count; done += block) {
        std::vector<float*> into;
        for (auto& channel : samples)
            into.push_back(channel.data() + done);
        REQUIRE((*reader)->read(start + done, std::min(block, count - done), into));
    }
    return samples;
}

std::vector<float> fractions(const std::vector<std::int64_t>& integers, double full) {
    std::vector<float> samples;
    for (auto value : integers)
        samples.push_back(static_cast<float>(static_cast<double>(value) / full));
    return samples;
}

const std::string* warningAbout(const Recording& recording, const std::string& file) {
    for (const auto& warning : recording.warnings())
        if (warning.rfind(file + ": ", 0) == 0) return &warning;
    return nullptr;
}

const std::vector<std::int64_t> someSamples{0, 1, -1, 4194304, -8388608, 8388607};

} // namespace

TEST_CASE("every integer and float encoding reads as the value it stands for") {
    TemporaryFolder folder;
    const std::vector<std::int64_t> in16{0, 1, -32768, 32767, 16384};
    const std::vector<std::int64_t> in32{0, 256, -2147483648LL, 1073741824, 2147483392};
    putContent(folder / "a16.wav", wav(1, 1, 48000, 16, integers(in16, 2)));
    putContent(folder / "b24.wav", wav24(48000, someSamples));
    putContent(folder / "c32.wav", wav(1, 1, 48000, 32, integers(in32, 4)));
    putContent(folder / "d8.wav", wav(1, 1, 48000, 8, std::string("\x80\x00\xFF\xC0", 4)));
    putContent(folder / "e.wav", wav(3, 1, 48000, 32, floats({0.25f, -3.5f, 1e-20f})));
    const auto doubled = [](double value) { return little(std::bit_cast<std::uint64_t>(value), 8); };
    putContent(folder / "f.wav", wav(3, 1, 48000, 64, doubled(0.25) + doubled(-3.5)));

    const auto recording = opened(folder.path());
    CHECK(recording->warnings().empty());
    REQUIRE(recording->trackCount() == 6);
    CHECK(samplesOf(*recording, 0, 0, 5)[0] == fractions(in16, 32768.0));
    CHECK(samplesOf(*recording, 1, 0, 6)[0] == fractions(someSamples, 8388608.0));
    CHECK(samplesOf(*recording, 2, 0, 5)[0] == fractions(in32, 2147483648.0));
    CHECK(samplesOf(*recording, 3, 0, 4)[0] == std::vector<float>{0.0f, -1.0f, 127.0f / 128.0f, 0.5f});
    CHECK(samplesOf(*recording, 4, 0, 3)[0] == std::vector<float>{0.25f, -3.5f, 1e-20f});
    CHECK(samplesOf(*recording, 5, 0, 2)[0] == std::vector<float>{0.25f, -3.5f});
}

TEST_CASE("AIFF, little-endian AIFF-C, extensible WAV, RF64 and FLAC read alike") {
    TemporaryFolder folder;
    const std::string rate48k("\x40\x0E\xBB\x80\0\0\0\0\0\0", 10); // 48000 as an 80-bit number
    const std::string common = big(1, 2) + big(someSamples.size(), 4) + big(24, 2) + rate48k;
    const std::string sound(8, '\0');
    const auto form = [](const std::string& body) { return "FORM" + big(body.size(), 4) + body; };
    putContent(folder / "a.aif",
               form("AIFF" + bigChunk("COMM", common) + bigChunk("SSND", sound + bigIntegers(someSamples, 3))));
    putContent(folder / "b.aifc", form("AIFC" + bigChunk("COMM", common + "sowt" + std::string("\0\0", 2)) +
                                       bigChunk("SSND", sound + integers(someSamples, 3))));
    std::string extensible = formatBody(0xFFFE, 1, 48000, 24) + little(22, 2) + little(24, 2) + little(4, 4);
    extensible += std::string("\x01\0\0\0\0\0\x10\0\x80\0\0\xAA\0\x38\x9B\x71", 16);
    putContent(folder / "c.wav", riff(chunk("fmt ", extensible) + chunk("data", integers(someSamples, 3))));
    // EBU Tech 3306: sizes of all ones, the true ones in ds64
    putContent(folder / "d.rf64", "RF64" + little(0xFFFFFFFF, 4) + "WAVE" +
                                      chunk("ds64", little(100, 8) + little(18, 8) + little(6, 8) + little(0, 4)) +
                                      chunk("fmt ", formatBody(1, 1, 48000, 24)) + "data" + little(0xFFFFFFFF, 4) +
                                      integers(someSamples, 3) + chunk("LIST", "after"));
    AudioFileFormat flac;
    flac.container = Container::flac;
    auto writer = AudioFileWriter::create(folder / "e.flac", flac);
    REQUIRE(writer);
    const auto expected = fractions(someSamples, 8388608.0);
    const float* channel = expected.data();
    REQUIRE((*writer)->write({&channel, 1}, static_cast<int>(expected.size())));
    REQUIRE((*writer)->finish());
    REQUIRE((*writer)->keep());

    const auto recording = opened(folder.path());
    REQUIRE(recording->trackCount() == 5);
    CHECK(recording->warnings().empty());
    CHECK(recording->length() == 6);
    for (int group = 0; group < 5; ++group) {
        CAPTURE(group);
        CHECK(samplesOf(*recording, group, 0, 6)[0] == expected);
    }
}

TEST_CASE("what lies outside a track is silence, and the longest gives the length") {
    TemporaryFolder folder;
    putContent(folder / "short.wav", wav24(48000, {8, 16}));
    putContent(folder / "tall.wav", wav24(48000, someSamples));
    const auto recording = opened(folder.path());
    CHECK(recording->length() == 6);
    CHECK(recording->tracks()[0].lengthSamples == 2);
    CHECK(recording->tracks()[1].lengthSamples == 6);
    const auto samples = samplesOf(*recording, 0, -3, 10)[0];
    CHECK(samples == fractions({0, 0, 0, 8, 16, 0, 0, 0, 0, 0}, 8388608.0));
    CHECK(samplesOf(*recording, 0, -50, 10)[0] == std::vector<float>(10));
    CHECK(samplesOf(*recording, 0, 50, 10)[0] == std::vector<float>(10));
}

TEST_CASE("a stereo file becomes two linked tracks, more channels numbered ones") {
    TemporaryFolder folder;
    putContent(folder / "01 overhead.wav", wav24(48000, {1, 2, 3, 4}, 2));
    putContent(folder / "02 array.wav", wav24(48000, {1, 2, 3, 4, 5, 6, 7, 8}, 4));
    const auto recording = opened(folder.path());
    CHECK(namesOf(*recording) ==
          std::vector<std::string>{"overhead L", "overhead R", "array 1", "array 2", "array 3", "array 4"});
    const auto& tracks = recording->tracks();
    CHECK(tracks[0].linkedTo == 1);
    CHECK(tracks[1].linkedTo == 0);
    CHECK_FALSE(tracks[0].isRight);
    CHECK(tracks[1].isRight);
    CHECK_FALSE(tracks[2].linkedTo.has_value());
    CHECK(tracks[5].channel == 3);
    CHECK(recording->groups() == std::vector<std::vector<int>>{{0, 1}, {2, 3, 4, 5}});
    CHECK(samplesOf(*recording, 0, 0, 2)[1] == fractions({2, 4}, 8388608.0));
    CHECK(samplesOf(*recording, 1, 0, 2)[2] == fractions({3, 7}, 8388608.0));
}

TEST_CASE("two mono files of one name with closing sides are linked") {
    TemporaryFolder folder;
    for (const char* name : {"03 OH L.wav", "04 OH R.wav", "Room_left.wav", "Room_right.wav", "Hall.L.wav",
                             "Hall-R.wav", "amp L.wav", "bell.wav"})
        putContent(folder / name, wav24(48000, someSamples));
    const auto recording = opened(folder.path());
    std::map<std::string, std::string> links;
    for (const auto& track : recording->tracks())
        if (track.linkedTo) {
            const auto& other = recording->tracks()[static_cast<std::size_t>(*track.linkedTo)];
            links[track.name] = other.name + (track.isRight ? " (right)" : "");
        }
    CHECK(links == std::map<std::string, std::string>{{"OH L", "OH R"},
                                                      {"OH R", "OH L (right)"},
                                                      {"Room_left", "Room_right"},
                                                      {"Room_right", "Room_left (right)"}});
}

TEST_CASE("tracks are named after their files, in natural order") {
    TemporaryFolder folder;
    const std::string longName(196, 'x');
    for (const std::string& name :
         {std::string("10 bass.wav"), std::string("2 snare.wav"), std::string("01 kick in.wav"),
          std::string("bongos.flac.wav"), std::string("Flöte – nah.wav"), longName + ".wav"})
        putContent(folder / name, wav24(48000, someSamples));
    putContent(folder / ".hidden.wav", "nothing");
    putContent(folder / "notes.txt", "nothing");
    std::filesystem::create_directory(folder / "takes");
    putContent(folder / "takes" / "x.wav", wav24(48000, someSamples));
    CHECK(namesOf(*opened(folder.path())) ==
          std::vector<std::string>{"kick in", "snare", "bass", "bongos.flac", "Flöte – nah", longName});
}

TEST_CASE("two files that would share a name keep what sets them apart") {
    TemporaryFolder folder;
    for (const char* name : {"01 kick.wav", "02 kick.wav", "snare.aif", "snare.wav", "tom.wav"})
        putContent(folder / name, wav24(48000, someSamples));
    CHECK(namesOf(*opened(folder.path())) ==
          std::vector<std::string>{"01 kick", "02 kick", "snare.aif", "snare.wav", "tom"});
}

TEST_CASE("files that cannot be read are listed with a reason, and the rest opens") {
    TemporaryFolder folder;
    putContent(folder / "a good.wav", wav24(48000, someSamples));
    putContent(folder / "b text.wav", "This is no sound at all, whatever its name says.");
    putContent(folder / "c empty.wav", "");
    putContent(folder / "d header.wav", wav24(48000, {}));
    std::filesystem::create_directory(folder / "e folder.wav");
    putContent(folder / "f law.wav", wav(7, 1, 48000, 8, "abcdef"));
    putContent(folder / "g rate.wav", wav24(0, someSamples));
    putContent(folder / "h none.wav", riff(chunk("fmt ", formatBody(1, 1, 48000, 24))));
    putContent(folder / "i cut.wav", wav24(48000, someSamples).substr(0, 46));
    putContent(folder / "j text.flac", "fLaC and then nonsense");
    putContent(folder / "k riff.wav", "RIFF");
    putContent(folder / "l mute.wav", wav(1, 0, 48000, 24, "abcdef"));
    AudioFileFormat flac;
    flac.container = Container::flac;
    const auto nothing = AudioFileWriter::create(folder / "m nothing.flac", flac);
    REQUIRE(nothing);
    REQUIRE((*nothing)->finish());
    REQUIRE((*nothing)->keep());

    const auto recording = opened(folder.path());
    const std::map<std::string, std::string> reasons{{"b text", "is not a WAV, AIFF or FLAC file"},
                                                     {"c empty", "is empty"},
                                                     {"d header", "holds no samples"},
                                                     {"e folder", "is a folder, not an audio file"},
                                                     {"f law", "has an encoding that is not read"},
                                                     {"g rate", "has a sample rate that cannot be"},
                                                     {"h none", "has no data chunk"},
                                                     {"i cut", "ends before its first sample"},
                                                     {"j text", "is not a FLAC file that can be read"},
                                                     {"k riff", "is not a WAV, AIFF or FLAC file"},
                                                     {"l mute", "has an encoding that is not read"},
                                                     {"m nothing", "holds no samples that can be read"}};
    REQUIRE(recording->trackCount() == 13);
    CHECK(recording->tracks()[0].state == TrackState::ok);
    CHECK(recording->groups().size() == 1);
    for (const auto& track : recording->tracks()) {
        if (track.name == "a good") continue;
        CAPTURE(track.name);
        CHECK(track.state == TrackState::unreadable);
        CHECK(track.why == reasons.at(track.name));
        const auto* warning = warningAbout(*recording, track.file);
        REQUIRE(warning);
        CHECK(warning->find(track.why) != std::string::npos);
        CHECK(warning->find('\n') == std::string::npos);
    }
}

TEST_CASE("a WAV file above 4 GB whose 32-bit sizes have run over is read whole") {
    TemporaryFolder folder;
    constexpr std::uint64_t bytes = (std::uint64_t(1) << 32) + 3 * 48000;
    const auto path = folder / "long.wav";
    putContent(path, "RIFF" + little(static_cast<std::uint32_t>(bytes + 36), 4) + "WAVE" + "fmt " + little(16, 4) +
                         little(1, 2) + little(1, 2) + little(48000, 4) + little(3 * 48000, 4) + little(3, 2) +
                         little(24, 2) + "data" + little(static_cast<std::uint32_t>(bytes), 4));
    std::filesystem::resize_file(path, 44 + bytes); // a hole, which takes no room
    const auto reader = AudioFileReader::open(path);
    REQUIRE(reader);
    CHECK((*reader)->info().frames == static_cast<std::int64_t>(bytes / 3));
    CHECK((*reader)->info().headerUnfinished);
}

TEST_CASE("a folder that is none, is empty or holds nothing usable is one fault") {
    TemporaryFolder folder;
    const auto fault = [](const std::filesystem::path& path) {
        const auto recording = Recording::open(path);
        REQUIRE_FALSE(recording);
        CHECK(recording.fault().kind == Fault::Kind::input);
        CHECK(recording.fault().where == path.string());
        CHECK_FALSE(recording.fault().mend.empty());
        return recording.fault().what;
    };
    CHECK(fault(folder / "none") == "does not exist");
    putContent(folder / "file", "x");
    CHECK(fault(folder / "file") == "is not a folder");
    CHECK(fault(folder.path()) == "holds no WAV, AIFF or FLAC file");
    putContent(folder / "a.wav", "no sound");
    CHECK(fault(folder.path()) == "its one audio file cannot be read (a.wav is not a WAV, AIFF or FLAC file)");
    putContent(folder / "b.wav", "");
    CHECK(fault(folder.path()) == "none of its 2 audio files can be read (a.wav is not a WAV, AIFF or FLAC file)");
}

TEST_CASE("a file that is cut short is read as far as it goes") {
    TemporaryFolder folder;
    const auto samples = noise24(48000, 1);
    const std::string whole = wav24(48000, samples);
    putContent(folder / "cut.wav", whole.substr(0, whole.size() - 72000)); // half of the samples
    const auto recording = opened(folder.path());
    CHECK(recording->length() == 24000);
    const auto* warning = warningAbout(*recording, "cut.wav");
    REQUIRE(warning);
    CHECK(warning->find("0.500 s of the 1.000 s") != std::string::npos);
    const auto read = samplesOf(*recording, 0, 0, 24000)[0];
    CHECK(read == fractions({samples.begin(), samples.begin() + 24000}, 8388608.0));
}

TEST_CASE("a header that promises more than there is, or was never finished, is no obstacle") {
    TemporaryFolder folder;
    const std::string format = chunk("fmt ", formatBody(1, 1, 48000, 24));
    const std::string data = integers(someSamples, 3);
    const auto head = [&](std::uint64_t whole, std::uint64_t size) {
        return "RIFF" + little(whole, 4) + "WAVE" + format + "data" + little(size, 4) + data;
    };
    putContent(folder / "a.wav", head(0xFFFFFFF0, 0xFFFFFF00)); // more than there is
    putContent(folder / "b.wav", head(0, 0));                   // switched off while recording
    putContent(folder / "c.wav", head(0xFFFFFFFF, 0xFFFFFFFF)); // a stream
    const auto recording = opened(folder.path());
    REQUIRE(recording->groups().size() == 3);
    CHECK(warningAbout(*recording, "a.wav")->find("of the 29826.160 s") != std::string::npos);
    CHECK(warningAbout(*recording, "b.wav")->find("never finished") != std::string::npos);
    CHECK(warningAbout(*recording, "c.wav")->find("never finished") != std::string::npos);
    for (int group = 0; group < 3; ++group)
        CHECK(samplesOf(*recording, group, 0, 6)[0] == fractions(someSamples, 8388608.0));
}

TEST_CASE("one sample is a recording") {
    TemporaryFolder folder;
    putContent(folder / "one.wav", wav24(48000, {4194304}));
    const auto recording = opened(folder.path());
    CHECK(recording->length() == 1);
    CHECK(samplesOf(*recording, 0, 0, 1)[0] == std::vector<float>{0.5f});
}

TEST_CASE("samples that are not finite count as 0, are counted, and too many make a file unreadable") {
    TemporaryFolder folder;
    const float nan = std::numeric_limits<float>::quiet_NaN(), infinite = std::numeric_limits<float>::infinity();
    std::vector<float> some(1000, 0.5f);
    some[3] = nan;
    for (std::size_t i = 10; i < 19; ++i)
        some[i] = i % 2 ? infinite : -infinite; // ten in all: 1 %, not above
    std::vector<float> many = some;
    many[500] = nan;
    putContent(folder / "many.wav", wav(3, 1, 48000, 32, floats(many)));
    putContent(folder / "some.wav", wav(3, 1, 48000, 32, floats(some)));
    const auto recording = opened(folder.path());
    CHECK(recording->tracks()[0].state == TrackState::unreadable);
    CHECK(recording->tracks()[0].why == "11 samples (1.1 %) are not numbers");
    CHECK(recording->tracks()[1].state == TrackState::ok);
    CHECK(warningAbout(*recording, "some.wav")->find("10 samples are not finite") != std::string::npos);
    auto expected = some;
    for (auto& sample : expected)
        if (!std::isfinite(sample)) sample = 0.0f;
    CHECK(samplesOf(*recording, 0, 0, 1000)[0] == expected);
}

namespace {

std::string stampedWav(int rate, std::uint64_t reference, const std::vector<std::int64_t>& samples) {
    return riff(chunk("bext", broadcastExtension("", reference, "")) + chunk("fmt ", formatBody(1, 1, rate, 24)) +
                chunk("data", integers(samples, 3)));
}

} // namespace

TEST_CASE("where all files bear a time reference, each begins when it says") {
    TemporaryFolder folder;
    const std::uint64_t noon = 12ull * 3600 * 48000;
    putContent(folder / "a.wav", stampedWav(48000, noon + 5, someSamples));
    putContent(folder / "b.wav", stampedWav(48000, noon, someSamples));
    putContent(folder / "c.wav", stampedWav(48000, noon + 100, someSamples));
    const auto recording = opened(folder.path());
    CHECK(recording->length() == 106);
    const auto expected = fractions(someSamples, 8388608.0);
    CHECK(samplesOf(*recording, 0, 5, 6)[0] == expected);
    CHECK(samplesOf(*recording, 1, 0, 6)[0] == expected);
    CHECK(samplesOf(*recording, 2, 100, 6)[0] == expected);
    CHECK(samplesOf(*recording, 2, 0, 100)[0] == std::vector<float>(100));
    CHECK(recording->warnings().size() == 1);

    putContent(folder / "d.wav", wav24(48000, someSamples)); // one without: all start together
    const auto together = opened(folder.path());
    CHECK(together->length() == 6);
    CHECK(samplesOf(*together, 0, 0, 6)[0] == expected);
    CHECK(together->warnings().empty());
}

TEST_CASE("a time reference counts in samples of its own file") {
    TemporaryFolder folder;
    putContent(folder / "a.wav", stampedWav(48000, 3600ull * 48000, someSamples));
    putContent(folder / "b.wav", stampedWav(48000, 3600ull * 48000, someSamples));
    putContent(folder / "c.wav", stampedWav(44100, 3600ull * 44100 + 441, someSamples)); // 10 ms later
    const auto recording = opened(folder.path());
    CHECK(recording->files()[0].startsAt == 0);
    CHECK(recording->files()[2].startsAt == 480);
}

TEST_CASE("time references a day apart are taken for wrong") {
    TemporaryFolder folder;
    putContent(folder / "a.wav", stampedWav(48000, 0, someSamples));
    putContent(folder / "b.wav", stampedWav(48000, 24ull * 3600 * 48000, someSamples));
    CHECK(opened(folder.path())->length() == 6);
    putContent(folder / "c.wav", stampedWav(48000, 0x7FFFFFFFFFFFFFFF, someSamples));
    const auto recording = opened(folder.path());
    CHECK(recording->length() == 6);
    REQUIRE(recording->warnings().size() == 1);
    CHECK(recording->warnings()[0].find("a.wav and c.wav") != std::string::npos);
}

TEST_CASE("the commonest rate is taken, of two equally common ones the higher") {
    TemporaryFolder folder;
    putContent(folder / "a.wav", wav24(44100, someSamples));
    putContent(folder / "b.wav", wav24(48000, someSamples));
    CHECK(opened(folder.path())->sampleRate() == 48000.0);
    putContent(folder / "c.wav", wav24(44100, someSamples));
    const auto recording = opened(folder.path());
    CHECK(recording->sampleRate() == 44100.0);
    CHECK(recording->tracks()[1].resampledFromHz == 48000.0);
    CHECK_FALSE(recording->tracks()[0].resampledFromHz.has_value());
    CHECK(warningAbout(*recording, "b.wav")->find("48000 Hz and is resampled to 44100 Hz") != std::string::npos);
}

namespace {

/// Amplitude, and lag in samples, of a sine that is read, against sin(2 pi f n / rate); by correlation with both
/// phases.
struct SineFit {
    double amplitude = 0.0;
    double lagSamples = 0.0;
    double residual = 0.0; ///< Rms of what is left, over the rms of the sine.
};

SineFit fitSine(const std::vector<float>& samples, double frequency, double rate, std::int64_t first) {
    const double omega = 2.0 * std::numbers::pi * frequency / rate;
    double ss = 0.0, cc = 0.0, sc = 0.0, xs = 0.0, xc = 0.0;
    for (std::size_t i = 0; i < samples.size(); ++i) {
        const double angle = omega * static_cast<double>(first + static_cast<std::int64_t>(i));
        const double s = std::sin(angle), c = std::cos(angle), x = static_cast<double>(samples[i]);
        ss += s * s, cc += c * c, sc += s * c, xs += x * s, xc += x * c;
    }
    const double determinant = ss * cc - sc * sc;
    const double a = (xs * cc - xc * sc) / determinant, b = (xc * ss - xs * sc) / determinant;
    SineFit fit;
    fit.amplitude = std::hypot(a, b);
    fit.lagSamples = -std::atan2(b, a) / omega;
    double rest = 0.0;
    for (std::size_t i = 0; i < samples.size(); ++i) {
        const double angle = omega * static_cast<double>(first + static_cast<std::int64_t>(i));
        rest += std::pow(static_cast<double>(samples[i]) - a * std::sin(angle) - b * std::cos(angle), 2);
    }
    fit.residual = std::sqrt(rest / static_cast<double>(samples.size())) / (fit.amplitude / std::sqrt(2.0));
    return fit;
}

} // namespace

TEST_CASE("a resampled track keeps level and place from 1 to 15 kHz") {
    const double frequency = GENERATE(1000.0, 4000.0, 15000.0);
    const double rate = GENERATE(44100.0, 96000.0);
    CAPTURE(frequency, rate);
    TemporaryFolder folder;
    const auto other = sine(frequency, rate, static_cast<std::size_t>(rate));
    REQUIRE(writeWav(folder / "a.wav", rate, SampleFormat::float32, other));
    putContent(folder / "b.wav", wav24(48000, std::vector<std::int64_t>(48000)));
    const auto recording = opened(folder.path());
    REQUIRE(recording->sampleRate() == (rate == 96000.0 ? 96000.0 : 48000.0)); // a tie: the higher
    const double readAt = recording->sampleRate();
    if (readAt == rate) { // turn it round: 48 kHz must win
        putContent(folder / "c.wav", wav24(48000, std::vector<std::int64_t>(48000)));
    }
    const auto mixed = opened(folder.path());
    REQUIRE(mixed->sampleRate() == 48000.0);
    CHECK(mixed->tracks()[0].lengthSamples == 48000);
    // Away from the ends, where a sine that begins and stops is no sine.
    const auto fit = fitSine(samplesOf(*mixed, 0, 4000, 40000)[0], frequency, 48000.0, 4000);
    CHECK(std::abs(20.0 * std::log10(fit.amplitude / 0.5)) < 0.01); // soxr: roll-off at most 0.01 dB
    CHECK(20.0 * std::log10(fit.residual) < -100.0);
    CHECK(std::abs(fit.lagSamples) < 1e-3);
}

TEST_CASE("a resampled track reads alike in whatever order it is read") {
    TemporaryFolder folder;
    const int rate = GENERATE(44100, 96000, 47999, 11025);
    CAPTURE(rate);
    putContent(folder / "a.wav", wav24(rate, noise24(static_cast<std::size_t>(2 * 4 * rate), 3), 2));
    putContent(folder / "b.wav", wav24(48000, someSamples));
    putContent(folder / "c.wav", wav24(48000, someSamples));
    const auto recording = opened(folder.path());
    REQUIRE(recording->sampleRate() == 48000.0);
    const int length = static_cast<int>(recording->length());
    CHECK(length == 4 * 48000);
    const auto whole = samplesOf(*recording, 0, 0, length);
    const auto inBlocks = samplesOf(*recording, 0, 0, length, 777);
    CHECK(inBlocks == whole);

    auto reader = recording->openGroup(0);
    REQUIRE(reader);
    std::vector<float> left(1000), right(1000);
    const std::vector<float*> into{left.data(), right.data()};
    // Half of full scale, read as floats: two roundings of the last place are 2^-24.
    double largest = 0.0;
    for (int start : {100000, 4000, 120000, 119100, 0, 190900, 150000, 149000, 5000}) {
        REQUIRE((*reader)->read(start, 1000, into));
        for (int n = 0; n < 1000; ++n) {
            largest = std::max(largest, std::abs(static_cast<double>(left[size_t(n)] - whole[0][size_t(start + n)])));
            largest = std::max(largest, std::abs(static_cast<double>(right[size_t(n)] - whole[1][size_t(start + n)])));
        }
    }
    CHECK(largest <= 0x1p-23);
}

TEST_CASE("a file that is cut while it is read is a fault, and one that is gone when it is opened") {
    TemporaryFolder folder;
    putContent(folder / "a.wav", wav24(48000, noise24(100000, 9)));
    putContent(folder / "b.wav", wav24(48000, noise24(100000, 10)));
    const auto recording = opened(folder.path());
    auto reader = recording->openGroup(0);
    REQUIRE(reader);
    std::vector<float> samples(1000);
    float* into = samples.data();
    REQUIRE((*reader)->read(0, 1000, {&into, 1}));
    std::filesystem::resize_file(folder / "a.wav", 150000);
    const auto outcome = (*reader)->read(90000, 1000, {&into, 1});
    REQUIRE_FALSE(outcome);
    CHECK(outcome.fault().where == (folder / "a.wav").string());
    CHECK(outcome.fault().what == "was cut short or taken away while it was read");
    CHECK((*reader)->read(0, 1000, {&into, 1}));           // what is there still reads
    CHECK_FALSE((*reader)->read(49900, 1000, {&into, 1})); // across the cut

    const auto changed = recording->openGroup(0);
    REQUIRE_FALSE(changed);
    CHECK(changed.fault().what == "was changed since the recording was opened");
    std::filesystem::remove(folder / "b.wav");
    const auto gone = recording->openGroup(1);
    REQUIRE_FALSE(gone);
    CHECK(gone.fault().where == (folder / "b.wav").string());
    CHECK(gone.fault().what == "cannot be read: no such file or directory");
}

TEST_CASE("a file that vanishes while it is read does not break off") {
    TemporaryFolder folder;
    const auto samples = noise24(100000, 9);
    putContent(folder / "a.wav", wav24(48000, samples));
    const auto recording = opened(folder.path());
    auto reader = recording->openGroup(0);
    REQUIRE(reader);
    std::filesystem::remove(folder / "a.wav");
    std::vector<float> read(1000);
    float* into = read.data();
    REQUIRE((*reader)->read(90000, 1000, {&into, 1})); // an open file stays readable
    CHECK(read == fractions({samples.begin() + 90000, samples.begin() + 91000}, 8388608.0));
}

namespace {

void writeFlac(const std::filesystem::path& file, const std::vector<float>& samples) {
    AudioFileFormat format;
    format.container = Container::flac;
    auto writer = AudioFileWriter::create(file, format);
    REQUIRE(writer);
    const float* channel = samples.data();
    REQUIRE((*writer)->write({&channel, 1}, static_cast<int>(samples.size())));
    REQUIRE((*writer)->finish());
    REQUIRE((*writer)->keep());
}

} // namespace

TEST_CASE("a FLAC file that is cut short is read as far as it goes, wherever the cut") {
    TemporaryFolder folder;
    const auto samples = fractions(noise24(100000, 11), 8388608.0);
    writeFlac(folder / "a.flac", samples);
    const std::string whole = contentOf(folder / "a.flac");
    const double share = GENERATE(0.999, 0.9, 0.5, 0.1);
    CAPTURE(share);
    putContent(folder / "a.flac", whole.substr(0, static_cast<std::size_t>(static_cast<double>(whole.size()) * share)));
    const auto recording = opened(folder.path());
    REQUIRE(warningAbout(*recording, "a.flac"));
    CHECK(warningAbout(*recording, "a.flac")->find("of the 2.083 s") != std::string::npos);
    const auto length = static_cast<std::size_t>(recording->length());
    // Whole blocks (4096 samples at this level of compression) that precede the cut; noise packs evenly.
    CHECK(static_cast<double>(length) > share * 100000.0 - 2 * 4096);
    CHECK(static_cast<double>(length) < share * 100000.0 + 4096);
    CHECK(samplesOf(*recording, 0, 0, static_cast<int>(length))[0] ==
          std::vector<float>(samples.begin(), samples.begin() + static_cast<std::ptrdiff_t>(length)));
}

TEST_CASE("FLAC reads alike in whatever order it is read, and damage is a fault") {
    TemporaryFolder folder;
    const auto samples = fractions(noise24(100000, 12), 8388608.0);
    writeFlac(folder / "a.flac", samples);
    const auto recording = opened(folder.path());
    auto reader = recording->openGroup(0);
    REQUIRE(reader);
    std::vector<float> read(5000);
    float* into = read.data();
    for (int start : {0, 5000, 60000, 59000, 95000, 4096, 10}) {
        REQUIRE((*reader)->read(start, 5000, {&into, 1}));
        CHECK(read == std::vector<float>(samples.begin() + start, samples.begin() + start + 5000));
    }
}

TEST_CASE("a damaged FLAC file is a fault at the place, again and again") {
    TemporaryFolder folder;
    const auto samples = fractions(noise24(100000, 12), 8388608.0);
    writeFlac(folder / "a.flac", samples);
    std::string bytes = contentOf(folder / "a.flac");
    const std::size_t damaged = GENERATE(1, 100); // one bit: only the frame's check sum tells; more: the frame is lost
    CAPTURE(damaged);
    for (std::size_t i = 0; i < damaged; ++i)
        bytes[bytes.size() / 2 + i] = static_cast<char>(bytes[bytes.size() / 2 + i] ^ (damaged == 1 ? 1 : 0xFF));
    putContent(folder / "a.flac", bytes);
    auto reader = opened(folder.path())->openGroup(0);
    REQUIRE(reader);
    std::vector<float> read(100000);
    float* into = read.data();
    CHECK((*reader)->read(0, 5000, {&into, 1}));
    const auto outcome = (*reader)->read(0, 100000, {&into, 1});
    REQUIRE_FALSE(outcome);
    CHECK(outcome.fault().what == "was cut short, taken away or is damaged at 1 s");
    CHECK_FALSE((*reader)->read(49000, 3000, {&into, 1}));
    CHECK_FALSE((*reader)->read(50000, 100, {&into, 1}));
    CHECK((*reader)->read(90000, 5000, {&into, 1})); // what lies beyond can be read
    CHECK(std::equal(read.begin(), read.begin() + 5000, samples.begin() + 90000));
}

#ifndef _WIN32
TEST_CASE("a file that may not be read, a link to nothing and a pipe are listed with the reason") {
    TemporaryFolder folder;
    putContent(folder / "a.wav", wav24(48000, someSamples));
    putContent(folder / "b.wav", wav24(48000, someSamples));
    std::filesystem::permissions(folder / "b.wav", std::filesystem::perms::none);
    std::filesystem::create_symlink(folder / "nowhere", folder / "c.wav");
    REQUIRE(mkfifo((folder / "d.wav").c_str(), 0600) == 0);
    const bool root = geteuid() == 0; // root may read everything
    if (root) REQUIRE(seteuid(65534) == 0);
    const auto result = Recording::open(folder.path());
    if (root) REQUIRE(seteuid(0) == 0);
    REQUIRE(result);
    CHECK((*result)->tracks()[0].state == TrackState::ok);
    CHECK((*result)->tracks()[1].why == "cannot be read: permission denied");
    CHECK((*result)->tracks()[2].why == "cannot be read: no such file or directory");
    CHECK((*result)->tracks()[3].why == "is not a regular file");
}

TEST_CASE("a name that is not UTF-8, or holds a line break, is shown in one clean line") {
    TemporaryFolder folder;
    putContent(folder.path() / "fl\xF6te\n.wav", wav24(48000, someSamples)); // Latin-1
    const auto recording = opened(folder.path());
    CHECK(recording->tracks()[0].name == "fl\uFFFDte\uFFFD");
    CHECK(samplesOf(*recording, 0, 0, 6)[0] == fractions(someSamples, 8388608.0));
}
#endif

TEST_CASE("opening stops when it is told to") {
    TemporaryFolder folder;
    putContent(folder / "a.wav", wav24(48000, someSamples));
    std::stop_source source;
    source.request_stop();
    Watch watch;
    watch.stop = source.get_token();
    const auto recording = Recording::open(folder.path(), watch);
    REQUIRE_FALSE(recording);
    CHECK(recording.fault().kind == Fault::Kind::cancelled);
}
