#include "Report/Page.h"

#include "Report/RecallSheet.h"
#include "Session/Amounts.h"

namespace spillwright {

void Page::recallSection() {
    const auto inside = section("recall", "Recall sheet", true);
    paragraph("The setting taken, \u201c" + takenName() +
                  "\u201d, to be set by hand on any desk. A nudge above 0 "
                  "plays the track later; it is given as a time, in samples at " +
                  unsignedAmount(rate, 0) + " Hz and as the way of sound at " + temperatureText(m.options.temperature) +
                  ".",
              "quiet");
    const auto wide = page.in("div", {{"class", "wide sheet"}});
    const auto table = page.in("table");
    headRow({{"track"},
             {"flip"},
             {"nudge, ms", true},
             {"samples", true},
             {"cm", true},
             {"gain, dB", true},
             {"high-pass"},
             {"pan"},
             {"mute"},
             {"remark"}});
    const auto body = page.in("tbody");
    for (const auto& one : recallSheet(m.tracks, taken().adjustments, rate, m.options.temperature)) {
        const auto row = page.in("tr");
        rowHead(one.track);
        const bool moved = one.nudgeMs != 0.0;
        cell(one.flip ? "flip \u00d8" : "\u2013", one.flip);
        number(moved ? signedAmount(one.nudgeMs, 3) : "0", moved);
        number(moved ? signedAmount(one.nudgeSamples, 1) : "0", moved);
        number(moved ? signedAmount(one.nudgeCm, 1) : "0", moved);
        number(one.gainDb == 0.0 ? "0" : gainText(one.gainDb), one.gainDb != 0.0);
        cell(one.highPassHz
                 ? unsignedAmount(*one.highPassHz, 0) + " Hz, " + std::to_string(one.slopeDbPerOctave) + " dB/octave"
                 : "\u2013",
             one.highPassHz.has_value());
        cell(panText(one.pan));
        cell(one.muted ? "muted" : "\u2013", one.muted);
        cell(one.remark);
    }
}

void Page::readingSection() {
    const auto inside = section("reading", "How to read the numbers");
    const auto list = page.in("ul");
    for (const char* line :
         {"Summation gain: what the sum has in the low-mids against tracks that ignore each other. 0 dB: they do; "
          "above it they add up, below it they cancel. It never exceeds 10 lg N dB for N tracks.",
          "Low-mid coherence of a setting: 1 where all tracks meet in phase, 0 where they ignore each other, "
          "below 0 where they cancel.",
          "Coherence of a pair: 0 to 1, how much of two tracks is the same sound.",
          "Arrival: positive where the second track of a pair hears the sound later. Polarity: the same way up or "
          "upside down. What is not sure says so.",
          "Flip: the polarity is turned over. Nudge: the track is played later (+) or earlier (\u2212).",
          "Bound: no setting within the limits of the proposal can exceed it. Proven: nothing better exists.",
          "Lateness of a room microphone is depth, not a fault."})
        item(line);
}

void Page::cautionsSection() {
    const auto inside = section("cautions", "Cautions");
    const auto list = page.in("ul");
    for (const char* line :
         {"The ear decides. A proposal is arithmetic on the low-mids; it knows nothing of the music.",
          "Flips and nudges change level by design: judge at matched loudness, the louder one always seems better.",
          "Hearing does not heal. Start low and raise slowly, keep monitoring moderate and sessions short, take "
          "breaks; many hours a week above some 80 dB(A) harm in the long run. Local rules on noise at work and "
          "the "
          "advice of licensed practitioners come first."})
        item(line);
}

} // namespace spillwright
