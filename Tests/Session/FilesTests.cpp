#include "Session/Files.h"
#include "Session/TextFile.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

#include <fstream>
#include <iterator>
#include <set>
#include <span>
#include <string>

#ifndef _WIN32
#include <csignal>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>
#endif

using namespace spillwright;
using spillwright::test::TemporaryFolder;

namespace {

std::ptrdiff_t filesIn(const std::filesystem::path& folder) {
    return std::distance(std::filesystem::directory_iterator(folder), {});
}

} // namespace

#ifndef _WIN32
TEST_CASE("what a killed run has left under a hidden name goes with the next file that is written there") {
    const TemporaryFolder folder;
    const auto target = folder / "kept.bin";
    const pid_t child = fork();
    if (child == 0) {
        auto output = OutputFile::create(target);
        const bool written = output && output->write(std::as_bytes(std::span("half", 4))).ok() && output->finish().ok();
        std::filesystem::create_directory(temporaryBeside(target));
        if (written) raise(SIGKILL);
        _exit(1);
    }
    int status = 0;
    REQUIRE(waitpid(child, &status, 0) == child);
    REQUIRE(WIFSIGNALED(status));
    REQUIRE(filesIn(folder.path()) == 2);
    // What only looks like it, and what another that lives is writing.
    const auto living = temporaryBeside(folder / "elsewhere" / "x").filename();
    std::ofstream(folder / ".spillwright-1-1-1.part") << "another machine's";
    std::ofstream(folder / living) << "being written";
    std::ofstream(folder / ".spillwright-take.part") << "somebody's";
    std::ofstream(asideOf(target)) << "stepped aside";

    REQUIRE(writeTextFile(folder / "new.txt", "new").ok());
    CHECK(filesIn(folder.path()) == 5);
    CHECK(std::filesystem::exists(folder / living));
    CHECK_FALSE(std::filesystem::exists(target));
}

TEST_CASE("what is being written is its user's alone, under a name that cannot be guessed; with its own come the usual "
          "rights") {
    namespace fs = std::filesystem;
    constexpr auto own = fs::perms::owner_read | fs::perms::owner_write;
    const TemporaryFolder folder;
    const auto mask = umask(0);
    umask(mask);
    std::set<std::string> secrets;
    for (int count = 0; count < 2; ++count) {
        auto output = OutputFile::create(folder / "a");
        REQUIRE(output);
        const auto name = output->place().stem().string();
        const auto secret = name.substr(name.rfind('-') + 1);
        CHECK(secret.size() == 16); // 64 bits
        CHECK(secrets.insert(secret).second);
        CHECK(fs::status(output->place()).permissions() == own);
        REQUIRE(output->finish().ok());
        REQUIRE(output->keep().ok());
        // A file that is written anew keeps the rights it was given.
        CHECK(fs::status(folder / "a").permissions() == (count == 0 ? fs::perms(0666) & ~fs::perms(mask) : own));
        fs::permissions(folder / "a", own);
    }
    const auto partial = temporaryBeside(folder / "b");
    REQUIRE_FALSE(createPrivateFolder(partial));
    CHECK(createPrivateFolder(partial)); // the name is taken
    CHECK(fs::status(partial).permissions() == fs::perms::owner_all);
    REQUIRE_FALSE(takeName(partial, folder / "b"));
    CHECK(fs::status(folder / "b").permissions() == (fs::perms(0777) & ~fs::perms(mask)));
    makeOwnFolder(folder / "c" / "own");
    CHECK(fs::status(folder / "c" / "own").permissions() == fs::perms::owner_all);
}
#endif

TEST_CASE("a text file that does not end, or is none, is refused") {
    const TemporaryFolder folder;
    CHECK(readTextFile(folder.path(), "setting").fault().line() ==
          folder.path().string() + ": this setting cannot be read: is a directory; check the name and the permissions");
    if (std::filesystem::is_character_file("/dev/zero"))
        CHECK(readTextFile("/dev/zero", "setting").fault().what ==
              "this setting cannot be one: it is larger than 4 MB");
    REQUIRE(writeTextFile(folder / "a", "").ok());
    CHECK(readTextFile(folder / "a", "setting").value().empty());
}

TEST_CASE("a text as a person reads it has nothing that breaks its line, turns its direction or stands for nothing") {
    const std::string no = "\uFFFD";
    // Each by the number of its character: Unicode 15, Bidirectional_Control, control and noncharacter code points.
    for (const char* bad : {"\x01", "\x1B", "\x7F", "\u0085", "\u009F", "\u2028", "\u2029", "\u202A", "\u202E",
                            "\u2066", "\u2069", "\uFDD0", "\uFFFE", "\uFFFF", "\U0001FFFE", "\U0010FFFF"}) {
        CAPTURE(bad);
        CHECK(shownText("a" + std::string(bad) + "b") == "a" + no + "b");
    }
    for (const char* good : {"caf\u00e9", "\u05d0\u200f1", "\u2212", "\u2027", "\u202F", "\u2065", "\u206A", "\uFDF0",
                             "\uFFFD", "\U0001F3BB", "\u4e2d\u6587"})
        CHECK(shownText(good) == good);
    CHECK(shownText("a\xE9z\xC0\x80") == "a" + no + "z" + no + no);
    CHECK(shownText("a\nb\tc", "\n") == "a\nb" + no + "c");
    CHECK(shownPath("two\nlines") == "two" + no + "lines");
}
