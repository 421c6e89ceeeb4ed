#include "Session/Lesson.h"

#include "Session/Document.h"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include <set>
#include <string>

using namespace spillwright;
using nlohmann::json;

namespace {

const std::string plain = R"({
  "format": "spillwright/lesson", "version": 1, "title": "Two", "sound": "drums",
  "room": { "size_m": [6, 5, 3], "absorption": { "floor": 0.2 }, "temperature_C": 18, "source": { "position_m": [1, 2, 1] },
            "microphones": [ { "name": "b", "position_m": [2, 2, 1] },
                             { "name": "a", "position_m": [3, 2, 1], "omniShare": 0.5, "aimsAt_m": [1, 2, 1] } ] },
  "steps": [ { "title": "as it is" },
             { "title": "changed", "change": { "temperature_C": 5, "absorption": { "xLow": 0.5 },
               "microphones": { "a": { "nudge_ms": 1.5, "flip": true }, "b": null, "c": { "position_m": [4, 4, 2] } } } },
             { "title": "another", "room": { "microphones": [ { "name": "z", "position_m": [2, 3, 1], "pan": -1, "highPass_Hz": 80 } ] } } ]
})";

std::string with(const std::string& what, const std::string& by) {
    std::string text = plain;
    text.replace(text.find(what), what.size(), by);
    return text;
}

} // namespace

TEST_CASE("a lesson's steps are its room, changed by name, or rooms of their own") {
    const auto lesson = lessonFromJson(plain, "x");
    REQUIRE(lesson);
    CHECK(lesson->title == "Two");
    CHECK(lesson->sound == PracticeSound::drums);
    REQUIRE(lesson->steps.size() == 3);
    const auto& base = lesson->steps[0].room;
    CHECK(base.microphones[0].name == "b"); // the order of the file
    CHECK(base.microphones[1].pattern.omniShare == 0.5);
    CHECK(base.absorption[static_cast<std::size_t>(Surface::floor)] == 0.2);
    CHECK(base.absorption[static_cast<std::size_t>(Surface::xLow)] == 1.0);
    const auto& changed = lesson->steps[1].room;
    CHECK(changed.temperature == Celsius(5.0));
    CHECK(changed.absorption[static_cast<std::size_t>(Surface::floor)] == 0.2);
    CHECK(changed.absorption[static_cast<std::size_t>(Surface::xLow)] == 0.5);
    REQUIRE(changed.microphones.size() == 2);
    CHECK(changed.microphones[0].name == "a");
    CHECK(changed.microphones[0].adjustment.nudge == milliseconds(1.5));
    CHECK(changed.microphones[0].adjustment.flip);
    CHECK(changed.microphones[0].pattern == base.microphones[1].pattern);
    CHECK(changed.microphones[1].name == "c");
    const auto& other = lesson->steps[2].room;
    CHECK(other.microphones[0].adjustment.highPass == Hertz(80.0));
    CHECK(other.microphones[0].adjustment.pan == -1.0);
    CHECK(other.temperature == Celsius(20.0));
}

TEST_CASE("a lesson written and read again is the same") {
    const auto lesson = lessonFromJson(plain, "x");
    REQUIRE(lesson);
    const auto again = lessonFromJson(documentText(lessonToJson(*lesson)), "y");
    REQUIRE(again);
    CHECK(*again == *lesson);
    for (const auto& entry : lessons()) {
        const auto one = readLessonFile(entry.file);
        REQUIRE(one);
        const auto back = lessonFromJson(documentText(lessonToJson(*one)), "z");
        REQUIRE(back);
        CHECK(*back == *one);
    }
}

TEST_CASE("what is wrong with a lesson is said in one line, with its place") {
    const std::pair<std::string, std::string> cases[] = {
        {"", "f: this is not JSON; "},
        {with("spillwright/lesson", "spillwright/scene"), "f: \"format\" is not \"spillwright/lesson\"; "},
        {with("\"version\": 1", "\"version\": 2"), "f: this lesson was written by a newer version; "},
        {with("\"Two\"", "2"), "f: \"title\" is not a text; "},
        {with("\"title\": \"Two\", ", ""), "f: \"title\" is missing; "},
        {with("drums", "trumpet"), "f: \"sound\" has no such word as \"trumpet\"; "},
        {with("\"floor\"", "\"flor\""), "f: step 1: absorption: \"flor\" means nothing here; "},
        {with("[6, 5, 3]", "[6, 5]"), "f: step 1: \"size_m\" is not a list of three numbers; "},
        {with("[6, 5, 3]", "[6, 0, 3]"), "f: step 1: room is no room of this size; "},
        {with("[6, 5, 3]", "[6, 1e999, 3]"), "f: this is not JSON; "},
        {with("\"position_m\": [2, 2, 1]", "\"position_m\": [1, 2, 1]"),
         "f: step 1: microphone 'b' stands on the source; "},
        {with("\"position_m\": [2, 2, 1]", "\"position_m\": [9, 2, 1]"),
         "f: step 1: microphone 'b' stands outside the walls; "},
        {with("\"b\": null", "\"3\": { \"nudge_ms\": 1 }"),
         "f: step 2: no microphone \"3\" is there to change, and to put one in \"position_m\" is missing; "},
        {with("\"position_m\": [2, 2, 1] }", "\"flip\": true }"),
         "f: step 1: microphone 1: \"position_m\" is missing; "},
        {with("\"b\": null", "\"q\": null"), "f: step 2: no microphone \"q\" is there to take out; "},
        {with("\"nudge_ms\": 1.5", "\"nudge_ms\": 60"), "f: step 2: microphone 'a' has a delay that is out of range; "},
        {with("\"nudge_ms\": 1.5", "\"nudge\": 60"), "f: step 2: microphone 1: \"nudge\" means nothing here; "},
        {with("\"change\": {", "\"change\": [], \"chance\": {"), "f: step 2: \"chance\" means nothing here; "},
        {with("\"steps\": [", "\"stebs\": ["), "f: \"stebs\" means nothing here; "},
        {R"({"format":"spillwright/lesson","version":1,"title":"x"})", "f: there is neither \"room\" nor \"steps\"; "},
        {R"({"format":"spillwright/lesson","version":1,"title":"x","room":3})", "f: room: is not an object; "},
        {R"({"format":"spillwright/lesson","version":1,"title":"x","room":{}})", "f: room: room holds no microphone; "},
        {R"({"format":"spillwright/lesson","version":1,"title":"x","steps":[]})",
         "f: \"steps\" is not a list that holds any; "},
        {R"({"format":"spillwright/lesson","version":1,"title":"x","steps":[3]})", "f: step 1: is not an object; "},
    };
    for (const auto& [text, line] : cases) {
        const auto lesson = lessonFromJson(text, "f");
        INFO(line);
        REQUIRE_FALSE(lesson);
        CHECK(lesson.fault().line().substr(0, line.size()) == line);
    }
}

