#include "Media/BroadcastExtension.h"

#include "Media/AudioBytes.h"

#include <catch2/catch.hpp>

using namespace spillwright;
using namespace spillwright::test;

namespace {

std::vector<std::byte> bytesOf(const std::string& text) {
    const auto* first = reinterpret_cast<const std::byte*>(text.data());
    return {first, first + text.size()};
}

} // namespace

TEST_CASE("the texts of a bext chunk are read to their ends") {
    const auto whole = BroadcastExtension::of(bytesOf(broadcastExtension(std::string(256, 'd'), 5, "A=PCM\r\nB\r\n")));
    CHECK(whole.description == std::string(256, 'd')); // no NUL where it is full
    CHECK(whole.originator == "Field recorder");
    CHECK(whole.date == "2026-03-01");
    CHECK(whole.codingHistory == "A=PCM\r\nB");
    const auto none = BroadcastExtension::of(bytesOf("too short"));
    CHECK(none.description.empty());
    CHECK(none.date.empty());
}

TEST_CASE("a line more changes nothing before it") {
    const auto body = broadcastExtension("text", 5, "A=ANALOGUE\r\n");
    CHECK(withCodingHistory(bytesOf(body), "A=PCM") == bytesOf(body + "A=PCM\r\n"));
    CHECK(withCodingHistory(bytesOf(body + std::string(7, '\0')), "A=PCM") == bytesOf(body + "A=PCM\r\n"));
    CHECK(withCodingHistory(bytesOf("too short"), "A=PCM") == bytesOf("too short"));
    CHECK(withCodingHistory({}, "A=PCM").empty());
}

TEST_CASE("a description gains a line where it has room for all of it, else it stays as it is") {
    const auto textAfter = [](const std::string& text, const std::string& line) {
        const auto before = bytesOf(broadcastExtension(text, 5, "A=PCM\r\n"));
        const auto after = withDescriptionLine(before, line);
        CHECK(std::vector(after.begin() + 256, after.end()) == std::vector(before.begin() + 256, before.end()));
        return BroadcastExtension::of(after).description;
    };
    CHECK(textAfter("take 3", "flipped") == "take 3\r\nflipped");
    CHECK(textAfter("", "flipped") == "flipped");
    CHECK(textAfter(std::string(247, 'd'), "flipped") == std::string(247, 'd') + "\r\nflipped"); // to the last byte
    CHECK(textAfter(std::string(248, 'd'), "flipped") == std::string(248, 'd'));
    CHECK(withDescriptionLine(bytesOf("too short"), "flipped") == bytesOf("too short"));
}

TEST_CASE("a line of a coding history has its parts between commas, and no other comma") {
    CHECK(codingHistoryLine(48000.0, 24, false, 1, "flipped, 1 ms later") ==
          "A=PCM,F=48000,W=24,M=mono,T=flipped; 1 ms later");
    CHECK(codingHistoryLine(96000.0, 32, true, 2, "a\r\nb \xC3\xA9") == "A=PCM,F=96000,W=32,M=stereo,T=float; a??b ??");
    CHECK(codingHistoryLine(44100.0, 16, false, 6, "").find("M=multi") != std::string::npos);
}
