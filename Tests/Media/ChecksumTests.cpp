#include "Media/Checksum.h"

#include "Media/FolderContent.h"

#include <catch2/catch.hpp>

using namespace spillwright;
using namespace spillwright::test;

TEST_CASE("checksums are those of the standard's examples") {
    TemporaryFolder folder;
    const auto sumOf = [&](const std::string& content) {
        putContent(folder / "file", content);
        const auto sum = sha256Of(folder / "file", {});
        REQUIRE(sum);
        return *sum;
    };
    // FIPS 180-2, appendix B.1 and B.3; that of nothing from memory.
    CHECK(sumOf("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    CHECK(sumOf(std::string(1000000, 'a')) == "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
    CHECK(sumOf("") == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
    // More than is read at once.
    CHECK(sumOf(std::string((1 << 20) + 1, 'a')) != sumOf(std::string(1 << 20, 'a')));
}

TEST_CASE("a file that is not there, and a stop, are told") {
    TemporaryFolder folder;
    CHECK_FALSE(sha256Of(folder / "absent", {}));
    putContent(folder / "file", "abc");
    std::stop_source stop;
    stop.request_stop();
    const auto stopped = sha256Of(folder / "file", {{}, stop.get_token()});
    REQUIRE_FALSE(stopped);
    CHECK(stopped.fault().kind == Fault::Kind::cancelled);
}

TEST_CASE("a line holds any name") {
    CHECK(checksumLine("12", "a b.wav") == "12  a b.wav\n");
    CHECK(checksumLine("12", "a\nb") == "\\12  a\\nb\n");
    CHECK(checksumLine("12", "a\\b") == "\\12  a\\\\b\n");
}
