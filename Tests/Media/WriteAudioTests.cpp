#include "Media/WriteAudio.h"

#include "Media/FolderContent.h"

#include <catch2/catch.hpp>

#include <cstring>

using namespace spillwright;
using namespace spillwright::test;

namespace {

std::uint32_t little32(const std::string& bytes, std::size_t at) {
    std::uint32_t value = 0;
    for (std::size_t i = 0; i < 4; ++i)
        value |= std::uint32_t(static_cast<unsigned char>(bytes[at + i])) << (8 * i);
    return value;
}

} // namespace

TEST_CASE("a WAV file has the bytes that the format lays down") {
    TemporaryFolder folder;
    const std::vector<float> samples{0.0f, 0.5f, -1.0f}; // 24 bit: 000000, 400000, 800000
    REQUIRE(writeWav(folder / "a.wav", 48000.0, SampleFormat::int24, samples));
    const std::string bytes = contentOf(folder / "a.wav");

    // Microsoft/IBM Multimedia Programming Interface 1.0: RIFF size counts what follows it, chunks are even.
    CHECK(bytes.substr(0, 4) == "RIFF");
    CHECK(little32(bytes, 4) == bytes.size() - 8);
    CHECK(bytes.substr(8, 4) == "WAVE");
    const auto format = bytes.find("fmt ");
    REQUIRE(format != std::string::npos);
    CHECK(bytes.substr(format, 24) ==
          std::string("fmt \x10\0\0\0\x01\0\x01\0\x80\xBB\0\0\x80\x32\x02\0\x03\0\x18\0", 24));
    const auto data = bytes.find("data");
    REQUIRE(data != std::string::npos);
    CHECK(bytes.substr(data) == std::string("data\x09\0\0\0\0\0\0\0\0\x40\0\0\x80\0", 18));
    CHECK(bytes.size() % 2 == 0);
}

TEST_CASE("channels are interleaved, and integers held at full scale") {
    TemporaryFolder folder;
    const std::vector<float> left{2.0f, 0.25f}, right{-2.0f, -0.25f};
    const std::vector<std::span<const float>> channels{left, right};
    REQUIRE(writeWav(folder / "a.wav", 44100.0, SampleFormat::int16, channels));
    const std::string bytes = contentOf(folder / "a.wav");
    CHECK(bytes.substr(bytes.find("data") + 8) == std::string("\xFF\x7F\0\x80\0\x20\0\xE0", 8));
}

TEST_CASE("what clips is told before it is written") {
    CHECK(fits(SampleFormat::int24, -1.0f));
    CHECK_FALSE(fits(SampleFormat::int24, 1.0f)); // the largest is 1 - 2^-23
    CHECK(fits(SampleFormat::int24, 1.0f - 0x1p-23f));
    CHECK_FALSE(fits(SampleFormat::int16, 1.0f - 0x1p-17f)); // would round to full scale
    CHECK(fits(SampleFormat::int16, 1.0f - 0x1p-15f));
    CHECK(fits(SampleFormat::float32, 4.0f));
}

TEST_CASE("a file replaces its older self only when it is whole") {
    TemporaryFolder folder;
    putContent(folder / "a.wav", "older");
    AudioFileFormat format;
    const std::vector<float> samples(1000, 0.1f);
    const float* channel = samples.data();
    {
        auto writer = AudioFileWriter::create(folder / "a.wav", format);
        REQUIRE(writer);
        REQUIRE((*writer)->write({&channel, 1}, 1000));
        REQUIRE((*writer)->finish());
        CHECK(contentOf(folder / "a.wav") == "older"); // never kept
    }
    CHECK(namesIn(folder.path()) == std::vector<std::string>{"a.wav"});

    auto writer = AudioFileWriter::create(folder / "a.wav", format);
    REQUIRE(writer);
    REQUIRE((*writer)->write({&channel, 1}, 1000));
    REQUIRE((*writer)->finish());
    REQUIRE((*writer)->keep());
    CHECK(contentOf(folder / "a.wav").substr(0, 4) == "RIFF");
    CHECK(namesIn(folder.path()) == std::vector<std::string>{"a.wav"});
}

TEST_CASE("a folder that is not there is a fault that names the file") {
    TemporaryFolder folder;
    const std::vector<float> samples(10);
    const auto outcome = writeWav(folder / "none" / "a.wav", 48000.0, SampleFormat::int24, samples);
    REQUIRE_FALSE(outcome);
    CHECK(outcome.fault().where == (folder / "none" / "a.wav").string());
    CHECK(outcome.fault().what.find("no such file") != std::string::npos);
}
