#include "Session/Lesson.h"

#include "Core/Measure/CrossSpectra.h"
#include "Core/Scene/PracticeAcoustics.h"
#include "Session/AdjustmentJson.h"
#include "Session/SharedData.h"
#include "Session/TextFile.h"
#include "Session/Words.h"

#include <nlohmann/json.hpp>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <initializer_list>
#include <limits>
#include <system_error>

namespace spillwright {

namespace fs = std::filesystem;

namespace {

using nlohmann::json;
using nlohmann::ordered_json;

constexpr auto formatName = "spillwright/lesson";
constexpr int formatVersion = 1;
constexpr auto mend = "mend it there, after a file in the folder Resources/Lessons";
constexpr std::size_t mostSteps = 100;
constexpr double any = std::numeric_limits<double>::max(); ///< The range is faultOf()'s matter.
constexpr std::array<const char*, surfaces> surfaceNames{"xLow", "xHigh", "yLow", "yHigh", "floor", "ceiling"};

/// Thrown inside this file only: the first thing that is wrong.
struct LessonError {
    std::string what;
};

void require(const Members& members) {
    if (!members.problem().empty()) throw LessonError{members.problem()};
}

const json& objectOf(const json& value, const std::string& place) {
    if (!value.is_object()) throw LessonError{place + "is not an object"};
    return value;
}

void refuseOthers(const json& object, const std::string& place, std::initializer_list<std::string_view> known) {
    for (const auto& [key, value] : object.items())
        if (std::find(known.begin(), known.end(), key) == known.end())
            throw LessonError{place + "\"" + key + "\" means nothing here"};
}

void readPoint(const json& object, const char* key, const std::string& place, Point& into) {
    const auto found = object.find(key);
    if (found == object.end()) return;
    const bool three = found->is_array() && found->size() == 3 &&
                       std::all_of(found->begin(), found->end(), [](const json& one) { return one.is_number(); });
    if (!three) throw LessonError{place + "\"" + key + "\" is not a list of three numbers"};
    into = {(*found)[0].get<double>(), (*found)[1].get<double>(), (*found)[2].get<double>()};
}

ordered_json pointToJson(const Point& point) {
    return {point.x, point.y, point.z};
}

void readPlace(const json& object, const std::string& place, Members& members, Point& position,
               FirstOrderPattern& pattern) {
    readPoint(object, "position_m", place, position);
    members.number("omniShare", -any, any, pattern.omniShare);
    readPoint(object, "aimsAt_m", place, pattern.aimedAt);
}

void writePlace(const Point& position, const FirstOrderPattern& pattern, ordered_json& into) {
    into["position_m"] = pointToJson(position);
    if (pattern.omniShare == 1.0) return;
    into["omniShare"] = pattern.omniShare;
    into["aimsAt_m"] = pointToJson(pattern.aimedAt);
}

void readAbsorption(const json& object, const std::string& place, PracticeRoom& room) {
    const auto found = object.find("absorption");
    if (found == object.end()) return;
    if (found->is_number()) return room.absorption.fill(found->get<double>());
    const std::string within = place + "absorption: ";
    Members members(objectOf(*found, within), within);
    for (std::size_t surface = 0; surface < surfaces; ++surface)
        members.number(surfaceNames[surface], -any, any, room.absorption[surface]);
    require(members);
    refuseOthers(*found, within, {"xLow", "xHigh", "yLow", "yHigh", "floor", "ceiling"});
}

PracticeMicrophone readMicrophone(const json& object, const std::string& place) {
    PracticeMicrophone microphone;
    Members members(objectOf(object, place), place);
    members.text("name", microphone.name);
    if (!object.contains("position_m")) throw LessonError{place + "\"position_m\" is missing"};
    readPlace(object, place, members, microphone.position, microphone.pattern);
    readAdjustment(members, microphone.adjustment);
    require(members);
    refuseOthers(object, place,
                 {"name", "position_m", "omniShare", "aimsAt_m", "flip", "nudge_ms", "gain_dB", "highPass_Hz",
                  "highPassSlope_dBPerOctave", "pan", "muted"});
    return microphone;
}

PracticeRoom readRoom(const json& object, const std::string& place) {
    PracticeRoom room;
    Members members(objectOf(object, place), place);
    readPoint(object, "size_m", place, room.size);
    readAbsorption(object, place, room);
    members.number("temperature_C", -any, any, room.temperature.value);
    members.number("decay_s", -any, any, room.decay.value);
    require(members);
    if (const auto source = object.find("source"); source != object.end()) {
        const std::string within = place + "source: ";
        Members sourceMembers(objectOf(*source, within), within);
        readPlace(*source, within, sourceMembers, room.source, room.sourcePattern);
        require(sourceMembers);
        refuseOthers(*source, within, {"position_m", "omniShare", "aimsAt_m"});
    }
    if (const auto list = object.find("microphones"); list != object.end()) {
        if (!list->is_array()) throw LessonError{place + "\"microphones\" is not a list"};
        for (const auto& microphone : *list)
            room.microphones.push_back(
                readMicrophone(microphone, place + "microphone " + std::to_string(room.microphones.size() + 1) + ": "));
    }
    refuseOthers(object, place, {"size_m", "absorption", "temperature_C", "decay_s", "source", "microphones"});
    if (const auto fault = faultOf(room)) throw LessonError{place + fault->where + " " + fault->what};
    return room;
}

ordered_json roomToJson(const PracticeRoom& room) {
    ordered_json result;
    result["size_m"] = pointToJson(room.size);
    for (std::size_t surface = 0; surface < surfaces; ++surface)
        result["absorption"][surfaceNames[surface]] = room.absorption[surface];
    result["temperature_C"] = room.temperature.value;
    result["decay_s"] = room.decay.value;
    writePlace(room.source, room.sourcePattern, result["source"]);
    result["microphones"] = ordered_json::array();
    for (const auto& microphone : room.microphones) {
        ordered_json one;
        one["name"] = microphone.name;
        writePlace(microphone.position, microphone.pattern, one);
        writeAdjustment(microphone.adjustment, one);
        result["microphones"].push_back(std::move(one));
    }
    return result;
}

/// A merge patch (RFC 7386), but for the microphones: these are changed by name, taken out by null, and put in where no
/// other bears the name.
json changed(json room, json change, const std::string& place) {
    objectOf(change, place);
    json microphones = json::object();
    if (const auto found = change.find("microphones"); found != change.end()) {
        microphones = objectOf(*found, place + "microphones: ");
        change.erase(found);
    }
    room.merge_patch(change);
    if (microphones.size() > 2 * practiceLimits::mostMicrophones) // all out, and all others in
        throw LessonError{place + "microphones: more are changed than a room holds"};
    json& list = room["microphones"];
    if (!list.is_array()) list = json::array();
    for (const auto& [name, patch] : microphones.items()) {
        const auto named = std::find_if(list.begin(), list.end(), [&, &key = name](const json& one) {
            return one.is_object() && one.value("name", json()) == json(key);
        });
        if (patch.is_null()) {
            if (named == list.end()) throw LessonError{place + "no microphone \"" + name + "\" is there to take out"};
            list.erase(named);
        } else if (named != list.end()) {
            named->merge_patch(patch);
        } else {
            json added = objectOf(patch, place + "microphone \"" + name + "\": ");
            if (!added.contains("position_m"))
                throw LessonError{place + "no microphone \"" + name +
                                  "\" is there to change, and to put one in \"position_m\" is missing"};
            added["name"] = name;
            list.push_back(std::move(added));
        }
    }
    return room;
}

Lesson readLesson(const json& root) {
    Lesson lesson;
    Members members(root, "");
    members.text("title", lesson.title);
    members.text("listenFor", lesson.listenFor);
    members.text("lookFor", lesson.lookFor);
    members.text("question", lesson.question);
    members.text("answer", lesson.answer);
    members.texts("references", lesson.references);
    int sound = static_cast<int>(lesson.sound);
    members.word("sound", practiceSoundNames, sound);
    lesson.sound = static_cast<PracticeSound>(sound);
    require(members);
    refuseOthers(root, "",
                 {"format", "version", "title", "listenFor", "lookFor", "question", "answer", "references", "sound",
                  "room", "steps"});
    if (lesson.title.empty()) throw LessonError{"\"title\" is missing"};
    const auto room = root.find("room");
    const auto steps = root.find("steps");
    if (steps == root.end()) {
        if (room == root.end()) throw LessonError{"there is neither \"room\" nor \"steps\""};
        lesson.steps.push_back({"", readRoom(*room, "room: ")});
        return lesson;
    }
    if (!steps->is_array() || steps->empty()) throw LessonError{"\"steps\" is not a list that holds any"};
    if (steps->size() > mostSteps) throw LessonError{"there are more than " + std::to_string(mostSteps) + " \"steps\""};
    for (const auto& object : *steps) {
        const std::string place = "step " + std::to_string(lesson.steps.size() + 1) + ": ";
        LessonStep step;
        Members stepMembers(objectOf(object, place), place);
        stepMembers.text("title", step.title);
        require(stepMembers);
        refuseOthers(object, place, {"title", "room", "change"});
        json state = object.contains("room") ? object["room"] : room != root.end() ? *room : json();
        if (object.contains("change")) state = changed(objectOf(state, place + "room "), object["change"], place);
        step.room = readRoom(state, place);
        lesson.steps.push_back(std::move(step));
    }
    return lesson;
}

/// "03 polarity against delay" without its number.
std::string withoutNumber(const std::string& stem) {
    const auto letters = stem.find_first_not_of("0123456789");
    return letters == std::string::npos || letters == 0 ? stem : stem.substr(letters + 1);
}

std::string number(double value, int digits) {
    char text[64];
    const double scale = std::pow(10.0, digits), shown = std::round(value * scale) / scale;
    std::snprintf(text, sizeof text, "%.*f", digits, shown == 0.0 ? 0.0 : shown); // no "-0.0"
    return text;
}

std::string levelText(double dB) {
    return dB < nothingLeft.value ? "nothing left" : number(dB, 1) + " dB";
}

/// The words wrapped at a width that reads well.
std::string wrapped(std::string_view text) {
    constexpr std::size_t width = 100;
    std::string result;
    std::size_t column = 0;
    while (!text.empty()) {
        const auto end = std::min(text.find_first_of(" \n"), text.size());
        if (column > 0 && column + 1 + end > width) {
            result += "\n";
            column = 0;
        } else if (column > 0 && end > 0) {
            result += " ";
            ++column;
        }
        result += text.substr(0, end);
        column += end;
        if (end < text.size() && text[end] == '\n') {
            result += "\n";
            column = 0;
        }
        text.remove_prefix(std::min(end + 1, text.size()));
    }
    return result + "\n";
}

/// What the two direct sounds make of each other.
std::string addedInWords(const PracticeReading& reading, const PracticePair& pair) {
    if (pair.firstNull)
        return "crests " + levelText(pair.peak.value) + ", nulls " + levelText(pair.null.value) + ", the first at " +
               number(pair.firstNull->value, 1) + " Hz";
    const auto polarityOf = [&](int track) { return reading.paths[static_cast<std::size_t>(track)].polarity; };
    if (!polarityOf(pair.first) || !polarityOf(pair.second)) return "one of them hears no direct sound";
    return polarityOf(pair.first) == polarityOf(pair.second)
               ? "they add by " + levelText(pair.peak.value) + " at all frequencies"
               : "they cancel at all frequencies: " + levelText(pair.null.value);
}

std::string stepOnPage(const LessonStep& step, std::size_t place) {
    std::string text = "Step " + std::to_string(place + 1) + (step.title.empty() ? "" : ": " + step.title) + "\n";
    constexpr double rate = 48000.0;
    PracticeAcoustics acoustics(rate);
    const auto& responses = acoustics.follow(step.room, Detail::resting);
    const auto reading = readingOf(step.room, responses);
    const auto& microphones = step.room.microphones;
    for (std::size_t index = 0; index < microphones.size(); ++index) {
        const auto& path = reading.paths[index];
        text += "  " + microphones[index].name + ": " + number(path.distance.value, 3) + " m, arrives after " +
                number(inMilliseconds(path.arrival), 3) + " ms at " + levelText(path.level.value) +
                (path.polarity == Polarity::inverted ? ", upside down" : "");
        if (microphones[index].adjustment != TrackAdjustment{})
            text += " (" + adjustmentInWords(microphones[index].adjustment) + ")";
        text += "\n";
    }
    constexpr std::size_t mostPairs = 6; // of more nobody reads each
    for (const auto& pair : reading.pairs) {
        const auto& first = microphones[static_cast<std::size_t>(pair.first)];
        const auto& second = microphones[static_cast<std::size_t>(pair.second)];
        if (reading.pairs.size() > mostPairs || first.adjustment.muted || second.adjustment.muted) continue;
        text += "  " + first.name + " / " + second.name + ": " + number(std::abs(inMilliseconds(pair.arrival)), 3) +
                (pair.arrival.value < 0.0 ? " ms earlier, " : " ms later, ") + levelText(pair.level.value) +
                ", distances 1 : " + number(pair.distanceRatio, 2) + "; " + addedInWords(reading, pair) +
                "; coherence in the low-mids " +
                number(pairCoherence(responses, pair.first, pair.second, lowMidBand, usualWindow(rate)), 2) + "\n";
    }
    std::string deep;
    constexpr std::size_t shown = 8;
    for (std::size_t index = 0; index < std::min(shown, reading.notches.size()); ++index)
        deep += (index == 0 ? "" : ", ") + number(reading.notches[index].frequency.value, 1) + " Hz (" +
                levelText(reading.notches[index].levelDb) + ")";
    if (reading.notches.size() > shown) deep += " and so on";
    const bool nothing = !reading.anythingAbove(nothingLeft);
    return text + (reading.stereo() ? "  Notches of left and right: " : "  Notches of the sum: ") +
           (nothing        ? "nothing is left"
            : deep.empty() ? "none"
                           : deep) +
           "\n";
}

} // namespace

Result<Lesson> lessonFromJson(std::string_view text, const std::string& where) {
    const auto document = parseDocument(text, where, {formatName, formatVersion, "lesson", mend});
    if (!document) return document.fault();
    try {
        return readLesson(*document);
    } catch (const LessonError& error) {
        return Fault{where, error.what, mend};
    }
}

Result<Lesson> readLessonFile(const fs::path& file) {
    const auto text = readTextFile(file, "lesson");
    if (!text) return text.fault();
    return lessonFromJson(*text, file.string());
}

ordered_json lessonToJson(const Lesson& lesson) {
    ordered_json result{{"format", formatName},
                        {"version", formatVersion},
                        {"title", lesson.title},
                        {"listenFor", lesson.listenFor},
                        {"lookFor", lesson.lookFor},
                        {"question", lesson.question},
                        {"answer", lesson.answer},
                        {"references", lesson.references},
                        {"sound", practiceSoundNames[static_cast<std::size_t>(lesson.sound)]}};
    result["steps"] = ordered_json::array();
    for (const auto& step : lesson.steps)
        result["steps"].push_back({{"title", step.title}, {"room", roomToJson(step.room)}});
    return result;
}

std::vector<LessonEntry> lessons() {
    std::vector<fs::path> files;
    std::error_code error;
    for (fs::directory_iterator entry(sharedData("Lessons"), error), end; !error && entry != end;
         entry.increment(error))
        if (entry->path().extension() == ".json") files.push_back(entry->path());
    std::sort(files.begin(), files.end());
    std::vector<LessonEntry> found;
    for (const auto& file : files) {
        const auto lesson = readLessonFile(file);
        found.push_back({withoutNumber(file.stem().string()), lesson ? lesson->title : lesson.fault().what, file});
    }
    return found;
}

std::vector<LessonEntry>::const_iterator findLesson(const std::vector<LessonEntry>& among, std::string_view wanted) {
    const auto small = [](std::string_view text) {
        std::string result(text);
        for (char& c : result)
            if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
        return result;
    };
    return std::find_if(among.begin(), among.end(), [&](const LessonEntry& entry) {
        const auto place = static_cast<std::size_t>(&entry - among.data()) + 1;
        return wanted == std::to_string(place) || small(wanted) == small(entry.name) ||
               small(wanted) == small(entry.title);
    });
}

std::string lessonPage(const Lesson& lesson) {
    std::string page = lesson.title + "\n" + std::string(lesson.title.size(), '=') + "\n\n";
    page += std::string("Sound: ") + practiceSoundNames[static_cast<std::size_t>(lesson.sound)] + "\n\n";
    page += "Listen for\n----------\n" + wrapped(lesson.listenFor) + "\n";
    page += "Look for\n--------\n" + wrapped(lesson.lookFor) + "\n";
    page += "The room\n--------\n";
    for (std::size_t place = 0; place < lesson.steps.size(); ++place)
        page += stepOnPage(lesson.steps[place], place);
    page += "\nQuestion\n--------\n" + wrapped(lesson.question);
    page += "\nAnswer\n------\n" + wrapped(lesson.answer);
    for (const auto& reference : lesson.references)
        page += "\nReference: " + wrapped(reference);
    return page;
}

} // namespace spillwright
