#include "Media/Recording.h"

#include "Media/AudioBytes.h"
#include "Media/TemporaryFolder.h"
#include "Media/WriteAudio.h"

#include <catch2/catch.hpp>

#include <limits>
#include <map>

#ifndef _WIN32
#include <unistd.h>
#endif

using namespace spillwright;
using namespace spillwright::tests;

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
                                                     {"l mute", "has an encoding that is not read"}};
    REQUIRE(recording->trackCount() == 12);
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

TEST_CASE("a copy of a track is told from another") {
    TemporaryFolder folder;
    auto samples = noise24(40000, 5);
    putContent(folder / "a.wav", wav24(48000, samples));
    putContent(folder / "b.wav", wav24(48000, samples));
    samples[39999] ^= 1;
    putContent(folder / "c.wav", wav24(48000, samples));
    putContent(folder / "d.wav", "no sound");
    const auto recording = opened(folder.path());
    CHECK(sameAudio(*recording, 0, 1));
    CHECK_FALSE(sameAudio(*recording, 0, 2));
    CHECK_FALSE(sameAudio(*recording, 0, 3));
}
