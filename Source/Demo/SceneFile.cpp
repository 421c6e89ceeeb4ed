#include "Demo/SceneFile.h"

#include "Session/Document.h"
#include "Session/TextFile.h"

#include <nlohmann/json.hpp>

#include <algorithm>
#include <set>
#include <sstream>

namespace spillwright {

namespace {

using nlohmann::json;

/// Thrown inside this file only; readScene() turns it into a Fault.
struct SceneError {
    std::string what;
    std::string mend;
};

/// Of a file that can lie in no folder but the one it is looked for or written in.
bool isFileName(const std::string& name) {
    constexpr std::size_t longest = 200; // with an ending, file systems take 255 bytes
    const bool control = std::any_of(name.begin(), name.end(), [](char c) { return c >= 0 && c < 0x20; });
    return !control && name.find_first_of("/\\:*?\"<>|") == std::string::npos && name[0] != '.' &&
           name.size() <= longest;
}

std::string inQuotes(const std::string& name) {
    return "'" + name + "'";
}

/// The fields of one object: each is asked for by name; what was not asked for is a slip of the pen.
class Fields {
public:
    Fields(const json& fields, std::string theOwner) : object(fields), owner(std::move(theOwner)) {
        if (!object.is_object()) throw SceneError{owner + " is no object", "write it in braces"};
    }

    bool has(const std::string& name) {
        known.insert(name);
        return object.contains(name) && !object[name].is_null();
    }
    const json& any(const std::string& name, const std::string& as) {
        if (!has(name)) throw SceneError{owner + " has no " + name, "give " + name + " as " + as};
        return object[name];
    }

    double number(const std::string& name, double low, double high) {
        const json& value = any(name, "a number");
        if (!value.is_number()) wrong(name, "a number");
        return inRange(name, value.get<double>(), low, high);
    }
    double number(const std::string& name, double low, double high, double otherwise) {
        return has(name) ? number(name, low, high) : otherwise;
    }
    int whole(const std::string& name, int low, int high) {
        const json& value = any(name, "a whole number");
        if (!value.is_number_integer()) wrong(name, "a whole number");
        return static_cast<int>(inRange(name, value.get<double>(), low, high));
    }
    int whole(const std::string& name, int low, int high, int otherwise) {
        return has(name) ? whole(name, low, high) : otherwise;
    }
    bool truth(const std::string& name) {
        if (!has(name)) return false;
        if (!object[name].is_boolean()) wrong(name, "true or false");
        return object[name].get<bool>();
    }
    std::string text(const std::string& name) {
        const json& value = any(name, "text");
        if (!value.is_string() || value.get<std::string>().empty()) wrong(name, "text");
        return value.get<std::string>();
    }
    Point point(const std::string& name) {
        const json& value = any(name, "three numbers");
        if (!value.is_array() || value.size() != 3 ||
            !std::all_of(value.begin(), value.end(), [](const json& v) { return v.is_number(); }))
            wrong(name, "three numbers");
        return {value[0].get<double>(), value[1].get<double>(), value[2].get<double>()};
    }
    PerOctave perOctave(const std::string& name, double low, double high) {
        const std::string as = "one number or seven, 125 Hz to 8 kHz";
        const json& value = any(name, as);
        PerOctave result{};
        if (value.is_number()) {
            result.fill(inRange(name, value.get<double>(), low, high));
            return result;
        }
        if (!value.is_array() || value.size() != octaves) wrong(name, as);
        for (std::size_t octave = 0; octave < octaves; ++octave) {
            if (!value[octave].is_number()) wrong(name, as);
            result[octave] = inRange(name, value[octave].get<double>(), low, high);
        }
        return result;
    }
    const json& list(const std::string& name, std::size_t most) {
        const json& value = any(name, "a list");
        if (!value.is_array() || value.empty()) wrong(name, "a list that is not empty");
        if (value.size() > most) wrong(name, "a list of at most " + std::to_string(most));
        return value;
    }
    const json& map(const std::string& name) {
        const json& value = any(name, "an object");
        if (!value.is_object()) wrong(name, "an object");
        return value;
    }

