#pragma once

#include "Core/Result.h"
#include "Core/Types.h"

#include <cstdint>
#include <map>
#include <string>
#include <string_view>
#include <vector>

namespace spillwright {

/// One note of a part, as it is played.
struct Note {
    Seconds start;
    Seconds length;
    int key = 60;      ///< 60: middle C.
    int velocity = 80; ///< 1..127.
    bool operator==(const Note&) const = default;
};

/// A passage as it is written: whole bars, times in beats from its beginning.
struct Phrase {
    struct WrittenNote {
        double start = 0.0;
        double length = 1.0;
        int key = 60;
        int velocity = 80;
    };
    std::vector<WrittenNote> notes;
    int bars = 0;
};

/// What a letter of a stroke pattern stands for.
struct Stroke {
    int key = 36;
    int velocity = 80;
};

/// Notes: words apart from each other by spaces.
///   d5  f#4  bb3      a note (c4 = middle C); d4+f4+a4 a chord; - a rest; _ holds the notes before for longer
///   d5*1.5            its length in beats, kept by the words that follow; 1 at the beginning
///   d5!  d5'          accented (16 louder); short (half its length)
///   pp p mp mf f ff   how loud from here on; mf at the beginning
///   |                 a bar is full here
Result<Phrase> readNotes(std::string_view text, int beatsPerBar);

/// Strokes: a letter a step, '.' for none, spaces for the eye, '|' between bars. The steps share out their bar evenly.
Result<Phrase> readStrokes(std::string_view text, const std::map<char, Stroke>& strokes, int beatsPerBar);

/// How people play what is written: a little beside the beat and never twice as loud. The same for the same seed.
struct Feel {
    std::uint64_t seed = 1;
    Seconds timing; ///< Standard deviation.
    Seconds late;   ///< Behind the beat, on the whole; negative: ahead.
    double velocity = 0.0;
};

struct Tempo {
    double beatsPerMinute = 120.0;
    int beatsPerBar = 4;
    Seconds start; ///< Of the first bar.
};

/// Puts phrases one after another: `order` names them, "verse*2" plays one twice, "rest*4" is silent for four bars.
/// Faults in the where/what/mend of the caller's choice of `where`: an unknown phrase, a repeat that is none.
Result<std::vector<Note>> arrange(const std::map<std::string, Phrase>& phrases, std::string_view order,
                                  const Tempo& tempo, const Feel& feel);

} // namespace spillwright