TEST_CASE("a lesson is found by its number, its name and its title") {
    const auto all = lessons();
    for (std::size_t place = 0; place < all.size(); ++place) {
        CHECK(findLesson(all, std::to_string(place + 1))->file == all[place].file);
        CHECK(findLesson(all, all[place].name)->file == all[place].file);
        CHECK(findLesson(all, all[place].title)->file == all[place].file);
    }
    CHECK(findLesson(all, "THREE to One")->title == "Three to one, and why it works");
    for (const char* none : {"0", "99", "", "5 ", "05", "three"})
        CHECK(findLesson(all, none) == all.end());
}

TEST_CASE("the page of a lesson says what adds or cancels at once, and where nothing is left") {
    const auto all = lessons();
    const auto lesson = readLessonFile(findLesson(all, "polarity against delay")->file);
    REQUIRE(lesson);
    const auto page = lessonPage(*lesson);
    CHECK(page.find("0.000 ms later, 0.0 dB, distances 1 : 1.00; they add by 6.0 dB at all frequencies") !=
          std::string::npos);
    CHECK(page.find("they cancel at all frequencies: nothing left") != std::string::npos);
    CHECK(page.find("Notches of the sum: nothing is left") != std::string::npos);
    const auto pair = readLessonFile(findLesson(all, "a spaced pair in mono")->file);
    REQUIRE(pair);
    CHECK(lessonPage(*pair).find("Notches of left and right: none") != std::string::npos);
}

TEST_CASE("a lesson of more steps, changes or letters than can be is refused") {
    nlohmann::json lesson = nlohmann::json::parse(plain);
    auto many = lesson;
    many["steps"] = std::vector<nlohmann::json>(101, {{"title", "again"}});
    CHECK(lessonFromJson(many.dump(), "f").fault().what == "there are more than 100 \"steps\"");
    auto changes = lesson;
    changes["steps"] = nlohmann::json::array({nlohmann::json::object()});
    for (int k = 0; k < 17; ++k)
        changes["steps"][0]["change"]["microphones"][std::to_string(k)] = nullptr;
    CHECK(lessonFromJson(changes.dump(), "f").fault().what ==
          "step 1: microphones: more are changed than a room holds");
    auto name = lesson;
    name["room"]["microphones"][0]["name"] = std::string(201, 'n');
    CHECK(lessonFromJson(name.dump(), "f").fault().what == "step 1: microphone 1 has a name that is too long");
}

TEST_CASE("the lessons that come with the program are whole, and their pages say all that they hold") {
    const auto all = lessons();
    CHECK(all.size() >= 12);
    std::set<std::string> names;
    for (const auto& entry : all) {
        CHECK(names.insert(entry.name).second);
        CHECK(entry.name.find_first_of("0123456789") != 0);
        const auto lesson = readLessonFile(entry.file);
        INFO(entry.file << (lesson ? "" : ": " + lesson.fault().line()));
        REQUIRE(lesson);
        CHECK(entry.title == lesson->title);
        const auto page = lessonPage(*lesson);
        for (const auto& part : {lesson->title, lesson->listenFor, lesson->lookFor, lesson->question, lesson->answer}) {
            REQUIRE_FALSE(part.empty());
            CHECK_FALSE(lesson->references.empty()); // somebody else says so too
            // The lines are wrapped: the first words are enough.
            CHECK(page.find(part.substr(0, part.find(' ', 20))) != std::string::npos);
        }
        CHECK(page.find(lesson->question.substr(0, 20)) < page.find(lesson->answer.substr(0, 20)));
        for (const auto& step : lesson->steps) {
            CHECK(page.find(step.title) != std::string::npos);
            CHECK_FALSE(faultOf(step.room));
        }
        std::size_t longest = 0;
        for (std::size_t at = 0; at < page.size();) {
            const auto end = std::min(page.find('\n', at), page.size());
            if (page.compare(at, 2, "  ") != 0) longest = std::max(longest, end - at);
            at = end + 1;
        }
        CHECK(longest <= 120);
    }
}