    [[noreturn]] void wrong(const std::string& name, const std::string& as) const {
        throw SceneError{name + " of " + owner + " cannot be used", "give " + name + " as " + as};
    }
    void refuseOthers() const {
        for (const auto& [name, value] : object.items())
            if (!known.contains(name))
                throw SceneError{owner + " has a field " + inQuotes(name) + " that means nothing here",
                                 "correct its name or take it out"};
    }

private:
    double inRange(const std::string& name, double value, double low, double high) const {
        if (!(value >= low && value <= high)) {
            std::ostringstream as;
            as << "a number from " << low << " to " << high;
            wrong(name, as.str());
        }
        return value;
    }

    const json& object;
    std::string owner;
    std::set<std::string> known;
};

/// The name under which an object of a list is spoken of.
std::string ownerOf(const json& object, const std::string& kind, const std::string& nameField, std::size_t place) {
    if (object.is_object() && object.contains(nameField) && object[nameField].is_string())
        return kind + " " + inQuotes(object[nameField].get<std::string>());
    return kind + " " + std::to_string(place + 1);
}

ShoeboxRoom readRoom(const json& object, const std::string& owner) {
    Fields fields(object, owner);
    ShoeboxRoom room;
    room.name = fields.text("name");
    room.size = fields.point("size_m");
    for (int axis = 0; axis < 3; ++axis)
        if (!(room.size[axis] >= 0.5 && room.size[axis] <= 100.0))
            fields.wrong("size_m", "three numbers from 0.5 to 100");
    room.temperature = Celsius(fields.number("temperature_C", -40.0, 60.0));
    room.decay = Seconds(fields.number("decay_s", 0.01, 4.0));
    room.scatter = Metres(fields.number("scatter_m", 0.0, 1.0, 0.0));
    if (fields.has("airLoss_dB_per_m")) room.airLossDbPerMetre = fields.perOctave("airLoss_dB_per_m", 0.0, 10.0);
    Fields absorption(fields.map("absorption"), "absorption of " + owner);
    static const std::array<std::string, surfaces> names{"xLow", "xHigh", "yLow", "yHigh", "floor", "ceiling"};
    for (std::size_t surface = 0; surface < surfaces; ++surface)
        room.absorption[surface] = absorption.perOctave(names[surface], 0.0, 1.0);
    absorption.refuseOthers();
    fields.refuseOthers();
    return room;
}

class SceneReader {
public:
    SceneFile read(const json& root) {
        Fields fields(root, "the scene");
        if (fields.text("format") != "spillwright/scene") fields.wrong("format", "\"spillwright/scene\"");
        fields.whole("version", 1, 1);
        result.title = fields.text("title");
        result.length = Seconds(fields.number("length_s", 0.1, 600.0));
        result.soundBank = fields.text("soundBank");
        if (!isFileName(result.soundBank)) fields.wrong("soundBank", "the name of a file without its folder");
        result.scene.sampleRate = fields.whole("sampleRate_Hz", 8000, 96000);
        result.scene.seed = static_cast<std::uint64_t>(fields.whole("seed", 0, 1000000000));
        tempo.beatsPerMinute = fields.number("tempo_bpm", 20.0, 400.0);
        tempo.beatsPerBar = fields.whole("beatsPerBar", 1, 16);

        std::size_t place = 0;
        for (const json& room : fields.list("rooms", 32))
            result.scene.rooms.push_back(readRoom(room, ownerOf(room, "room", "name", place++)));
        place = 0;
        for (const json& microphone : fields.list("microphones", 256))
            readMicrophone(microphone, ownerOf(microphone, "microphone", "file", place++));
        nameTracks();
        place = 0;
        for (const json& source : fields.list("sources", 64))
            readSource(source, ownerOf(source, "source", "name", place++));
        fields.refuseOthers();
        return std::move(result);
    }

private:
    int readPlace(Fields& fields, Point& position, FirstOrderPattern& pattern) {
        const std::string name = fields.text("room");
        const auto& rooms = result.scene.rooms;
        const auto room = std::find_if(rooms.begin(), rooms.end(), [&](const auto& r) { return r.name == name; });
        if (room == rooms.end()) fields.wrong("room", "the name of one of the rooms");
        position = fields.point("position_m");
        for (int axis = 0; axis < 3; ++axis)
            if (!(position[axis] > 0.0 && position[axis] < room->size[axis]))
                fields.wrong("position_m", "a place inside the room");
        if (pattern.omniShare < 1.0) {
            constexpr double nearestAim = 1e-3, farthestAim = 1000.0; // metres
            pattern.aimedAt = fields.point("aimsAt_m");
            const double distance = distanceBetween(pattern.aimedAt, position);
            if (!(distance >= nearestAim && distance <= farthestAim))
                fields.wrong("aimsAt_m", "a place other than its own, at most 1000 m away");
        }
        return static_cast<int>(room - rooms.begin());
    }

