#include "Session/SharedData.h"

#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

using namespace spillwright;
using namespace spillwright::test;

TEST_CASE("what comes with the program is found from where the program lies, the nearest first") {
    TemporaryFolder folder;
    const auto make = [&](const char* path) {
        std::filesystem::create_directories(folder / path);
        return folder / path;
    };
    const auto programs = make("usr/bin");
    CHECK(sharedData("Songs", programs).empty());
    const auto installed = make("usr/share/spillwright/Songs");
    CHECK(sharedData("Songs", programs) == installed);
    CHECK(sharedData("Songs", make("usr/lib/x/y")) == installed);
    const auto nearer = make("usr/local/share/spillwright/Songs");
    CHECK(sharedData("Songs", make("usr/local/bin")) == nearer);
    CHECK(sharedData("Songs", programs) == installed);
    CHECK(sharedData("Others", programs).empty());
    CHECK(sharedData("Songs", {}).empty());
}

TEST_CASE("what comes with the program is there in the build tree") {
    CHECK(std::filesystem::is_directory(sharedData("Lessons")));
    CHECK(std::filesystem::is_directory(sharedData("DemoSessions")));
}
