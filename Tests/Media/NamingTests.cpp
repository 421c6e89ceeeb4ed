#include "Media/Naming.h"

#include <catch2/catch.hpp>

#include <algorithm>

using namespace spillwright;

TEST_CASE("names are ordered as people count") {
    std::vector<std::string> names{"10 a", "2 b", "02 c", "a10b", "a9b", "A1", "b", "", "a", "1"};
    std::sort(names.begin(), names.end(), naturallyBefore);
    CHECK(names == std::vector<std::string>{"", "1", "2 b", "02 c", "10 a", "a", "A1", "a9b", "a10b", "b"});
    for (const auto& name : names)
        CHECK_FALSE(naturallyBefore(name, name));
    CHECK(naturallyBefore("007", "7") != naturallyBefore("7", "007")); // one order, also of equal numbers
    CHECK(naturallyBefore("99999999999999999999998", "99999999999999999999999"));
}

TEST_CASE("a leading track number is told from a number that belongs to the name") {
    CHECK(withoutTrackNumber("01 kick in") == "kick in");
    CHECK(withoutTrackNumber("1-kick") == "kick");
    CHECK(withoutTrackNumber("12_snare") == "snare");
    CHECK(withoutTrackNumber("03. tom") == "tom");
    CHECK(withoutTrackNumber("007 - oboe") == "oboe");
    CHECK(withoutTrackNumber("01 57 amp") == "57 amp");
    for (const char* whole : {"kick", "808 kick", "1st violin", "2.5m pair", "12", "12 ", "", "01", "12-3"})
        CHECK(withoutTrackNumber(whole) == whole);
}

TEST_CASE("the sides of a pair are told by a closing letter or word that stands alone") {
    const auto common = [](const char* name) { return sideOfPair(name) ? sideOfPair(name)->common : ""; };
    CHECK(common("03 OH L") == common("04 OH R"));
    CHECK(common("Room_left") == common("Room_Right"));
    CHECK(common("a.l") == common("a.R"));
    CHECK(sideOfPair("OH R")->right);
    CHECK_FALSE(sideOfPair("OH L")->right);
    CHECK(common("OH L") != common("oh R"));
    CHECK(common("OH L") != common("OH_R"));
    CHECK(common("OH L") != common("OH right"));
    for (const char* alone : {"bell", "L", "01 R", "floor", "amp Lead", "left", " L"})
        CHECK_FALSE(sideOfPair(alone).has_value());
}

TEST_CASE("names are unique whatever the files are called") {
    using Names = std::vector<std::vector<std::string>>;
    const std::vector<std::string> mono{""}, stereo{" L", " R"};
    CHECK(trackNames({{"1 a.wav", "1 a", mono}, {"b.wav", "b", stereo}}) == Names{{"a"}, {"b L", "b R"}});
    // A stereo file whose side would be another file's name.
    CHECK(trackNames({{"1 b.wav", "1 b", stereo}, {"b L.wav", "b L", mono}}) == Names{{"1 b L", "1 b R"}, {"b L"}});
    CHECK(trackNames({{"a.flac", "a", mono}, {"a.wav", "a", mono}, {"1 a.wav", "1 a", mono}}) ==
          Names{{"a.flac"}, {"a.wav"}, {"1 a"}});
    CHECK(trackNames({{"a.wav", "a", stereo}, {"a.wav L", "a.wav L", mono}, {"a.aif", "a", stereo}}) ==
          Names{{"a.wav L", "a.wav R"}, {"a.wav L (2)"}, {"a.aif L", "a.aif R"}});
}