    void readMicrophone(const json& object, const std::string& owner) {
        Fields fields(object, owner);
        SceneMicrophone microphone;
        const std::string file = fields.text("file");
        if (!isFileName(file)) fields.wrong("file", "a file name without folder and ending");
        static const std::map<std::string, double> patterns{{"omni", 1.0}, {"cardioid", 0.5}, {"figure of eight", 0.0}};
        const auto pattern = patterns.find(fields.text("pattern"));
        if (pattern == patterns.end()) fields.wrong("pattern", "omni, cardioid or figure of eight");
        microphone.pattern.omniShare = pattern->second;
        microphone.room = readPlace(fields, microphone.position, microphone.pattern);
        microphone.gain = Decibels(fields.number("gain_dB", -100.0, 100.0));
        microphone.selfNoise = Decibels(fields.number("selfNoise_dBFS", -200.0, 0.0));
        microphone.faults.inverted = fields.truth("inverted");
        const int second = static_cast<int>(result.scene.sampleRate);
        microphone.faults.lateSamples = fields.whole("late_samples", -second, second, 0);
        if (fields.has("highPass_Hz"))
            microphone.faults.highPass = Hertz(fields.number("highPass_Hz", 1.0, 0.4 * result.scene.sampleRate));

        auto known = std::find_if(result.files.begin(), result.files.end(), [&](auto& f) { return f.name == file; });
        if (known == result.files.end()) known = result.files.insert(known, {file, {}});
        if (known->microphones.size() == 2) fields.wrong("file", "a name that at most two microphones share");
        known->microphones.push_back(static_cast<int>(result.scene.microphones.size()));
        fields.refuseOthers();
        result.scene.microphones.push_back(microphone);
    }

    /// As the recording's tracks are named: by the file without its number, a stereo file's channels by their side.
    void nameTracks() {
        std::set<std::string> taken;
        for (const auto& file : result.files) {
            const auto digits = file.name.find_first_not_of("0123456789");
            const bool numbered = digits != std::string::npos && digits > 0 && file.name[digits] == ' ';
            const std::string base = numbered ? file.name.substr(digits + 1) : file.name;
            const bool stereo = file.microphones.size() == 2;
            for (std::size_t side = 0; side < file.microphones.size(); ++side) {
                auto& name = result.scene.microphones[static_cast<std::size_t>(file.microphones[side])].name;
                name = stereo ? base + (side == 0 ? " L" : " R") : base;
                if (!taken.insert(name).second)
                    throw SceneError{"two microphones make a track " + inQuotes(name), "rename one of the files"};
            }
        }
    }

    std::optional<int> closeMicrophone(Fields& fields) const {
        if (!fields.has("close")) return std::nullopt;
        const std::string track = fields.text("close");
        const auto& all = result.scene.microphones;
        const auto found = std::find_if(all.begin(), all.end(), [&](const auto& m) { return m.name == track; });
        if (found == all.end()) fields.wrong("close", "the name of a track");
        return static_cast<int>(found - all.begin());
    }

    void readSource(const json& object, const std::string& owner) {
        Fields fields(object, owner);
        SceneSource source;
        source.name = fields.text("name");
        for (const auto& other : result.scene.sources)
            if (other.name == source.name) fields.wrong("name", "a name of its own");
        source.pattern.omniShare = fields.number("omniShare", 0.0, 1.0, 1.0);
        source.room = readPlace(fields, source.position, source.pattern);
        source.level = Decibels(fields.number("level_dB", -100.0, 100.0));
        for (const auto& microphone : result.scene.microphones)
            if (microphone.room == source.room && distanceBetween(microphone.position, source.position) < 0.01)
                fields.wrong("position_m", "a place at least 0.01 m from every microphone");
        const auto close = closeMicrophone(fields);
        if (close && result.scene.microphones[static_cast<std::size_t>(*close)].room != source.room)
            fields.wrong("close", "a track of the same room");
        result.closeMicrophone.push_back(close);

        Part part;
        Fields instrument(fields.map("instrument"), "instrument of " + owner);
        part.instrument.bank = instrument.whole("bank", 0, 16383);
        part.instrument.program = instrument.whole("program", 0, 127);
        part.instrument.chokes = instrument.truth("chokes");
        part.instrument.rings = instrument.truth("rings");
        instrument.refuseOthers();
        part.notes = readNotesOf(fields, owner);
        result.parts.push_back(std::move(part));
        result.scene.sources.push_back(source);
        fields.refuseOthers();
    }

