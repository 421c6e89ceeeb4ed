#pragma once

#include "Core/Result.h"
#include "Core/Scene/PracticeRoom.h"
#include "Core/Scene/PracticeSounds.h"

#include <nlohmann/json_fwd.hpp>

#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

namespace spillwright {

/// One state of the practice room within a lesson.
struct LessonStep {
    std::string title;
    PracticeRoom room;
    bool operator==(const LessonStep&) const = default;
};

/// A prepared demonstration: one page and the rooms that it opens with.
struct Lesson {
    std::string title;
    std::string listenFor, lookFor; ///< What to hear, and what to see in room and plots.
    std::string question, answer;   ///< The answer is hidden until it is asked for.
    std::vector<std::string> references;
    PracticeSound sound = PracticeSound::pinkNoise;
    std::vector<LessonStep> steps; ///< At least one.
    bool operator==(const Lesson&) const = default;
};

/// A lesson file is JSON, "spillwright/lesson": the page, a "room", and "steps", each of which has a "room" of its own
/// or says under "change" what is otherwise than in the lesson's (RFC 7386; microphones by their names). Faults: not
/// JSON, another format or version, a field of a wrong kind or an unknown one, a room with a fault; `where` names the
/// text.
Result<Lesson> lessonFromJson(std::string_view text, const std::string& where);
Result<Lesson> readLessonFile(const std::filesystem::path& file);
/// Each step with a room of its own.
nlohmann::ordered_json lessonToJson(const Lesson& lesson);

struct LessonEntry {
    std::string name; ///< As `lesson NAME` takes it; the file's name without number and ending.
    std::string title;
    std::filesystem::path file;
};
/// The lessons that came with the program (installed, or in the source tree), in the order of their files' numbers.
std::vector<LessonEntry> lessons();
/// By its place in the list from 1 on, its name or its title, in capitals or not; end: none.
std::vector<LessonEntry>::const_iterator findLesson(const std::vector<LessonEntry>& among, std::string_view wanted);

/// The page as plain text: what to listen and to look for, each step with its distances, arrivals, levels and nulls,
/// the question, and at the end the answer.
std::string lessonPage(const Lesson& lesson);

} // namespace spillwright
