#include "Desk/PracticeWords.h"

#include "Desk/Commands.h"

namespace spillwright::desk {

LinesSheet::Words practiceKeys() {
    const auto key = [](CommandId id, const std::string& words) { return std::pair(keyOf(id) + ": " + words, false); };
    return {
        {"lesson", true},
        {"1 to 9, 0: the steps. N, B: the next lesson, the one before. Backspace: back to the step, after a change of "
         "your own.",
         false},
        {"A: the answer, or hide it. Page up, Page down: read on.", false},
        {"P: projector view, or as usual.", false},
        key(CommandId::open, "a lesson file of your own; it can be dropped onto the sheet, too."),
        {"sound", true},
        key(CommandId::playStop, "play, stop."),
        {keyOf(CommandId::louder) + ", " + keyOf(CommandId::quieter) + ": output louder or quieter by 1 dB.", false},
        {"floor plan", true},
        {"Arrows: what has the keyboard moves 1 cm; with Shift 10 cm. Page up, Page down: its height.", false},
        {"R: the next microphone as the reference of ratio, notch and coherence.", false},
        {"numbers", true},
        {"Tab, Shift Tab: the next or previous part. Up, Down in a number: a step more or less. Enter: take it. Esc: "
         "leave it as it was.",
         false},
        {"window", true},
        key(CommandId::savePlots, "save both plots."),
        key(CommandId::glossary, "what you see."),
        key(CommandId::leave, "back to the recording, which goes on as it was."),
    };
}

LinesSheet::Words practiceGlossary() {
    return {
        {"what it is for", true},
        {"One source, some microphones, and their sum: how a small delay, a flip or a wall turns into a comb, heard "
         "and seen at once. Choose a lesson, go through its steps, then change what you like.",
         false},
        {"floor plan", true},
        {"The room from above, to scale. S is the source, numbers are microphones, a short stroke is where one aims. A "
         "dashed wall takes all sound in; the thicker a wall, the more it sends back. Heights are numbers: type them.",
         false},
        {"comb response", true},
        {"How loud each tone is in the sum, against the loudest direct sound. Dashed: each microphone alone. Marked: "
         "the notches, from the lowest on. Where microphones are panned left and right are drawn, as they are heard. "
         "Smoothed: in a room that rings the curve is drawn over 1/24 octave, and single notches are deeper than they "
         "look.",
         false},
        {"impulse response", true},
        {"What becomes of one click: marked is where each microphone's direct sound lies; what follows came by the "
         "walls.",
         false},
        {"numbers", true},
        {"Metres, arrival, level: of each microphone's direct sound; level against an omni microphone 1 m away. Ratio: "
         "the farther distance over the nearer one, the 3 of three to one. Notch: the first one of the two direct "
         "sounds. Coherence: how much of the low-mids the two have in common. All three against the reference.",
         false},
        {"loudness", true},
        {"A change is at most 6 dB louder than the step it began from: a microphone on the source would be 40 dB "
         "louder. What would be more is turned down, and a line below says by how much; the plots show the full "
         "level.",
         false},
    };
}

} // namespace spillwright::desk
