#include "Demo/Score.h"

#include "Core/RandomStream.h"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <cstdint>
#include <optional>
#include <sstream>

namespace spillwright {

namespace {

constexpr double beatTolerance = 1e-6; // rounding of thirds of beats

Fault scoreFault(std::string what, std::string mend) {
    return {"", std::move(what), std::move(mend)};
}

std::string shown(double beats) {
    std::ostringstream text;
    text << beats;
    return text.str();
}

std::vector<std::string> words(std::string_view text) {
    std::istringstream stream{std::string(text)};
    std::vector<std::string> result;
    for (std::string word; stream >> word;)
        result.push_back(word);
    return result;
}

template <class Number>
std::optional<Number> number(std::string_view text) {
    Number value{};
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (error != std::errc() || end != text.data() + text.size()) return std::nullopt;
    return value;
}

std::optional<int> velocityOfDynamic(std::string_view word) {
    static const std::map<std::string_view, int> dynamics{{"ppp", 24}, {"pp", 38}, {"p", 52},   {"mp", 66},
                                                          {"mf", 80},  {"f", 96},  {"ff", 112}, {"fff", 124}};
    const auto found = dynamics.find(word);
    return found == dynamics.end() ? std::nullopt : std::optional(found->second);
}

/// "f#4" is 66.
std::optional<int> keyOfPitch(std::string_view pitch) {
    static constexpr std::string_view letters = "c d ef g a b"; // the place is the semitone
    if (pitch.size() < 2 || pitch[0] == ' ') return std::nullopt;
    const auto semitone = letters.find(pitch[0]);
    if (semitone == std::string_view::npos) return std::nullopt;
    int key = static_cast<int>(semitone);
    pitch.remove_prefix(1);
    if (pitch[0] == '#' || pitch[0] == 'b') {
        key += pitch[0] == '#' ? 1 : -1;
        pitch.remove_prefix(1);
    }
    const auto octave = number<int>(pitch);
    if (!octave || *octave < -1 || *octave > 9) return std::nullopt;
    key += 12 * (*octave + 1);
    return key >= 0 && key <= 127 ? std::optional(key) : std::nullopt;
}

bool takeSuffix(std::string_view& word, char suffix) {
    if (word.empty() || word.back() != suffix) return false;
    word.remove_suffix(1);
    return true;
}

} // namespace

Result<Phrase> readNotes(std::string_view text, int beatsPerBar) {
    Phrase phrase;
    double length = 1.0;
    int velocity = *velocityOfDynamic("mf");
    double barStart = 0.0;
    double at = 0.0;
    std::size_t sounding = 0; // the first note of the last chord
    const auto closeBar = [&]() -> Outcome {
        if (std::abs(at - barStart - beatsPerBar) > beatTolerance)
            return scoreFault("bar " + std::to_string(phrase.bars + 1) + " has " + shown(at - barStart) + " beats",
                              "fill it to " + std::to_string(beatsPerBar));
        ++phrase.bars;
        at = barStart = static_cast<double>(phrase.bars) * beatsPerBar;
        return done();
    };
    for (const std::string& whole : words(text)) {
        std::string_view word = whole;
        if (word == "|") {
            if (auto closed = closeBar(); !closed) return closed.fault();
            continue;
        }
        if (const auto dynamic = velocityOfDynamic(word)) {
            velocity = *dynamic;
            continue;
        }
        const auto unreadable = [&] {
            return scoreFault("'" + whole + "' in bar " + std::to_string(phrase.bars + 1) + " is no note",
                              "write notes as d5, f#4+a4*0.5, rests as -, holds as _");
        };
        const bool isShort = takeSuffix(word, '\'');
        const bool accented = takeSuffix(word, '!');
        if (const auto star = word.find('*'); star != std::string_view::npos) {
            const auto given = number<double>(word.substr(star + 1));
            if (!given || !(*given > 0.0) || *given > 64.0) return unreadable();
            length = *given;
            word = word.substr(0, star);
        }
        if (word == "_") {
            for (auto note = sounding; note < phrase.notes.size(); ++note)
                phrase.notes[note].length += length;
        } else {
            sounding = phrase.notes.size();
            if (word != "-") {
                for (std::string_view left = word; !left.empty();) {
                    const auto plus = std::min(left.find('+'), left.size());
                    const auto key = keyOfPitch(left.substr(0, plus));
                    if (!key) return unreadable();
                    phrase.notes.push_back({at, isShort ? 0.5 * length : length, *key,
                                            std::clamp(velocity + (accented ? 16 : 0), 1, 127)});
                    left.remove_prefix(std::min(plus + 1, left.size()));
                }
            }
        }
        at += length;
    }
    if (at > barStart)
        if (auto closed = closeBar(); !closed) return closed.fault();
    return phrase;
}

Result<Phrase> readStrokes(std::string_view text, const std::map<char, Stroke>& strokes, int beatsPerBar) {
    Phrase phrase;
    std::string bar;
    const auto closeBar = [&]() -> Outcome {
        if (bar.empty())
            return scoreFault("bar " + std::to_string(phrase.bars + 1) + " has no steps", "write '.' for a silent one");
        const double step = static_cast<double>(beatsPerBar) / static_cast<double>(bar.size());
        for (std::size_t place = 0; place < bar.size(); ++place) {
            if (bar[place] == '.') continue;
            const auto stroke = strokes.find(bar[place]);
            if (stroke == strokes.end())
                return scoreFault("'" + std::string(1, bar[place]) + "' in bar " + std::to_string(phrase.bars + 1) +
                                      " stands for no stroke",
                                  "name it under strokes");
            phrase.notes.push_back({static_cast<double>(phrase.bars) * beatsPerBar + static_cast<double>(place) * step,
                                    step, stroke->second.key, stroke->second.velocity});
        }
        ++phrase.bars;
        bar.clear();
        return done();
    };
    for (char c : text) {
        if (c == ' ') continue;
        if (c != '|') {
            bar += c;
            continue;
        }
        if (auto closed = closeBar(); !closed) return closed.fault();
    }
    if (!bar.empty() || phrase.bars == 0)
        if (auto closed = closeBar(); !closed) return closed.fault();
    return phrase;
}

Result<std::vector<Note>> arrange(const std::map<std::string, Phrase>& phrases, std::string_view order,
                                  const Tempo& tempo, const Feel& feel) {
    const double beat = 60.0 / tempo.beatsPerMinute;
    RandomStream random(feel.seed);
    constexpr std::size_t mostNotes = 100000; // of one part
    constexpr int mostBars = 100000;
    std::vector<Note> notes;
    int bar = 0;
    for (const std::string& word : words(order)) {
        const auto star = word.find('*');
        const std::string name = word.substr(0, star);
        int times = 1;
        if (star != std::string::npos) {
            const auto given = number<int>(std::string_view(word).substr(star + 1));
            if (!given || *given < 1 || *given > 1000)
                return scoreFault("'" + word + "' in its order repeats nothing", "write it as " + name + "*2");
            times = *given;
        }
        const auto phrase = phrases.find(name);
        if (phrase == phrases.end() && name != "rest")
            return scoreFault("its order names a phrase '" + name + "' that is not written", "add it to phrases");
        const auto bars = static_cast<std::int64_t>(times) * (name == "rest" ? 1 : phrase->second.bars);
        const auto more = name == "rest" ? 0 : static_cast<std::size_t>(times) * phrase->second.notes.size();
        if (bar + bars > mostBars || notes.size() + more > mostNotes)
            return scoreFault("its order goes on for more than " + std::to_string(mostBars) + " bars or " +
                                  std::to_string(mostNotes) + " notes",
                              "shorten it");
        if (name == "rest") {
            bar += times;
            continue;
        }
        for (int time = 0; time < times; ++time) {
            double chordStart = -1.0;
            double aside = 0.0;
            for (const auto& written : phrase->second.notes) {
                if (written.start != chordStart) aside = feel.timing.value * random.bell(); // a chord is one movement
                chordStart = written.start;
                const double start =
                    tempo.start.value + (static_cast<double>(bar) * tempo.beatsPerBar + written.start) * beat;
                const int velocity =
                    std::clamp(written.velocity + static_cast<int>(std::lround(feel.velocity * random.bell())), 1, 127);
                notes.push_back({Seconds(std::max(0.0, start + feel.late.value + aside)),
                                 Seconds(written.length * beat), written.key, velocity});
            }
            bar += phrase->second.bars;
        }
    }
    return notes;
}

} // namespace spillwright
