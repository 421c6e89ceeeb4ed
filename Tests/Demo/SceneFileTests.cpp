#include "Demo/SceneFile.h"
#include "SmallScene.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

#include <fstream>

using namespace spillwright;
using nlohmann::json;

namespace {

std::string faultOf(const json& scene) {
    const auto read = readScene(scene.dump(), "FILE");
    REQUIRE_FALSE(read);
    CHECK(read.fault().kind == Fault::Kind::input);
    return read.fault().line();
}

/// The small scene with one value put in another's place.
json with(const std::string& pointer, json value) {
    json scene = test::smallScene();
    scene[json::json_pointer(pointer)] = std::move(value);
    return scene;
}

json without(const std::string& parent, const std::string& name) {
    json scene = test::smallScene();
    scene[json::json_pointer(parent)].erase(name);
    return scene;
}

} // namespace

TEST_CASE("a scene is read as it is written") {
    const auto read = readScene(test::smallScene().dump(), "FILE");
    REQUIRE(read);
    CHECK(read->title == "A small one");
    CHECK(read->length == Seconds(1.5));
    const Scene& scene = read->scene;
    REQUIRE(scene.rooms.size() == 2);
    CHECK(scene.rooms[0].absorption[static_cast<std::size_t>(Surface::floor)][6] == 0.7);
    CHECK(scene.rooms[0].absorption[static_cast<std::size_t>(Surface::xLow)][3] == 0.4);
    CHECK(scene.rooms[1].size == Point{2, 2, 2});

    REQUIRE(scene.microphones.size() == 5);
    const char* names[] = {"kick", "pair L", "pair R", "tune", "dub"};
    for (std::size_t n = 0; n < 5; ++n)
        CHECK(scene.microphones[n].name == names[n]);
    CHECK(scene.microphones[0].faults.inverted);
    CHECK(scene.microphones[0].pattern.omniShare == 1.0);
    CHECK(scene.microphones[1].pattern.omniShare == 0.5);
    CHECK(scene.microphones[1].pattern.aimedAt == Point{1, 1, 1});
    CHECK(scene.microphones[2].faults.lateSamples == 96);
    CHECK(scene.microphones[3].pattern.omniShare == 0.0);
    CHECK(scene.microphones[3].faults.highPass == Hertz(100.0));
    CHECK(scene.microphones[4].room == 1);
    REQUIRE(read->files.size() == 4);
    CHECK(read->files[1].name == "02 pair");
    CHECK(read->files[1].microphones == std::vector<int>{1, 2});

    REQUIRE(scene.sources.size() == 4);
    CHECK(read->closeMicrophone[0] == 0);
    CHECK_FALSE(read->closeMicrophone[1]);
    CHECK(read->parts[1].instrument.chokes);
    REQUIRE(read->parts[1].notes.size() == 2);
    CHECK(read->parts[1].notes[1] == Note{Seconds(0.5), Seconds(0.5), 42, 80});
    CHECK(read->parts[3].notes.size() == 4); // by its own tempo: four beats of 60 / 67 s
}

