#include "Desk/Glossary.h"

#include "Desk/Commands.h"

namespace spillwright::desk {

namespace {

constexpr auto ofTakes =
    "Two grids, one cursor: A is this recording as it is set, B the other take as recorded. Above all stands what "
    "was changed between them: a track moved, upside down, late, of another gain. In the table \u00b1 is one "
    "standard uncertainty; \"stands: yes\" is a difference that other playing alone should not make, \"no\" one "
    "that it may. A, B: hear that take; K: the other one, at the same place in the music.";

} // namespace

LinesSheet::Words takesGlossary() {
    return {{"what it is for", true}, {ofTakes, false}};
}

LinesSheet::Words takesKeys() {
    return {
        {"choose", true},
        {"Arrows: the track, and the one beside it. Page up, Page down: what was changed.", false},
        {"Tab, Shift Tab: the next or previous part.", false},
        {"listen", true},
        {keyOf(CommandId::playStop) + ": play, stop. A, B: that take. K: the other one, at the same place.", false},
        {keyOf(CommandId::louder) + ", " + keyOf(CommandId::quieter) + ": output louder or quieter by 1 dB.", false},
        {"change", true},
        {keyOf(CommandId::flip) + ": flip the track in both takes. " + keyOf(CommandId::undo) + ", " +
             keyOf(CommandId::redo) + ": undo, redo.",
         false},
        {"window", true},
        {keyOf(CommandId::glossary) + ": what you see.", false},
        {keyOf(CommandId::leave) + ": back to the recording.", false},
    };
}

LinesSheet::Words glossary() {
    const auto key = [](CommandId id) { return keyOf(id); };
    return {
        {"what it is for", true},
        {"Many microphones in one room hear the same sound, each at its own moment. Added up, two of them make some "
         "tones louder and others fainter. Which of them add and which cancel hangs on their polarity (which way up) "
         "and their offset (how late): both can be changed here while you listen.",
         false},
        {"Look, listen, decide, compare, hand over: the grid, " + key(CommandId::playStop) + ", " +
             key(CommandId::propose) + ", 1 to 8, " + key(CommandId::render) + ".",
         false},
        {"grid", true},
        {"Every square is two tracks. Larger: more of the low-mids is the same sound in both (coherence, 0 to 1). Blue "
         "with +: together they are louder there than two strangers would be. Orange with \u2212: they take from each "
         "other. Stronger colour: more decibels. Hatched: not sure. A stroke: nothing in common. Empty: one of them is "
         "not heard now.",
         false},
        {"pair", true},
        {"Same sound 0.31 ms later, upside down: as recorded, the second track hears it that much later, and its wave "
         "goes down where the first one's goes up. After a flip or a nudge the line below says how they stand now.",
         false},
        {"\u00b1: one standard uncertainty; about two times in three the truth lies within. Sure, likely, a guess: how "
         "far the reading can be trusted. Fitted: the same arrival from all pairs that hear one source together. Low "
         "end opposed: the lowest part of the band stands the other way up. In time: whether the arrival holds still.",
         false},
        {"Comb response: what their sum does to each tone. A notch is a hole, with its frequency and depth. Coherence: "
         "how much of each tone is the same sound in both. Lag: how alike the two are when one is shifted; the peak is "
         "the arrival.",
         false},
        {"cards", true},
        {"The decibels are the summation gain in the low-mids: 0 is what tracks make that ignore each other, above it "
         "they add, below it they cancel. It is the mean over third octaves, mono and unpanned, so that one loud tone "
         "does not decide.",
         false},
        {"Proven best: no other set of flips adds more. 0.19 below bound: no setting of its kind can add more than "
         "0.19 dB beyond this one. Lows: what it does below the band, 40 to 120 Hz; listen to kick and bass.",
         false},
        {"tracks", true},
        {"Level: decibels of full scale. !: samples at full scale. Spill: the share of the track that is not its own "
         "source; 100 for a track that stands close to none, such as a room or an overhead; ?: not sure whether it "
         "does (" +
             key(CommandId::standing) +
             "). Flip: upside down. Nudge: later or earlier. HP: high-pass. M mute, S solo, H hold: proposals leave it "
             "alone. A bracket: a stereo pair that moves together.",
         false},
        {"sources (" + key(CommandId::sourceMap) + ")", true},
        {"A row a track, a column an instrument. Disc: how loud it is there, against its close track. Sign: which way "
         "up. Tick: how late. A click plays that track where the instrument is nearly alone; the marks under the "
         "waveform are such moments.",
         false},
        {"below", true},
        {"Matched: every version is turned to be as loud as the recording as recorded; louder always seems better. "
         "Mono, side, band: other ways to listen, never rendered. M and S: loudness over 0.4 and 3 seconds, in LUFS. "
         "True peak: the highest wave, also between samples; above 0 it would clip. Left to right: 1 the same on both "
         "sides, 0 strangers, below 0 it suffers in mono. Adds now: the summation gain of this moment. Guard: holds "
         "what goes to the loudspeakers below full scale.",
         false},
        {"takes (" + key(CommandId::compareTakes) + ")", true},
        {ofTakes, false},
        {"practice room (" + key(CommandId::practice) + ")", true},
        {"A floor plan of sources and microphones that can be moved, with walls that reflect as you set them. Impulse "
         "response: what a microphone hears of one click, first the direct sound, then each reflection, by its time. "
         "Comb: what the sum of all that arrives does to each tone. Projector: large and in full contrast, to be read "
         "from the back of a class. The lessons are such rooms with questions.",
         false},
        {"handing over", true},
        {"Render (" + key(CommandId::render) +
             "): each track with its flip, nudge, gain and high-pass in it, beside the recording, which stays as it "
             "is. Sums: one stereo file a version, all equally loud, for others to compare by ear.",
         false},
        {"Notes: a text beside them with the setting, what was remarked, and a checksum of each file. A checksum "
         "(SHA-256) "
         "is a short figure that is another one as soon as a single bit of a file is: whoever gets the files can prove "
         "that they came whole.",
         false},
        {"Report (" + key(CommandId::report) +
             "): a page for somebody who was not there, with every grid, plot and reason, and beside it the recall "
             "sheet: a table of flips, nudges, gains and high-passes, to be set by hand on any desk.",
         false},
        {"What is kept under 6, 7 and 8 can be named (" + key(CommandId::nameKept) +
             "): the name goes into the report, the sums and the session.",
         false},
        {"waveform", true},
        {"Drag over the waveform to play a part over and over; a double click plays the whole.", false},
    };
}

} // namespace spillwright::desk