    std::vector<Note> readNotesOf(Fields& fields, const std::string& owner) const {
        const auto orThrow = [](auto read, const std::string& subject) {
            if (!read) throw SceneError{subject + ": " + read.fault().what, read.fault().mend};
            return std::move(read).value();
        };
        std::map<char, Stroke> strokes;
        if (fields.has("strokes"))
            for (const auto& [letter, object] : fields.map("strokes").items()) {
                if (letter.size() != 1 || std::string_view(" .|").find(letter[0]) != std::string_view::npos)
                    fields.wrong("strokes", "single letters");
                Fields stroke(object, "stroke " + inQuotes(letter) + " of " + owner);
                strokes[letter[0]] = {stroke.whole("key", 0, 127), stroke.whole("velocity", 1, 127)};
                stroke.refuseOthers();
            }
        Tempo own = tempo;
        own.beatsPerMinute = fields.number("tempo_bpm", 20.0, 400.0, tempo.beatsPerMinute);
        own.start = Seconds(fields.number("start_s", 0.0, result.length.value, 0.0));

        std::map<std::string, Phrase> phrases;
        for (const auto& [name, content] : fields.map("phrases").items()) {
            std::string text;
            for (const json& line : content.is_array() ? content : json::array({content})) {
                if (!line.is_string()) fields.wrong("phrases", "text, or lines of text");
                if (!text.empty()) text += " | "; // a line ends with a bar
                text += line.get<std::string>();
            }
            const std::string subject = owner + ", phrase " + inQuotes(name);
            phrases[name] = strokes.empty() ? orThrow(readNotes(text, own.beatsPerBar), subject)
                                            : orThrow(readStrokes(text, strokes, own.beatsPerBar), subject);
        }
        Feel feel;
        Fields felt(fields.map("feel"), "feel of " + owner);
        feel.seed = static_cast<std::uint64_t>(felt.whole("seed", 0, 1000000000));
        feel.timing = milliseconds(felt.number("timing_ms", 0.0, 200.0));
        feel.late = milliseconds(felt.number("late_ms", -200.0, 200.0, 0.0));
        feel.velocity = felt.number("velocity", 0.0, 40.0);
        felt.refuseOthers();
        return orThrow(arrange(phrases, fields.text("order"), own, feel), owner);
    }

    SceneFile result;
    Tempo tempo;
};

json parse(const std::string& text) {
    if (nestsTooDeep(text)) throw SceneError{"is nested too deep", "name a scene file"};
    try {
        return json::parse(text);
    } catch (const json::out_of_range&) {
        throw SceneError{"holds a number that is too large", "mend it"};
    } catch (const json::parse_error& error) {
        const auto upTo = static_cast<std::ptrdiff_t>(std::min(error.byte, text.size()));
        const auto line = 1 + std::count(text.begin(), text.begin() + upTo, '\n');
        throw SceneError{"is no JSON from line " + std::to_string(line) + " on", "mend the text there"};
    }
}

} // namespace

Result<SceneFile> readScene(const std::string& text, const std::string& where) {
    try {
        return SceneReader().read(parse(text));
    } catch (const SceneError& error) {
        return Fault{where, error.what, error.mend};
    }
}

Result<SceneFile> readSceneFile(const std::filesystem::path& file) {
    auto text = readTextFile(file, "scene file");
    if (!text) return text.fault();
    return readScene(*text, file.string());
}

Result<std::string> readSceneTitle(const std::filesystem::path& file) {
    auto text = readTextFile(file, "scene file");
    if (!text) return text.fault();
    try {
        const json root = parse(*text);
        return Fields(root, "the scene").text("title");
    } catch (const SceneError& error) {
        return Fault{file.string(), error.what, error.mend};
    }
}

} // namespace spillwright