TEST_CASE("a fault of a scene says what is wrong where, and what to write") {
    CHECK(faultOf(without("/sources/0", "position_m")) ==
          "FILE: source 'kick' has no position_m; give position_m as three numbers");
    CHECK(faultOf(with("/sources/0/position_m", "there")) ==
          "FILE: position_m of source 'kick' cannot be used; give position_m as three numbers");
    CHECK(faultOf(with("/sources/0/position_m", {1, 9, 1})) ==
          "FILE: position_m of source 'kick' cannot be used; give position_m as a place inside the room");
    CHECK(faultOf(with("/sources/0/position_m", {1, 1, 0.5})) ==
          "FILE: position_m of source 'kick' cannot be used; give position_m as a place at least 0.01 m from every "
          "microphone");
    CHECK(faultOf(without("/sources/0", "name")) == "FILE: source 1 has no name; give name as text");
    CHECK(faultOf(with("/sources/1/name", "kick")) ==
          "FILE: name of source 'kick' cannot be used; give name as a name of its own");
    CHECK(faultOf(with("/sources/0/room", "attic")) ==
          "FILE: room of source 'kick' cannot be used; give room as the name of one of the rooms");
    CHECK(faultOf(with("/sources/0/close", "dub")) ==
          "FILE: close of source 'kick' cannot be used; give close as a track of the same room");
    CHECK(faultOf(with("/sources/0/close", "bass")) ==
          "FILE: close of source 'kick' cannot be used; give close as the name of a track");
    CHECK(faultOf(with("/sources/0/postion_m", {1, 1, 1})) ==
          "FILE: source 'kick' has a field 'postion_m' that means nothing here; correct its name or take it out");
    CHECK(faultOf(with("/sources/2/phrases/a", "f d5 e5 f5")) ==
          "FILE: source 'tune', phrase 'a': bar 1 has 3 beats; fill it to 4");
    CHECK(faultOf(with("/sources/0/order", "a b")) ==
          "FILE: source 'kick': its order names a phrase 'b' that is not written; add it to phrases");
    CHECK(faultOf(with("/sources/0/instrument/program", 128)) ==
          "FILE: program of instrument of source 'kick' cannot be used; give program as a number from 0 to 127");
    CHECK(faultOf(with("/microphones/1/pattern", "heart")) ==
          "FILE: pattern of microphone '02 pair' cannot be used; give pattern as omni, cardioid or figure of eight");
    CHECK(faultOf(without("/microphones/1", "aimsAt_m")) ==
          "FILE: microphone '02 pair' has no aimsAt_m; give aimsAt_m as three numbers");
    CHECK(faultOf(with("/microphones/3/file", "02 pair")) ==
          "FILE: file of microphone '02 pair' cannot be used; give file as a name that at most two microphones share");
    CHECK(faultOf(with("/microphones/0/file", "07 tune")) ==
          "FILE: two microphones make a track 'tune'; rename one of the files");
    CHECK(faultOf(with("/microphones/0/file", "../kick")) ==
          "FILE: file of microphone '../kick' cannot be used; give file as a file name without folder and ending");
    CHECK(faultOf(with("/microphones/0/file", "01 kick\n")) ==
          "FILE: file of microphone '01 kick ' cannot be used; give file as a file name without folder and ending");
    for (const char* bank : {"/etc/passwd", "../bank.sf3", ".hidden"})
        CHECK(faultOf(with("/soundBank", bank)) ==
              "FILE: soundBank of the scene cannot be used; give soundBank as the name of a file without its folder");
    CHECK(faultOf(with("/microphones/1/aimsAt_m", {1e308, 1e308, 1})) ==
          "FILE: aimsAt_m of microphone '02 pair' cannot be used; give aimsAt_m as a place other than its own, at most "
          "1000 m away");
    CHECK(faultOf(with("/sources", std::vector<json>(65, test::smallScene()["sources"][0]))) ==
          "FILE: sources of the scene cannot be used; give sources as a list of at most 64");
    CHECK(faultOf(with("/microphones/0/late_samples", 0.5)) ==
          "FILE: late_samples of microphone '01 kick' cannot be used; give late_samples as a whole number");
    CHECK(faultOf(with("/microphones/0/inverted", 1)) ==
          "FILE: inverted of microphone '01 kick' cannot be used; give inverted as true or false");
    CHECK(
        faultOf(with("/rooms/0/absorption/floor", {0.1, 0.2})) ==
        "FILE: floor of absorption of room 'hall' cannot be used; give floor as one number or seven, 125 Hz to 8 kHz");
    CHECK(faultOf(with("/rooms/0/absorption/floor", 1.2)) ==
          "FILE: floor of absorption of room 'hall' cannot be used; give floor as a number from 0 to 1");
    CHECK(faultOf(with("/rooms/0/size_m", {5, 6, 0})) ==
          "FILE: size_m of room 'hall' cannot be used; give size_m as three numbers from 0.5 to 100");
    CHECK(faultOf(with("/rooms", json::array())) ==
          "FILE: rooms of the scene cannot be used; give rooms as a list that is not empty");
    CHECK(faultOf(with("/format", "something else")) ==
          "FILE: format of the scene cannot be used; give format as \"spillwright/scene\"");
    CHECK(faultOf(json::array()) == "FILE: the scene is no object; write it in braces");
}

TEST_CASE("text that is no JSON is told with its line") {
    const auto read = readScene("{\n  \"format\": \"spillwright/scene\",\n  version: 1\n}", "FILE");
    REQUIRE_FALSE(read);
    CHECK(read.fault().line() == "FILE: is no JSON from line 3 on; mend the text there");
    CHECK(readScene("", "FILE").fault().line() == "FILE: is no JSON from line 1 on; mend the text there");
    CHECK(readScene("{\"length_s\": 1e999}", "FILE").fault().line() ==
          "FILE: holds a number that is too large; mend it");
    CHECK(readScene(std::string(100000, '['), "FILE").fault().line() == "FILE: is nested too deep; name a scene file");
}

TEST_CASE("a scene file that is not there is a fault") {
    const test::TemporaryFolder folder;
    CHECK(readSceneFile(folder / "none.json").fault().what ==
          "this scene file cannot be read: no such file or directory");
    CHECK(readSceneFile(folder.path()).fault().what == "this scene file cannot be read: is a directory");
    CHECK(readSceneTitle(folder / "none.json").fault().what ==
          "this scene file cannot be read: no such file or directory");
}
